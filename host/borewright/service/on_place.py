"""What a person does and finds at the engine's places: cautions, stops, oil, what is heard, what the gauges there show."""

from __future__ import annotations

from dataclasses import replace

from borewright.core.heard import Heard, checked_neighbour
from borewright.core.place_meaning import place_words
from borewright.core.readiness_table import AIR_ON, Event, State
from borewright.core.samples import SampleColumns
from borewright.core.stopping import StopRule, stop_rules
from borewright.service import acts
from borewright.service.air import happen
from borewright.service.effects import KeepFinding
from borewright.service.evidence import drop_hose
from borewright.service.place_state import Oil, PlaceReading
from borewright.service.places import awaited_gauge, cautions_of, limit_of
from borewright.service.squeeze import break_off_squeeze
from borewright.service.state import BenchState
from borewright.service.work import Work

__all__ = [
    "confirm_caution",
    "fit_places",
    "follow_oil",
    "note_heard",
    "pour_oil",
    "read_place_gauge",
    "too_much",
    "watch_place_gauge",
]

HOLDS_LONG_S = 60.0  # after so long an unsteady reading counts as it is


def confirm_caution(work: Work, act: acts.ConfirmCaution) -> None:
    """Only a caution that the purpose asks for can be confirmed."""
    if any(caution == act.caution for _, caution in cautions_of(work.state.purpose, work.state.engine)):
        work.set(cautions_confirmed=work.state.cautions_confirmed | {act.caution})


def fit_places(work: Work, act: acts.FitPlaces) -> None:
    """What is stopped now. Never under pressure; what the people confirmed before no longer holds."""
    if work.state.readiness.locked:
        work.say("warning", "PRESSURISED: put nothing on and take nothing off until it is vented")
        return
    work.set(fitted=act, confirmed=None)
    happen(work, Event.READY_LOST)


def pour_oil(work: Work, act: acts.PourOil) -> None:
    """Oil is in and the hole open: the hose is off, and from here on the turns are counted."""
    if work.state.readiness.locked:
        work.say("warning", "PRESSURISED: do not turn or undo anything until it is vented")
        return
    break_off_squeeze(work)
    drop_hose(work)
    work.set(oil=Oil(act.cylinder, act.oil_m3), hose=None, confirmed=None)
    happen(work, Event.READY_LOST)


def follow_oil(work: Work, columns: SampleColumns) -> None:
    """Count the turns while the hose is not in the cylinder with the oil."""
    oil, hose = work.state.oil, work.state.hose
    if oil is not None and not (hose is not None and hose.outlet == "cylinder" and hose.cylinder == oil.cylinder):
        work.set(oil=oil.followed(columns, work.state.session.boot_id))


def note_heard(work: Work, act: acts.NoteHeard) -> None:
    """Keep how strong it comes out at a place; only while air is on is there anything to hear."""
    state = work.state
    engine, capture = state.engine, state.capture
    if engine is None or act.place not in engine.places:
        have = "" if engine is None else f"; it has {', '.join(map(place_words, engine.places))}"
        work.say("warning", f"this engine has no place {place_words(act.place)}{have}")
        return
    if capture is None or capture.purpose.kind != "test" or state.readiness.state not in AIR_ON:
        work.say("warning", "there is no air on to be heard; note what was heard before with borewright place note")
        return
    try:
        neighbour = checked_neighbour(engine, capture.purpose.cylinder, act.place, act.neighbour)
    except ValueError as wrong:
        work.say("warning", str(wrong))
        return
    found = Heard(act.place, act.strength, neighbour)
    work.do(KeepFinding(capture.purpose.cylinder, "heard", found.place, found.detail))
    work.say("note", f"kept: {found.words}")
    _go_on_holding(work)


def read_place_gauge(work: Work, act: acts.ReadPlaceGauge) -> None:
    """What the gauge at a place shows. Above the place's limit: shut, vent, void, whatever else was going on."""
    state, capture = work.state, work.state.capture
    rule = _rule(state, act.place)
    if capture is None or rule is None or act.place not in capture.purpose.gauged_places:
        work.say("warning", f"no gauge is to be read at the {place_words(act.place)} in this test")
        return
    if state.readiness.state not in AIR_ON or not act.gauge_pa > -20e3:  # not-a-number is refused too
        work.say("warning", "the gauge at a place is read while air is on, as a gauge pressure in its unit")
        return
    limit_pa = limit_of(rule)
    if act.gauge_pa > limit_pa:
        _keep(work, act.place, act.gauge_pa)
        too_much(work, act.place, act.gauge_pa, limit_pa)
        return
    if awaited_gauge(state) is None or any(reading.place == act.place for reading in capture.place_readings):
        work.say("note", "that is under the limit; the figure that counts is asked for once the reading is steady")
        _go_on_holding(work)
        return
    _keep(work, act.place, act.gauge_pa)
    if capture.purpose.flow_place and act.gauge_pa > rule.most_back_pressure_pa:
        work.say(
            "warning",
            f"{act.gauge_pa / 1000:.3g} kPa hold the leak back; an orifice that lets no more than "
            f"{rule.most_back_pressure_pa / 1000:.3g} kPa build up is better",
        )
    capture = replace(capture, place_readings=(*capture.place_readings, PlaceReading(act.place, act.gauge_pa)))
    work.set(capture=capture)
    if awaited_gauge(work.state) is not None:
        _go_on_holding(work)
    elif state.readiness.state is State.HOLDING:
        work.set(hold_asked=False)
        happen(work, Event.HOLD_OVER)


def too_much(work: Work, place: str, gauge_pa: float, limit_pa: float) -> None:
    """More pressure at a place than it may have."""
    at = place_words(place)
    reason = f"the gauge at the {at} showed {gauge_pa / 1000:.3g} kPa, more than the {limit_pa / 1000:.3g} kPa allowed there"
    work.say("alarm", reason + ("" if work.state.has_valves else "; SHUT AND VENT BY HAND"))
    if work.state.capture is not None:
        work.set(capture=replace(work.state.capture, void_reason=reason))
    happen(work, Event.STOP)


def watch_place_gauge(work: Work) -> None:
    """Once the reading is steady, the gauges at the places are due: air stays on until they have been read."""
    capture, state = work.state.capture, work.state
    if capture is None or not capture.purpose.gauged_places or state.readiness.state not in (State.FILLING, State.HOLDING):
        return
    long = state.now_s - capture.began_s > HOLDS_LONG_S
    if not capture.place_gauge_due and (capture.live.settled or long):
        work.set(capture=replace(capture, place_gauge_due=True))
        if state.has_valves and state.readiness.state is State.FILLING:
            happen(work, Event.HOLD_ASKED)


def _keep(work: Work, place: str, gauge_pa: float) -> None:
    capture = work.state.capture
    if capture is None:
        return
    purpose = capture.purpose
    if not purpose.flow_place:
        work.do(KeepFinding(purpose.cylinder, "stop_gauge", place, {"p_place_gauge_pa": gauge_pa}))
        return
    detail: dict[str, object] = {
        "orifice_area_m2": purpose.flow_orifice_m2,
        "u_orifice_relative": purpose.flow_u_relative,
        "p_place_gauge_pa": gauge_pa,
        "u_p_place_pa": purpose.u_gauge_pa,
        "p_cylinder_gauge_pa": _p_cylinder_gauge_pa(work.state),
    }
    work.do(KeepFinding(purpose.cylinder, "flow", place, detail))


def _p_cylinder_gauge_pa(state: BenchState) -> float:
    """Mean of the last two seconds, which a gauge that is read by eye also takes."""
    if state.transducers is None or not state.recent:
        return 0.0
    _, p_cylinder = state.transducers.gauge_pa(SampleColumns.join(state.recent))
    return float(p_cylinder.mean())


def _go_on_holding(work: Work) -> None:
    """The person is there and goes on: as good as asking to keep the air on."""
    if work.state.readiness.state is State.HOLDING:
        happen(work, Event.HOLD_ASKED)


def _rule(state: BenchState, place: str) -> StopRule | None:
    return None if state.engine is None else stop_rules(state.engine).get(place)
