"""The bench's state with what is known of rig and job from before: setup, checks, and nothing that was shown for something else."""

from __future__ import annotations

from dataclasses import replace

from borewright.core.motion import CrankTracker
from borewright.core.rig import RigCheck, RigSetup
from borewright.errors import LinkError
from borewright.service.checks import still_holding
from borewright.service.state import BenchState
from borewright.service.tdc import tdc_of_check
from borewright.service.transducers import transducers_of

__all__ = ["forgetting", "with_checks", "with_setup"]

SHOWN = (
    "hose",
    "squeeze",
    "squeeze_relieved",
    "stroke",
    "hose_evidence",
    "holding_torque_nm",
    "confirmed",
    "round",
    "cautions_confirmed",
    "fitting_confirmed",
    "peak_late_deg",
    "verdict",
    "torque_window_deg",
    "stop",
    "tdc_way",
)


def with_setup(state: BenchState, setup: RigSetup) -> BenchState:
    """With what is known of this rig, before its checks. Raises LinkError when the rig has not said who it is."""
    identity, channels = state.session.identity, state.session.channels
    if identity is None or not channels:
        raise LinkError("the rig is not known yet; wait until it has said who it is")
    crank = CrankTracker(identity.counts_per_rev, setup.running_sign, index_tolerance_count=state.limits.index_tolerance_count)
    return replace(state, setup=setup, transducers=transducers_of(channels, setup), crank=crank)


def with_checks(state: BenchState, checks: dict[str, RigCheck], *, again: bool = False) -> BenchState:
    """With the checks that the record holds of this rig: zeros, restrictor, true TDC, proven set pressure.

    Checks that were made with another setup of the rig do not hold and are left out. again: the rig has been worked at since its
    checks were known; what has become of the regulator since the sealed check is then known better in the state.
    """
    checks = still_holding(
        {kind: check for kind, check in checks.items() if kind == "tdc" or check.result.get("setup") == state.setup.fingerprint}
    )
    transducers, crank = state.transducers, state.crank
    if transducers is None or crank is None:
        raise LinkError("the rig is not known yet; wait until it has said who it is")
    zero, sealed, tdc = checks.get("zero"), checks.get("sealed"), checks.get("tdc")
    if zero is not None and zero.passed:
        transducers = transducers.with_zeros(float(zero.result["zero_regulated_pa"]), float(zero.result["zero_cylinder_pa"]))
    transducers = transducers.calibrated(checks)
    proven = _proven_gauge_pa(sealed) if sealed is not None and sealed.passed else None
    if again and sealed is not None and "sealed" in state.checks:
        proven = state.proven_gauge_pa
    engine_name = state.engine.name if state.engine is not None else ""
    known_tdc = tdc_of_check(tdc, crank, engine_name) if tdc is not None else None
    return replace(state, checks=dict(checks), transducers=transducers, proven_gauge_pa=proven, tdc=known_tdc)


def forgetting(state: BenchState) -> BenchState:
    """Without what was shown and said by the people: it was of another engine, or read with another setup of the rig."""
    fresh = BenchState(state.session)
    return replace(state, **{name: getattr(fresh, name) for name in SHOWN})


def _proven_gauge_pa(sealed: RigCheck) -> float:
    """What the regulator was left at: the pressure of the check's last capture."""
    points = sealed.result.get("points")
    last = points[-1] if points else sealed.result
    return float(last["p_regulated_gauge_pa"])
