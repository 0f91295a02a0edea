"""Wrong devices on the wire: each is caught by the check that is there for it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from borewire.codec import encode
from borewire.framing import checksum, frame_of, payload_of, stuff, unstuff
from borewire.messages import (
    Ack,
    AirEvent,
    BlockFlags,
    Cause,
    ChannelDescription,
    EchoReply,
    HostAlive,
    IdentifyRequest,
    Identity,
    IndexEvent,
    Quantity,
    RefusalReason,
    Refused,
    SampleBlock,
    SlowReading,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyOpen,
    VentOpen,
)

from .bent_device import Bent, Said, caught
from .devices import HAND_VALVES

Bend = Callable[[Any], Any]


def each(kind: type, bend: Bend) -> Callable[[SimRig], SimEndpoint]:
    """A device that says something else for every message of a kind; bend gives None for nothing at all."""

    def say(messages: list[Any]) -> list[Said]:
        bent = [bend(message) if isinstance(message, kind) else message for message in messages]
        return [message for message in bent if message is not None]

    return lambda rig: Bent(rig, say)


def counting(kind: type, bend: Callable[[Any, int], Any]) -> Callable[[SimRig], SimEndpoint]:
    """The same, told how many of the kind came before."""
    came = {"number": -1}

    def nth(message: Any) -> Any:
        came["number"] += 1
        return bend(message, came["number"])

    return each(kind, nth)


def twice(message: Any) -> bytes:
    return encode(message) * 2


def high_octet_first(messages: list[Any]) -> list[Said]:
    frames = []
    for message in messages:
        content = bytes([message.TYPE]) + message.encode_body()
        payload = content + checksum(content).to_bytes(2, "big")
        frames.append(b"\x00" + stuff(bytes(octet ^ 0xF5 for octet in payload)) + b"\x00")
    return list(frames)


def channels_backwards(messages: list[Any]) -> list[Said]:
    channels = [message for message in messages if isinstance(message, ChannelDescription)]
    return [channels.pop() if isinstance(message, ChannelDescription) else message for message in messages]


def answers_swapped(messages: list[Any]) -> list[Said]:
    answers = [message for message in messages if isinstance(message, EchoReply | Status) and message.request_id]
    return [answers.pop() if isinstance(message, EchoReply | Status) and message.request_id else message for message in messages]


def event_before_ack(messages: list[Any]) -> list[Said]:
    return sorted(messages, key=lambda message: not isinstance(message, AirEvent))


def late(rig: SimRig) -> SimEndpoint:
    """Every answer is held back for 150 ms, the stream is not."""
    held: list[tuple[float, Said]] = []

    def say(messages: list[Any]) -> Sequence[Said]:
        said: list[Said] = []
        for message in messages:
            if getattr(message, "request_id", 0):
                held.append((rig.now_s + 0.15, message))
            else:
                said.append(message)
        while held and held[0][0] <= rig.now_s:
            said.append(held.pop(0)[1])
        return said

    return Bent(rig, say)


class Fast(SimEndpoint):
    """The host's clock as it would be beside a device that runs 3 % fast."""

    def monotonic(self) -> float:
        return super().monotonic() / 1.03


def no_checksum(data: bytes) -> bytes:
    """What a device hears that does not look at the checksum: always a good one."""
    heard = b""
    for piece in data.split(b"\x00"):
        if 4 <= len(piece) <= 254 and piece[0] <= len(piece):
            content = bytes(octet ^ 0xF5 for octet in piece[1:])[:-2]
            heard += frame_of(content[0], content[1:]) if content else b""
    return heard


def repeats_dropped() -> Callable[[bytes], bytes]:
    seen: list[bytes] = []

    def hear(data: bytes) -> bytes:
        if data in seen[-3:] and data != encode(HostAlive()):
            return b""
        seen.append(data)
        return data

    return hear


def hearing(hear: Callable[[bytes], bytes]) -> Callable[[SimRig], SimEndpoint]:
    return lambda rig: Bent(rig, hear=hear)


def as_own(data: bytes) -> bytes:
    """A host of another major version is taken for one of the same."""
    content = payload_of(data.strip(b"\x00")) if data.strip(b"\x00") else b"\x00"
    if content[0] != IdentifyRequest.TYPE:
        return data
    return encode(replace(IdentifyRequest.decode_body(content[1:]), protocol_major=1))


def in_eights(data: bytes) -> bytes:
    """A longer block is acknowledged and taken for one of 8."""
    content = payload_of(data.strip(b"\x00")) if data.strip(b"\x00") else b"\x00"
    if content[0] != StreamStart.TYPE:
        return data
    command = StreamStart.decode_body(content[1:])
    return encode(replace(command, block_size=8)) if command.block_size > 8 else data


def minor_refused(message: Identity) -> Said:
    return Refused(message.request_id, IdentifyRequest.TYPE, RefusalReason.VERSION_UNSUPPORTED, 0)


def one_index_late(block: SampleBlock) -> SampleBlock:
    return replace(block, sample_index=block.sample_index + 1)


def unknown_as_bad(status: Status) -> Status:
    return replace(status, frames_bad=status.frames_bad + status.frames_unknown, frames_unknown=0)


def vent_taken(refused: Refused) -> Said:
    return Ack(refused.request_id, refused.command, refused.device_tick) if refused.command == VentOpen.TYPE else refused


def another_reason(refused: Refused) -> Said:
    return replace(refused, reason=RefusalReason.BLOCK_TOO_LARGE)


def event_after_every_opening(messages: list[Any]) -> list[Said]:
    said: list[Said] = []
    for message in messages:
        said.append(message)
        if isinstance(message, Ack) and message.command == SupplyOpen.TYPE and not any(isinstance(m, AirEvent) for m in messages):
            said.append(AirEvent(message.device_tick, 2, Cause.COMMAND_OPEN, 1, 0))  # type: ignore[arg-type]
    return said


def block_after_stop(messages: list[Any]) -> list[Said]:
    said: list[Said] = []
    for message in messages:
        said.append(message)
        if isinstance(message, Ack) and message.command == StreamStop.TYPE:
            said.append(SampleBlock(0, message.device_tick, 8, BlockFlags(0), 1, 2, bytes(8)))
    return said


def shifted(count: int, _number: int = 0) -> Callable[[Status], Status]:
    return lambda status: replace(status, crank_count=status.crank_count + count)


MUTANTS: dict[str, tuple[str, Any]] = {
    "checksum high octet first": ("handshake", lambda rig: Bent(rig, high_octet_first)),
    "channels backwards": ("handshake", lambda rig: Bent(rig, channels_backwards)),
    "a channel is not described": ("handshake", counting(ChannelDescription, lambda m, n: m if n % 2 else None)),
    "no counts in a turn": ("identity-fields", each(Identity, lambda m: replace(m, counts_per_rev=0))),
    "blocks that fit no frame": ("identity-fields", each(Identity, lambda m: replace(m, max_block_size=200))),
    "pressures in another order": ("channels", each(ChannelDescription, lambda m: replace(m, quantity=Quantity(1 - m.quantity)))),
    "another serial number each time": ("identify-again", counting(Identity, lambda m, n: replace(m, serial_number=str(n)))),
    "another minor version refused": ("other-minor", counting(Identity, lambda m, n: minor_refused(m) if n else m)),
    "another major version taken": ("other-major", hearing(as_own)),
    "no Status at power-up": ("power-up", each(Status, lambda m: m if m.request_id else None)),
    "no AirEvent at power-up": ("reset", each(AirEvent, lambda m: None if m.cause is Cause.POWER_UP else m)),
    "samples from 1 on": ("stream-start", each(SampleBlock, one_index_late)),
    "samples after the stop": ("stream-stop", lambda rig: Bent(rig, block_after_stop)),
    "wrong reason for a rate": ("stream-refusals", each(Refused, another_reason)),
    "gap in sequence": ("stream-numbers", each(SampleBlock, lambda m: replace(m, sequence=(m.sequence * 2) & 0xFFFF))),
    "ticks off by one": (
        "stream-numbers",
        counting(SampleBlock, lambda m, n: replace(m, device_tick=(m.device_tick + n % 2) & 0xFFFFFFFF)),
    ),
    "a block lost": ("stream-numbers", counting(SampleBlock, lambda m, n: None if n % 50 == 49 else m)),
    "the fastest rate refused": ("stream-rates", each(Identity, lambda m: replace(m, max_rate_hz=4000))),
    "no block longer than 8": ("stream-block-sizes", hearing(in_eights)),
    "the largest block refused": ("stream-block-sizes", each(Identity, lambda m: replace(m, max_block_size=29))),
    "always saturated": ("stream-flags", each(SampleBlock, lambda m: replace(m, flags=m.flags | BlockFlags.SATURATED))),
    "another crank in the Status": ("stream-crank", each(Status, shifted(1000))),
    "Ack in milliseconds": ("one-clock", each(Ack, lambda m: replace(m, device_tick=m.device_tick // 1000))),
    "a fast clock": ("clock-rate", Fast),
    "Status every other second": ("status-each-second", counting(Status, lambda m, n: m if m.request_id or n % 2 else None)),
    "SlowReading of a streamed channel": ("slow-readings", each(Status, lambda m: encode(m) + encode(SlowReading(0, 0, 0)))),
    "another boot_id in the Status": ("boot-id", each(Status, lambda m: replace(m, boot_id=m.boot_id ^ 1))),
    "answered twice": ("one-answer", each(EchoReply, twice)),
    "request_id cut to 15 bits": ("request-ids", each(EchoReply, lambda m: replace(m, request_id=m.request_id & 0x7FFF))),
    "answers 150 ms late": ("answer-time", late),
    "answers out of order": ("answer-order", lambda rig: Bent(rig, answers_swapped)),
    "repeats ignored": ("repeats", lambda rig: Bent(rig, hear=repeats_dropped())),
    "HostAlive answered": (
        "host-alive",
        hearing(lambda data: encode(StatusRequest(77)) if data == encode(HostAlive()) else data),
    ),
    "echo without its last octet": ("echo-vectors", each(EchoReply, lambda m: replace(m, octets=m.octets[:-1]))),
    "echo cut at 199": ("echo-octets", each(EchoReply, lambda m: replace(m, octets=m.octets[:199]))),
    "good frames not counted": ("good-frames", each(Status, lambda m: replace(m, frames_received=0))),
    "bad frames not counted": ("bad-vectors", each(Status, lambda m: replace(m, frames_bad=0))),
    "checksum not looked at": ("bad-frames", hearing(no_checksum)),
    "cut frames not counted": ("cut-frame", each(Status, lambda m: replace(m, frames_bad=0))),
    "single octets lost": ("pieces", hearing(lambda data: data if len(data) > 1 else b"")),
    "zeros are frames": ("zeros", hearing(lambda data: data.replace(bytes(3), b"\x00\x01\x00"))),
    "unknown counted as bad": ("unknown-types", each(Status, unknown_as_bad)),
    "noise not counted": ("noise", each(Status, lambda m: replace(m, frames_bad=0))),
    "index pulses not counted": ("index", each(IndexEvent, lambda m: replace(m, index_number=1))),
    "a frame of its own is bad": ("good-frames-only", each(Ack, lambda m: encode(m)[:-3] + b"\x01\x01\x00")),
    "AirEvent before the Ack": ("vented-SupplyOpen", lambda rig: Bent(rig, event_before_ack)),
    "AirEvent for a renewal": ("open-SupplyOpen-same", lambda rig: Bent(rig, event_after_every_opening)),
    "another opening in the AirEvent": ("open-VentOpen", each(AirEvent, lambda m: replace(m, opening_id=m.opening_id ^ 1))),
    "supply_open never flagged": ("air-flags", each(SampleBlock, lambda m: replace(m, flags=m.flags & ~BlockFlags.SUPPLY_OPEN))),
    "opening_id forgotten": ("opening-id-in-status", each(Status, lambda m: replace(m, opening_id=0))),
    "refusals not counted": ("open-limits-invalid", each(Status, lambda m: replace(m, commands_refused=0))),
}


@pytest.mark.parametrize(("name", "make"), MUTANTS.values(), ids=list(MUTANTS))
def test_a_wrong_device_is_caught_by_the_check_that_is_there_for_it(name: str, make: Any) -> None:
    result = caught(name, make)
    assert result.sentence
    assert result.sent or result.came or name in ("power-up", "identity-fields", "channels", "good-frames-only")


def test_a_device_without_valves_that_acknowledges_a_vent_is_caught() -> None:
    assert "no_valves is due" in caught("no-valves", each(Refused, vent_taken), HAND_VALVES).sentence


def test_unstuffing_and_stuffing_of_the_bent_devices_is_that_of_the_wire() -> None:
    frame = encode(StatusRequest(245))
    assert no_checksum(encode(HostAlive())) == encode(HostAlive())
    assert unstuff(stuff(unstuff(frame.strip(b"\x00")))) == unstuff(frame.strip(b"\x00"))
