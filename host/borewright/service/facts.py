"""The facts that readiness is decided on, gathered from the bench's state."""

from __future__ import annotations

from math import inf

from borewire.messages import AirState

from borewright.core.conditions import (
    AirFacts,
    Condition,
    LinkFacts,
    PeopleFacts,
    PositionFacts,
    ReadinessFacts,
    ReferenceFacts,
    RigFacts,
    StillFacts,
    StrokeHoseFacts,
    evaluate,
)
from borewright.core.crank import tdc_window_deg
from borewright.core.readiness_table import AIR_ON, State
from borewright.service.channels import trouble_before_air
from borewright.service.places import place_undone
from borewright.service.state import BenchState
from borewright.session.session import Phase

__all__ = [
    "air_facts",
    "air_window_deg",
    "carried_over",
    "compression_tdc_count",
    "conditions_of",
    "degrees_from_any_tdc",
    "degrees_from_reference_tdc",
    "degrees_from_tdc",
    "reference_tdc_count",
    "said_vented",
    "window_deg",
]

CLOCK_SLACK_S = 3600.0
_AIR_STATES = AIR_ON | {State.VENTING}


def conditions_of(state: BenchState) -> tuple[Condition, ...]:
    """The eight conditions now."""
    facts = ReadinessFacts(
        engine=state.engine if state.purpose.kind == "test" else None,
        cylinder=state.purpose.cylinder,
        purpose=state.purpose.kind,
        link=_link(state),
        rig=_rig(state),
        reference=_reference(state),
        stroke_hose=_stroke_hose(state),
        position=_position(state),
        still=StillFacts(state.crank.moved_count, state.crank.observed_s) if state.crank else StillFacts(),
        air=air_facts(state),
        people=_people(state),
        gauged=bool(state.purpose.gauged_places),
    )
    return evaluate(facts, state.limits, state.now_s)


def said_vented(state: BenchState) -> bool:
    """Whether the rig has valves and says that they are as they should be; what was heard before the link was lost says nothing."""
    return state.has_valves and state.device_air is AirState.VENTED and state.lost is None


def _link(state: BenchState) -> LinkFacts:
    return LinkFacts(
        identified=state.session.identity is not None,
        streaming=state.session.phase is Phase.STREAMING and state.reading is not None,
        quiet_s=inf if state.trouble_s is None else state.now_s - state.trouble_s,
        trouble=state.lost or "",
    )


def _rig(state: BenchState) -> RigFacts:
    reading = state.reading
    vented = state.readiness.state in (State.VENTED, State.READY, State.ARMED) and reading is not None
    return RigFacts(
        zero_regulated_pa=reading.p_regulated_gauge_pa if vented and reading else None,
        zero_cylinder_pa=reading.p_cylinder_gauge_pa if vented and reading else None,
        zero_age_s=_check_age_s(state, "zero"),
        sealed_age_s=_check_age_s(state, "sealed"),
        restrictor_age_s=_check_age_s(state, "restrictor"),
        channel_trouble=trouble_before_air(state) if vented else None,
    )


def _check_age_s(state: BenchState, kind: str) -> float | None:
    check = state.checks.get(kind)
    if check is None or not check.passed:
        return None
    age_s = state.unix_s - check.made_at_unix_s
    return age_s if age_s < -CLOCK_SLACK_S else max(0.0, age_s)  # one dated in the future says that a clock is wrong


def _reference(state: BenchState) -> ReferenceFacts:
    crank = state.crank
    if crank is None:
        return ReferenceFacts()
    return ReferenceFacts(
        index_seen=crank.index_count is not None,
        index_spacing_ok=crank.index_spacing_ok,
        index_missed=crank.index_missed,
        tdc=state.tdc,
        fitting_confirmed=state.fitting_confirmed,
        stop_removed=(state.stop is None or state.stop.stop_removed) and not (state.tdc_way and state.tdc_way.in_the_way),
        peak_late_deg=state.peak_late_deg,
    )


def _stroke_hose(state: BenchState) -> StrokeHoseFacts:
    hose = state.hose
    return StrokeHoseFacts(
        stroke=state.stroke,
        hose=state.hose_evidence,
        boot_id=state.session.boot_id,
        hose_at=hose.cylinder if hose is not None and hose.outlet == "cylinder" else None,
        outlet_read_back=hose is not None and hose.outlet == state.purpose.outlet,
        verdict=state.verdict,
        check_valve=state.check_valve,
        squeeze_held=state.squeeze_held,
        by_puff=carried_over(state),
    )


def carried_over(state: BenchState) -> bool:
    """Whether the stroke of the purpose's cylinder stands by count, so that the hose may be read back and shown by the puff.

    A rig with hand valves makes no puff, so there each cylinder is squeezed.
    """
    stroke, hose = state.stroke, state.hose
    asked = state.carry_stroke and state.has_valves and state.purpose.kind == "test"
    placed = hose is not None and hose.outlet == "cylinder" and hose.cylinder == state.purpose.cylinder
    shown = stroke is not None and stroke.cylinder == state.purpose.cylinder and stroke.kind != "declared"
    return asked and placed and shown and stroke is not None and stroke.boot_id == state.session.boot_id


def reference_tdc_count(state: BenchState, cylinder: int) -> float | None:
    """A count at which this cylinder's piston is at TDC, on whichever stroke; None while the reference is not known."""
    crank, tdc, engine = state.crank, state.tdc, state.engine
    if crank is None or crank.index_count is None or tdc is None or engine is None or cylinder not in engine.firing_order:
        return None
    ahead_deg = engine.firing_angle_deg(cylinder) - engine.firing_angle_deg(tdc.reference_cylinder)
    sign = state.setup.running_sign
    return crank.index_count + tdc.counts_after_index + sign * ahead_deg / 360.0 * crank.counts_per_rev


def degrees_from_any_tdc(state: BenchState) -> float | None:
    """Where the crank stands, in degrees after the nearest TDC of the purpose's cylinder, on whichever stroke."""
    return _degrees_after_any_tdc(state, state.purpose.cylinder)


def degrees_from_reference_tdc(state: BenchState) -> float | None:
    """Where the crank stands by the stored true TDC, in degrees after the nearest TDC of the cylinder in which that was found."""
    return None if state.tdc is None else _degrees_after_any_tdc(state, state.tdc.reference_cylinder)


def _degrees_after_any_tdc(state: BenchState, cylinder: int) -> float | None:
    crank, tdc_count = state.crank, reference_tdc_count(state, cylinder)
    if crank is None or crank.last_count is None or tdc_count is None:
        return None
    after_deg = state.setup.running_sign * (crank.last_count - tdc_count) / crank.counts_per_rev * 360.0
    return (after_deg + 180.0) % 360.0 - 180.0


def compression_tdc_count(state: BenchState) -> float | None:
    """The compression TDC of the purpose's cylinder that lies nearest to where the crank is; None while it is not known."""
    crank, engine = state.crank, state.engine
    if crank is None or crank.last_count is None or engine is None:
        return None
    if engine.cycle == "two-stroke":
        anchor = reference_tdc_count(state, state.purpose.cylinder)
    elif state.stroke is not None and state.stroke.cylinder == state.purpose.cylinder:
        anchor = state.stroke.tdc_count
    else:
        anchor = None
    if anchor is None:
        return None
    cycle = engine.cycle_deg / 360.0 * crank.counts_per_rev
    return anchor + round((crank.last_count - anchor) / cycle) * cycle


def degrees_from_tdc(state: BenchState) -> float | None:
    """Where the crank stands, in degrees after the nearest compression TDC (negative: before)."""
    tdc_count = compression_tdc_count(state)
    crank = state.crank
    if tdc_count is None or crank is None or crank.last_count is None:
        return None
    return state.setup.running_sign * (crank.last_count - tdc_count) / crank.counts_per_rev * 360.0


def window_deg(state: BenchState) -> float:
    """How far from compression TDC the crank may stand: the smaller of the fixed limit and the torque-safe angle."""
    torque = state.torque_window_deg
    u_deg = state.tdc.u_deg if state.tdc else 0.0
    return state.limits.window_deg if torque is None else max(0.0, min(state.limits.window_deg, torque - 2.0 * u_deg))


def air_window_deg(state: BenchState) -> float:
    """The window with air on: wider by the stated slack of the restraint, but never beyond the torque-safe angle."""
    engine, u_deg = state.engine, state.tdc.u_deg if state.tdc else 0.0
    if engine is None or state.holding_torque_nm is None:
        return window_deg(state)
    setup = state.setup
    torque_deg = tdc_window_deg(
        engine.bore_m,
        engine.stroke_m,
        engine.rod_m,
        setup.regulated_high_gauge_pa,
        state.holding_torque_nm,
        setup.restraint_slack_deg,
        engine.pin_offset_m,
    )
    return max(0.0, torque_deg - 2.0 * u_deg)


def _position(state: BenchState) -> PositionFacts:
    crank = state.crank
    if crank is None:
        return PositionFacts()
    tdc_count = compression_tdc_count(state)
    return PositionFacts(
        count=crank.last_count,
        tdc_count=tdc_count,
        counts_per_rev=crank.counts_per_rev,
        running_sign=state.setup.running_sign,
        holding_torque_nm=state.holding_torque_nm,
        torque_window_deg=state.torque_window_deg,
        u_tdc_deg=state.tdc.u_deg if state.tdc else 0.0,
        approach=None if tdc_count is None else crank.approach(tdc_count, window_deg(state)),
    )


def air_facts(state: BenchState) -> AirFacts:
    """What is known of valves and pressures now."""
    reading = state.reading
    valves = state.has_valves
    host_shut = state.readiness.state not in _AIR_STATES
    return AirFacts(
        p_regulated_gauge_pa=reading.p_regulated_gauge_pa if reading else None,
        p_cylinder_gauge_pa=reading.p_cylinder_gauge_pa if reading else None,
        supply_shut=host_shut and state.device_air in (AirState.VENTED, AirState.CLOSED) if valves else None,
        vent_open=state.device_air is AirState.VENTED if valves else None,
        regulated_rising=state.regulated_leaks_in or state.supply_leaked,
        proven_gauge_pa=state.proven_gauge_pa,
        regulated_low_gauge_pa=state.regulated_range_gauge_pa[0],
        regulated_high_gauge_pa=state.regulated_range_gauge_pa[1],
    )


def _people(state: BenchState) -> PeopleFacts:
    confirmed, undone = state.confirmed, place_undone(state)
    at_places = "" if undone is None else undone.reason
    if confirmed is None:
        return PeopleFacts(at_places=at_places)
    crank = state.crank
    moved = 0.0
    if crank is not None and crank.last_count is not None:
        moved = confirmed.farthest_count / crank.counts_per_rev * 360.0
    return PeopleFacts(confirmed.points, confirmed.at_s, moved, at_places=at_places)
