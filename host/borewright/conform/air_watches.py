"""The watches that can be tried by the wire alone: time limits, silence of the host, the stopped stream; and renewals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from borewire.framing import frame_of
from borewire.interlock import TABLE
from borewire.messages import (
    Ack,
    AirState,
    Cause,
    HostAlive,
    RefusalReason,
    Status,
    StreamStart,
    StreamStop,
    SupplyShut,
    VentClose,
)

from borewright.conform.air import Air, name_of
from borewright.conform.bench import Bench, ticks_from
from borewright.conform.check import Check, Failed, Need, NotTried, chapter_of
from borewright.conform.verdict import Figure, vented_figure

__all__ = ["AIR_WATCHES", "EARLY_MS"]

TIME_MS: Final = 300
# the page counts from the frame; the device tells the tick of its answer, which may be a little later
EARLY_MS: Final = 20
PATIENCE_S: Final = 2.0


def _judge(bench: Bench, what: str, from_tick: int, event_tick: int, due_ms: float) -> Figure:
    took_ms = bench.ms(ticks_from(from_tick, event_tick))
    earliest_ms, latest_ms = due_ms - EARLY_MS, due_ms + TABLE.reaction_ms
    if not earliest_ms <= took_ms <= latest_ms:
        raise Failed(
            f"{what} shut and vented after {took_ms:.1f} ms; from {earliest_ms:g} to {latest_ms:g} ms is allowed, in device ticks"
        )
    return vented_figure(took_ms, "the tick of the answer", "which is taken after the valves were driven")


def _time_limit(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        ack = air.to(state, time_ms=TIME_MS)
        assert ack is not None
        event = air.event(AirState.VENTED, Cause.TIME_LIMIT, PATIENCE_S, since=bench.mark())
        air.is_in(AirState.VENTED)
        return [_judge(bench, "the time limit", ack.device_tick, event.device_tick, TIME_MS)]

    return run


def _silence(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        air.to(state)
        bench.alive = False
        last: Status = bench.status()
        since = bench.mark()
        event = air.event(AirState.VENTED, Cause.HOST_SILENT, PATIENCE_S, since=since)
        air.is_in(AirState.VENTED)
        return [_judge(bench, "the silence of the host", last.device_tick, event.device_tick, TABLE.host_silence_ms)]

    return run


def _stopped(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        air.to(state)
        since = bench.mark()
        ack = bench.acked(StreamStop(0))
        event = air.event(AirState.VENTED, Cause.STREAM_STOPPED, PATIENCE_S, since=since)
        air.is_in(AirState.VENTED)
        return [_judge(bench, "StreamStop", ack.device_tick, event.device_tick, 0.0)]

    return run


def _restarted(bench: Bench) -> list[Figure]:
    air = Air(bench)
    if bench.device.max_block_size == 1:
        raise NotTried("the device knows one block size only")
    air.to(AirState.CLOSED)
    since = bench.mark()
    ack = bench.acked(StreamStart(0, bench.rate_hz, bench.block_size - 1 or 2))
    event = air.event(AirState.VENTED, Cause.STREAM_STOPPED, PATIENCE_S, since=since)
    air.is_in(AirState.VENTED)
    return [_judge(bench, "StreamStart with another block size", ack.device_tick, event.device_tick, 0.0)]


def _kept_alive(say: Callable[[Bench], None], what: str) -> Callable[[Bench], None]:
    """Only this is sent, each 100 ms, for well over the silence that is allowed."""

    def run(bench: Bench) -> None:
        air = Air(bench)
        air.to(AirState.CLOSED)
        bench.alive = False
        since = bench.mark()
        for _ in range(3 * TABLE.host_silence_ms // 100):
            say(bench)
            bench.listen(0.1)
        events = air.events(since)
        if events:
            raise Failed(f"the device vented ({name_of(events[0].cause)}) although {what} came each 100 ms")
        air.is_in(AirState.CLOSED)

    return run


def _not_kept_alive(octets: bytes, what: str) -> Callable[[Bench], list[Figure]]:
    """Only this is sent, each 100 ms, and the host counts as silent all the same, from the last frame that counts on."""

    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        air.to(AirState.CLOSED)
        bench.alive = False
        last: Status = bench.status()
        since = bench.mark()
        for _ in range(3 * TABLE.host_silence_ms // 100):
            bench.send_octets(octets, what)
            bench.listen(0.1)
        event = air.event(AirState.VENTED, Cause.HOST_SILENT, since=since)
        return [_judge(bench, "the silence of the host", last.device_tick, event.device_tick, TABLE.host_silence_ms)]

    return run


def _broken_alive() -> bytes:
    broken = bytearray(frame_of(HostAlive.TYPE, b""))
    broken[-2] ^= 0x40
    return bytes(broken)


# ---------------------------------------------------------------------- renewals


def _renewed(bench: Bench) -> list[Figure]:
    """A renewal counts its own time limit from its own frame, longer or shorter."""
    air = Air(bench)
    figures = []
    for first_ms, then_ms in ((TIME_MS, 2 * TIME_MS), (20 * TIME_MS, TIME_MS)):
        air.to(AirState.OPEN, time_ms=first_ms)
        bench.listen(0.15)
        since = bench.mark()
        ack = bench.acked(air.opening(opening_id=air.opening_id, time_limit_ms=then_ms))
        event = air.event(AirState.VENTED, Cause.TIME_LIMIT, PATIENCE_S, since=since)
        figures.append(_judge(bench, "the renewed time limit", ack.device_tick, event.device_tick, then_ms))
    return figures


def _closing_renewed(bench: Bench) -> list[Figure]:
    air = Air(bench)
    air.to(AirState.CLOSED, time_ms=TIME_MS)
    bench.listen(0.15)
    since = bench.mark()
    ack = bench.acked(VentClose(0, 2 * TIME_MS, air.limits_raw[1]))
    event = air.event(AirState.VENTED, Cause.TIME_LIMIT, PATIENCE_S, since=since)
    return [_judge(bench, "the renewed time limit", ack.device_tick, event.device_tick, 2 * TIME_MS)]


def _refused_renewal(bench: Bench) -> list[Figure]:
    """Renewals that are refused: the air stays on, under the limits and the time limit of before."""
    air = Air(bench)
    ack = air.to(AirState.OPEN, time_ms=2 * TIME_MS)
    assert ack is not None
    since = bench.mark()
    same = air.opening(opening_id=air.opening_id)
    far = {"window_low_count": air.count + 1000, "window_high_count": air.count + 2000}
    bench.refused(replace(same, **far), RefusalReason.OUTSIDE_WINDOW, "a renewal")
    bench.refused(replace(same, limit_regulated_raw=bench.channels[0].raw_min), RefusalReason.OVER_PRESSURE, "a renewal")
    bench.refused(replace(same, time_limit_ms=0), RefusalReason.LIMITS_INVALID, "a renewal")
    bench.refused(air.opening(), RefusalReason.OPENING_OVER, "another opening")
    if not air.events(since):
        air.is_in(AirState.OPEN)
    event = air.event(AirState.VENTED, Cause.TIME_LIMIT, PATIENCE_S, since=since)
    return [_judge(bench, "the time limit of before the refused renewals", ack.device_tick, event.device_tick, 2 * TIME_MS)]


def _isolated_not_renewed(bench: Bench) -> list[Figure]:
    """SupplyShut with a time changes nothing in isolated, so its time limit too goes on from the first one."""
    air = Air(bench)
    ack = air.to(AirState.ISOLATED, time_ms=TIME_MS)
    assert ack is not None
    since = bench.mark()
    bench.acked(SupplyShut(0, 10 * TIME_MS))
    event = air.event(AirState.VENTED, Cause.TIME_LIMIT, PATIENCE_S, since=since)
    return [_judge(bench, "the first isolate_ms", ack.device_tick, event.device_tick, TIME_MS)]


def _isolate_replaces(bench: Bench) -> list[Figure]:
    air = Air(bench)
    air.to(AirState.OPEN, time_ms=TIME_MS)
    since = bench.mark()
    ack = bench.acked(SupplyShut(0, 3 * TIME_MS))
    air.event(AirState.ISOLATED, Cause.COMMAND_SHUT, since=since)
    event = air.event(AirState.VENTED, Cause.TIME_LIMIT, PATIENCE_S, since=bench.mark())
    return [_judge(bench, "isolate_ms", ack.device_tick, event.device_tick, 3 * TIME_MS)]


def _in_states(name: str, cause: Cause, make: Callable[[AirState], Callable[[Bench], Any]]) -> tuple[Check, ...]:
    row = next(watch for watch in TABLE.watches if watch.cause is cause)
    return tuple(
        Check(
            f"{name}-{name_of(state)}",
            f"In {name_of(state)} the device shuts and vents with {name_of(cause)}: {row.when}.",
            f"PROTOCOL.md 7, Watches; interlock.toml {name_of(cause)}",
            make(state),
            NEEDS,
        )
        for state in (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED)
        if state in row.in_states
    )


NEEDS: Final = (Need.VALVES, Need.AIR)
OPENINGS: Final = "PROTOCOL.md 7, Openings"
AIR_WATCHES = chapter_of(
    "Air: watches by the wire alone",
    *_in_states("time-limit", Cause.TIME_LIMIT, _time_limit),
    *_in_states("host-silent", Cause.HOST_SILENT, _silence),
    *_in_states("stream-stopped", Cause.STREAM_STOPPED, _stopped),
    Check(
        "stream-restarted",
        "StreamStart with another block size is a stop too, and vents.",
        "PROTOCOL.md 5, Streaming",
        _restarted,
        NEEDS,
    ),
    Check(
        "kept-alive",
        "HostAlive each 100 ms keeps the air as it is.",
        "PROTOCOL.md 5, Silence",
        _kept_alive(lambda bench: bench.send_octets(frame_of(HostAlive.TYPE, b""), "HostAlive"), "HostAlive"),
        NEEDS,
    ),
    Check(
        "kept-alive-by-unknown",
        "A good frame of unknown type shows that the host is alive.",
        "PROTOCOL.md 5, Silence",
        _kept_alive(
            lambda bench: bench.send_octets(frame_of(0x70, b"?"), "a frame of unknown type"), "good frames of unknown type"
        ),
        NEEDS,
    ),
    Check(
        "bad-frames-are-silence",
        "A bad frame does not show that the host is alive.",
        "PROTOCOL.md 5, Silence",
        _not_kept_alive(_broken_alive(), "a HostAlive with a wrong checksum"),
        NEEDS,
    ),
    Check(
        "own-frames-are-silence",
        "A good frame with a type number from 0x80 on, as the device's own are, does not show that the host is alive.",
        "PROTOCOL.md 5, Silence",
        _not_kept_alive(frame_of(Ack.TYPE, Ack(7, 4, 1000).encode_body()), "an Ack, as if the device's own frames came back"),
        NEEDS,
    ),
    Check("open-renewed", "The same opening_id renews an opening: the newer frame's time limit counts.", OPENINGS, _renewed, NEEDS),
    Check("close-renewed", "VentClose, sent again, renews the time limit.", "PROTOCOL.md 9 VentClose", _closing_renewed, NEEDS),
    Check(
        "refused-renewal",
        "A refused renewal changes nothing: the air stays on under the limits of before.",
        OPENINGS,
        _refused_renewal,
        NEEDS,
    ),
    Check(
        "isolate-time",
        "isolate_ms takes the place of the opening's time limit.",
        "PROTOCOL.md 7, Isolated",
        _isolate_replaces,
        NEEDS,
    ),
    Check(
        "isolated-not-renewed",
        "SupplyShut with a time changes nothing in isolated.",
        "PROTOCOL.md 7, Openings; interlock.toml SupplyShut",
        _isolated_not_renewed,
        NEEDS,
    ),
)
