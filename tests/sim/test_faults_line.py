"""The cable with something wrong: by place and tick alone, so that cutting time changes nothing; gone when it is over."""

from __future__ import annotations

import random

import pytest
from boresim.faults import Fault, fault_named
from boresim.faults.line import LINE
from boresim.line import Line, Scratch, Way
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import BadFrame, Decoder, encode
from borewire.messages import Ack, EchoReply, EchoRequest, HostAlive, SampleBlock, StreamStart

END_S = 3.0
BEGINS_S = 0.7


def _octets(name: str | None, cuts_s: list[float]) -> bytes:
    """What a rig says that streams, is spoken to now and then, and has one fault from BEGINS_S on."""
    rig = SimRig(load_scenario("hillclimb-before"))
    told: list[tuple[float, bytes]] = [(0.1, encode(StreamStart(1, 1000, 8)))]
    told += [(1.0 + 0.25 * step, encode(EchoRequest(2 + step, b"abc"))) for step in range(7)]
    begins: list[tuple[float, bytes]] = [] if name is None else [(BEGINS_S, b"begin")]
    out = bytearray()
    for at_s, what in sorted([*told, *begins, *((cut, b"") for cut in [*cuts_s, END_S])], key=lambda one: one[0]):
        rig.advance(at_s - rig.now_s)
        while got := rig.transmit():
            out += got
        if what == b"begin":
            rig.faults.begin(str(name))
        elif what:
            rig.receive(what)
    return bytes(out)


@pytest.mark.parametrize("fault", LINE, ids=lambda fault: fault.name)
def test_the_octets_do_not_depend_on_how_time_is_cut(fault: Fault) -> None:
    name = fault.name
    luck = random.Random(name)
    assert _octets(name, [luck.uniform(0.0, END_S) for _ in range(200)]) == _octets(name, [])


def _messages(octets: bytes, kind: type) -> list[object]:
    return [message for message in Decoder("host").feed(octets) if isinstance(message, kind)]


@pytest.mark.parametrize("name", ["bits-flip-always", "octets-lost", "octets-added"])
def test_what_is_scratched_is_found_by_the_decoder_and_the_rest_is_right(name: str) -> None:
    sound, worn = _octets(None, []), _octets(name, [])
    blocks, bad = _messages(worn, SampleBlock), _messages(worn, BadFrame)
    assert bad
    assert 0 < len(blocks) < len(_messages(sound, SampleBlock))
    assert set(blocks) <= set(_messages(sound, SampleBlock))


def test_pieces_and_lateness_change_no_octet() -> None:
    sound = _octets(None, [])
    assert _octets("in-pieces", []) == sound
    late = _octets("a-little-late", [])
    assert len(_messages(late, EchoReply)) == len(_messages(sound, EchoReply))
    blocks = _messages(late, SampleBlock)
    assert blocks == _messages(sound, SampleBlock)[: len(blocks)]
    assert len(blocks) == pytest.approx((END_S - 0.1 - 0.125) * 125, abs=5)


@pytest.mark.parametrize(
    ("name", "answers", "blocks"),
    [("dead-to-the-device", False, True), ("dead-to-the-host", False, False), ("cable-out", False, False)],
)
def test_a_dead_direction_is_dead(name: str, answers: bool, blocks: bool) -> None:
    octets = _octets(name, [])
    assert bool(_messages(octets, EchoReply)) is answers
    assert (len(_messages(octets, SampleBlock)) > 200) is blocks


def test_an_echo_comes_back_as_it_was_sent() -> None:
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.faults.begin("own-echo")
    rig.transmit()
    rig.receive(encode(HostAlive()))
    assert rig.transmit() == encode(HostAlive())


def test_a_stall_holds_everything_back_and_loses_nothing() -> None:
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.receive(encode(StreamStart(1, 1000, 8)))
    rig.advance(0.5)
    rig.transmit()
    rig.faults.begin("stall")
    rig.advance(1.9)
    assert rig.transmit() == b""
    rig.advance(0.2)
    blocks = _messages(b"\0" + rig.transmit(), SampleBlock)
    assert len(blocks) == pytest.approx(2.1 * 125, abs=3)


def test_the_cable_comes_back_by_itself() -> None:
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.faults.begin("cable-out-and-in")
    rig.advance(3.9)
    assert not rig.plugged
    rig.advance(0.2)
    assert rig.plugged


@pytest.mark.parametrize("fault", LINE, ids=lambda fault: fault.name)
def test_a_fault_that_is_over_leaves_the_cable_sound(fault: Fault) -> None:
    name = fault.name
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.advance(0.1)
    rig.transmit()
    rig.faults.begin(name)
    rig.advance(0.1)
    rig.faults.end(name)
    rig.advance(3.0)
    while rig.transmit():
        pass
    assert not rig.line.worn
    assert not rig.device.messages.out
    rig.receive(encode(StreamStart(7, 1000, 8)))
    rig.advance(0.1)
    octets = rig.transmit()
    assert [message.request_id for message in _messages(octets, Ack) if isinstance(message, Ack)] == [7]
    assert not _messages(octets, BadFrame)


@pytest.mark.parametrize("cut", [1, 7, 4096, 5000])
def test_scratches_go_by_place(cut: int) -> None:
    data = bytes(range(256)) * 40
    chances = {"flipped": 0.01, "lost": 0.01, "added": 0.01}
    whole = Scratch(3, "cable", **chances).worn(data, 100)
    parts = Scratch(3, "cable", **chances)
    assert b"".join(parts.worn(data[at : at + cut], 100 + at) for at in range(0, len(data), cut)) == whole
    assert whole != data
    assert Scratch(4, "cable", **chances).worn(data, 100) != whole


def test_no_octet_overtakes_another() -> None:
    way = Way(10)
    way.dues["late"] = lambda tick: tick + 100
    way.put(b"first", 5)
    del way.dues["late"]
    way.put(b"second", 6)
    assert way.take(109) == b""
    assert way.take(110) == b"firstsecond"
    assert not way.worn


def test_a_sound_line_is_asked_nothing() -> None:
    assert not Line(bytearray(b"x"), 10).worn
    assert not SimRig(load_scenario("hillclimb-before")).line.worn
    assert fault_named("stall") in LINE
