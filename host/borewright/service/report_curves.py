"""The curves of a report: how each cylinder filled and bled down, of the latest test that counts at each stage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.report.model import Chart, Course
from borewright.service.comparing import Curve, decay_curves

if TYPE_CHECKING:
    from borewright.service.report_numbers import Shown
    from borewright.service.report_results import StageTests
    from borewright.store import Store
    from borewright.store.records import CaptureRecord

__all__ = ["charts_of"]

FULL = 0.97  # of the pressure before the shut: so far the filling is shown
ROOM = 1.5  # and so much longer
EMPTY = 0.08  # of the pressure at the shut: so far the decay is shown
BEFORE_VENT = 0.03  # of the decay, left out at its end: the mean of a stretch may reach into the vent
LONGEST_DECAY_S = 60.0


@dataclass(frozen=True, slots=True)
class _Drawn:
    """What is drawn of one test; every time in seconds."""

    stage: str
    later: bool
    curve: Curve
    shut_s: float
    filled_s: float
    vented_s: float
    half_s: float | None


def charts_of(store: Store, stages: Sequence[StageTests], cylinders: Sequence[int], shown: Shown) -> tuple[Chart, ...]:
    """A chart for each cylinder that has a curve. Raises StoreError where samples cannot be read."""
    drawn = {cylinder: _drawn_of(store, stages, cylinder) for cylinder in cylinders}
    every = [one for of_cylinder in drawn.values() for one in of_cylinder]
    if not every:
        return ()
    fill_s = ROOM * max(one.filled_s for one in every)
    return tuple(_chart(cylinder, of_cylinder, fill_s, shown) for cylinder, of_cylinder in drawn.items() if of_cylinder)


def _drawn_of(store: Store, stages: Sequence[StageTests], cylinder: int) -> list[_Drawn]:
    found = []
    for number, stage in enumerate(stages):
        for test in stage.standing(cylinder)[-1:]:
            curve = decay_curves(store, test.id)
            if curve is not None and len(curve.t_s) > 1:
                found.append(_drawn(stage.label, number == len(stages) - 1, curve, test))
    return found


def _drawn(stage: str, later: bool, curve: Curve, test: CaptureRecord) -> _Drawn:
    result = test.result or {}
    end_s = curve.t_s[-1]
    shut_s = curve.shut_s if curve.shut_s is not None else end_s
    level = float(result.get("p_cylinder_gauge_pa") or max(curve.p_cylinder_gauge_pa))
    filled_s = next((t for t, p in zip(curve.t_s, curve.p_cylinder_gauge_pa, strict=True) if p >= FULL * level), shut_s)
    half_s = result.get("t50_s")
    vented_s = _vented_s(test, curve)
    return _Drawn(stage, later, curve, shut_s, min(filled_s, shut_s), vented_s, None if half_s is None else float(half_s))


def _vented_s(test: CaptureRecord, curve: Curve) -> float:
    """When the vent opened: the samples come evenly, so that the length of the fill gives their distance."""
    phases = (test.result or {}).get("phases") or {}
    fill, isolated = phases.get("fill"), phases.get("isolated")
    if curve.shut_s is None or not fill or not isolated or isolated[0] <= fill[0]:
        return curve.t_s[-1]
    return curve.shut_s * float(isolated[1] - fill[0]) / float(isolated[0] - fill[0])


def _chart(cylinder: int, drawn: Sequence[_Drawn], fill_s: float, shown: Shown) -> Chart:
    fills, decays, halves = [], [], []
    for one in drawn:
        fills.append(_course(one, 0.0, min(fill_s, one.shut_s), shown))
        if one.curve.shut_s is not None:
            decays.append(_course(one, one.shut_s, min(_emptied_s(one), one.shut_s + LONGEST_DECAY_S), shown))
        if one.half_s is not None:
            halves.append(f"{one.half_s:.2f} s {one.stage}" if len(drawn) > 1 else f"{one.half_s:.2f} s")
    words = f"half gone after {', '.join(halves)}" if halves else ""
    return Chart(
        cylinder,
        tuple(course for course in fills if len(course.t_s) > 1),
        tuple(course for course in decays if len(course.t_s) > 1),
        words,
    )


def _emptied_s(one: _Drawn) -> float:
    points = list(zip(one.curve.t_s, one.curve.p_cylinder_gauge_pa, strict=True))
    start = next((p for t, p in points if t >= one.shut_s), 0.0)
    return next((t for t, p in points if t > one.shut_s and p < EMPTY * start), one.vented_s) if start > 0.0 else one.vented_s


def _course(one: _Drawn, from_s: float, to_s: float, shown: Shown) -> Course:
    """The part of a curve between two times, counted from the first of them."""
    scale = shown.of(1.0, "pressure_gauge", "psi")
    end_s = min(to_s, one.vented_s - BEFORE_VENT * (one.vented_s - one.shut_s) if from_s > 0.0 else to_s)
    kept = [
        (t - from_s, p * scale) for t, p in zip(one.curve.t_s, one.curve.p_cylinder_gauge_pa, strict=True) if from_s <= t <= end_s
    ]
    return Course(one.stage, tuple(t for t, _ in kept), tuple(p for _, p in kept), later=one.later)
