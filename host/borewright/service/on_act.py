"""What the person's acts change."""

from __future__ import annotations

from dataclasses import asdict, replace

from borewright.core.crank import tdc_window_deg
from borewright.core.evidence import carry_over, may_be_carried
from borewright.core.place_meaning import place_words
from borewright.core.readiness_table import AIR_ON, Event, State
from borewright.core.restrictor_fit import BoreForm
from borewright.service import acts
from borewright.service.air import happen
from borewright.service.checks import keep_check
from borewright.service.evidence import carry_stroke, confirm_no_check_valve, drop_hose, read_back_hose
from borewright.service.gauge import end_sweep, read_gauge
from borewright.service.on_place import confirm_caution, fit_places, note_heard, pour_oil, read_place_gauge
from borewright.service.other_tdc import begin_tdc_way, pin_removed, take_tdc_reading
from borewright.service.places import awaited_gauge, cautions_of, wrong_place
from borewright.service.regulator import set_regulator, will_move_regulator, wrong_pressure
from borewright.service.rig_results import check_of_bore
from borewright.service.rounds import Round
from borewright.service.squeeze import begin_squeeze, break_off_squeeze
from borewright.service.state import BenchState, Confirmed
from borewright.service.tdc import begin_tdc, stop_removed, take_contact
from borewright.service.work import Work
from borewright.service.zero import begin_zero

__all__ = ["take_act"]


def take_act(work: Work, act: acts.Act) -> None:
    """Take one act of the person: into the log, then into the state."""
    _log(work, act)
    match act:
        case acts.SetPurpose(purpose):
            _set_purpose(work, purpose)
        case acts.PlaceHose():
            _place_hose(work, act)
        case acts.ReadBackHose(cylinder):
            read_back_hose(work, cylinder)
        case acts.ConfirmNoCheckValve():
            confirm_no_check_valve(work)
        case acts.CarryStroke(on):
            carry_stroke(work, on)
        case acts.BeginSqueeze():
            begin_squeeze(work)
        case acts.EndSqueeze():
            happen(work, Event.SQUEEZE_OVER)
        case acts.StateRestraint(holding_torque_nm):
            _state_restraint(work, holding_torque_nm)
        case acts.ConfirmFitting():
            work.set(fitting_confirmed=True)
        case acts.ConfirmPeople(points):
            _confirm(work, points)
        case acts.AskAir():
            if work.state.has_hold_switch and work.state.readiness.state is State.READY:
                work.say("note", "press the hold-to-run switch and keep it pressed")
            else:
                happen(work, Event.AIR_ASKED)
        case acts.SayShut():
            _say_shut(work)
        case acts.LetGo():
            happen(work, Event.AIR_RELEASED)
        case acts.SetHold(on):
            _set_hold(work, on)
        case acts.StopAll():
            happen(work, Event.STOP)
        case acts.BeginTdcWay():
            begin_tdc_way(work, act)
        case acts.TakeTdcReading():
            take_tdc_reading(work)
        case acts.ConfirmPinRemoved():
            pin_removed(work)
        case acts.BeginRound():
            work.set(round=Round.begun(act))
        case acts.StateBore(bore_m, u_bore_m, form):
            _state_bore(work, bore_m, u_bore_m, form)
        case acts.SetRegulator(gauge_pa):
            set_regulator(work, gauge_pa)
        case acts.ReadGauge(gauge_pa):
            read_gauge(work, gauge_pa)
        case acts.EndSweep():
            end_sweep(work)
        case acts.ConfirmCaution():
            confirm_caution(work, act)
        case acts.FitPlaces():
            fit_places(work, act)
        case acts.PourOil():
            pour_oil(work, act)
        case acts.NoteHeard():
            note_heard(work, act)
        case acts.ReadPlaceGauge():
            read_place_gauge(work, act)
        case acts.TakeZero():
            begin_zero(work)
        case acts.BeginTdc(cylinder, backlash_deg):
            begin_tdc(work, cylinder, backlash_deg)
        case acts.TakeContact(side):
            take_contact(work, side)
        case acts.ConfirmStopRemoved():
            stop_removed(work)


def _log(work: Work, act: acts.Act) -> None:
    detail = {key: sorted(value) if isinstance(value, frozenset) else value for key, value in asdict(act).items()}
    work.log("act", act=type(act).__name__, **detail)


def _locked(work: Work) -> bool:
    if work.state.readiness.locked:
        work.say("warning", "PRESSURISED: do not turn or undo anything until it is vented")
    return work.state.readiness.locked


def _set_purpose(work: Work, purpose: acts.Purpose) -> None:
    if _locked(work):
        return
    engine = work.state.engine
    if purpose.kind == "test" and engine is not None and purpose.cylinder not in engine.firing_order:
        names = ", ".join(map(str, engine.cylinders))
        work.say("warning", f"cylinder {purpose.cylinder} is not in this engine; it has {names}")
        return
    wrong = wrong_place(purpose, engine) or wrong_pressure(purpose, work.state.setup, engine)
    if wrong is not None:
        work.say("warning", wrong)
        return
    break_off_squeeze(work)
    drop_hose(work)
    before = work.state.purpose
    if purpose.kind != "test" and (before.aim, before.orifice_area_m2) != (purpose.aim, purpose.orifice_area_m2):
        work.set(hose=None)  # another orifice, or a gauge to be put on or taken off
    state = work.state
    stroke = state.stroke
    if purpose.kind == "test" and stroke is not None and state.engine is not None and state.crank is not None:
        stroke = (
            carry_over(stroke, state.engine, purpose.cylinder, state.crank.counts_per_rev, state.setup.running_sign)
            if may_be_carried(stroke, state.engine, purpose.cylinder)
            else None
        )
    still = {caution for _, caution in cautions_of(purpose, state.engine)}  # what stays fitted needs no second reading
    work.set(purpose=purpose, stroke=stroke, confirmed=None, verdict=None, cautions_confirmed=state.cautions_confirmed & still)
    work.set(torque_window_deg=_torque_window_deg(work.state))
    if will_move_regulator(work.state):
        work.set(proven_gauge_pa=None)
    happen(work, Event.READY_LOST)


def _place_hose(work: Work, act: acts.PlaceHose) -> None:
    if _locked(work):
        return
    break_off_squeeze(work)
    drop_hose(work)
    work.set(hose=act, confirmed=None, verdict=None)
    happen(work, Event.READY_LOST)


def _torque_window_deg(state: BenchState) -> float | None:
    engine = state.engine
    if engine is None or state.holding_torque_nm is None:
        return None
    return tdc_window_deg(
        engine.bore_m,
        engine.stroke_m,
        engine.rod_m,
        state.setup.regulated_high_gauge_pa,
        state.holding_torque_nm,
        pin_offset_m=engine.pin_offset_m,
    )


def _state_bore(work: Work, bore_m: float, u_bore_m: float, form: BoreForm) -> None:
    try:
        keep_check(work, check_of_bore(work.state, bore_m, u_bore_m, form))
    except ValueError as wrong:
        work.say("warning", f"the restrictor's bore cannot be that: {wrong}")


def _state_restraint(work: Work, holding_torque_nm: float) -> None:
    before = work.state.holding_torque_nm
    work.set(holding_torque_nm=holding_torque_nm)
    work.set(torque_window_deg=_torque_window_deg(work.state))
    if before is not None and holding_torque_nm < before and work.state.readiness.state in AIR_ON:
        happen(work, Event.STOP)  # the air was let in on the strength of more than that


def _confirm(work: Work, points: frozenset[str]) -> None:
    crank = work.state.crank
    if crank is not None and crank.last_count is not None:
        work.set(confirmed=Confirmed(points, work.state.now_s, crank.last_count))


def _say_shut(work: Work) -> None:
    if work.state.readiness.state in (State.FILLING, State.HOLDING) and work.state.capture is not None:
        work.set(capture=replace(work.state.capture, shut_said=True))
    happen(work, Event.SHUT_SEEN)


def _set_hold(work: Work, on: bool) -> None:
    awaited = awaited_gauge(work.state)
    if on:
        happen(work, Event.HOLD_ASKED)
    elif awaited is not None:
        work.say("warning", f"first type what the gauge at the {place_words(awaited)} shows; stop shuts and vents")
    elif work.state.readiness.state is State.HOLDING:
        work.set(hold_asked=False)
        happen(work, Event.HOLD_OVER)
