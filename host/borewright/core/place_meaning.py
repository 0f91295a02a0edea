"""What air at a place means: what leaks then, what only looks like it, where and how to look, and what to do next.

Common practice of engine builders throughout (no source), but for what is computed: which valves and ports of the other cylinders
stand open while this one is at TDC, from the engine's firing order, intervals and events.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from borewright.core import place_four_stroke, place_two_stroke
from borewright.core.engine import Engine
from borewright.core.place_open import Parts

__all__ = ["PlaceMeaning", "meaning", "place_words"]


@dataclass(frozen=True, slots=True)
class PlaceMeaning:
    """What air at one place of one cylinder means.

    implies: what leaks, most usual first. imitated_by: what makes air there without that, to be ruled out first. next_step: one
    sentence. look: where and how to look, listen and feel, with the cautions for it.
    """

    place: str
    implies: tuple[str, ...]
    imitated_by: tuple[str, ...]
    next_step: str
    look: str


def place_words(place: str) -> str:
    """The place as a person reads it.

    >>> place_words("exhaust_port")
    'exhaust port'
    """
    return place.replace("_", " ")


def meaning(engine: Engine, cylinder: int, place: str) -> PlaceMeaning:
    """What air at this place of this cylinder means. Raises ValueError for a cylinder or a place that the engine does not have.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> meaning(four, 1, "neighbours").imitated_by[0]
    "another cylinder's open valve: now stand open cylinder 2's exhaust valve, cylinder 3's intake valve, \
cylinder 4's intake and exhaust valves; air reaches them through a shared manifold, so look there before the gasket"
    """
    engine.firing_angle_deg(cylinder)  # names a cylinder that is not there
    if place not in engine.places:
        raise ValueError(f"place: must be one of {', '.join(engine.places)}")
    implies, imitated, next_step, look = _MEANINGS[place](engine, cylinder)
    return PlaceMeaning(place, tuple(implies), tuple(imitated), next_step, look)


_MEANINGS: dict[str, Callable[[Engine, int], Parts]] = {
    "intake": place_four_stroke.intake,
    "exhaust": place_four_stroke.exhaust,
    "breather": lambda engine, _cylinder: place_four_stroke.breather(engine),
    "coolant": lambda engine, _cylinder: place_four_stroke.coolant(engine),
    "neighbours": place_four_stroke.neighbours,
    "outside": lambda engine, _cylinder: place_four_stroke.outside(engine),
    "exhaust_port": place_two_stroke.exhaust_port,
    "crankcase": lambda engine, _cylinder: place_two_stroke.crankcase(engine),
    "other_chambers": place_two_stroke.other_chambers,
}
