"""Commands and their answers: one each, in order, in time, the same again when repeated."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from borewire.messages import (
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    Ack,
    EchoReply,
    EchoRequest,
    HostAlive,
    IdentifyRequest,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
)
from borewire.wirelog import words

from borewright.conform.bench import ANSWERS, Bench, Heard, answers, ticks_from
from borewright.conform.check import Check, Failed, chapter_of
from borewright.conform.verdict import Figure

__all__ = ["ANSWERING"]

DUE_S: Final = 0.1
ROUNDS: Final = 5
AFTERWARDS_S: Final = 0.3
IDS: Final = (1, 0x00F5, 0xF500, 0xF5F5, 0xFFFF)


def _commands(bench: Bench) -> list[Any]:
    """Every command that moves no air, as it is asked while streaming; none changes anything."""
    return [
        StatusRequest(0),
        EchoRequest(0, b"\xf5\x00conform"),
        StreamStart(0, bench.rate_hz, bench.block_size),
        IdentifyRequest(0, PROTOCOL_MAJOR, PROTOCOL_MINOR),
    ]


def _one_each(bench: Bench) -> None:
    bench.start_stream()
    since = bench.mark()
    asked = [bench.numbered(command) for command in (*_commands(bench), StreamStop(0), StreamStop(0))]
    for command in asked:
        bench.exactly(command)
    bench.listen(AFTERWARDS_S)
    for command in asked:
        number = sum(answers(heard.what, command.request_id) for heard in bench.heard[since:])
        if number != 1:
            raise Failed(f"{words(command)} was answered {number} times, where exactly one answer is due")


def _request_ids(bench: Bench) -> None:
    for number in IDS:
        answer = bench.exactly(EchoRequest(number, b"id"))
        if not isinstance(answer, EchoReply):
            raise Failed("an EchoRequest was answered with something else than an EchoReply")
        bench.exactly(StatusRequest(number))


def _in_time(bench: Bench) -> list[Figure]:
    """A late answer is late by the host's clock and by the device's ticks; one alone may be the line's or the computer's doing."""
    bench.start_stream()
    host_s: list[float] = []
    for command in _commands(bench) * ROUNDS:
        last_tick = bench.next_block().device_tick
        began_s, since = bench.now_s, bench.mark()
        sent = bench.numbered(command)
        answer = bench.exactly(sent)
        came = next(heard for heard in bench.heard[since:] if heard.what is answer)
        took_s = came.t_s - began_s
        host_s.append(took_s)
        if took_s > DUE_S and _by_ticks_s(bench, since, came, last_tick) > DUE_S:
            raise Failed(
                f"{type(command).__name__} was answered after {took_s * 1e3:.0f} ms by the host's clock, and the device's "
                "ticks say the same; "
                "100 ms are allowed"
            )
    return [
        Figure("answered", len(host_s)),
        Figure("slowest_by_host_clock_ms", max(host_s) * 1e3),
        Figure("fastest_by_host_clock_ms (the line's own delay is in it)", min(host_s) * 1e3),
    ]


def _by_ticks_s(bench: Bench, since: int, came: Heard, last_tick: int) -> float:
    """Seconds of the device from the last block before the question to what came last before the answer."""
    ticks = []
    for heard in bench.heard[since:]:
        if heard is came:
            break
        if isinstance(heard.what, SampleBlock):
            ticks.append(heard.what.device_tick)
    if isinstance(came.what, Ack | Status):
        ticks.append(came.what.device_tick)
    block_ticks = bench.block_size * bench.sample_ticks
    return (max((ticks_from(last_tick, tick) for tick in ticks), default=0) - block_ticks) / bench.device.tick_rate_hz


def _in_order(bench: Bench) -> None:
    bench.start_stream()
    burst = [
        bench.numbered(command)
        for command in (
            EchoRequest(0, b"1"),
            StatusRequest(0),
            EchoRequest(0, b"2"),
            StreamStart(0, bench.rate_hz, 0),
            StatusRequest(0),
            EchoRequest(0, b"3"),
        )
    ]
    for _ in range(ROUNDS):
        since = bench.mark()
        bench.send(*burst)
        for command in burst:
            bench.answer_to(command, since)
        due = [command.request_id for command in burst]
        came = _answered_ids(bench.heard[since:], due)
        if came != due:
            raise Failed(f"the commands {due} were answered in the order {came}")


def _answered_ids(heard: Sequence[Heard], asked: Sequence[int]) -> list[int]:
    """The request_ids of the answers to these, as they came."""
    ids = [one.what.request_id for one in heard if isinstance(one.what, ANSWERS)]
    return [number for number in ids if number in asked]


def _repeats(bench: Bench) -> None:
    bench.start_stream()
    for command in (*_commands(bench), StreamStop(0), StreamStart(0, bench.rate_hz, bench.block_size), StreamStop(0)):
        sent = bench.numbered(command)
        first = bench.exactly(sent)
        second = bench.exactly(sent)
        if type(first) is not type(second):
            raise Failed(f"{words(sent)} was answered first with {words(first)} and, repeated alike, with {words(second)}")


def _host_alive(bench: Bench) -> None:
    since = bench.mark()
    for _ in range(ROUNDS):
        bench.send(HostAlive())
    bench.listen(AFTERWARDS_S)
    came = [heard.what for heard in bench.heard[since:] if isinstance(heard.what, ANSWERS)]
    if came:
        raise Failed(f"HostAlive was answered with {words(came[0])}")


SECTION = "PROTOCOL.md 5, Commands and answers"
ANSWERING = chapter_of(
    "Commands and answers",
    Check("one-answer", "Each command is answered exactly once.", SECTION, _one_each),
    Check("request-ids", "The request_id is echoed, whatever it is but 0, which no host uses.", SECTION, _request_ids),
    Check("answer-time", "Each command is answered within 100 ms.", SECTION, _in_time),
    Check("answer-order", "A burst of commands is answered in the order in which they came.", SECTION, _in_order),
    Check("repeats", "A command may be repeated: done twice it gives what done once gives.", SECTION, _repeats),
    Check("host-alive", "HostAlive is not answered.", "PROTOCOL.md 9 HostAlive", _host_alive),
)
