"""From a finished capture to what is kept of it. Pure; takes some milliseconds, after the rig has been vented."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from borewright.core.capture import CaptureResult, CaptureUnusable, analyse_capture, marks_of_void
from borewright.core.engine import Engine
from borewright.core.fit_result import FitResult
from borewright.core.restrictor import Restrictor
from borewright.core.rig import CheckRefused
from borewright.core.samples import SampleColumns
from borewright.core.uncertainty import Budget
from borewright.service.channels import kept_noise_pa, marks_of_channels, void_by_channels
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.fitting import fit_test
from borewright.service.laws import Laws, laws_of
from borewright.service.reducer import CheckGiven, PointGiven, ProofGiven
from borewright.service.rig_results import check_of_points, check_of_sweep, point_of
from borewright.service.state import BenchState

__all__ = ["Analysed", "analyse", "analysed_as_dict", "computed_anew", "moved_zeros", "read_capture", "result_as_dict", "test_of"]

UNFIT_FOR_CHECKS = ("not steady", "a pressure channel was saturated", "samples are missing", "regulated pressure out of range")


@dataclass(frozen=True, slots=True)
class Analysed:
    """What one capture gave: a result or a reason why there is none, marks, and the check it makes when it was one.

    result: the numbers that are stated. read: as the steady part alone gives them. fit, budgets: of a test that is not void.
    """

    result: CaptureResult | None
    void_reason: str | None
    marks: tuple[str, ...]
    check: CheckGiven | PointGiven | ProofGiven | None = None
    read: CaptureResult | None = None
    fit: FitResult | None = None
    budgets: tuple[Budget, ...] = ()


def analyse(state: BenchState, done: Analyse, ambient: AirConditions) -> Analysed:
    """Analyse a capture with the transducers and the restrictor of the state."""
    transducers = state.transducers
    if transducers is None:
        return Analysed(None, done.void_reason or "the rig is not known", done.marks)
    if done.purpose.aim == "span":
        return _sweep(state, done)
    laws = laws_of(state, transducers, done.purpose, ambient)
    try:
        result = read_capture(done.columns, laws)
    except CaptureUnusable as unusable:
        return Analysed(None, done.void_reason or str(unusable), done.marks)
    then_pa = (transducers.regulated.zero_pa, transducers.cylinder.zero_pa)
    marks = (*done.marks, *result.marks, *moved_zeros(then_pa, result, state.limits.zero_moved_pa))
    if done.void_reason is not None:
        return Analysed(result, done.void_reason, marks_of_void(marks))
    wrong = void_by_channels(state, done, laws, result)
    if wrong is not None:
        return Analysed(result, wrong, marks_of_void(marks))
    of_channels = marks_of_channels(done.columns, laws, result, kept_noise_pa(state))
    marks += of_channels
    if done.purpose.kind == "test":
        return test_of(done.columns, laws, state.engine, marks, result, done.purpose.wet_oil_m3, explained=bool(of_channels))
    unfit = next(iter((*of_channels, *(mark for mark in result.marks if mark.startswith(UNFIT_FOR_CHECKS)))), None)
    if unfit is not None:
        return Analysed(result, f"the check cannot be used: {unfit}; make it again", marks)
    try:
        return Analysed(result, None, marks, _given(state, done, result, ambient))
    except (CaptureUnusable, CheckRefused) as unusable:
        return Analysed(result, str(unusable), marks)


def read_capture(columns: SampleColumns, laws: Laws) -> CaptureResult:
    """What the steady part and the decay say. Raises CaptureUnusable."""
    result = analyse_capture(
        columns,
        laws.by_name,
        laws.restrictor.area_m2,
        laws.p_ambient_abs_pa,
        laws.t_supply_k,
        laws.t_engine_k,
        laws.regulated_channel,
        laws.cylinder_channel,
        laws.regulated_range_gauge_pa,
        laws.instrument.dead_volume_m3,
    )
    return _by_curve(result, laws)


def test_of(
    columns: SampleColumns,
    laws: Laws,
    engine: Engine | None,
    marks: tuple[str, ...],
    read: CaptureResult,
    oil_m3: float,
    explained: bool,
) -> Analysed:
    """A test that is not void, from what was read: with the fit of its whole capture and the uncertainties.

    explained: one of the marks names a trouble of the channels.
    """
    best = fit_test(columns, laws, engine, read, oil_m3, explained)
    return Analysed(best.result, None, (*marks, *laws.assumed, *best.marks), read=read, fit=best.fit, budgets=best.budgets)


def computed_anew(columns: SampleColumns, laws: Laws, engine: Engine | None = None, oil_m3: float = 0.0) -> Analysed:
    """A test's numbers from its raw samples and the laws that the record kept, by the way that a live one takes.

    engine: for what contradicts its data, None: not looked at. oil_m3: of a wet test, as its purpose says. Raises CaptureUnusable
    when the samples hold no number.
    """
    read = read_capture(columns, laws)
    return test_of(columns, laws, engine, read.marks, read, oil_m3, explained=False)


def _by_curve(result: CaptureResult, laws: Laws) -> CaptureResult:
    """The leak area by the restrictor's own curve; the area of an ideal nozzle is exact only where both are choked."""
    if laws.restrictor.critical_ratio is None:
        return result
    p_up = result.p_regulated_gauge_pa + laws.p_ambient_abs_pa
    p_down = min(result.p_cylinder_gauge_pa + laws.p_ambient_abs_pa, p_up)
    ideal = float(Restrictor(laws.restrictor.area_m2).mass_flow_kg_s(p_up, p_down, laws.t_supply_k))
    own = float(laws.restrictor.mass_flow_kg_s(p_up, p_down, laws.t_supply_k))
    return replace(result, leak_area_m2=result.leak_area_m2 * own / ideal) if ideal > 0.0 else result


def moved_zeros(then_pa: tuple[float, float], result: CaptureResult, limit_pa: float) -> tuple[str, ...]:
    """Each capture takes its own zeros at vent; where they have moved far since the zeros were taken, something is amiss.

    then_pa: of the regulated and of the cylinder transducer.
    """
    now_pa = (result.zero_regulated_pa, result.zero_cylinder_pa)
    return tuple(
        f"the {name} transducer's zero has moved by {(now - then) / 1000:+.1f} kPa since it was taken"
        for name, now, then in zip(("regulated", "cylinder"), now_pa, then_pa, strict=True)
        if abs(now - then) > limit_pa
    )


def _sweep(state: BenchState, done: Analyse) -> Analysed:
    if done.void_reason is not None:
        return Analysed(None, done.void_reason, done.marks)
    try:
        check = check_of_sweep(state, done)
    except (CaptureUnusable, CheckRefused, ValueError) as unusable:
        return Analysed(None, str(unusable), done.marks)
    return Analysed(None, None, done.marks, CheckGiven(check))


def _given(state: BenchState, done: Analyse, result: CaptureResult, ambient: AirConditions) -> CheckGiven | PointGiven | ProofGiven:
    """A point of a round that goes on, or the check that all points make; a proof says only what the regulator gives."""
    if done.purpose.aim == "proof":
        return ProofGiven(result.p_regulated_gauge_pa)
    point = point_of(state, done, result, ambient)
    proven = result.p_regulated_gauge_pa if done.purpose.kind == "sealed" else state.proven_gauge_pa
    points: tuple[dict[str, Any], ...] = (point,)
    if state.round is not None and state.round.awaits(done.purpose):
        after = state.round.with_point(point)
        if after.next_purpose is not None:
            return PointGiven(point, proven)
        points = after.points
    return CheckGiven(check_of_points(state, done, points, result, ambient), proven if done.purpose.kind == "sealed" else None)


def analysed_as_dict(analysed: Analysed) -> dict[str, Any] | None:
    """What the record keeps of an analysed capture; None where there is nothing to keep."""
    if analysed.result is None:
        # a sweep has readings and no steady part
        return {"check": analysed.check.check.kind} if isinstance(analysed.check, CheckGiven) else None
    kept = result_as_dict(analysed.result)
    if analysed.read is not None:
        kept["read_directly"] = {
            "leakage_percent": analysed.read.leakage_percent,
            "leak_area_mm2": analysed.read.leak_area_m2 * 1e6,
        }
    if analysed.fit is not None:
        kept["fit"] = analysed.fit.as_dict()
    if analysed.budgets:
        kept["budgets"] = [budget.as_dict() for budget in analysed.budgets]
    return kept


def result_as_dict(result: CaptureResult) -> dict[str, Any]:
    """A result in plain numbers."""
    phases = result.phases
    return {
        "leakage_percent": result.leakage_percent,
        "leak_area_mm2": result.leak_area_m2 * 1e6,
        "p_regulated_gauge_pa": result.p_regulated_gauge_pa,
        "p_cylinder_gauge_pa": result.p_cylinder_gauge_pa,
        "t75_s": result.t75_s,
        "t50_s": result.t50_s,
        "t25_s": result.t25_s,
        "steady": result.steady,
        "slope_percent_per_s": result.slope_percent_per_s,
        "zero_regulated_pa": result.zero_regulated_pa,
        "zero_cylinder_pa": result.zero_cylinder_pa,
        "crank_moved_counts": result.crank_moved_counts,
        "phases": {
            "baseline": phases.baseline,
            "puff": phases.puff,
            "fill": phases.fill,
            "steady": phases.steady,
            "isolated": phases.isolated,
            "vent": phases.vent,
        },
    }
