"""From a finished capture to what is kept of it. Pure; takes some milliseconds, after the rig has been vented."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from borewright.core.capture import CaptureResult, CaptureUnusable, analyse_capture
from borewright.core.rig import RigCheck
from borewright.core.rigchecks import read_restrictor, read_sealed
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.reducer import CheckGiven
from borewright.service.state import BenchState

__all__ = ["Analysed", "analyse", "result_as_dict"]

UNFIT_FOR_CHECKS = ("not steady", "a pressure channel was saturated", "samples are missing", "regulated pressure out of range")


@dataclass(frozen=True, slots=True)
class Analysed:
    """What one capture gave: a result or a reason why there is none, marks, and the check it makes when it was one."""

    result: CaptureResult | None
    void_reason: str | None
    marks: tuple[str, ...]
    check: CheckGiven | None = None


def analyse(state: BenchState, done: Analyse, ambient: AirConditions) -> Analysed:
    """Analyse a capture with the transducers and the restrictor of the state."""
    transducers = state.transducers
    if transducers is None:
        return Analysed(None, done.void_reason or "the rig is not known", done.marks)
    try:
        result = analyse_capture(
            done.columns,
            transducers.laws,
            state.restrictor_area_m2,
            ambient.p_ambient_abs_pa,
            ambient.t_supply_k,
            ambient.t_engine_k if done.purpose.kind == "test" else None,
            transducers.regulated_channel,
            transducers.cylinder_channel,
            (state.setup.regulated_low_gauge_pa, state.setup.regulated_high_gauge_pa),
        )
    except CaptureUnusable as unusable:
        return Analysed(None, done.void_reason or str(unusable), done.marks)
    marks = (*done.marks, *result.marks)
    if done.void_reason is not None or done.purpose.kind == "test":
        return Analysed(result, done.void_reason, (*marks, *ambient.assumed))
    unfit = next((mark for mark in result.marks if mark.startswith(UNFIT_FOR_CHECKS)), None)
    if unfit is not None:
        return Analysed(result, f"the check cannot be used: {unfit}; make it again", marks)
    try:
        return Analysed(result, None, marks, _check(state, done, result, ambient))
    except CaptureUnusable as unusable:
        return Analysed(result, str(unusable), marks)


def _check(state: BenchState, done: Analyse, result: CaptureResult, ambient: AirConditions) -> CheckGiven:
    transducers, identity, setup = state.transducers, state.session.identity, state.setup
    if transducers is None or identity is None:
        raise CaptureUnusable("The rig was lost before the check was read; make the check again.")
    kept: dict[str, float | int | str | bool]
    if done.purpose.kind == "sealed":
        sealed = read_sealed(
            done.columns,
            transducers.cylinder,
            result,
            done.shut_s,
            done.ended_s,
            setup.dead_volume_m3 + setup.hose_volume_m3,
            ambient.p_ambient_abs_pa,
            ambient.t_supply_k,
            transducers.cylinder_channel,
        )
        kept = {
            "setup": setup.fingerprint,
            "own_leak_area_m2": sealed.own_leak_area_m2,
            "tie_share": sealed.tie_share,
            "p_regulated_gauge_pa": sealed.p_regulated_gauge_pa,
        }
        check = RigCheck("sealed", state.unix_s, state.who, identity.serial_number, sealed.passed, kept)
        return CheckGiven(check, sealed.p_regulated_gauge_pa)
    restrictor = read_restrictor(
        result, done.purpose.orifice_area_m2, setup.restrictor_area_m2, ambient.p_ambient_abs_pa, ambient.t_supply_k
    )
    kept = {
        "setup": setup.fingerprint,
        "area_m2": restrictor.area_m2,
        "orifice_area_m2": done.purpose.orifice_area_m2,
        "p_regulated_gauge_pa": result.p_regulated_gauge_pa,
        "p_cylinder_gauge_pa": result.p_cylinder_gauge_pa,
    }
    return CheckGiven(RigCheck("restrictor", state.unix_s, state.who, identity.serial_number, restrictor.passed, kept))


def result_as_dict(result: CaptureResult) -> dict[str, Any]:
    """A result as the record keeps it: plain numbers and words."""
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
