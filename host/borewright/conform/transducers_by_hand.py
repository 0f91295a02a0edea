"""The watches on the transducers, for which somebody has to raise a pressure or take off a plug."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Final

from borewire.interlock import TABLE
from borewire.messages import AirEvent, AirState, Cause, RefusalReason, SampleBlock, VentOpen

from borewright.conform.air import Air
from borewright.conform.bench import Bench, samples_of, ticks_from
from borewright.conform.check import Failed
from borewright.conform.hand_judgement import TIME_MS, WIDE_COUNTS, Shows, in_samples, judge, ticked, wait_for_vented, watch_checks
from borewright.conform.hands import Task
from borewright.conform.verdict import Figure, vented_figure

__all__ = ["TRANSDUCERS_BY_HAND"]

REST_S: Final = 0.5
REST_COUNTS: Final = 100_000
OWN_SAMPLE_MS: Final = 1.0  # PROTOCOL.md 7, Samples, here


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

        def over(sample: tuple[int, ...]) -> int:
            return sample[1 + channel] - limit

        with _undone(bench, down, lambda: bench.listen(REST_S)):
            event = wait_for_vented(air, cause, bench.have_done(up), since, in_samples(over))
            slack = limit - air.rest_raw[channel]
            return judge(bench, event, since, f"the reading is over {limit}", over, slack // 4)

    return run


@contextmanager
def _undone(bench: Bench, task: Task, waits: Callable[[], object]) -> Iterator[None]:
    """At the end the device vents, and then the hands bring the rig back to rest; who breaks the run off waits for nobody."""
    broken_off = False
    try:
        yield
    except KeyboardInterrupt:
        broken_off = True  # the end of the run vents
        raise
    finally:
        if not broken_off:
            bench.send(bench.numbered(VentOpen(0)))
            bench.have_undone(task)
            waits()


# ---------------------------------------------------------------------- transducer


def _sensor_fault(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        air.to(state, time_ms=TIME_MS)
        since = bench.mark()
        with _undone(bench, Task.MEND_SENSOR, lambda: bench.until(_mended(bench), _patience_s(bench), since=bench.mark())):
            patience_s = bench.have_done(Task.BREAK_SENSOR)
            event = wait_for_vented(air, Cause.SENSOR_FAULT, patience_s, since, _all_saturated(bench))
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

    return run


def _patience_s(bench: Bench) -> float:
    return bench.hands.patience_s if bench.hands is not None else 0.0


def _all_saturated(bench: Bench) -> Shows:
    """Whether a block holds nothing but saturated samples of the cylinder, as many as make a fault.

    At the upper end of the converter they are over the limit too, which the device has to say then.
    """
    described = bench.channels[1]
    return lambda what: (
        isinstance(what, SampleBlock)
        and what.sample_count >= TABLE.sensor_fault_samples
        and all(sample[2] <= described.raw_min for sample in samples_of(what))
    )


def _mended(bench: Bench) -> Callable[[Any], bool]:
    described = bench.channels[1]
    return lambda what: (
        isinstance(what, SampleBlock) and all(described.raw_min < s[2] < described.raw_max for s in samples_of(what))
    )


def _judge_fault(bench: Bench, event: AirEvent, since: int, saturated: Callable[[tuple[int, ...]], bool]) -> list[Figure]:
    """The fifth sample on end is the first at which the watch holds; a device takes them however slow its stream is."""
    tick = next((tick for tick, sample in ticked(bench, since) if saturated(sample)), None)
    if tick is None:
        raise Failed("the device vented with sensor_fault, but no sample is saturated")
    took_ms = bench.ms(ticks_from(tick, event.device_tick))
    sample_ms = bench.ms(bench.sample_ticks)
    due_ms = (TABLE.sensor_fault_samples - 1) * min(sample_ms, OWN_SAMPLE_MS)
    if not due_ms - sample_ms <= took_ms <= due_ms + TABLE.reaction_ms:
        raise Failed(
            f"the device vented {took_ms:.1f} ms after the first saturated sample; from {due_ms - sample_ms:g} to "
            f"{due_ms + TABLE.reaction_ms:g} ms is allowed, in device ticks"
        )
    return [vented_figure(took_ms, "the first saturated sample", "because the device may look more often than it tells samples")]


TRANSDUCERS_BY_HAND = (
    *watch_checks("over-pressure-regulated", Cause.OVER_PRESSURE_REGULATED, lambda state: _over_pressure(state, 0)),
    *watch_checks("over-pressure-cylinder", Cause.OVER_PRESSURE_CYLINDER, lambda state: _over_pressure(state, 1)),
    *watch_checks("sensor-fault", Cause.SENSOR_FAULT, _sensor_fault),
)
