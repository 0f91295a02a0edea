"""The way to air and back: an event of readiness, and what its actions do to the state, the wire and the record.

This is the only place that puts an opening onto the wire.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor

import numpy as np
from borewire.messages import SupplyOpen, SupplyShut, VentClose, VentOpen

from borewright.core.live import LiveCapture
from borewright.core.readiness_table import VOID_REASONS, Action, Event, State
from borewright.core.samples import SampleColumns
from borewright.service.acts import Purpose
from borewright.service.effects import AirRefused, Analyse, BeginCapture, KeepChunk
from borewright.service.facts import air_window_deg, compression_tdc_count, conditions_of
from borewright.service.readings import GaugeReading, mean_reading
from borewright.service.state import BenchState, Capturing, Opening
from borewright.service.work import Work

__all__ = ["SHUT_SAID", "close_capture", "happen", "marks_of_opening", "renew_opening"]

SHUT_SAID = "when the supply was shut is the person's word"
COUNTDOWN_S = 3.0
RENEW_EVERY_S = 0.2
OPEN_FOR_MS = 1000
ISOLATE_MS = 45_000
SQUEEZE_MS = 100_000


def happen(work: Work, event: Event) -> None:
    """Let the event happen to readiness and carry out what it asks for."""
    before = work.state.readiness
    conditions = conditions_of(work.state) if event is Event.COUNTDOWN_OVER else work.state.conditions
    after, actions = before.apply(event, work.state.now_s, conditions)
    work.set(readiness=after)
    if after.state is not before.state:
        work.set(state_since_s=work.state.now_s, vent_alarmed=False)
        if after.state is State.VENTED and before.state not in (State.READY, State.ARMED):
            work.set(vented_since_s=work.state.now_s)
        capture = work.state.capture
        if after.state is State.ISOLATED and capture is not None:
            work.set(capture=replace(capture, shut_s=work.state.now_s))
        work.log("readiness", before=before.state.value, event=event.value, after=after.state.value)
    for action in actions:
        _carry_out(work, action, event)


def _carry_out(work: Work, action: Action, event: Event) -> None:
    match action:
        case Action.CLOSE_VENT:
            _close_vent(work)
        case Action.VENT:
            _vent(work)
            if not work.state.has_valves:
                work.say("note", "open the vent by hand")
        case Action.SHUT_AND_VENT:
            work.set(countdown_until_s=None, opening=None)
            _vent(work)
            if not work.state.has_valves and work.state.pressurised:
                work.say("alarm", "SHUT THE SUPPLY AND OPEN THE VENT BY HAND NOW")
        case Action.START_COUNTDOWN:
            wait_s = 0.0 if work.state.has_hold_switch else COUNTDOWN_S
            work.set(countdown_until_s=work.state.now_s + wait_s)
            work.say("note", f"air in {wait_s:.0f} seconds: keep clear" if wait_s else "air: keep clear")
        case Action.BEGIN_CAPTURE:
            _begin_capture(work)
        case Action.OPEN_PUFF:
            work.set(countdown_until_s=None)
            _open(work, round(work.state.limits.puff_s * 1000))
        case Action.OPEN_FULL:
            _open(work, OPEN_FOR_MS)
        case Action.RENEW:
            work.set(hold_asked=True, state_since_s=work.state.now_s)
        case Action.ISOLATE:
            if work.state.has_valves:
                work.send(SupplyShut(0, ISOLATE_MS))
        case Action.VOID:
            _end_capture(work, work.state.capture.void_reason if work.state.capture else None, VOID_REASONS.get(event))
        case Action.COMPLETE:
            _end_capture(work, None, None)
        case Action.SOUND_ALARM:
            work.say(
                "alarm",
                VOID_REASONS.get(event, "pressure where there should be none")
                + "; do not turn or undo anything until it is vented",
            )
        case Action.REFUSE:
            reasons = tuple(f"{c.reason}" for c in conditions_of(work.state) if not c.met) or ("the rig is still under pressure",)
            work.do(AirRefused(work.state.purpose.cylinder, reasons))
            work.log("air_refused", reasons=list(reasons))
        case Action.ADVISE_OPEN:
            work.say("note", "ready for air: open the supply by hand, slowly")
        case Action.ADVISE_SHUT:
            work.say("note", "shut the supply by hand and leave the vent closed")


def _vent(work: Work) -> None:
    if work.state.has_valves:
        work.send(VentOpen(0))


def _close_vent(work: Work) -> None:
    transducers, setup = work.state.transducers, work.state.setup
    if work.state.has_valves and transducers is not None:
        limit_pa = work.state.limits.squeeze_vent_fraction * setup.rated_cylinder_side_gauge_pa
        work.send(VentClose(0, SQUEEZE_MS, transducers.limit_raw(transducers.cylinder, limit_pa)))


def _new_opening(work: Work) -> Opening | None:
    """The window that readiness was decided on, as the opening's own."""
    state = work.state
    crank = state.crank
    if crank is None or crank.last_count is None:
        return None
    centre = compression_tdc_count(state) if state.purpose.kind == "test" else float(crank.last_count)
    if centre is None:
        return None
    slack = air_window_deg(state) / 360.0 * crank.counts_per_rev
    number = state.opening_number % 0xFFFF + 1
    opening = Opening(number, ceil(centre - slack), floor(centre + slack), state.now_s, state.now_s)
    work.set(opening=opening, opening_number=number)
    return opening


def _open(work: Work, time_limit_ms: int) -> None:
    """Put an opening onto the wire."""
    opening = _new_opening(work)
    if opening is not None:
        _send_open(work, opening, time_limit_ms)


def _send_open(work: Work, opening: Opening, time_limit_ms: int, *, renewal: bool = False) -> None:
    transducers, high_pa = work.state.transducers, work.state.regulated_range_gauge_pa[1]
    if transducers is None:
        return
    work.send(
        SupplyOpen(
            0,
            opening.opening_id,
            time_limit_ms,
            opening.low_count,
            opening.high_count,
            transducers.limit_raw(transducers.regulated, high_pa),
            transducers.limit_raw(transducers.cylinder, high_pa),
        ),
        renewal=renewal,
    )


def renew_opening(work: Work) -> None:
    """While air is held on, renew the device's time limit before it runs out."""
    state = work.state
    if state.opening is None or not state.has_valves or state.readiness.state not in (State.FILLING, State.HOLDING):
        return
    if state.now_s - state.opening.renewed_s >= RENEW_EVERY_S:
        renewed = replace(state.opening, renewed_s=state.now_s)
        work.set(opening=renewed)
        _send_open(work, renewed, OPEN_FOR_MS, renewal=True)


# ---------------------------------------------------------------------- the capture


def _begin_capture(work: Work) -> None:
    state = work.state
    if state.transducers is None or state.capture is not None or not state.recent:
        return
    live = LiveCapture(state.transducers.laws, state.transducers.regulated_channel, state.transducers.cylinder_channel)
    for part in state.recent:
        live = live.add(part)
    work.set(capture=Capturing(state.purpose, state.conditions, state.recent, state.recent, live, state.now_s))
    work.do(BeginCapture(state.purpose))
    if not state.has_valves:
        _new_opening(work)  # the host alone watches the crank's window


def _end_capture(work: Work, first_reason: str | None, reason: str | None) -> None:
    capture = work.state.capture
    if capture is not None and capture.ended_s is None:
        work.set(capture=replace(capture, ended_s=work.state.now_s, void_reason=first_reason or reason))


def close_capture(work: Work) -> None:
    """Hand the capture over: its last samples, then its analysis."""
    capture = work.state.capture
    if capture is None:
        return
    if capture.unkept:
        work.do(KeepChunk(SampleColumns.join(capture.unkept)))
    marks = marks_of_opening(work.state, capture)
    if capture.shut_said:
        marks += (SHUT_SAID,)
    ended_s = work.state.now_s if capture.ended_s is None else capture.ended_s
    void_reason = capture.void_reason or _unread(capture)
    columns = SampleColumns.join(capture.parts)
    readings = (*_at_vent(work.state, capture, columns), *capture.readings) if capture.readings else ()
    work.do(Analyse(capture.purpose, columns, capture.shut_s, ended_s, void_reason, marks, readings))
    work.set(capture=None, opening=None, hold_asked=False)


def marks_of_opening(state: BenchState, capture: Capturing) -> tuple[str, ...]:
    """What was not measured or was waived when air was let in, and what sets this test apart from a plain one."""
    return (*(mark for condition in capture.conditions for mark in condition.marks), *_of_places(state, capture.purpose))


def _of_places(state: BenchState, purpose: Purpose) -> tuple[str, ...]:
    """What sets this test apart from a plain one."""
    said = []
    if purpose.stopped:
        said.append(f"stopped: {', '.join(purpose.stopped).replace('_', ' ')}")
    if purpose.flow_place:
        said.append(f"flow of the {purpose.flow_place.replace('_', ' ')} led through an orifice")
    if purpose.wet_oil_m3:
        said.append(f"wet: {purpose.wet_oil_m3 * 1e6:.3g} cm³ of oil")
    elif state.oil is not None and purpose.kind == "test" and state.oil.cylinder == purpose.cylinder:
        said.append("oil was put into this cylinder before this test")
    return tuple(said)


def _unread(capture: Capturing) -> str | None:
    """A pressure that nobody read at a stopped place says nothing of what got past the stop, and was not watched either."""
    read = {reading.place for reading in capture.place_readings}
    left = [place.replace("_", " ") for place in capture.purpose.gauged_places if place not in read]
    return f"the gauge at the {', '.join(left)} was not read" if left else None


def _at_vent(state: BenchState, capture: Capturing, columns: SampleColumns) -> tuple[GaugeReading, ...]:
    """The first reading of a sweep: both channels before the air came, when the gauge had been set to zero."""
    if state.transducers is None:
        return ()
    before = columns.between(0, int(np.searchsorted(columns.t_s, capture.began_s)))
    reading, _ = mean_reading(state.transducers, before, 0.0)
    return (reading,) if reading.at_s else ()
