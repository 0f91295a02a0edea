"""borewright conform: the verdict for people and as JSON, what it asks before air, and the same device behind TCP and a pty."""

from __future__ import annotations

import json
import signal
import sys
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder
from borewire.messages import SupplyOpen, VentClose, VentOpen
from borewright.cli import conform, exits
from borewright.cli.conform_hands import ConsoleHands
from borewright.cli.conform_progress import Progress
from borewright.conform.hands import Task
from borewright.conform.suite import SUITE
from borewright.conform.verdict import Outcome, Result

NOT_BY_LOAD = [
    "handshake",
    "identity-fields",
    "channels",
    "stream-start",
    "stream-numbers",
    "echo-vectors",
    "bad-frames",
    "answer-order",
]


class Kept(SimEndpoint):
    """The port of a simulated rig, which keeps what the host sends."""

    def __init__(self, scenario: str = "hillclimb-before") -> None:
        self.sim = SimRig(load_scenario(scenario))
        super().__init__(self.sim)
        self.written = b""

    def write(self, data: bytes) -> int:
        self.written += data
        return super().write(data)

    @property
    def sent(self) -> list[Any]:
        return Decoder("device").feed(self.written)


class Silent(Kept):
    """A port behind which nobody answers."""

    def read(self, size: int = 1) -> bytes:
        super().read(size)
        return b""


class Interrupted(Kept):
    """A port at which the person types Ctrl-C as soon as the vent is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.interrupted = False

    def read(self, size: int = 1) -> bytes:
        if not self.interrupted and not self.sim.device.interlock.vent_open:
            self.interrupted = True
            raise KeyboardInterrupt
        return super().read(size)


def only(*names: str) -> list[str]:
    return [word for name in names for word in ("--only", name)]


def test_the_list_names_every_check_with_its_section(command: Any) -> None:
    ended = command("conform", "--list")
    assert ended.code == exits.OK
    lines = ended.out.splitlines()
    assert [line.split()[0] for line in lines] == [check.name for check in SUITE]
    assert all(line.endswith("]") for line in lines)


def test_a_device_that_passes_gets_a_dated_verdict_in_words_and_as_json(command: Any, plugged_in: Any, tmp_path: Path) -> None:
    port = Kept()
    plugged_in(port)
    out, as_json = tmp_path / "verdict.txt", tmp_path / "verdict.json"
    ended = command("conform", "--port", "x", *only("channels", "echo-octets", "time-limit-open"), "--out", out, "--json", as_json)
    assert (ended.code, ended.err) == (exits.OK, "")
    verdict = json.loads(as_json.read_text("utf-8"))
    assert (verdict["format"], verdict["format_version"]) == ("borewright-conformance", 1)
    assert verdict["date"][:4].isdigit()
    assert verdict["device"]["serial_number"] == "BW-REF-0001"
    assert verdict["summary"] == {"passed": 2, "failed": 0, "not_tried": 1}
    assert [(result["name"], result["outcome"]) for result in verdict["results"]] == [
        ("channels", "passed"),
        ("echo-octets", "passed"),
        ("time-limit-open", "not_tried"),
    ]
    text = out.read_text("utf-8")
    assert verdict["date"] in text
    assert "passed      echo-octets: Octets of every kind" in text
    assert "[PROTOCOL.md 2; 9 EchoRequest]" in text
    assert "run it with --air" in text
    assert "What was not tried is not proven." in text
    assert "2 passed, 0 failed, 1 not tried" in ended.out


def test_without_air_nothing_is_sent_that_lets_air_in_and_the_last_words_vent(command: Any, plugged_in: Any) -> None:
    port = Kept()
    plugged_in(port)
    assert command("conform", "--port", "x").code == exits.OK
    assert not [message for message in port.sent if isinstance(message, SupplyOpen | VentClose)]
    assert isinstance(port.sent[-2], VentOpen)
    assert not port.is_open


def test_a_device_that_does_not_answer_has_failed_and_nothing_else_is_tried(command: Any, plugged_in: Any) -> None:
    plugged_in(Silent())
    ended = command("conform", "--port", "x", "--json", "-")
    assert ended.code == exits.UNUSABLE
    verdict = json.loads(ended.out)
    assert verdict["device"] is None
    assert verdict["summary"] == {"passed": 0, "failed": 1, "not_tried": len(SUITE) - 1}
    first = verdict["results"][0]
    assert first["outcome"] == "failed"
    assert "no Identity came in 8 s" in first["sentence"]
    assert any("IdentifyRequest" in words for words in first["sent"])
    assert "failed      handshake" in ended.err


@pytest.mark.parametrize("typed", ["", "yes\n", "on\n"])
def test_air_is_only_driven_when_the_supply_has_been_said_to_be_off(
    command: Any, plugged_in: Any, monkeypatch: pytest.MonkeyPatch, typed: str
) -> None:
    port = Kept()
    plugged_in(port)
    monkeypatch.setattr(sys, "stdin", StringIO(typed))
    ended = command("conform", "--port", "x", "--air")
    assert ended.code == exits.NOT_READY
    assert "Shut the air supply off" in ended.err
    assert port.written == b""


def test_pressure_that_comes_although_the_air_was_said_to_be_off_ends_all_air(command: Any, plugged_in: Any) -> None:
    port = Kept()  # its regulator is set, which nobody has changed
    port.rig.press_hold(True)
    plugged_in(port)
    ended = command("conform", "--port", "x", "--air", "--air-is-off", *only("time-limit-open", "host-silent-open"))
    assert ended.out.count("although the air supply was said to be off") == 1
    assert len([message for message in port.sent if isinstance(message, SupplyOpen)]) == 1
    assert port.sim.device.interlock.vent_open


def test_ctrl_c_leaves_the_device_vented_and_tells_what_was_found_so_far(command: Any, plugged_in: Any, tmp_path: Path) -> None:
    port = Interrupted()
    plugged_in(port)
    out, as_json = tmp_path / "verdict.txt", tmp_path / "verdict.json"
    names = only("channels", "host-silent-closed", "kept-alive", "close-renewed")
    ended = command("conform", "--port", "x", "--air", "--air-is-off", *names, "--out", out, "--json", as_json)
    assert ended.code == exits.INTERRUPTED
    assert ended.out.splitlines()[-1] == "Broken off; no verdict on the rest."
    assert "1 passed, 0 failed, 3 not tried" in ended.out
    assert out.read_text("utf-8").splitlines()[-1] == "Broken off; no verdict on the rest."
    verdict = json.loads(as_json.read_text("utf-8"))
    assert (verdict["ending"], verdict["summary"]) == ("broken_off", {"passed": 1, "failed": 0, "not_tried": 3})
    assert port.sim.device.interlock.vent_open
    assert not port.sim.device.streaming


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "no port was named"),
        (["--port", "x", "--only", "spelling"], "'spelling' is no check"),
        (["--port", "x", "--air-is-off"], "--air-is-off states something for --air"),
        (["--port", "x", "--control", "here"], "'here' is no address"),
    ],
)
def test_a_wrong_command_line_is_told_in_a_sentence(command: Any, plugged_in: Any, words: list[str], said: str) -> None:
    plugged_in(Kept())
    assert said in command("conform", *words).refusal(exits.USE)


@pytest.mark.parametrize("how", ["SIGTERM", "SIGHUP"])
def test_a_request_to_end_leaves_the_device_as_ctrl_c_does(command: Any, plugged_in: Any, how: str) -> None:
    class Ended(Interrupted):
        def read(self, size: int = 1) -> bytes:
            if not self.interrupted and not self.sim.device.interlock.vent_open:
                self.interrupted = True
                signal.raise_signal(getattr(signal, how))
            return SimEndpoint.read(self, size)

    port = Ended()
    plugged_in(port)
    ended = command("conform", "--port", "x", "--air", "--air-is-off", *only("host-silent-closed"))
    assert ended.code == exits.INTERRUPTED
    assert port.interrupted
    assert port.sim.device.interlock.vent_open
    assert not port.sim.device.streaming


def test_files_that_cannot_be_written_are_told_before_anything_is_tried(command: Any, plugged_in: Any, tmp_path: Path) -> None:
    port = Kept()
    plugged_in(port)
    missing = tmp_path / "missing" / "verdict.txt"
    assert "make it first" in command("conform", "--port", "x", "--out", missing).refusal(exits.USE)
    same = tmp_path / "verdict"
    assert "a file of its own" in command("conform", "--port", "x", "--out", same, "--json", same).refusal(exits.USE)
    assert port.written == b""
    assert not same.exists()


def test_a_verdict_that_is_there_already_is_left_alone(command: Any, tmp_path: Path) -> None:
    old = tmp_path / "verdict.txt"
    old.write_text("last year's", encoding="utf-8")
    assert "left alone" in command("conform", "--port", "x", "--out", old).refusal(exits.USE)
    assert old.read_text("utf-8") == "last year's"


def test_a_lost_line_is_no_verdict_and_has_the_code_of_a_lost_link(command: Any, plugged_in: Any) -> None:
    class Lost(Kept):
        def read(self, size: int = 1) -> bytes:
            if self.sim.device.streaming:
                self.sim.unplug()
            return super().read(size)

    plugged_in(Lost())
    ended = command("conform", "--port", "x", *only("channels", "stream-start", "stream-numbers"))
    assert ended.code == exits.RIG
    assert ended.out.splitlines()[-3:] == [
        "1 passed, 0 failed, 2 not tried",
        "All that was tried passed. What was not tried is not proven.",
        "The line was lost; no verdict on the rest.",
    ]


def test_what_was_not_tried_is_one_line_a_chapter_on_the_screen_and_whole_in_the_files(
    command: Any, plugged_in: Any, tmp_path: Path
) -> None:
    plugged_in(Kept())
    out = tmp_path / "verdict.txt"
    names = [check.name for check in SUITE if check.chapter in {"Power-up", "Air: watches by the wire alone"}]
    ended = command("conform", "--port", "x", *only(*names), "--out", out)
    lines = ended.out.splitlines()
    assert sum("run it with --air" in line for line in lines) == 1
    assert any(
        line.startswith("Air: watches by the wire alone: ") and " not tried: it lets the device drive" in line for line in lines
    )
    assert all(f" {name}: " in out.read_text("utf-8") for name in names)


class Terminal(StringIO):
    """A stream that is a terminal."""

    def isatty(self) -> bool:
        return True


def _result(name: str, outcome: Outcome) -> Result:
    return Result(name, "Chapter", "PROTOCOL.md 5", "It does.", outcome, "because")


def test_on_a_terminal_the_check_under_way_is_shown_and_written_over() -> None:
    screen, file = Terminal(), StringIO()
    for stream in (screen, file):
        told = Progress(stream)
        told.about("clock-rate", 62, 113)
        told(_result("clock-rate", Outcome.PASSED))
        told.about("reset", 63, 113)
        told.end()
    running = "62 of 113 clock-rate …"
    assert screen.getvalue().startswith(f"{running}\r{' ' * len(running)}\r\nChapter\n")
    assert screen.getvalue().endswith("\r")
    assert file.getvalue().splitlines() == [
        "",
        "Chapter",
        "  passed      clock-rate: It does. [PROTOCOL.md 5]",
        " " * 14 + "because",
    ]


def test_at_the_end_the_person_is_told_to_let_the_switch_go_though_nobody_types_any_more() -> None:
    asked: list[str] = []
    ConsoleHands(iter(()), asked.append).let_go()
    assert asked == ["> The run has ended. Let the hold-to-run switch go."]


def test_the_person_at_the_console_is_asked_and_what_data_show_needs_no_word() -> None:
    asked: list[str] = []
    hands = ConsoleHands(iter(()), asked.append)
    assert hands.begin(Task.AIR_OFF) is None
    assert asked == []
    assert hands.begin(Task.RELEASE_HOLD) is None
    assert "Let the hold-to-run switch go." in asked[0]
    assert not hands.busy()


# ------------------------------------------------------------ other processes; what a busy computer delays is not judged here


# Where air is on, the device is slow beside the host, so that a host which a busy computer delays is not silent for it.
LINES = {
    "tcp": (["--tcp", "127.0.0.1:0", "--speed", "10"], [*NOT_BY_LOAD, "reset"]),
    "pty": (["--pty", "--speed", "10"], [*NOT_BY_LOAD, "reset"]),
    "tcp with air": (["--tcp", "127.0.0.1:0", "--speed", "0.2"], ["vented-VentClose", "time-limit-closed"]),
}


@pytest.mark.parametrize(("where", "names"), LINES.values(), ids=list(LINES))
def test_the_same_device_passes_behind_a_real_line(
    command: Any, simulated: Callable[..., Any], where: list[str], names: list[str], tmp_path: Path
) -> None:
    rig = simulated("--scenario", "hillclimb-before", *where)
    control, port = rig.said("control"), rig.said("port")
    words = ["--control", control] if "reset" in names else ["--air", "--air-is-off"]
    as_json = tmp_path / "verdict.json"
    ended = command("conform", "--port", port, *words, *only(*names), "--json", as_json)
    assert ended.code == exits.OK, ended.out
    assert json.loads(as_json.read_text("utf-8"))["summary"] == {"passed": len(names), "failed": 0, "not_tried": 0}
    assert rig.end(signal.SIGTERM).code == 0


def test_the_example_of_the_help_is_what_the_command_takes() -> None:
    assert "borewright conform --list" in conform.EXAMPLE
