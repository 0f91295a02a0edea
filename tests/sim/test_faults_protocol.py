"""What the device says wrongly: by the messages alone, so that cutting time changes nothing; gone when it is over."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from boresim.faults import Fault
from boresim.faults.protocol import PROTOCOL
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import BadFrame, Decoder, Received, UnknownMessage, encode
from borewire.messages import (
    PROTOCOL_MINOR,
    Ack,
    FaultEvent,
    IdentifyRequest,
    Identity,
    Refused,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
)

END_S = 2.0


def _octets(name: str | None, cuts_s: list[float]) -> bytes:
    """What a rig says that has one fault, is asked who it is, streams, and is asked how it stands."""
    rig = SimRig(load_scenario("hillclimb-before"))
    if name is not None:
        rig.faults.begin(name)
    told = [
        (0.1, encode(IdentifyRequest(1, 1, 0))),
        (0.4, encode(StreamStart(2, 1000, 8))),
        (0.6, encode(StreamStart(3, 1000, 8))),
        (1.0, encode(StatusRequest(4))),
    ]
    out = bytearray()
    for at_s, what in sorted([*told, *((cut, b"") for cut in [*cuts_s, END_S])], key=lambda one: one[0]):
        rig.advance(at_s - rig.now_s)
        out += rig.transmit()
        rig.receive(what)
    return bytes(out)


def _said(name: str | None) -> list[Received]:
    return Decoder("host").feed(_octets(name, []))


@pytest.mark.parametrize("fault", PROTOCOL, ids=lambda fault: fault.name)
def test_the_octets_do_not_depend_on_how_time_is_cut(fault: Fault) -> None:
    luck = random.Random(fault.name)
    assert _octets(fault.name, [luck.uniform(0.0, END_S) for _ in range(100)]) == _octets(fault.name, [])


@pytest.mark.parametrize("fault", PROTOCOL, ids=lambda fault: fault.name)
def test_a_fault_that_is_over_leaves_the_device_sound(fault: Fault) -> None:
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.faults.begin(fault.name)
    rig.advance(1.0)
    rig.faults.end(fault.name)
    rig.transmit()
    assert (rig.device.messages.out, rig.device.messages.into) == ({}, {})
    rig.receive(encode(IdentifyRequest(1, 1, 0)))
    rig.advance(0.1)
    identity, *channels = Decoder("host").feed(rig.transmit())
    assert isinstance(identity, Identity)
    assert (identity.protocol_major, identity.protocol_minor, len(channels)) == (1, PROTOCOL_MINOR, 2)


def test_what_is_wrong_lasts_over_a_restart() -> None:
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.faults.begin("other-major")
    rig.power_cycle()
    rig.advance(1.0)
    rig.receive(encode(IdentifyRequest(1, 1, 0)))
    rig.advance(0.1)
    assert [one.protocol_major for one in Decoder("host").feed(rig.transmit()) if isinstance(one, Identity)] == [2]


def test_versions() -> None:
    assert [one.protocol_minor for one in _said("newer-minor") if isinstance(one, Identity)] == [PROTOCOL_MINOR + 3]
    assert any(isinstance(one, UnknownMessage) for one in _said("newer-minor"))
    assert not any(isinstance(one, Identity) for one in _said("refuses-our-major"))
    assert any(isinstance(one, Refused) for one in _said("refuses-our-major"))
    asked = [one for one in _said("older-minor") if isinstance(one, Status) and one.request_id]
    assert asked == []
    assert [one.request_id for one in _said(None) if isinstance(one, Status) and one.request_id] == [4]


def test_frames_that_are_no_good() -> None:
    sound = [one for one in _said(None) if isinstance(one, SampleBlock)]
    wrong = _said("wrong-length")
    assert sum(isinstance(one, BadFrame) for one in wrong) == len(sound) // 40
    assert not any(isinstance(one, SampleBlock) for one in _said("reserved-bits"))
    gap = [one.sequence for one in _said("sequence-gap") if isinstance(one, SampleBlock)]
    assert gap == [one.sequence for one in sound][1:]


@pytest.mark.parametrize(("name", "field", "bits"), [("blocks-wrap", "sequence", 16), ("samples-wrap", "sample_index", 32)])
def test_counters_near_their_end(name: str, field: str, bits: int) -> None:
    numbers = [getattr(one, field) for one in _said(name) if isinstance(one, SampleBlock)]
    assert numbers[0] > (1 << bits) * 0.9
    assert len({after - before for before, after in pairwise(numbers)}) == 1


def test_answers() -> None:
    acks = [one for one in _said(None) if isinstance(one, Ack)]
    assert [one.request_id for one in acks] == [2, 3]
    assert [one.request_id for one in _said("answers-lost") if isinstance(one, Ack)] == [3]
    assert [one.request_id for one in _said("answers-to-others") if isinstance(one, Ack)] == [1002, 1003]
    assert len([one for one in _said("fault-told") if isinstance(one, FaultEvent)]) == 1
    assert len(_said("hangs")) <= 2  # what it said at power-up
