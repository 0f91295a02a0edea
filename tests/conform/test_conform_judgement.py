"""When a device vented, held against the samples about that moment."""

from __future__ import annotations

import struct
from contextlib import nullcontext

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from borewire.messages import AirEvent, AirState, BlockFlags, Cause, Fitted, Identity, SampleBlock
from borewright.conform.bench import Bench, Heard
from borewright.conform.check import Failed
from borewright.conform.hand_judgement import judge
from borewright.conform.transducers_by_hand import _judge_fault

from .devices import SOLENOID, quick

LIMIT_RAW, SLACK_RAW = 500, 20
TICKS_PER_MS = 1000
CROSSES_MS = 50  # the sample in which the reading is first over the limit


def _bench_that_heard_a_rise(raw_per_ms: int) -> Bench:
    """A sample each millisecond of a reading that rises evenly through its limit."""
    bench = Bench(SimEndpoint(SimRig(quick(SOLENOID))))
    bench.identity = Identity(1, 1, 0, 0, "", "", 1, 1000 * TICKS_PER_MS, 4096, 1000, 8, Fitted(0), 2, 2)
    bench.rate_hz = 1000
    for at in range(100):
        raw = LIMIT_RAW + 1 + raw_per_ms * (at - CROSSES_MS)
        block = SampleBlock(at, at * TICKS_PER_MS, at, BlockFlags(0), 1, 2, struct.pack("<iHH", 0, 0, raw))
        bench.heard.append(Heard(at / 1000, block))
    return bench


def _judged(at_ms: float, raw_per_ms: int = 10) -> None:
    event = AirEvent(round(at_ms * TICKS_PER_MS), AirState.VENTED, Cause.OVER_PRESSURE_CYLINDER, 1, 0)
    judge(_bench_that_heard_a_rise(raw_per_ms), event, 0, "the reading is over", lambda sample: sample[2] - LIMIT_RAW, SLACK_RAW)


@pytest.mark.parametrize("at_ms", [CROSSES_MS, CROSSES_MS + 20, CROSSES_MS - 1])
def test_it_may_vent_up_to_20_ms_after_the_limit_was_crossed(at_ms: float) -> None:
    _judged(at_ms)  # reaction_ms of PROTOCOL.md 7 is 20; a millisecond before, it may have seen it between two samples


def test_later_than_that_is_too_late() -> None:
    with pytest.raises(Failed, match=r"vented 21\.0 ms after"):
        _judged(CROSSES_MS + 21)


@pytest.mark.parametrize("before_ms", [6, 10, 19])
def test_a_reading_that_goes_over_the_limit_only_afterwards_is_no_reason_to_vent(before_ms: int) -> None:
    with pytest.raises(Failed, match="nor nearly so"):
        _judged(CROSSES_MS - before_ms)


def test_what_stood_near_the_limit_before_may_have_been_over_it_between_two_samples() -> None:
    _judged(CROSSES_MS - 3, raw_per_ms=2)


@pytest.mark.parametrize(
    ("rate_hz", "after_ms", "right"),
    [
        (1000, 4.0, True),
        (1000, 1.0, False),
        (1000, 25.0, False),
        (500, 4.0, True),
        (500, 24.0, True),
        (500, 27.0, False),
        (100, 0.0, True),
        (100, 30.0, False),
    ],
)
def test_a_torn_wire_is_seen_in_five_of_the_devices_own_samples_however_slow_its_stream(
    rate_hz: int, after_ms: float, right: bool
) -> None:
    bench = _bench_that_heard_a_rise(10)
    bench.rate_hz = rate_hz
    bench.heard = bench.heard[:: 1000 // rate_hz]
    event = AirEvent(round((CROSSES_MS + after_ms) * TICKS_PER_MS), AirState.VENTED, Cause.SENSOR_FAULT, 1, 0)
    with nullcontext() if right else pytest.raises(Failed, match="after the first saturated sample"):
        _judge_fault(bench, event, 0, lambda sample: sample[2] > LIMIT_RAW)
