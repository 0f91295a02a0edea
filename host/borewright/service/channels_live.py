"""Channel sense while it happens: the two channels are followed, and a test ends when one of them cannot be believed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from borewire.messages import Cause, FaultCode

from borewright.core.channel_capture import stands_above, swapped_rise
from borewright.core.channel_sense import CHANNEL_NAMES, frozen_trouble, no_signal_words
from borewright.core.channel_watch import ChannelWatch
from borewright.core.readiness_table import AIR_ON, Event, State
from borewright.core.samples import SampleColumns
from borewright.service.air import happen
from borewright.service.channels import kept_noise_pa
from borewright.service.state import Capturing
from borewright.service.transducers import Transducers
from borewright.service.work import Work

__all__ = ["SWAPPED", "name_channel_fault", "name_over_pressure", "take_channels", "watch_channels_with_air"]

SWAPPED = "the two transducers are swapped, or the regulated one does not follow: the cylinder side rose first when air was let in"
SWAPPED_REMEDY = (
    "See that the regulated one's line is not blocked; else change their plugs or hoses over, and make the checks again."
)
_NO_SIGNAL = "gives no signal"
_PROVEN = "; the sealed check showed"
_VENTED = (State.VENTED, State.READY, State.ARMED)
_SENSOR_FAULTS = (FaultCode.SENSOR_REGULATED_RANGE, FaultCode.SENSOR_CYLINDER_RANGE)
_TRIP_PARTS = 4  # reads before a trip that are looked at
_JUDGED_AFTER_S = 0.05  # of the first rise: then it is known which side came first


def take_channels(work: Work, columns: SampleColumns) -> None:
    """Follow both channels; vented and under pressure are apart, for the change from one to the other is no noise."""
    state, transducers = work.state, work.state.transducers
    if transducers is None:
        return
    where = "vented" if state.readiness.state in _VENTED else "air"
    watch = state.channels if state.channels is not None and state.channels_while == where else _fresh(transducers)
    work.set(channels=watch.add(columns), channels_while=where)


def _fresh(transducers: Transducers) -> ChannelWatch:
    return ChannelWatch((transducers.regulated_channel, transducers.cylinder_channel))


def watch_channels_with_air(work: Work) -> None:
    """End the test when a channel is frozen or the two are swapped; while air is let off, say that one cannot be read."""
    state, transducers, watch = work.state, work.state.transducers, work.state.channels
    if transducers is None or watch is None or state.channels_while != "air":
        return
    laws = (transducers.regulated, transducers.cylinder)
    now, capture = state.readiness.state, state.capture
    kept = kept_noise_pa(state)
    trouble = None if kept is None else frozen_trouble(watch, laws, kept)  # with air on it is no noise that moves the other one
    if now is State.VENTING:
        if trouble is not None and not state.channel_told:
            work.set(channel_told=True)
            work.say("alarm", f"{trouble.words}: it cannot show whether the pressure is gone; OPEN THE VENT BY HAND")
            if _NO_SIGNAL not in ((capture and capture.void_reason) or ""):  # a channel without a signal stands still, too
                _add_to_reason(work, trouble.words)
        return
    work.set(channel_told=False)
    if now not in AIR_ON or capture is None or capture.ended_s is not None:
        return
    if trouble is not None:
        _end_test(work, capture, trouble.words, trouble.remedy)
    elif not capture.rise_seen:
        _watch_rise(work, capture, transducers)


def name_channel_fault(work: Work, fault: FaultCode, raw: int) -> None:
    """The device reports a channel at the end of its converter: the test that this ends says which transducer it is."""
    transducers, capture = work.state.transducers, work.state.capture
    if transducers is None or capture is None or fault not in _SENSOR_FAULTS:
        return
    which = _SENSOR_FAULTS.index(fault)
    words = no_signal_words(CHANNEL_NAMES[which], raw, (transducers.regulated, transducers.cylinder)[which])
    if words is None:
        return
    work.say("warning", words)
    if capture.ended_s is None and capture.void_reason is None:
        work.set(capture=replace(capture, void_reason=words))
    else:
        reason = (work.state.capture or capture).void_reason or words
        work.set(capture=replace(capture, void_reason=reason.partition(_PROVEN)[0]))  # no guess any more
        _add_to_reason(work, words)


def name_over_pressure(work: Work, cause: Cause) -> None:
    """The device tripped on a pressure that cannot be: the test that this ends says what it looks like."""
    state, transducers = work.state, work.state.transducers
    if transducers is None or not state.recent:
        return
    regulated, cylinder = transducers.gauge_pa(SampleColumns.join(state.recent[-_TRIP_PARTS:]))
    if cause is Cause.OVER_PRESSURE_CYLINDER and stands_above(float(regulated.max()), float(cylinder.max())):
        _add_to_reason(work, "it read more than the regulated side feeds it with, as a transducer of a smaller range would")
    elif cause is Cause.OVER_PRESSURE_REGULATED and state.proven_gauge_pa is not None:
        proven_kpa = state.proven_gauge_pa / 1000
        _add_to_reason(
            work,
            f"{_PROVEN[2:]} {proven_kpa:.0f} kPa: was the regulator turned, or is its transducer of a smaller range?",
        )


def _add_to_reason(work: Work, words: str) -> None:
    capture = work.state.capture
    if capture is not None and capture.void_reason is not None and words not in capture.void_reason:
        work.set(capture=replace(capture, void_reason=f"{capture.void_reason}; {words}"))


def _watch_rise(work: Work, capture: Capturing, transducers: Transducers) -> None:
    columns = SampleColumns.join(capture.parts)
    rise = columns.between(int(np.searchsorted(columns.t_s, capture.began_s)), len(columns))
    if len(rise) < 2:
        return
    regulated, cylinder = transducers.gauge_pa(rise)
    risen = np.flatnonzero(np.maximum(regulated, cylinder) > 2.0 * work.state.limits.seen_gauge_pa)
    if risen.size == 0 or float(rise.t_s[-1] - rise.t_s[int(risen[0])]) < _JUDGED_AFTER_S:
        return
    work.set(capture=replace(capture, rise_seen=True))
    if swapped_rise(rise.t_s, regulated, cylinder):
        _end_test(work, replace(capture, rise_seen=True), SWAPPED, SWAPPED_REMEDY)


def _end_test(work: Work, capture: Capturing, words: str, remedy: str) -> None:
    work.say("alarm", f"{words}; shut and vent, and wait until both sides are seen vented. {remedy}")
    work.set(capture=replace(capture, void_reason=words))
    happen(work, Event.STOP)
