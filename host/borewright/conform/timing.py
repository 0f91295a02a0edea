"""The device's one clock: against the host's, and the Status of every second."""

from __future__ import annotations

from itertools import pairwise
from statistics import pstdev
from typing import Final

from borewire.messages import Ack, SampleBlock, SlowReading, Status, StreamStart

from borewright.conform.bench import Bench, ticks_from
from borewright.conform.check import Check, Failed, Need, chapter_of
from borewright.conform.verdict import Figure

__all__ = ["TIMING"]

RATE_WATCHED_S: Final = 6.0
RATE_END_S: Final = 1.0  # the first and the last second show the delay of the line at its least
CLOCK_TOLERANCE: Final = 0.01
STATUS_WATCHED_S: Final = 4.5
STATUS_TOLERANCE: Final = 0.1
SAME_CLOCK_S: Final = 0.5


def _clock(bench: Bench) -> list[Figure]:
    bench.start_stream()
    since = bench.mark()
    bench.listen(RATE_WATCHED_S)
    came = [(heard.t_s, heard.what) for heard in bench.heard[since:] if isinstance(heard.what, SampleBlock)]
    if len(came) < 3:
        raise Failed(f"{len(came)} blocks came in {RATE_WATCHED_S:g} s")
    tick_rate_hz, first_tick = bench.device.tick_rate_hz, came[0][1].device_tick
    device_s = [ticks_from(first_tick, block.device_tick) / tick_rate_hz for _, block in came]
    delays_s = [t_s - d_s for (t_s, _), d_s in zip(came, device_s, strict=True)]
    # the least delay at either end: a late arrival is the line's or the computer's doing, an early one is nobody's
    early = min((d, at) for at, d in enumerate(delays_s) if device_s[at] <= RATE_END_S)
    late = min((d, at) for at, d in enumerate(delays_s) if device_s[at] >= device_s[-1] - RATE_END_S)
    span_s = device_s[late[1]] - device_s[early[1]]
    host_span_s = came[late[1]][0] - came[early[1]][0]
    if host_span_s <= 0.0:
        raise Failed("the blocks of several seconds all came at once")
    faster = span_s / host_span_s - 1.0
    if abs(faster) > CLOCK_TOLERANCE:
        raise Failed(
            f"the device's clock runs {faster * 100:+.2f} % faster than the host's over {host_span_s:.1f} s; this suite allows "
            f"{CLOCK_TOLERANCE * 100:g} %, which is far more than any crystal needs"
        )
    drift = [d - early[0] - (late[0] - early[0]) * s / max(span_s, 1e-9) for d, s in zip(delays_s, device_s, strict=True)]
    return [
        Figure("clock_faster_percent", faster * 100),
        Figure("clock_watched_s", host_span_s),
        Figure("arrival_jitter_ms (standard deviation, by the host's clock, not judged)", pstdev(drift) * 1e3),
        Figure("latest_arrival_ms", max(drift) * 1e3),
    ]


def _status(bench: Bench) -> list[Figure]:
    bench.start_stream()
    bench.acked(StreamStart(0, bench.rate_hz, bench.block_size))
    since = bench.mark()
    bench.listen(STATUS_WATCHED_S)
    told = [status for status in bench.only(Status, since) if status.request_id == 0]
    if len(told) < 3:
        raise Failed(f"{len(told)} Status with request_id 0 came in {STATUS_WATCHED_S:g} s of streaming; one each second is due")
    apart_s = [ticks_from(one.device_tick, following.device_tick) / bench.device.tick_rate_hz for one, following in pairwise(told)]
    if any(abs(seconds - 1.0) > STATUS_TOLERANCE for seconds in apart_s):
        raise Failed(
            f"two Status came {max(apart_s, key=lambda s: abs(s - 1.0)):.3f} s of device time apart, where 1 s (±10 %) is due"
        )
    return [Figure("status_apart_s", max(apart_s))]


def _slow(bench: Bench) -> list[Figure]:
    bench.start_stream()
    since = bench.mark()
    bench.listen(STATUS_WATCHED_S)
    readings = bench.only(SlowReading, since)
    due = range(bench.device.streamed_channels, bench.device.channel_count)
    strange = {reading.channel for reading in readings} - set(due)
    if strange:
        raise Failed(f"SlowReading came for channels {sorted(strange)}, which are in the samples or do not exist")
    numbers = {channel: sum(reading.channel == channel for reading in readings) for channel in due}
    rare = [channel for channel, number in numbers.items() if not 2 <= number <= 3 * STATUS_WATCHED_S]
    if rare:
        raise Failed(
            f"of channel {rare[0]} came {numbers[rare[0]]} SlowReading in {STATUS_WATCHED_S:g} s; about one each second is due"
        )
    return [Figure("slow_channels", len(due))]


def _boot_id(bench: Bench) -> None:
    status = bench.status()
    if status.boot_id != bench.device.boot_id:
        raise Failed(f"Status has boot_id {status.boot_id}, Identity {bench.device.boot_id}, without a reset between them")


def _one_clock(bench: Bench) -> None:
    """Ticks of Ack, Status and blocks, each told within half a second of the others."""
    bench.start_stream()
    bench.next_block()
    ack: Ack = bench.acked(StreamStart(0, bench.rate_hz, bench.block_size))
    status = bench.status()
    block = bench.next_block()
    near = bench.ticks(SAME_CLOCK_S)
    for name, tick in (("Ack", ack.device_tick), ("Status", status.device_tick)):
        if abs(ticks_from(block.device_tick, tick)) > near + bench.block_size * bench.sample_ticks:
            raise Failed(
                f"the device_tick of {name} is {tick}, that of the samples about it {block.device_tick}; all are of one clock"
            )
    if ticks_from(ack.device_tick, status.device_tick) < 0:
        raise Failed("the device_tick of a Status lies before that of the Ack which came before it")


TIMING = chapter_of(
    "Time",
    Check("one-clock", "All times of the device are ticks of one clock.", "PROTOCOL.md 6", _one_clock),
    Check(
        "clock-rate",
        "tick_rate_hz ticks make a second, so that samples come at the rate asked for.",
        "PROTOCOL.md 6",
        _clock,
        (Need.STEADY_CLOCK,),
    ),
    Check(
        "status-each-second", "While streaming a Status with request_id 0 comes once a second.", "PROTOCOL.md 5, Streaming", _status
    ),
    Check(
        "slow-readings",
        "Channels that are not in the samples come as SlowReading, about once a second.",
        "PROTOCOL.md 5, Streaming",
        _slow,
    ),
    Check("boot-id", "boot_id stays the same without a reset.", "PROTOCOL.md 5, Power-up", _boot_id),
)
