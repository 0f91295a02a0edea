"""The simulated rig as a port in virtual time."""

from __future__ import annotations

from typing import Any

import pytest
from boresim.endpoint import SLICE_S, SimEndpoint, SimPortError
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder, encode
from borewire.messages import IdentifyRequest, Identity, SampleBlock, StreamStart


@pytest.fixture
def port() -> SimEndpoint:
    made = SimEndpoint(SimRig(load_scenario("hillclimb-before")), timeout=0.02)
    made.read(4096)  # what the device says at power-up
    return made


def test_reading_lets_time_pass_only_until_something_comes(port: SimEndpoint, pick: Any) -> None:
    began_s = port.monotonic()
    port.timeout = 1.0
    assert port.write(encode(IdentifyRequest(1, 1, 0))) > 0
    answer = port.read(4096)
    assert pick(Identity, Decoder("host").feed(answer))
    assert port.monotonic() - began_s <= SLICE_S <= 0.04


def test_a_silent_device_uses_up_the_timeout_and_gives_nothing(port: SimEndpoint) -> None:
    began_s = port.monotonic()
    assert port.read(10) == b""
    assert port.monotonic() - began_s == pytest.approx(0.02, abs=1e-9)
    port.timeout = 0.0
    assert port.read(10) == b""
    assert port.monotonic() - began_s == pytest.approx(0.02, abs=1e-9)


def test_small_reads_give_the_same_octets_in_order(port: SimEndpoint, pick: Any) -> None:
    port.write(encode(StreamStart(1, 1000, 8)))
    decoder = Decoder("host")
    events = []
    while port.monotonic() < 1.0:
        piece = port.read(7)
        assert len(piece) <= 7
        events += decoder.feed(piece)
    assert decoder.counters.frames_bad == 0
    blocks = pick(SampleBlock, events)
    assert [block.sequence for block in blocks] == list(range(len(blocks)))
    assert len(blocks) > 100


def test_a_closed_port_and_a_pulled_cable_raise_and_a_cable_put_back_works(port: SimEndpoint) -> None:
    port.rig.unplug()
    for use in (lambda: port.read(1), lambda: port.write(b"x")):
        with pytest.raises(SimPortError, match="check its cable"):
            use()
    port.rig.plug()
    assert port.read(1) == b""
    port.close()
    assert not port.is_open
    with pytest.raises(OSError, match="closed"):
        port.read(1)


def test_a_cable_pulled_while_a_read_waits_raises(port: SimEndpoint) -> None:
    port.timeout = 30.0
    port.rig.operator.do("unplug")
    with pytest.raises(SimPortError, match="check its cable"):
        port.read(1)
    assert port.monotonic() < 10.0


def test_a_timeout_without_end_is_refused(port: SimEndpoint) -> None:
    for endless in (None, -1.0, float("nan")):
        with pytest.raises(ValueError, match="timeout must be a number of seconds"):
            port.timeout = endless


def test_time_cannot_go_backwards(port: SimEndpoint) -> None:
    for wrong_s in (-0.1, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="dt_s must be"):
            port.rig.advance(wrong_s)
