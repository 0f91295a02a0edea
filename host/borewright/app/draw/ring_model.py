"""What the cycle ring shows: every cylinder's compression TDC in the firing order, where the crank stands, and how far it still is.

Angles are crank degrees in the running direction. Within the cycle they count from the compression TDC of the first cylinder in the
firing order; on the ring from its top, where the TDC stands that is being worked towards. Fine ones are degrees after that TDC.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import asinh
from typing import Literal

from borewright.core.engine import Engine
from borewright.core.readiness_table import State
from borewright.service.facts import (
    air_window_deg,
    degrees_from_reference_tdc,
    degrees_from_tdc,
    reference_tdc_count,
    window_deg,
)
from borewright.service.going_round import crank_angle_deg
from borewright.service.guide import Step, next_step
from borewright.service.state import BenchState

__all__ = ["FINE_DEG", "RingMark", "RingModel", "Saying", "fine_share", "opened", "ring_of", "spread_apart"]

FINE_DEG = 20.0  # so far from TDC the window's arc begins to open
OPEN_DEG = 12.0  # and from here on it is open
FINE_SCALE_DEG = 1.0  # within about so much the opened arc is even, farther out it closes up

Mood = Literal["unknown", "turn", "stand", "at_tdc", "squeeze", "ready", "armed", "pressurised"]

_PHASES = {
    State.PUFFING: "a short puff",
    State.WATCHING: "watching the crank",
    State.FILLING: "air is on",
    State.HOLDING: "air stays on: look and listen",
    State.ISOLATED: "supply shut, bleeding away",
    State.VENTING: "venting",
}
_TURNS = ("turn_to_tdc", "turn_down", "turn_open")


@dataclass(frozen=True, slots=True)
class RingMark:
    """One cylinder's compression TDC: where in the cycle it lies, and whether it is the one that is worked on."""

    cylinder: int
    at_deg: float
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class Saying:
    """What stands in the middle of the ring: above the figure, the figure itself (may be empty), and below it."""

    mood: Mood
    above: str
    figure: str = ""
    below: str = ""


@dataclass(frozen=True, slots=True)
class RingModel:
    """All that is drawn.

    clockwise: the engine runs so, seen as its file says, and the ring goes round so. top_deg: what of the cycle stands at the top.
    pointers_deg: where in the cycle the crank may stand: one place, two where the stroke is not shown, none where nobody knows.
    turn_deg: how far it is to be turned, positive in the running direction. overlap_of: whose overlap TDC stands opposite the top.
    fine_of: whose TDC the opened arc shows; off_deg: so far after it the crank stands; window_deg: so far to either side it may.
    sentence: the same in words, for somebody who does not see it.
    """

    cycle_deg: float = 720.0
    clockwise: bool = True
    marks: tuple[RingMark, ...] = ()
    top_deg: float = 0.0
    pointers_deg: tuple[float, ...] = ()
    turn_deg: float | None = None
    overlap_of: int | None = None
    fine_of: int | None = None
    off_deg: float | None = None
    window_deg: float | None = None
    saying: Saying = Saying("unknown", "No engine")
    sentence: str = "Cycle ring: no engine is open."

    @property
    def opening(self) -> float:
        """How far the window's arc is open, 0 to 1."""
        return 0.0 if self.off_deg is None else opened(self.off_deg)

    @property
    def inside(self) -> bool:
        """Whether the crank stands inside the window."""
        return self.off_deg is not None and self.window_deg is not None and abs(self.off_deg) <= self.window_deg

    def on_ring_deg(self, at_deg: float) -> float:
        """Where a place of the cycle stands on the ring: degrees of the picture, clockwise from its top, 0 up to 360.

        >>> RingModel(720.0, top_deg=180.0).on_ring_deg(540.0), RingModel(720.0, clockwise=False).on_ring_deg(180.0)
        (180.0, 270.0)
        """
        picture_deg = (at_deg - self.top_deg) % self.cycle_deg / self.cycle_deg * 360.0
        return picture_deg if self.clockwise else -picture_deg % 360.0


def opened(off_deg: float) -> float:
    """How far the window's arc opens with the crank so far from TDC: 0 from 20° on, 1 within 12°.

    >>> opened(-25.0), opened(16.0), opened(3.0)
    (0.0, 0.5, 1.0)
    """
    share = min(1.0, max(0.0, (FINE_DEG - abs(off_deg)) / (FINE_DEG - OPEN_DEG)))
    return share * share * (3.0 - 2.0 * share)


def fine_share(off_deg: float) -> float:
    """Where on the opened arc an angle beside TDC stands, −1 to 1: wide where it counts, so that 1.5° takes a third of a side.

    >>> fine_share(0.0), round(fine_share(1.5), 2), fine_share(-20.0), fine_share(60.0)
    (0.0, 0.32, -1.0, 1.0)
    """
    return max(-1.0, min(1.0, asinh(off_deg / FINE_SCALE_DEG) / asinh(FINE_DEG / FINE_SCALE_DEG)))


def spread_apart(angles_deg: Sequence[float], least_deg: float) -> list[float]:
    """The same angles moved as little as it takes for each to keep least_deg from the next one round the circle.

    The order stays. Where there are too many for that they come as close as they must. In degrees, as given; results may lie a
    little outside of 0 to 360.

    >>> spread_apart([0.0, 10.0, 180.0], 20.0), spread_apart([90.0], 20.0)
    ([-5.0, 15.0, 180.0], [90.0])
    """
    count = len(angles_deg)
    if count < 2:
        return list(angles_deg)
    order = sorted(range(count), key=lambda i: angles_deg[i] % 360.0)
    around = [angles_deg[i] % 360.0 for i in order]
    gaps = [after - before for before, after in pairwise([*around, around[0] + 360.0])]
    cut = (gaps.index(max(gaps)) + 1) % count  # the circle is cut open where it is emptiest
    order, around = order[cut:] + order[:cut], around[cut:] + [angle + 360.0 for angle in around[:cut]]
    least = min(least_deg, 360.0 / count)
    moved = _in_line(around, least)
    while moved[-1] - moved[0] > 360.0 - least + 1e-9:  # what was pushed out meets behind the cut
        middle = sum(around) / count
        around = [middle + (angle - middle) * 0.9 for angle in around]
        moved = _in_line(around, least)
    whole = 360.0 if moved[0] >= 360.0 - least else 0.0
    placed = dict(zip(order, moved, strict=True))
    return [_near(placed[i] - whole, angles_deg[i]) for i in range(count)]


def _near(angle: float, wanted: float) -> float:
    return angle - 360.0 * round((angle - wanted) / 360.0)


def _in_line(places: Sequence[float], least: float) -> list[float]:
    """Least squares with a least distance: places less their share of the distances may not fall (pool adjacent violators)."""
    pools: list[tuple[float, int]] = []
    for i, place in enumerate(places):
        mean, size = place - i * least, 1
        while pools and pools[-1][0] > mean:
            before, many = pools.pop()
            mean, size = (before * many + mean * size) / (many + size), many + size
        pools.append((mean, size))
    flat = [mean for mean, size in pools for _ in range(size)]
    return [mean + i * least for i, mean in enumerate(flat)]


# ---------------------------------------------------------------------- from the bench's state


def ring_of(state: BenchState, step: Step | None = None) -> RingModel:
    """What the ring shows of this state. step: the next one, where it is known already; else it is worked out."""
    engine = state.engine
    if engine is None:
        air = Saying("pressurised", "PRESSURISED", "", _phase(state))
        return RingModel(saying=air, sentence=f"Cycle ring: no engine is open. {_read(air)}") if _air_on(state) else RingModel()
    step = next_step(state) if step is None else step
    chosen = state.purpose.cylinder if state.purpose.kind == "test" and state.purpose.cylinder in engine.firing_order else None
    fine_of, off_deg, allowed_deg = _fine(state, step, chosen)
    top = fine_of or chosen or engine.firing_order[0]
    pointers = _pointers(state, engine)
    saying = _saying(state, engine, step, off_deg, allowed_deg, pointers)
    return RingModel(
        cycle_deg=engine.cycle_deg,
        clockwise=engine.running_direction == "clockwise",
        marks=tuple(RingMark(n, engine.firing_angle_deg(n), n == chosen) for n in engine.firing_order),
        top_deg=engine.firing_angle_deg(top),
        pointers_deg=pointers,
        turn_deg=None if _air_on(state) else step.turn_deg,
        overlap_of=chosen if engine.cycle == "four-stroke" and top == chosen else None,
        fine_of=fine_of,
        off_deg=off_deg,
        window_deg=allowed_deg,
        saying=saying,
        sentence=_sentence(engine, chosen, saying, pointers, None if allowed_deg is None else off_deg),
    )


def _pointers(state: BenchState, engine: Engine) -> tuple[float, ...]:
    """Where in the cycle the crank may stand. Counts that were lost, or an index that did not come, leave nothing to show."""
    crank, stroke = state.crank, state.stroke
    if state.lost is not None or crank is None or crank.last_count is None or crank.index_missed or crank.index_spacing_ok is False:
        return ()
    angle_deg = crank_angle_deg(state)
    if angle_deg is None:
        tdc_count = reference_tdc_count(state, engine.firing_order[0])
        if tdc_count is None:
            return ()
        angle_deg = state.setup.running_sign * (crank.last_count - tdc_count) / crank.counts_per_rev * 360.0 % 360.0
        return angle_deg, angle_deg + 360.0
    if stroke is not None and stroke.either_tdc and engine.cycle == "four-stroke" and engine.valve_gear == "fitted":
        return angle_deg, (angle_deg + 360.0) % engine.cycle_deg  # it rose at both TDCs, which says nothing of the others
    return (angle_deg,)


def _fine(state: BenchState, step: Step, chosen: int | None) -> tuple[int | None, float | None, float | None]:
    """Whose TDC the opened arc shows, how far after it the crank stands, and how far it may."""
    if state.lost is not None:
        return None, None, None
    if state.tdc is not None and _at_the_fitting(state, step):  # it is held against the crank's own mark, which needs the tenths
        return state.tdc.reference_cylinder, degrees_from_reference_tdc(state), None
    off_deg = None if chosen is None else degrees_from_tdc(state)
    if off_deg is None:
        return None, None, None
    return chosen, off_deg, air_window_deg(state) if _air_on(state) else window_deg(state)


def _at_the_fitting(state: BenchState, step: Step) -> bool:
    """Whether the stored true TDC is held against the crank; while it turns the guide waits for it."""
    return not state.fitting_confirmed and step.turn_deg is not None and step.key in ("confirm_fitting", "wait")


def _saying(
    state: BenchState, engine: Engine, step: Step, off_deg: float | None, allowed_deg: float | None, pointers: tuple[float, ...]
) -> Saying:
    at = state.readiness.state
    stands = "" if off_deg is None else _degrees(off_deg)
    beside = "" if off_deg is None else _beside(off_deg)
    if _air_on(state):
        return Saying("pressurised", "PRESSURISED", stands, _phase(state))
    if state.lost is not None:
        return Saying("unknown", "No link to the rig", "", "where the crank stands is not known")
    if at is State.SQUEEZING:
        go_on = state.squeeze is not None
        return Saying("squeeze", "Squeeze", "", "keep turning, steadily" if go_on else "stop turning, open the vent")
    if at is State.ARMED:
        return Saying("armed", "Air is coming", stands, "keep clear")
    if at is State.READY:
        return Saying("ready", "Ready for air", stands, beside)
    if step.turn_deg is not None and _at_the_fitting(state, step):
        return _to_the_stored_tdc(engine, step.turn_deg)
    if step.turn_deg is not None and step.key in _TURNS:
        return _turning(engine, step, step.turn_deg)
    if step.key == "find_index":
        return Saying("turn", "Turn on", "", f"{engine.running_direction}, to the index pulse")
    if off_deg is not None and allowed_deg is not None:
        if abs(off_deg) <= allowed_deg:
            return Saying("at_tdc", "At TDC", stands, beside)
        return Saying("stand", f"Cylinder {state.purpose.cylinder}", stands, beside)
    if len(pointers) == 2:
        return Saying("unknown", "Stroke not shown yet", "", "the crank is at one of the two marks")
    if pointers:
        return Saying("stand", "Crank angle known")
    return Saying("unknown", "Crank angle not known")


def _air_on(state: BenchState) -> bool:
    """From the command that lets air in until it has been seen gone; air that was let in and not seen yet is there all the same."""
    return state.readiness.locked or state.readiness.state in _PHASES


def _phase(state: BenchState) -> str:
    return _PHASES.get(state.readiness.state, "do not turn or undo anything")


def _way(engine: Engine, turn_deg: float) -> tuple[str, str]:
    other = "anticlockwise" if engine.running_direction == "clockwise" else "clockwise"
    return ("Turn on", engine.running_direction) if turn_deg > 0.0 else ("Turn back", other)


def _turning(engine: Engine, step: Step, turn_deg: float) -> Saying:
    above, way = _way(engine, turn_deg)
    goal = "" if step.key != "turn_to_tdc" else ", to compression TDC" if turn_deg > 0.0 else ", then up again"
    return Saying("turn", above, _degrees(turn_deg), way + goal)


def _to_the_stored_tdc(engine: Engine, turn_deg: float) -> Saying:
    if abs(turn_deg) < 0.05:
        return Saying("stand", "At the stored TDC", "0.0°", "look at the crank's own mark")
    above, way = _way(engine, turn_deg)
    return Saying("turn", above, _degrees(turn_deg, fine=True), f"{way}, to the stored TDC")


def _degrees(angle_deg: float, *, fine: bool = False) -> str:
    """Tenths only where they count, so that a turning crank shows a figure that can be read."""
    size = abs(angle_deg)
    return f"{size:.1f}°" if fine or size < 9.95 else f"{size:.0f}°"


def _beside(off_deg: float) -> str:
    return "on TDC" if abs(off_deg) < 0.05 else f"{'after' if off_deg > 0.0 else 'before'} compression TDC"


def _sentence(engine: Engine, chosen: int | None, saying: Saying, pointers: tuple[float, ...], off_deg: float | None) -> str:
    """The ring for somebody who does not see it."""
    order = ", ".join(map(str, engine.firing_order))
    words = f"Cycle ring of {engine.cycle_deg:.0f}°, firing order {order}, running {engine.running_direction}."
    words += f" Cylinder {chosen} is chosen." if chosen is not None else ""
    words += f" {_read(saying)}"
    if off_deg is not None and saying.mood in ("turn", "pressurised", "armed") and chosen is not None:
        words += f" The crank stands {_degrees(off_deg)} {_beside(off_deg)}."
    elif len(pointers) == 2:
        first = " or ".join(f"{angle_deg:.0f}°" for angle_deg in pointers)
        words += f" The crank stands {first} after compression TDC of cylinder {engine.firing_order[0]}."
    return words


def _read(saying: Saying) -> str:
    said = " ".join(part for part in (saying.figure, saying.below) if part)
    return f"{saying.above}: {said}." if said else f"{saying.above}."
