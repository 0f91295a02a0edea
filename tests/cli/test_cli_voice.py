"""What reaches the person at the terminal: the bell, a line of its own for every order, and what becomes of the air at the end."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewright.cli import main
from borewright.cli.at_the_rig import at_the_rig
from borewright.cli.bell import ring
from borewright.cli.conform import _hands
from borewright.cli.conform_hands import ConsoleHands
from borewright.cli.conform_progress import Progress
from borewright.cli.console import NOT_FALLING, VALVES_STAY_S, VENTED, Console, Lines
from borewright.cli.live_line import LiveLine
from borewright.core.readiness_table import State
from borewright.link import Endpoint
from borewright.service import acts, effects
from borewright.service.guide import next_step
from borewright.simrig.person import Person

STAYS = "this program stays until the gauges are down, a minute at most; Ctrl-C once more ends it all the same"
LEFT = "*** the gauges have not been seen down: SHUT THE SUPPLY AND OPEN THE VENT BY HAND"

# ---------------------------------------------------------------------- the bell


@pytest.fixture
def octets(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[Console], None]], bytes]:
    """What a console that is made within the program's guard over its output brings to the terminal."""

    def printed(act: Callable[[Console], None]) -> bytes:
        behind = io.BytesIO()
        monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(behind, encoding="utf-8"))
        with main._letters_only():
            act(Console(Lines(()), lambda text: print(text, flush=True), lambda: ring(sys.stdout)))
        return behind.getvalue()

    return printed


def test_an_alarm_rings_the_bell_and_what_it_names_does_not(octets: Callable[[Callable[[Console], None]], bytes]) -> None:
    said = octets(lambda console: console.tell(effects.Say("alarm", "the rig \aX\x1b[2J is silent")))
    assert said == b"\a*** the rig \\u0007X\\u001b[2J is silent ***\n"
    assert octets(lambda console: console.tell(effects.Say("warning", "\a"))) == b"! \\u0007\n"


def test_a_call_to_the_hands_of_conform_rings_too(monkeypatch: pytest.MonkeyPatch) -> None:
    behind = io.BytesIO()
    monkeypatch.setattr(sys, "stderr", io.TextIOWrapper(behind, encoding="utf-8"))
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    with main._letters_only():
        hands = _hands(argparse.Namespace(hands=True, control=None), Progress(sys.stderr))
        assert isinstance(hands, ConsoleHands)
        hands.let_go()
    assert behind.getvalue().endswith(b"\a> The run has ended. Let the hold-to-run switch go.\n")


# ---------------------------------------------------------------------- lines of their own


def test_the_line_that_is_written_over_is_ended_before_anything_else(capsys: pytest.CaptureFixture[str]) -> None:
    line = LiveLine(terminal=True)
    line.show("  +128.1° to turn ")
    line.show("  +9.2° to turn ")
    line.end()
    line.end()
    assert capsys.readouterr().err == "\r  +128.1° to turn \r  +9.2° to turn   \n"


def test_an_order_is_not_glued_behind_the_live_figure(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    console = Console(Lines(()), lambda text: print(text, file=sys.stderr), lambda: None)
    console._line.show("  +128.1° to turn ")
    console.tell_plainly("> Turn back")
    console.tell_plainly("> and up again")
    assert capsys.readouterr().err == "\r  +128.1° to turn \n> Turn back\n> and up again\n"


# ---------------------------------------------------------------------- the end, with air on


class Interrupted(SimEndpoint):
    """Ctrl-C at a moment of virtual time, once."""

    at_s = float("inf")

    def read(self, size: int = 1) -> bytes:
        if self.rig.now_s >= self.at_s:
            self.at_s = float("inf")
            raise KeyboardInterrupt
        return super().read(size)


class Leaving:
    """A rig with valves, its hose capped, whose program is ended by Ctrl-C with full pressure on."""

    def __init__(self, plugged_in: Callable[[Endpoint], None], db: Path) -> None:
        self.rig = SimRig(load_scenario("hillclimb-after"))
        self.end = Interrupted(self.rig)
        self._db = db
        plugged_in(self.end)

    def ended(self, with_air: Callable[[], None]) -> None:
        args = argparse.Namespace(
            port="the rig", db=self._db, json=False, rig=None, ambient=None, air_temp=None, engine_temp=None, who="tester"
        )
        with suppress(KeyboardInterrupt), at_the_rig(args, None) as (bench, _console, _store):
            person = Person(bench, self.end)
            person.wait(2.5)
            person.take_zero()
            person.tell(acts.SetPurpose(acts.Purpose("sealed")))
            while bench.state.readiness.state is not State.FILLING:
                person.follow(next_step(bench.state))
            person.wait(1.0)
            with_air()
            self.left_s = self.rig.now_s
            raise KeyboardInterrupt


@pytest.fixture
def leaving(plugged_in: Callable[[Endpoint], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Leaving:
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    return Leaving(plugged_in, tmp_path / "shop.db")


def test_at_the_end_it_says_that_the_gauges_are_down(leaving: Leaving, capsys: pytest.CaptureFixture[str]) -> None:
    leaving.ended(lambda: None)
    *_, vented, kept = capsys.readouterr().out.splitlines()
    assert vented == VENTED
    assert kept == "what was recorded is kept, as void: it was stopped"
    assert leaving.rig.now_s - leaving.left_s < 1.0


def test_a_pressure_that_does_not_fall_is_sounded_again_and_again_until_it_does(
    leaving: Leaving, capsys: pytest.CaptureFixture[str]
) -> None:
    def hangs() -> None:
        leaving.rig.faults.begin("supply-hangs")
        leaving.end.at_s = leaving.rig.now_s + 9.0

    leaving.ended(hangs)
    said = capsys.readouterr().out
    assert said.count(f"\a*** {NOT_FALLING} ***\n") == 2  # after one second and five seconds later
    assert STAYS in said
    assert VENTED not in said
    assert said.splitlines()[-1].removeprefix("\a").startswith(LEFT)  # another Ctrl-C
    assert 8.9 < leaving.rig.now_s - leaving.left_s < 9.1


def test_it_stays_for_a_minute_at_most(
    leaving: Leaving, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("borewright.cli.console.VALVES_STAY_S", 3.0)
    leaving.ended(lambda: leaving.rig.faults.begin("supply-hangs"))
    assert capsys.readouterr().out.splitlines()[-1].removeprefix("\a").startswith(LEFT)
    assert leaving.rig.now_s - leaving.left_s < 4.0
    assert VALVES_STAY_S == 60.0


def test_why_it_stays_is_said_where_the_rig_is_not_heard_any_more(leaving: Leaving, capsys: pytest.CaptureFixture[str]) -> None:
    def hangs() -> None:
        leaving.rig.faults.begin("hangs")
        leaving.end.at_s = leaving.rig.now_s + 4.0

    leaving.ended(hangs)
    said = capsys.readouterr().out
    assert "and nothing is known of its pressure: SHUT THE SUPPLY AND OPEN THE VENT BY HAND" in said
    assert STAYS in said
    assert said.splitlines()[-1].removeprefix("\a").startswith(LEFT)
