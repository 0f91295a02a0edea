"""Hostile octets against the firmware on the PC, every access and overflow of it checked by the sanitizers.

The octets decide nothing but what a good frame says; afterwards the device is vented, answers, and has counted.
"""

from __future__ import annotations

import random

import pytest
from avr_rig.child import Pin
from borewire.codec import BadFrame, Decoder, Received, encode
from borewire.framing import frame_of
from borewire.messages import (
    TYPES_TO_DEVICE,
    TYPES_TO_HOST,
    Ack,
    AirEvent,
    AirState,
    EchoReply,
    EchoRequest,
    HostAlive,
    IdentifyRequest,
    Identity,
    Message,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyShut,
    VentOpen,
)

from .pc_child import Bench, bench, close_command, only, open_command

COMMANDS: tuple[Message, ...] = (
    IdentifyRequest(1, 1, 0),
    StreamStart(2, 1000, 8),
    StreamStart(3, 500, 1),
    StreamStop(4),
    open_command(5),
    SupplyShut(6, 300),
    VentOpen(7),
    close_command(8),
    StatusRequest(9),
    HostAlive(),
    EchoRequest(10, bytes(range(200))),
)


def noise(chance: random.Random) -> bytes:
    return chance.randbytes(chance.randrange(1, 400))


def zeros_and_noise(chance: random.Random) -> bytes:
    return b"\0".join(chance.randbytes(chance.randrange(0, 9)) for _ in range(30))


def good_frames_of_any_content(chance: random.Random) -> bytes:
    """Right checksums around bodies that mean nothing, of types that are known, unknown and for the other side."""
    types = [*TYPES_TO_DEVICE, *TYPES_TO_HOST, 0, 0x7F, 0xFF]
    return b"".join(frame_of(chance.choice(types), chance.randbytes(chance.choice((0, 2, 5, 7, 21, 203, 250)))) for _ in range(3))


def mutated_commands(chance: random.Random) -> bytes:
    octets = bytearray(b"".join(encode(chance.choice(COMMANDS)) for _ in range(4)))
    for _ in range(chance.randrange(4)):
        octets[chance.randrange(len(octets))] ^= 1 << chance.randrange(8)
    if chance.random() < 0.3:
        del octets[chance.randrange(len(octets)) :]
    return bytes(octets)


def commands(chance: random.Random) -> bytes:
    return b"".join(encode(chance.choice(COMMANDS)) for _ in range(6))


def too_long(chance: random.Random) -> bytes:
    return chance.randbytes(chance.randrange(250, 600)).replace(b"\0", b"\1") + b"\0"


def settle(rig: Bench) -> list[Received]:
    """What came behind a zero that ends whatever was heard; then the device must be at its best."""
    heard = rig.run(60, octets=b"\0")
    heard += rig.run(20, VentOpen(30_000))
    assert [ack.request_id for ack in only(Ack, heard)][-1:] == [30_000]
    (status,) = [status for status in only(Status, rig.run(20, StatusRequest(30_001))) if status.request_id]
    assert (status.air, rig.driven) == (AirState.VENTED, (False, False))
    identity, *channels = [event for event in rig.run(20, IdentifyRequest(30_002, 1, 0)) if _of_identify(event)]
    assert isinstance(identity, Identity)
    assert len(channels) == identity.channel_count
    return heard


def _of_identify(event: Received) -> bool:
    return getattr(event, "request_id", None) == 30_002


@pytest.mark.parametrize(
    "make",
    [noise, zeros_and_noise, good_frames_of_any_content, mutated_commands, commands, too_long],
    ids=lambda make: make.__name__,
)
def test_the_device_lives_through_any_octets(make: object) -> None:
    chance = random.Random(str(make.__name__))  # type: ignore[attr-defined]
    with bench(ready=True) as rig:
        for _ in range(150):
            octets = make(chance)  # type: ignore[operator]
            heard = rig.run(len(octets) / 50 + chance.randrange(6), octets=octets)
            assert not any(isinstance(event, BadFrame) for event in heard)
        settle(rig)


@pytest.mark.parametrize(
    "make", [zeros_and_noise, good_frames_of_any_content, mutated_commands, too_long], ids=lambda make: make.__name__
)
def test_the_device_counts_what_the_host_s_own_decoder_counts(make: object) -> None:
    """The octets come so slowly that all are heard, and nothing that they ask for fills the line."""
    chance = random.Random(f"count {make.__name__}")  # type: ignore[attr-defined]
    with bench() as rig:
        rig.run(20)
        mirror = Decoder("device")
        for _ in range(100):
            octets = make(chance)  # type: ignore[operator]
            rig.run(len(octets) / 50 + 20, octets=octets)
            mirror.feed(octets)
        rig.run(40, octets=b"\0")
        mirror.feed(b"\0" + encode(StatusRequest(1)))
        told: Status = next(status for status in only(Status, rig.run(20, StatusRequest(1))) if status.request_id)
        counters = mirror.counters
        assert (told.frames_received, told.frames_bad, told.frames_unknown) == (
            counters.frames_good,
            counters.frames_bad,
            counters.frames_unknown,
        )


def test_noise_on_every_wire_and_on_the_line_at_once() -> None:
    chance = random.Random("everything")
    with bench(ready=True) as rig:
        for _ in range(120):
            pins = sorted((chance.randrange(20 * 16_000), chance.choice(list(Pin)), chance.randrange(2)) for _ in range(400))
            rig.codes = (chance.randrange(1024), chance.randrange(1024), chance.randrange(1024), chance.randrange(1024))
            rig.run(20, octets=chance.choice((noise, commands, mutated_commands))(chance)[:900], pins=pins)
        assert len(rig.outputs) > 20
        assert not any(supply and not vent for _, supply, vent in rig.outputs)  # the supply is never open into an open vent
        rig.codes = (300, 300, 300, 225)
        rig.hold(False)
        settle(rig)


def test_more_than_the_line_can_answer_loses_commands_and_nothing_else() -> None:
    """Each answer is longer than its command: what is heard is answered, once and in order, and samples go on afterwards."""
    with bench(ready=True) as rig:
        heard = rig.run(1200, octets=b"".join(encode(StatusRequest(k)) for k in range(1, 5000)))
        heard += rig.run(200, octets=b"\0")
        answered = [status.request_id for status in only(Status, heard) if status.request_id]
        assert answered == sorted(set(answered))
        assert len(answered) > 500
        assert not any(isinstance(event, BadFrame) for event in heard)
        assert len(only(SampleBlock, rig.run(200))) >= 24
        settle(rig)


def test_air_is_let_out_in_time_whatever_floods_the_line() -> None:
    """Storms of frames that are good keep the host alive, and neither the time limit nor the switch waits for them."""
    with bench(ready=True) as rig:
        rig.answers(open_command(time_limit_ms=400))
        opened = rig.outputs[-1][0]
        heard = rig.run(500, octets=b"".join(encode(EchoRequest(k, bytes(60))) for k in range(360)))
        assert 400 * 16_000 <= rig.outputs[-1][0] - opened <= 401 * 16_000
        assert [event.air for event in only(AirEvent, heard)] == [AirState.VENTED]
        assert len(only(EchoReply, heard)) > 300
