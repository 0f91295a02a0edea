"""The watches for which somebody has to do something at the rig: crank, pressures, switch, transducer, reset."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from borewire.interlock import TABLE
from borewire.messages import (
    AirEvent,
    AirState,
    BlockFlags,
    Cause,
    FaultCode,
    FaultEvent,
    HoldEvent,
    HoldState,
    IndexEvent,
    RefusalReason,
    SampleBlock,
    VentOpen,
)
from borewire.wirelog import words

from borewright.conform.air import Air, name_of
from borewright.conform.bench import Bench, samples_of, ticks_from
from borewright.conform.check import Check, Failed, Need, NotTried, chapter_of
from borewright.conform.hands import Task
from borewright.conform.power_up import reset
from borewright.conform.verdict import Figure

__all__ = ["BY_HAND"]

WIDE_COUNTS: Final = 1_000_000
CRANK_SLACK_COUNTS: Final = 2
TIME_MS: Final = 60_000
AFTER_S: Final = 0.15
FAULT_WITHIN_S: Final = 1.0
REST_S: Final = 0.5
REST_COUNTS: Final = 100_000


def _wait_for_vented(air: Air, cause: Cause, patience_s: float, since: int) -> AirEvent:
    """The AirEvent with which the device vents; NotTried when only the time limit came, because nobody did anything."""
    event = air.next_event(patience_s, since)
    if event is None or (event.cause is Cause.TIME_LIMIT and cause is not Cause.TIME_LIMIT):
        raise NotTried(f"nothing was seen of it within {min(patience_s, TIME_MS / 1000):g} s")
    if (event.air, event.cause) != (AirState.VENTED, cause):
        raise Failed(f"{words(event)} came, where an AirEvent vented, because of {name_of(cause)}, is due")
    air.bench.listen(AFTER_S)
    air.is_in(AirState.VENTED)
    return event


Over = Callable[[tuple[int, ...]], int]


def _ticked(bench: Bench, since: int) -> list[tuple[int, tuple[int, ...]]]:
    """The samples since a mark, each with its tick."""
    return [
        ((block.device_tick + at * bench.sample_ticks) & 0xFFFFFFFF, sample)
        for block in bench.only(SampleBlock, since)
        for at, sample in enumerate(samples_of(block))
    ]


def _judge(bench: Bench, event: AirEvent, since: int, what: str, over: Over, slack: int) -> list[Figure]:
    """The event against the samples: within reaction_ms after the first that is over.

    over: by how much a sample is over the limit, 0 or less when it is not. slack: a device may look more often than it tells
    samples, and see between two of them what neither shows; then one of them has to be so near the limit.
    """
    samples = _ticked(bench, since)
    first = next((tick for tick, sample in samples if over(sample) > 0), None)
    took_ms = None if first is None else bench.ms(ticks_from(first, event.device_tick))
    if took_ms is not None and took_ms > TABLE.reaction_ms:
        raise Failed(
            f"the device vented {took_ms:.1f} ms after the first sample in which {what}; {TABLE.reaction_ms} ms are allowed"
        )
    if took_ms is not None and took_ms >= -bench.ms(bench.sample_ticks):
        return [Figure("vented_after_ms (from the first such sample, in device ticks)", took_ms)]
    reaction_ticks = TABLE.reaction_ms * bench.ticks(0.001)
    about = [over(sample) for tick, sample in samples if abs(ticks_from(tick, event.device_tick)) <= reaction_ticks]
    if max(about, default=-slack - 1) < -slack:
        raise Failed(f"the device vented with {name_of(event.cause)}, but in no sample about that moment {what}, nor nearly so")
    return [Figure("vented_between_samples (nearest to the limit by)", -max(about))]


# ---------------------------------------------------------------------- crank


def _left_window(state: AirState) -> Callable[[Bench], list[Figure]]:
    """In open the window is taken over from a renewal, which so is tried too."""

    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        narrow = air.opening(time_limit_ms=TIME_MS)
        if state is AirState.OPEN:
            wide = {"window_low_count": air.count - WIDE_COUNTS, "window_high_count": air.count + WIDE_COUNTS}
            air.to(state, time_ms=TIME_MS, **wide, opening_id=narrow.opening_id)
            bench.acked(narrow)
        else:
            air.to(state, time_ms=TIME_MS)
        since = bench.mark()
        event = _wait_for_vented(air, Cause.CRANK_LEFT_WINDOW, bench.have_done(Task.TURN_AWAY), since)
        low, high = narrow.window_low_count, narrow.window_high_count
        if low <= event.crank_count <= high:
            raise Failed(f"the AirEvent has crank_count {event.crank_count}, which is inside the window {low} to {high}")
        bench.wait_for_hands()
        outside = f"the crank is outside {low} to {high}"
        return _judge(bench, event, since, outside, lambda sample: max(low - sample[0], sample[0] - high), CRANK_SLACK_COUNTS)

    return run


def _index(bench: Bench) -> list[Figure]:
    bench.start_stream()
    since = bench.mark()
    patience_s = bench.have_done(Task.TURN_ROUND)
    if bench.until(lambda _: len(bench.only(IndexEvent, since)) >= 2, patience_s, since=since) is None:
        raise NotTried(f"two index pulses were not seen within {patience_s:g} s; turn further, or look after the index wire")
    bench.wait_for_hands()
    one, two = bench.only(IndexEvent, since)[:2]
    apart = abs(two.crank_count - one.crank_count)
    if (two.index_number - one.index_number) & 0xFFFF != 1:
        raise Failed(f"index_number rose from {one.index_number} to {two.index_number}; it counts the pulses")
    if abs(apart - bench.device.counts_per_rev) > 2:
        raise Failed(f"the crank count moved by {apart} from index to index, where counts_per_rev is {bench.device.counts_per_rev}")
    seen = bench.mark()
    bench.listen(AFTER_S)
    if not all(block.flags & BlockFlags.INDEX_SEEN for block in bench.only(SampleBlock, seen)):
        raise Failed("blocks after an index pulse have not the flag index_seen")
    return [Figure("counts_from_index_to_index", apart)]


# ---------------------------------------------------------------------- pressure


def _over_pressure(state: AirState, channel: int) -> Callable[[Bench], list[Figure]]:
    cause, up, down = (
        (Cause.OVER_PRESSURE_REGULATED, Task.RAISE_REGULATED, Task.LOWER_REGULATED),
        (Cause.OVER_PRESSURE_CYLINDER, Task.RAISE_CYLINDER, Task.LOWER_CYLINDER),
    )[channel]

    def run(bench: Bench) -> list[Figure]:
        if channel:
            bench.have_done(Task.READY_CYLINDER)
            bench.wait_for_hands()
        air = Air(bench)
        other = 1 - channel
        wide: dict[str, int] = {
            "window_low_count": air.count - WIDE_COUNTS,
            "window_high_count": air.count + WIDE_COUNTS,
            ("limit_regulated_raw", "limit_cylinder_raw")[other]: bench.channels[other].raw_max - 1,
        }
        air.to(state, time_ms=TIME_MS, **wide)
        since = bench.mark()
        limit = air.limits_raw[channel]
        try:
            event = _wait_for_vented(air, cause, bench.have_done(up), since)
            slack = limit - air.rest_raw[channel]
            return _judge(bench, event, since, f"the reading is over {limit}", lambda s: s[1 + channel] - limit, slack // 4)
        finally:
            bench.have_done(down)
            bench.wait_for_hands()
            bench.listen(REST_S)

    return run


# ---------------------------------------------------------------------- switch


def _hold_released(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        if not bench.has_hold:
            raise NotTried(Need.HOLD.value)
        air = Air(bench)
        air.to(state, time_ms=TIME_MS)
        since = bench.mark()
        event = _wait_for_vented(air, Cause.HOLD_RELEASED, bench.have_done(Task.RELEASE_HOLD), since)
        told = [held for held in bench.only(HoldEvent, since) if held.hold is HoldState.RELEASED]
        if len(told) != 1:
            raise Failed(f"{len(told)} HoldEvent released came, where exactly one is due")
        took_ms = bench.ms(ticks_from(told[0].device_tick, event.device_tick))
        if abs(took_ms) > TABLE.reaction_ms:
            raise Failed(f"the device vented {took_ms:.1f} ms after the switch was let go; {TABLE.reaction_ms} ms are allowed")
        return [Figure("vented_after_ms (from the HoldEvent, in device ticks)", took_ms)]

    return run


# ---------------------------------------------------------------------- transducer


def _sensor_fault(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        # a wire that breaks upwards is over any limit too, and that row comes first
        air.to(state, time_ms=TIME_MS)
        since = bench.mark()
        try:
            patience_s = bench.have_done(Task.BREAK_SENSOR)
            event = air.next_event(patience_s, since)
            if event is None or event.cause is Cause.TIME_LIMIT:
                raise NotTried(f"nothing was seen of it within {patience_s:g} s")
            if event.cause is Cause.OVER_PRESSURE_CYLINDER:
                raise NotTried("the transducer's converter went to the upper end, which over_pressure_cylinder sees first")
            if (event.air, event.cause) != (AirState.VENTED, Cause.SENSOR_FAULT):
                raise Failed(f"{words(event)} came, where an AirEvent vented, because of sensor_fault, is due")
            bench.listen(AFTER_S)
            faults = [fault for fault in bench.only(FaultEvent, since) if fault.fault is FaultCode.SENSOR_CYLINDER_RANGE]
            if len(faults) != 1:
                raise Failed(f"{len(faults)} FaultEvent sensor_cylinder_range came, where the fault is told once")
            for command in (air.opening(), air.closing()):
                bench.refused(command, RefusalReason.FAULT_PRESENT)
            bench.refused(
                replace(
                    air.opening(opening_id=air.opening_id),
                    window_low_count=air.count + REST_COUNTS,
                    window_high_count=air.count + REST_COUNTS,
                ),
                RefusalReason.FAULT_PRESENT,
                "for which outside_window holds too",
            )
            described = bench.channels[1]
            return _judge_fault(bench, event, since, lambda s: not described.raw_min < s[2] < described.raw_max)
        finally:
            bench.have_done(Task.MEND_SENSOR)
            bench.until(_mended(bench), bench.hands.patience_s if bench.hands is not None else 0.0, since=bench.mark())

    return run


def _mended(bench: Bench) -> Callable[[Any], bool]:
    described = bench.channels[1]
    return lambda what: (
        isinstance(what, SampleBlock) and all(described.raw_min < s[2] < described.raw_max for s in samples_of(what))
    )


def _judge_fault(bench: Bench, event: AirEvent, since: int, saturated: Callable[[tuple[int, ...]], bool]) -> list[Figure]:
    """The fifth sample on end is the first at which the watch holds."""
    tick = next((tick for tick, sample in _ticked(bench, since) if saturated(sample)), None)
    if tick is None:
        raise Failed("the device vented with sensor_fault, but no sample is saturated")
    took_ms = bench.ms(ticks_from(tick, event.device_tick))
    due_ms = (TABLE.sensor_fault_samples - 1) * bench.ms(bench.sample_ticks)
    if not due_ms - bench.ms(bench.sample_ticks) <= took_ms <= due_ms + TABLE.reaction_ms:
        raise Failed(
            f"the device vented {took_ms:.1f} ms after the first saturated sample, where {due_ms:g} to "
            f"{due_ms + TABLE.reaction_ms:g} ms are due"
        )
    return [Figure("vented_after_ms (from the first saturated sample, in device ticks)", took_ms)]


# ---------------------------------------------------------------------- reset


def _reset_under_air(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        air.to(state, time_ms=TIME_MS)
        figures = reset(bench)
        bench.acked(VentOpen(0))
        return figures

    return run


def _checks(name: str, cause: Cause, make: Callable[[AirState], Callable[[Bench], Any]]) -> tuple[Check, ...]:
    row = next(watch for watch in TABLE.watches if watch.cause is cause)
    return tuple(
        Check(
            f"{name}-{name_of(state)}",
            f"In {name_of(state)} the device shuts and vents with {name_of(cause)} within {TABLE.reaction_ms} ms: {row.when}.",
            f"PROTOCOL.md 7, Watches; interlock.toml {name_of(cause)}",
            make(state),
            NEEDS,
        )
        for state in (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED)
        if state in row.in_states
    )


NEEDS: Final = (Need.VALVES, Need.AIR, Need.HANDS)
BY_HAND = (
    *chapter_of(
        "Crank by hand",
        Check(
            "index",
            "IndexEvent comes once a turn, and index_number counts them.",
            "PROTOCOL.md 6; 10 IndexEvent",
            _index,
            (Need.HANDS,),
        ),
    ),
    *chapter_of(
        "Air: watches by hand",
        *_checks("crank-left-window", Cause.CRANK_LEFT_WINDOW, _left_window),
        *_checks("over-pressure-regulated", Cause.OVER_PRESSURE_REGULATED, lambda state: _over_pressure(state, 0)),
        *_checks("over-pressure-cylinder", Cause.OVER_PRESSURE_CYLINDER, lambda state: _over_pressure(state, 1)),
        *_checks("hold-released", Cause.HOLD_RELEASED, _hold_released),
        *_checks("sensor-fault", Cause.SENSOR_FAULT, _sensor_fault),
        *(
            Check(
                f"reset-{name_of(state)}",
                f"A reset in {name_of(state)} leaves the device vented, with AirEvent power_up.",
                "PROTOCOL.md 5, Power-up; 7",
                _reset_under_air(state),
                NEEDS,
            )
            for state in (AirState.CLOSED, AirState.OPEN)
        ),
    ),
)
