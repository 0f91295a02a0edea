"""The simulated rig as a command: what it prints, that a host finds a rig there, and how it ends."""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from borewire.codec import Decoder, encode
from borewire.messages import IdentifyRequest, Identity
from borewright.cli import exits
from borewright.link import Endpoint, open_link

PATIENCE_S = 30.0
on_pty = pytest.param("pty", marks=pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo terminals"))


def where(kind: str) -> list[str]:
    return ["--pty"] if kind == "pty" else ["--tcp", "127.0.0.1:0"]


def identity_at(port: str) -> Identity:
    """Asks as any program would, and reads until the answer; a link that stays silent runs into the bound."""
    endpoint: Endpoint = open_link(port)
    try:
        endpoint.write(encode(IdentifyRequest(1, 1, 0)))
        decoder = Decoder("host")
        until_s = endpoint.monotonic() + PATIENCE_S
        while endpoint.monotonic() < until_s:
            found = [message for message in decoder.feed(endpoint.read(4096)) if isinstance(message, Identity)]
            if found:
                return found[0]
        raise AssertionError("no answer")
    finally:
        endpoint.close()


def ask(control: str, words: str) -> str:
    host, port = control.rsplit(":", 1)
    with socket.create_connection((host, int(port)), timeout=PATIENCE_S) as talk:
        talk.sendall(f"{words}\n".encode())
        return talk.makefile(encoding="utf-8").readline().rstrip("\n")


@pytest.mark.parametrize("kind", ["tcp", on_pty])
def test_a_host_finds_the_rig_and_a_person_can_act(kind: str, simulated: Callable[..., Any]) -> None:
    sim = simulated("--scenario", "hillclimb-before", *where(kind))
    control, port = sim.said("control"), sim.said("port")
    assert identity_at(port).serial_number == "BW-REF-0001"
    assert ask(control, "hose capped").startswith("ok")
    assert ask(control, "fly").startswith("no")
    ended = sim.end(signal.SIGINT)
    assert (ended.code, ended.out, ended.err) == (exits.OK, "", "")


@pytest.mark.parametrize("kind", ["tcp", on_pty])
def test_ctrl_c_and_terminate_end_it_well_and_hang_up(kind: str, simulated: Callable[..., Any]) -> None:
    for by in (signal.SIGINT, signal.SIGTERM):
        sim = simulated("--scenario", "two-stroke-single", *where(kind), "--speed", "max")
        sim.said("control")
        port = sim.said("port")
        assert identity_at(port).counts_per_rev > 0
        ended = sim.end(by)
        assert (ended.code, ended.err) == (exits.OK, "")
        if kind == "tcp":
            address = port.removeprefix("socket://").rsplit(":", 1)
            with pytest.raises(OSError):  # whichever of them the system says
                socket.create_connection((address[0], int(address[1])), timeout=PATIENCE_S)


def test_json_lines_hold_the_addresses_and_seed_and_control_port_are_taken(simulated: Callable[..., Any]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        control_port = free.getsockname()[1]
    sim = simulated(
        "--scenario", "hillclimb-before", *where("tcp"), "--json", "--seed", 5, "--speed", 10, "--control-port", control_port
    )
    assert json.loads(sim.line()) == {"control": f"127.0.0.1:{control_port}"}
    address = json.loads(sim.line())
    assert list(address) == ["port"]
    assert identity_at(address["port"]).protocol_major == 1


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo terminals")
def test_a_pulled_cable_hangs_up_and_the_new_port_is_printed(simulated: Callable[..., Any]) -> None:
    sim = simulated("--scenario", "hillclimb-before", "--pty", "--speed", "20")
    control, first = sim.said("control"), sim.said("port")
    host = os.open(first, os.O_RDWR | os.O_NOCTTY)
    try:
        assert ask(control, "unplug").startswith("ok")
        assert ask(control, "idle") == "ok idle"
        while select.select([host], [], [], PATIENCE_S)[0]:
            try:
                if os.read(host, 4096) == b"":
                    break
            except OSError:
                break
        else:
            raise AssertionError("it did not hang up")
    finally:
        os.close(host)
    assert ask(control, "plug").startswith("ok")
    assert identity_at(sim.said("port")).serial_number == "BW-REF-0001"


def test_list_names_every_scenario_with_its_story(command: Callable[..., Any]) -> None:
    plain = command("sim", "--list")
    assert plain.code == exits.OK
    listed = [json.loads(line) for line in command("sim", "--list", "--json").out.splitlines()]
    names = [words["scenario"] for words in listed]
    assert {"hillclimb-before", "hillclimb-after", "hillclimb-before-hand", "hillclimb-after-hand", "two-stroke-single"} <= set(
        names
    )
    assert [line.split()[0] for line in plain.out.splitlines()] == names
    for words, line in zip(listed, plain.out.splitlines(), strict=True):
        assert words["story"]
        assert line.endswith(words["story"])


def test_bad_scenarios_and_addresses_are_refused(command: Callable[..., Any], tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text('like = "hillclimb-before"\ncylinderz = []\n', encoding="utf-8")
    assert "nowhere-before" in command("sim", "--scenario", "nowhere-before", "--tcp", "127.0.0.1:0").refusal(exits.USE)
    said = command("sim", "--scenario", wrong, "--tcp", "127.0.0.1:0").refusal(exits.USE)
    assert wrong.name in said
    assert "cylinderz" in said
    assert "--list" in command("sim", "--pty").refusal(exits.USE)
    assert "--tcp" in command("sim", "--scenario", "hillclimb-before").refusal(exits.USE)


def test_a_port_that_is_taken_is_refused(command: Callable[..., Any]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        said = command("sim", "--scenario", "hillclimb-before", "--tcp", f"127.0.0.1:{port}")
        assert str(port) in said.refusal(exits.USE)
        said = command("sim", "--scenario", "hillclimb-before", "--tcp", "127.0.0.1:0", "--control-port", port)
        assert str(port) in said.refusal(exits.USE)


@pytest.mark.parametrize(
    "words",
    [
        ["--tcp", "127.0.0.1"],
        ["--tcp", ":1"],
        ["--tcp", "127.0.0.1:65536"],
        ["--tcp", "127.0.0.1:x"],
        ["--pty", "--tcp", "127.0.0.1:0"],
        ["--pty", "--speed", "0"],
        ["--pty", "--speed", "nan"],
        ["--pty", "--speed", "1001"],
        ["--pty", "--speed", "fast"],
        ["--pty", "--control-port", "-1"],
        ["--pty", "--seed", "x"],
    ],
    ids=" ".join,
)
def test_options_that_cannot_be_are_refused(words: list[str], command: Callable[..., Any]) -> None:
    ended = command("sim", "--scenario", "hillclimb-before", *words)
    assert (ended.code, ended.out) == (exits.USE, "")
    assert ended.err.splitlines()[-1].startswith("borewright sim: error: ")


@pytest.mark.parametrize(("text", "address"), [("[::1]:5000", ("::1", 5000)), ("localhost:0", ("localhost", 0))])
def test_addresses_are_read(
    text: str, address: tuple[str, int], command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: dict[str, Any] = {}
    monkeypatch.setattr("borewright.simrig.serving.serve", lambda scenario, **how: asked.update(how, scenario=scenario))
    assert command("sim", "--scenario", "x", "--tcp", text, "--speed", "max").code == exits.OK
    assert (asked["scenario"], asked["tcp"], asked["speed"], asked["seed"]) == ("x", address, None, None)


def test_other_computers_being_let_in_is_said_apart_from_the_addresses(
    command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def serve(_scenario: str, *, say: Callable[[str], None], **_how: Any) -> None:
        say("warning 0.0.0.0 can be reached")
        say("port socket://0.0.0.0:1")

    monkeypatch.setattr("borewright.simrig.serving.serve", serve)
    ended = command("sim", "--scenario", "x", "--tcp", "0.0.0.0:1")
    assert (ended.out, ended.err) == ("port socket://0.0.0.0:1\n", "borewright sim: 0.0.0.0 can be reached\n")
