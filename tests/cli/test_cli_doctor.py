"""What doctor says of the installation and of whatever is at the port; it never asks for air."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from importlib import metadata
from typing import Any

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder, encode
from borewire.messages import (
    Ack,
    Fitted,
    HostAlive,
    IdentifyRequest,
    Identity,
    RefusalReason,
    Refused,
    StreamStart,
    StreamStop,
)
from borewright import __version__
from borewright.cli import exits


class OnTheLine:
    """A simulated rig; what comes from it and goes to it passes through `spoil`, and what the host wrote is kept."""

    def __init__(self, scenario: str = "hillclimb-before", spoil: Callable[[bytes], bytes] = bytes) -> None:
        self.rig = SimRig(load_scenario(scenario))
        self.written = b""
        self._inner = SimEndpoint(self.rig)
        self._spoil = spoil

    @property
    def timeout(self) -> float | None:
        return self._inner.timeout

    @timeout.setter
    def timeout(self, seconds: float | None) -> None:
        self._inner.timeout = seconds

    def read(self, size: int, /) -> bytes:
        return self._spoil(self._inner.read(size))

    def write(self, data: bytes, /) -> int:
        self.written += data
        return self._inner.write(data)

    def close(self) -> None:
        self._inner.close()

    def monotonic(self) -> float:
        return self._inner.monotonic()


def told(written: bytes) -> set[type]:
    return {type(message) for message in Decoder("device").feed(written)}


def test_what_is_installed_is_said(command: Callable[..., Any]) -> None:
    ended = command("doctor", "--json")
    assert (ended.code, ended.err) == (exits.OK, "")
    said = json.loads(ended.out)
    assert said["borewright"] == __version__
    assert said["python"] == ".".join(map(str, sys.version_info[:3]))
    assert said["packages"]["numpy"] == metadata.version("numpy")
    assert None not in said["packages"].values()
    assert said["troubles"] == []
    assert "rig" not in said
    plain = command("doctor")
    assert plain.code == exits.OK
    for name, version in said["packages"].items():
        assert f"{name} " in plain.out
        assert version in plain.out


def test_a_missing_package_is_a_trouble(command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    def version(name: str) -> str:
        if name == "pyserial":
            raise metadata.PackageNotFoundError(name)
        return "1"

    monkeypatch.setattr("borewright.cli.doctor.metadata.version", version)
    ended = command("doctor")
    assert (ended.code, ended.err) == (exits.UNUSABLE, "")
    assert "trouble: pyserial is not installed" in ended.out


def test_a_rig_says_who_it_is_and_is_left_vented_and_quiet(command: Callable[..., Any], plugged_in: Callable[..., None]) -> None:
    line = OnTheLine()
    plugged_in(line)
    ended = command("doctor", "--port", "any", "--json")
    assert (ended.code, ended.err) == (exits.OK, "")
    said = json.loads(ended.out)
    rig = said["rig"]
    assert (rig["serial_number"], rig["counts_per_rev"], rig["fitted"]) == (
        "BW-REF-0001",
        4096,
        ["supply_valve", "vent_valve", "hold_switch"],
    )
    assert [(channel["quantity"], channel["streamed"]) for channel in rig["channels"]] == [
        ("pressure_regulated", True),
        ("pressure_cylinder", True),
    ]
    link = said["link"]
    assert link["samples"] == pytest.approx(2000, abs=100)  # two seconds at 1 kHz, to the reads at both ends
    assert (link["frames_bad"], link["gaps"], link["rig_counters"]["frames_bad"]) == (0, 0, 0)
    assert link["rig_state"] == {"air": "vented", "supply": "shut", "vent": "open", "hold": "released"}
    assert told(line.written) == {IdentifyRequest, StreamStart, HostAlive, StreamStop}
    line.rig.advance(0.1)
    line.rig.transmit()
    line.rig.advance(1.0)
    assert line.rig.transmit() == b""


def test_what_a_rig_calls_itself_does_not_command_the_terminal(
    command: Callable[..., Any], plugged_in: Callable[..., None]
) -> None:
    line = OnTheLine()
    line.rig.device.setup = replace(line.rig.device.setup, serial_number="R-7\x1b[2J")
    plugged_in(line)
    ended = command("doctor", "--port", "any")
    assert "rig R-7\\x1b[2J, firmware" in ended.out
    assert "\x1b" not in ended.out


def test_a_rig_with_hand_valves_says_so_in_words(command: Callable[..., Any], plugged_in: Callable[..., None]) -> None:
    plugged_in(OnTheLine("hillclimb-before-hand"))
    ended = command("doctor", "--port", "any")
    assert (ended.code, ended.err) == (exits.OK, "")
    assert "fitted: sensors only; the valves are worked by hand" in ended.out
    assert "supply not fitted" in ended.out


def test_damaged_and_lost_frames_are_troubles(command: Callable[..., Any], plugged_in: Callable[..., None]) -> None:
    seen = 0

    def cut(data: bytes) -> bytes:
        """One octet of every three hundred is lost, after the rig has said who it is."""
        nonlocal seen
        kept = bytearray()
        for octet in data:
            seen += 1
            if seen < 600 or seen % 300:
                kept.append(octet)
        return bytes(kept)

    plugged_in(OnTheLine(spoil=cut))
    ended = command("doctor", "--port", "any", "--json")
    assert (ended.code, ended.err) == (exits.UNUSABLE, "")
    said = json.loads(ended.out)
    assert said["link"]["frames_bad"] > 0
    assert said["link"]["missing_blocks"] >= said["link"]["gaps"] > 0
    assert len(said["troubles"]) == 2


def test_a_rig_that_falls_silent_is_a_trouble(command: Callable[..., Any], plugged_in: Callable[..., None]) -> None:
    octets = 0

    def until_ten_thousand(data: bytes) -> bytes:
        nonlocal octets
        octets += len(data)
        return data if octets < 10_000 else b""

    plugged_in(OnTheLine(spoil=until_ten_thousand))
    ended = command("doctor", "--port", "any")
    assert (ended.code, ended.err) == (exits.UNUSABLE, "")
    assert "trouble: the rig fell silent" in ended.out


def test_a_cable_pulled_while_listening_is_a_lost_link(command: Callable[..., Any], plugged_in: Callable[..., None]) -> None:
    line = OnTheLine()

    def pull(data: bytes) -> bytes:
        if line.monotonic() > 1.0:
            line.rig.unplug()
        return data

    line._spoil = pull
    plugged_in(line)
    assert "lost" in command("doctor", "--port", "any").refusal(exits.RIG)


def refusals(answer: Callable[[bytes], bytes], command: Callable[..., Any], plugged_in: Any, answering: Any) -> str:
    """What doctor says at such a port, the same with --json."""
    plain, as_json = answering(answer), answering(answer)
    plugged_in(plain)
    ended = command("doctor", "--port", "any")
    said: str = ended.refusal(exits.RIG)
    assert "scipy" in ended.out  # what is installed is said all the same
    plugged_in(as_json)
    ended = command("doctor", "--port", "any", "--json")
    assert ended.refusal(exits.RIG) == said
    document = json.loads(ended.out)
    assert document["rig"] is None
    assert document["troubles"] == [said]
    assert plain.closed
    assert as_json.closed
    assert told(plain.written) <= {IdentifyRequest, StreamStart, HostAlive, StreamStop}
    return said


def test_a_silent_port(command: Callable[..., Any], plugged_in: Any, answering: Any) -> None:
    assert "nothing answers" in refusals(lambda _: b"", command, plugged_in, answering)


@pytest.mark.parametrize(
    "chatter",
    [b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n", bytes(range(256)), b"\x00\x01\x02\x00\xff\xfe"],
    ids=["text", "octets", "frames"],
)
def test_a_device_of_another_protocol(chatter: bytes, command: Callable[..., Any], plugged_in: Any, answering: Any) -> None:
    assert "not in the language of a leak-down rig" in refusals(lambda _: chatter, command, plugged_in, answering)


def test_a_port_that_gives_back_what_it_gets(command: Callable[..., Any], plugged_in: Any, answering: Any) -> None:
    assert "not in the language of a leak-down rig" in refusals(lambda sent: sent, command, plugged_in, answering)


def test_another_major_version_that_the_device_refuses(command: Callable[..., Any], plugged_in: Any, answering: Any) -> None:
    refused = encode(Refused(1, IdentifyRequest.TYPE, RefusalReason.VERSION_UNSUPPORTED, 5))
    said = refusals(lambda sent: refused if sent else b"", command, plugged_in, answering)
    assert "update whichever is older" in said


def test_another_major_version_that_the_device_says(command: Callable[..., Any], plugged_in: Any, answering: Any) -> None:
    other = encode(Identity(1, 2, 0, 0, "x", "y", 1, 1_000_000, 4096, 1000, 8, Fitted(0), 0, 0))
    said = refusals(lambda sent: other if sent else b"", command, plugged_in, answering)
    assert "version 2.0" in said


@pytest.mark.parametrize("refuses", [True, False], ids=["refuses", "ignores"])
def test_a_device_that_gives_no_samples(refuses: bool, command: Callable[..., Any], plugged_in: Any, answering: Any) -> None:
    def device() -> Callable[[bytes], bytes]:
        rig = SimRig(load_scenario("hillclimb-before"))
        ear = Decoder("device")

        def answer(sent: bytes) -> bytes:
            out = b""
            for message in ear.feed(sent):
                if isinstance(message, StreamStart):
                    reason = RefusalReason.RATE_UNSUPPORTED
                    out += encode(Refused(message.request_id, message.TYPE, reason, 0)) if refuses else b""
                elif isinstance(message, IdentifyRequest):
                    rig.receive(encode(message))
                    rig.advance(0.05)
                    out += rig.transmit()
                elif isinstance(message, StreamStop):
                    out += encode(Ack(message.request_id, message.TYPE, 0))
            return out

        return answer

    plugged_in(answering(device()))
    said = command("doctor", "--port", "any").refusal(exits.RIG)
    assert ("refuses to send samples" if refuses else "does not answer when it is asked for samples") in said


def test_a_wrong_port(command: Callable[..., Any]) -> None:
    for port, words in {
        "/dev/no-such-port": "there is no port /dev/no-such-port",
        "socket://127.0.0.1": "is no address",
        "http://127.0.0.1:80": "is no kind of link",
        "": "no port was named",
    }.items():
        assert words in command("doctor", "--port", port).refusal(exits.RIG)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo terminals")
def test_a_silent_port_of_the_system(command: Callable[..., Any]) -> None:
    import pty  # noqa: PLC0415  # not there on Windows

    master, slave = pty.openpty()
    try:
        assert "nothing answers" in command("doctor", "--port", os.ttyname(slave)).refusal(exits.RIG)
    finally:
        os.close(slave)
        os.close(master)
