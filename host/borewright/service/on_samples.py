"""What the samples change: crank, pressures, squeeze, zero, capture; and which events of readiness they are."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import numpy.typing as npt
from borewire.messages import AirState, VentOpen

from borewright.core.conditions import all_met
from borewright.core.place_meaning import place_words
from borewright.core.readiness_table import AIR_ON, Event, State
from borewright.core.samples import SampleColumns
from borewright.core.valve_times import longer
from borewright.service.air import close_capture, happen, renew_opening
from borewright.service.channels import proven_hint
from borewright.service.channels_live import take_channels, watch_channels_with_air
from borewright.service.effects import KeepChunk
from borewright.service.facts import conditions_of
from borewright.service.on_place import follow_oil, watch_place_gauge
from borewright.service.places import awaited_gauge
from borewright.service.puff import end_puff, end_watch, stands
from borewright.service.spare import take_streamed
from borewright.service.squeeze import watch_squeeze, watch_squeeze_pressure
from borewright.service.state import BenchState, Capturing, Reading
from borewright.service.work import Work
from borewright.service.zero import watch_zero

__all__ = ["decide", "take_samples"]

RECENT_S = 2.0
READ_SAMPLES = 32
LEAK_IN_PA = 1_000.0
LEAK_IN_SAMPLES = 500  # fewer would show the noise of the two transducers as a leak
LEAK_IN_S = 1.0  # or so long, of a rig that samples slowly
CHUNK_S = 0.5  # with what a disk takes to commit it, no more than the last second can be lost
STEADY_LIMIT_S = 60.0
TEST_STEADY_S = 3.5  # half a second more than the rule asks for, so that noise at its edge does not undo it
CHECK_STEADY_S = 6.0  # many tests rest on a check
PUFF_SLACK_S = 0.3
VENT_LIMIT_S = 20.0
VENT_ALARM_S = 5.0
STILL_FED_S = 1.0  # twice what the slowest valve that can still be used takes
SEALED_S = 10.0
DECAY_S = 30.0
AFTERWARDS_S = 0.6  # recorded once it is vented: twice what shows whether the zeros are where they were
RISES_WITHIN_S = 5.0  # a hand valve that has begun to open has let pressure in by then


def take_samples(work: Work, columns: SampleColumns) -> None:
    """Take new samples into the state."""
    transducers, crank = work.state.transducers, work.state.crank
    if transducers is None or crank is None or len(columns) == 0:
        return
    p_regulated, p_cylinder = transducers.gauge_pa(columns)
    recent = (*work.state.recent, columns)
    oldest_s = float(columns.t_s[-1]) - RECENT_S
    while len(recent) > 1 and float(recent[0].t_s[-1]) < oldest_s:
        recent = recent[1:]
    work.set(crank=crank.add(columns), reading=_reading(columns, p_regulated, p_cylinder), recent=recent)
    _follow_people(work, columns)
    follow_oil(work, columns)
    take_channels(work, columns)
    watch_zero(work, columns)
    watch_squeeze(work, columns, p_cylinder)
    _record(work, columns)
    take_streamed(work, columns)


def decide(work: Work, columns: SampleColumns) -> None:
    """Let happen what the samples show, once everything that came with them is known."""
    if work.state.reading is None or len(columns) == 0:
        return
    _watch_crank(work, columns)
    watch_channels_with_air(work)
    _watch_pressure(work)
    _watch_time(work)
    _watch_shut(work)
    _watch_capture(work)
    _watch_readiness(work)
    renew_opening(work)


def _reading(columns: SampleColumns, p_regulated: npt.NDArray[np.float64], p_cylinder: npt.NDArray[np.float64]) -> Reading:
    last = slice(-READ_SAMPLES, None)
    return Reading(
        float(columns.t_s[-1]),
        float(p_regulated[last].mean()),
        float(p_cylinder[last].mean()),
        float(max(p_regulated.max(), p_cylinder.max())),
    )


def _follow_people(work: Work, columns: SampleColumns) -> None:
    confirmed = work.state.confirmed
    if confirmed is not None:
        away = int(np.abs(columns.crank_count - confirmed.crank_count).max())
        if away > confirmed.farthest_count:
            work.set(confirmed=replace(confirmed, farthest_count=away))


def _record(work: Work, columns: SampleColumns) -> None:
    capture = work.state.capture
    if capture is None:
        return
    unkept = (*capture.unkept, columns)
    if unkept[-1].t_s[-1] - unkept[0].t_s[0] >= CHUNK_S:
        work.do(KeepChunk(SampleColumns.join(unkept)))
        unkept = ()
    work.set(capture=replace(capture, parts=(*capture.parts, columns), unkept=unkept, live=capture.live.add(columns)))


def _watch_crank(work: Work, columns: SampleColumns) -> None:
    opening = work.state.opening
    if opening is None or work.state.readiness.state not in AIR_ON:
        return
    if int(columns.crank_count.min()) < opening.low_count or int(columns.crank_count.max()) > opening.high_count:
        happen(work, Event.CRANK_LEFT_WINDOW)


def _watch_pressure(work: Work) -> None:
    state, reading = work.state, work.state.reading
    if reading is None:
        return
    now = state.readiness.state
    if now is State.SQUEEZING:
        watch_squeeze_pressure(work, reading)
    elif reading.p_highest_gauge_pa > state.regulated_range_gauge_pa[1] and now is not State.VENTING:
        happen(work, Event.OVER_PRESSURE)
    vented = now in (State.VENTED, State.READY, State.ARMED)
    # a hand valve opens slowly: the rise that was waited for has to be known before it makes the zeros look wrong
    awaited = now is State.READY and not state.has_valves
    seen_pa = state.limits.zero_pa if awaited else state.limits.seen_gauge_pa
    if vented and max(reading.p_regulated_gauge_pa, reading.p_cylinder_gauge_pa) > seen_pa:
        happen(work, Event.PRESSURE_SEEN)
    rising = work.state.readiness.state is State.FILLING and work.state.now_s - work.state.state_since_s < RISES_WITHIN_S
    # until the rig has answered that it vents, an opening may still be on its way over a slow line
    if _gone(state) and not rising and not work.state.session.awaits(VentOpen.TYPE):
        happen(work, Event.PRESSURE_GONE)
    leaks_in = vented and not awaited and _across_pa(work) > LEAK_IN_PA
    if leaks_in is not state.regulated_leaks_in:
        work.set(regulated_leaks_in=leaks_in)


def _gone(state: BenchState) -> bool:
    """Whether the latest samples show no pressure on either side."""
    reading = state.reading
    highest_pa = inf if reading is None else max(reading.p_regulated_gauge_pa, reading.p_cylinder_gauge_pa)
    return highest_pa < state.limits.vented_gauge_pa


def _across_pa(work: Work) -> float:
    """By how much the regulated pressure stands above the cylinder's, over the last samples since vented; 0 while too few."""
    transducers, recent = work.state.transducers, work.state.recent
    if transducers is None:
        return 0.0
    begin, samples = len(recent), 0
    while begin > 0 and samples < LEAK_IN_SAMPLES and float(recent[begin - 1].t_s[0]) >= work.state.vented_since_s:
        begin -= 1
        samples += len(recent[begin])
    if samples == 0 or (samples < LEAK_IN_SAMPLES and recent[-1].t_s[-1] - recent[begin].t_s[0] < LEAK_IN_S):
        return 0.0
    p_regulated, p_cylinder = transducers.raw_gauge_pa(np.concatenate([part.raw for part in recent[begin:]], axis=1))
    return float(p_regulated.mean() - p_cylinder.mean())


def _watch_time(work: Work) -> None:
    state = work.state
    since_s = state.now_s - state.state_since_s
    match state.readiness.state:
        case State.ARMED if state.countdown_until_s is not None and state.now_s >= state.countdown_until_s:
            happen(work, Event.COUNTDOWN_OVER)
        case State.PUFFING if since_s > state.limits.puff_s + PUFF_SLACK_S:
            end_puff(work)
        case State.WATCHING if since_s >= state.limits.watch_s and stands(state):
            end_watch(work)
        case State.HOLDING if since_s > state.limits.hold_renewal_s and (place := awaited_gauge(state)) is not None:
            _nobody_read(work, place)
        case State.HOLDING if since_s > state.limits.hold_renewal_s:
            work.say("note", "holding was not renewed for a minute; the test goes on")
            work.set(hold_asked=False)
            happen(work, Event.HOLD_OVER)
        # what a host that stood still has yet to read lasts longer than the rig took to vent
        case State.VENTING if state.has_valves and since_s > VENT_ALARM_S and not state.vent_alarmed and not _gone(state):
            work.set(vent_alarmed=True)
            work.say("alarm", "the pressure does not fall: SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing")
    opening = work.state.opening
    fed = work.state.readiness.state in (State.FILLING, State.HOLDING)
    if fed and opening is not None and work.state.now_s - opening.began_s > work.state.limits.opening_s:
        _watch_regulated(work)
        _watch_loss(work)


def _nobody_read(work: Work, place: str) -> None:
    """Pressure at a stopped place that nobody watches is let off."""
    reason = f"the gauge at the {place_words(place)} was not read within a minute"
    work.say("warning", reason)
    if work.state.capture is not None:
        work.set(capture=replace(work.state.capture, void_reason=reason))
    happen(work, Event.STOP)


def _watch_regulated(work: Work) -> None:
    """After an opening the regulated pressure has to be in range; a hand valve may take longer to get there."""
    state, reading, capture = work.state, work.state.reading, work.state.capture
    if reading is None or capture is None or not state.has_valves:
        return
    low_pa, high_pa = state.regulated_range_gauge_pa
    if not low_pa <= reading.p_regulated_gauge_pa <= high_pa:
        reason = f"the regulated pressure was {reading.p_regulated_gauge_pa / 1000:.0f} kPa, out of range, with air on"
        reason += proven_hint(state, reading.p_regulated_gauge_pa)
        work.say("warning", reason + "; set the regulator and test again")
        work.set(capture=replace(capture, void_reason=reason))
        happen(work, Event.STOP)


def _watch_shut(work: Work) -> None:
    """A supply that hangs open feeds the piston on, whatever the device says of it."""
    state, capture = work.state, work.state.capture
    said = state.has_valves and state.device_air is AirState.ISOLATED and state.readiness.state is State.ISOLATED
    if capture is None or not said or not capture.live.still_fed(STILL_FED_S * longer(state.setup.dead_volume_m3)):
        return
    reason = "the supply valve did not shut when it was told to"
    work.say("alarm", reason + ": SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing")
    work.set(capture=replace(capture, void_reason=reason))
    happen(work, Event.STOP)


def _watch_loss(work: Work) -> None:
    """A hose that has come off whips about for as long as air is on."""
    state, capture = work.state, work.state.capture
    if capture is None or not state.has_valves or state.readiness.state not in AIR_ON or not capture.live.lost_at_once:
        return
    reason = (
        "the pressure in the cylinder was lost at once with air on: the hose or the adapter has come off, or a valve stands open"
    )
    work.say("alarm", reason + "; keep clear until it is vented, then look")
    work.set(capture=replace(capture, void_reason=reason))
    happen(work, Event.STOP)


def _watch_capture(work: Work) -> None:
    capture = work.state.capture
    if capture is None:
        return
    if capture.purpose.aim == "span":
        _watch_sweep(work, capture)
    else:
        _watch_phases(work, capture)
    if work.state.readiness.state is State.ISOLATED and (capture.live.decay_done or _watched_long_enough(work.state)):
        happen(work, Event.ISOLATE_OVER)
    ended = work.state.capture
    if ended is not None and ended.ended_s is not None:
        gone = _vented_long_enough(work.state, ended)
        if gone or work.state.now_s - ended.ended_s > VENT_LIMIT_S:
            close_capture(work)


def _vented_long_enough(state: BenchState, capture: Capturing) -> bool:
    """The pressure is gone; where there is a number, the zeros have been seen once more."""
    if state.readiness.state is State.VENTING:
        return False
    number = capture.void_reason is None and capture.purpose.aim != "span" and state.readiness.state is State.VENTED
    return not number or state.now_s - state.state_since_s >= AFTERWARDS_S


def _watch_sweep(work: Work, capture: Capturing) -> None:
    """Beside a reference gauge the air stays on, by itself for the first time, then by each reading."""
    waited = work.state.now_s - work.state.state_since_s > STEADY_LIMIT_S
    if work.state.readiness.state is State.FILLING and work.state.has_valves and (capture.live.fill_done or waited):
        happen(work, Event.HOLD_ASKED)


def _watch_phases(work: Work, capture: Capturing) -> None:
    """Shut the supply once the reading is steady; where a person shuts it, see that it was."""
    watch_place_gauge(work)
    capture, now = work.state.capture or capture, work.state.readiness.state
    live, unread = capture.live, len(capture.place_readings) < len(capture.purpose.gauged_places)
    longer_s = CHECK_STEADY_S if capture.purpose.kind != "test" else TEST_STEADY_S
    settled = live.steady_for_s >= longer_s or work.state.now_s - work.state.state_since_s > STEADY_LIMIT_S
    if now is State.FILLING and settled and not (capture.settled or unread or work.state.hold_asked):
        work.set(capture=replace(capture, settled=True))
        happen(work, Event.SETTLED)
    if not work.state.has_valves and live.supply_shut and work.state.readiness.state in (State.FILLING, State.HOLDING):
        happen(work, Event.SHUT_SEEN)


def _watched_long_enough(state: BenchState) -> bool:
    """With a capped outlet there is no decay to see, only the rig's own leak."""
    capture = state.capture
    if capture is None or capture.shut_s is None:
        return False
    return state.now_s - capture.shut_s >= (SEALED_S if capture.purpose.kind == "sealed" else DECAY_S)


def _watch_readiness(work: Work) -> None:
    conditions = conditions_of(work.state)
    work.set(conditions=conditions)
    state = work.state.readiness.state
    if state in (State.VENTED, State.READY, State.ARMED):
        if all_met(conditions) and work.state.capture is None:
            happen(work, Event.READY_MET)
        elif state is not State.VENTED:
            happen(work, Event.READY_LOST)
