"""Which figures matter most at this moment of a test, and how large: what is drawn, without Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from borewright.core.readiness_table import State
from borewright.service.facts import degrees_from_tdc, window_deg

if TYPE_CHECKING:
    from borewright.service.going_round import Visit
    from borewright.service.shown_units import ShownUnits
    from borewright.service.state import BenchState
    from borewright.service.view_test import ResultView

__all__ = ["CONDITION_LABELS", "Figure", "Figures", "figures_of"]

CONDITION_LABELS: Final[Mapping[str, str]] = {
    "link": "Link",
    "rig": "Rig checked",
    "reference": "True TDC",
    "stroke_and_hose": "Stroke and hose",
    "position": "At TDC",
    "still": "Crank still",
    "air": "Vented, set",
    "people": "People",
}
"""The eight conditions as they stand in the list."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure with its unit, a caption and a line below. air: on the colour of PRESSURISED."""

    caption: str
    figure: str
    unit: str = ""
    below: str = ""
    air: bool = False


@dataclass(frozen=True, slots=True)
class Figures:
    """The figure that counts most now, and those beside it."""

    most: Figure
    beside: tuple[Figure, Figure]


def figures_of(state: BenchState | None, units: ShownUnits, result: ResultView | None, visit: Visit | None) -> Figures:
    """The figures of this moment.

    result: the test that has just been made, visit: the one that would be begun next; both None while a test is under way.
    """
    if state is None or state.reading is None:
        dash = Figure("Regulated", "–"), Figure("Cylinder", "–")
        return Figures(Figure("To compression TDC", "–"), dash)
    reading = state.reading
    regulated = _pressure("Regulated", reading.p_regulated_gauge_pa, units)
    cylinder = _pressure("Cylinder", reading.p_cylinder_gauge_pa, units)
    if state.readiness.locked:
        return Figures(_with_air(state, units), (regulated, cylinder))
    if state.readiness.state is State.SQUEEZING:
        highest = _pressure("Highest so far", state.squeeze_highest_pa, units)
        return Figures(replace(cylinder, caption="Cylinder, squeezed"), (highest, regulated))
    if result is not None:
        return Figures(_of_result(result, units), (regulated, cylinder))
    return Figures(_to_tdc(state) if visit is None else _of_visit(visit), (regulated, cylinder))


def _pressure(caption: str, gauge_pa: float, units: ShownUnits) -> Figure:
    return Figure(caption, _whole(units.number(gauge_pa, "pressure_gauge", "kPa")), units.unit("pressure_gauge", "kPa"))


def _whole(number: str) -> str:
    """No minus before nothing.

    >>> _whole("-0"), _whole("-0.00"), _whole("-3")
    ('0', '0.00', '-3')
    """
    return number.removeprefix("-") if not number.strip("-0.") else number


def _with_air(state: BenchState, units: ShownUnits) -> Figure:
    capture, reading = state.capture, state.reading
    if reading is None:
        return Figure("In the rig", "–", air=True)
    at = state.readiness.state
    if capture is not None and at in (State.FILLING, State.HOLDING, State.PUFFING, State.WATCHING):
        percent = capture.live.leakage_percent
        pair = "/".join(
            _whole(units.number(pa, "pressure_gauge", "psi")) for pa in (reading.p_regulated_gauge_pa, reading.p_cylinder_gauge_pa)
        )
        below = f"reads {pair} {units.unit('pressure_gauge', 'psi')}"
        if percent is None:
            return Figure("Leakage, live", "–", "%", "the cylinder fills" if at is State.FILLING else below, air=True)
        return Figure("Leakage, live", f"{percent:.1f}", "%", below, air=True)
    highest_pa = max(reading.p_regulated_gauge_pa, reading.p_cylinder_gauge_pa)
    if at is State.ISOLATED:
        below = "bleeding away, supply shut"
        return _aired("In the cylinder", reading.p_cylinder_gauge_pa, below, units)
    return _aired("Still in the rig", highest_pa, "do not turn or undo anything", units)


def _aired(caption: str, gauge_pa: float, below: str, units: ShownUnits) -> Figure:
    number = _whole(units.number(gauge_pa, "pressure_gauge", "kPa"))
    return Figure(caption, number, units.unit("pressure_gauge", "kPa"), below, air=True)


def _of_result(result: ResultView, units: ShownUnits) -> Figure:
    caption = f"Leakage, cylinder {result.cylinder}, test {result.test}"
    if result.void_reason is not None or result.figures is None:
        return Figure(caption, "VOID", "", result.void_reason or "no figure could be worked out")
    value, *stated = result.figures.leakage_number.split(" ", 1)  # the figure large, what is uncertain of it beside
    return Figure(caption, value, f"{stated[0]} %" if stated else "%", f"reads {result.figures.pair_words(units)}")


def _of_visit(visit: Visit) -> Figure:
    ahead = "" if visit.turn_deg is None else "the crank stands there" if visit.here else f"{visit.turn_deg:.0f}° ahead"
    return Figure("Next: cylinder", str(visit.cylinder), "", ahead)


def _to_tdc(state: BenchState) -> Figure:
    off_deg = degrees_from_tdc(state) if state.purpose.kind == "test" else None
    if off_deg is None:
        if state.purpose.kind != "test":
            return Figure("To compression TDC", "–", "", "no test is under way")
        return Figure("Cylinder under test", str(state.purpose.cylinder), "", "its compression TDC is not shown yet")
    size = abs(off_deg)
    figure = f"{size:.1f}" if size < 9.95 else f"{size:.0f}"
    side = "on TDC" if size < 0.05 else "after TDC" if off_deg > 0.0 else "before TDC"
    caption = f"To compression TDC of cylinder {state.purpose.cylinder}"
    inside = f", inside ±{window_deg(state):.1f}°" if size <= window_deg(state) else ""
    return Figure(caption, f"{figure}°", "", side + inside)
