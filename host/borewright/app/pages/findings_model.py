"""What the findings page says and which keys mean what there. Without Qt."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from borewright.core.heard import OTHER_CYLINDERS, STRENGTHS, Strength
from borewright.core.place_meaning import place_words
from borewright.errors import UseError
from borewright.units import Dimension, UnitsError, parse

if TYPE_CHECKING:
    from borewright.core.shares import Share
    from borewright.service.place_course import Outcome
    from borewright.service.shown_units import ShownUnits
    from borewright.service.view_findings import NotedLine

__all__ = [
    "BEFORE",
    "PLACE_KEYS",
    "beside_words",
    "line_words",
    "outcome_words",
    "share_in_short",
    "strength_of_key",
    "typed",
]

PLACE_KEYS: Final[Mapping[str, str]] = {
    "intake": "I",
    "exhaust": "E",
    "breather": "B",
    "coolant": "C",
    "neighbours": "H",
    "outside": "O",
    "exhaust_port": "E",
    "crankcase": "K",
    "other_chambers": "H",
}
"""The letter that picks a place. N, F, S and T say how strong, so no place has them."""

_STRENGTH_KEYS: Final[Mapping[str, Strength]] = {
    **{str(number): strength for number, strength in enumerate(STRENGTHS)},
    "N": "none",
    "F": "faint",
    "S": "steady",
    "T": "strong",
}

_LAST_WORD = "The engine maker's manual, local rules and licensed practice come first; aviation work is for licensed people."
BEFORE: Final[Mapping[str, tuple[str, str]]] = {
    "stop": (
        "stop-off test",
        "A stopped place fills up to the pressure of the supply. Stop none without a gauge and its own relief valve on it, set to "
        "no more than that place may have, and none at full test pressure: the regulator is set down first and proven into the "
        "capped hose. Stand aside of stop and relief, wear eye protection, keep clear of the crank, and fit or take off nothing "
        f"before it is vented. {_LAST_WORD}",
    ),
    "flow": (
        "flow test",
        "What is led through an orifice backs up before it. Orifice, gauge and relief valve stand together on the place before air "
        "comes; watch the gauge while the pressure rises, and above the figure given shut and vent. Wear eye protection, keep "
        f"clear of the crank, and fit or take off nothing before it is vented. {_LAST_WORD}",
    ),
    "wet": (
        "wet test",
        "Oil does not give way: a cylinder that is full of it at TDC bends its rod (hydraulic lock). Measure the dose with a "
        "syringe, never above the limit given, and turn the engine over twice by hand with the plug hole open before the hose goes "
        f"on; oil spits out of the hole. {_LAST_WORD}",
    ),
}
"""Cautions before a guided test: by its kind the name under which it is kept, and the text. Common practice, no source."""


def strength_of_key(text: str) -> Strength | None:
    """What a key typed at a place says of the air there; None where it says nothing.

    >>> strength_of_key("2"), strength_of_key("t"), strength_of_key("x")
    ('steady', 'strong', None)
    """
    return _STRENGTH_KEYS.get(text.upper())


def beside_words(place: str, neighbours: Mapping[int, str]) -> str:
    """At which other cylinders air was heard, for the label of a place.

    >>> beside_words("neighbours", {3: "strong", 2: "none"}), beside_words("intake", {3: "strong"})
    ('at 3', '')
    """
    at = sorted(other for other, strength in neighbours.items() if strength != "none")
    return f"at {', '.join(map(str, at))}" if at and place in OTHER_CYLINDERS else ""


def share_in_short(share: Share | None) -> str:
    """A place's share for its label; empty where none was measured.

    >>> from borewright.core.shares import Share
    >>> share_in_short(Share("exhaust", 71.2, 64.0, 78.4, 0.5e-6))
    '64 to 78 %'
    """
    return "" if share is None or not share.looked_at else f"{share.low_percent:.0f} to {share.high_percent:.0f} %"


def outcome_words(outcome: Outcome, units: ShownUnits) -> str:
    """What came of a leg of a guided test, in the person's units.

    >>> from borewright.service.place_course import Outcome
    >>> from borewright.service.shown_units import ShownUnits
    >>> outcome_words(Outcome("coolant stopped", 4.12e-7, 0.09e-7, 12), ShownUnits())
    'coolant stopped: leak area 0.412 ± 0.009 mm² (test 12)'
    """
    words = outcome.what
    if outcome.area_m2 is not None:
        number = units.number(outcome.area_m2, "area", "mm²")
        spread = "" if outcome.expanded_m2 is None else f" ± {units.number(outcome.expanded_m2, 'area', 'mm²')}"
        unit = units.text(0.0, "area", "mm²").split(" ", maxsplit=1)[1]
        words += f": leak area {number}{spread} {unit}"
    return words if outcome.test is None else f"{words} (test {outcome.test})"


def line_words(line: NotedLine, when: str) -> str:
    """One line of the list of findings. when: its time as it is shown."""
    who = ", ".join(filter(None, (line.said_by, when)))
    photos = f", {len(line.photos)} photo{'s' if len(line.photos) > 1 else ''}" if line.photos else ""
    return f"#{line.number}  {'dropped: ' if line.dropped else ''}{line.words}{photos}  ({who})"


def place_name(place: str) -> str:
    """A place at the beginning of a line.

    >>> place_name("exhaust_port")
    'Exhaust port'
    """
    words = place_words(place)
    return words[:1].upper() + words[1:]


def typed(text: str, what: str, dimension: Dimension, unit: str) -> float:
    """A figure that was typed, in SI; without a unit it is meant in the one beside the field. Raises UseError.

    >>> round(typed("3,5", "the dose", "volume", "cm³") * 1e6, 3), typed("80 kPa", "the pressure", "pressure_gauge", "psi")
    (3.5, 80000.0)
    >>> round(typed("0.2 in^3", "the dose", "volume", "cm³") * 1e6, 2)
    3.28
    >>> typed("", "the dose", "volume", "cm³")
    Traceback (most recent call last):
    borewright.errors.UseError: the dose: type a figure, in cm³ or with its unit
    """
    text = text.strip().replace(",", ".")
    if not text:
        raise UseError(f"{what}: type a figure, in {unit} or with its unit")
    try:
        return parse(f"{text} {unit}" if _is_bare(text) else text, dimension)
    except UnitsError as wrong:
        raise UseError(f"{what}: {wrong}") from None


def _is_bare(text: str) -> bool:
    """Whether it is a number without a unit; "0.2 in^3" ends in a figure and is none."""
    try:
        float(text)
    except ValueError:
        return False
    return True
