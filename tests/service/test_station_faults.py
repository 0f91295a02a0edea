"""The station when the program itself fails, when a rig is left under pressure, and when the screen stands still."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from borewright.core.readiness_table import State
from borewright.service import acts, station
from borewright.service.bench import Bench
from borewright.service.effects import Analyse
from borewright.service.state import BenchState

from .at_station import CAPPED, AtStation, kept_by_record, opened, until_air

UNTIL_DOWN = "SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing until the gauges are down"


@pytest.mark.parametrize("stubborn", [False, True])
def test_a_fault_in_the_program_shuts_and_vents_is_told_and_the_rig_met_anew(
    at: AtStation, monkeypatch: pytest.MonkeyPatch, stubborn: bool
) -> None:
    until_air(at)
    sent = at.vents(0)
    if stubborn:  # it fails again when it is asked to take its leave

        def fails(*_arguments: object) -> None:
            raise RuntimeError("a fault")

        monkeypatch.setattr(Bench, "_step", fails)
    else:
        at.source.ends[0].fault = RuntimeError("a fault")
    at.turn()
    words = "the program failed while reading the rig (RuntimeError: a fault)"
    assert at.kind() == "lost"
    assert at.snapshot.link.words == f"{words}; the rig was told to shut and vent, and is met anew: save the log"
    assert at.told("alarm") == [at.snapshot.link.words]
    assert at.vents(0) == sent + 1
    (fault,) = at.told("fault")
    assert fault.startswith("Traceback (most recent call last):")
    assert fault.endswith("RuntimeError: a fault")
    assert not at.source.ends[0].is_open
    monkeypatch.undo()
    at.until_open()
    if stubborn:
        assert at.done == ()  # nothing could be decided any more; the record has what there was
        assert kept_by_record(at.store) == [("void", words)]
    else:
        (view,) = at.done
        assert view.void_reason == words
        assert kept_by_record(at.store) == [("void", words)]
    at.person.wait_until(lambda: not at.pressurised(), 10.0)
    assert set(at.state.checks) == {"zero", "sealed", "restrictor", "tdc"}


@pytest.fixture
def by_hand(shop: Path) -> Iterator[AtStation]:
    """A rig with hand valves under pressure, its supply open."""
    with opened(shop) as store:
        at = AtStation(store, "hillclimb-after-hand").connected()
        for words in ("hose capped", "vent shut", "supply open"):
            at.source.do(words)
        at.person.wait_until(at.pressurised, 30.0)
        yield at
        assert at.station.close()


def test_a_fault_forgets_no_pressure_that_only_hands_can_take_away(by_hand: AtStation, monkeypatch: pytest.MonkeyPatch) -> None:
    at = by_hand

    def fails(_state: BenchState) -> None:
        raise RuntimeError("no step")

    monkeypatch.setattr(station, "next_step", fails)
    at.turn()
    assert at.kind() == "lost"
    assert at.state.readiness.locked
    assert at.snapshot.step is None  # what it failed over
    assert "SHUT THE SUPPLY AND OPEN THE VENT BY HAND" in at.snapshot.link.words
    assert at.told("alarm")[-2:] == [UNTIL_DOWN, at.snapshot.link.words]
    monkeypatch.undo()
    at.turn()
    assert at.kind() == "meeting"
    assert at.state.readiness.locked
    at.person.wait_until(lambda: at.kind() == "open", 10.0)
    at.person.wait_until(at.pressurised, 10.0)  # by what is read now


def test_a_rig_left_under_pressure_stays_in_sight_until_one_has_been_heard_again(by_hand: AtStation) -> None:
    at = by_hand
    at.station.disconnect()
    at.turns(3)
    assert at.kind() == "none"
    assert at.state.readiness.locked
    assert at.told("alarm")[-1] == UNTIL_DOWN
    at.source.do("supply shut")
    at.source.do("vent open")
    at.source.rig.advance(10.0)
    at.station.connect(at.source)
    at.turn()
    assert at.state.readiness.locked
    at.until_open()
    assert not at.pressurised()


def test_a_rig_that_said_that_it_has_vented_is_forgotten(at: AtStation) -> None:
    until_air(at)
    at.station.disconnect()
    at.turn()
    assert (at.kind(), at.snapshot.state) == ("none", None)
    assert at.told("alarm") == []


def test_a_rig_that_said_so_while_the_gauges_stayed_up_is_not_forgotten(at: AtStation) -> None:
    at.act(acts.SetPurpose(acts.Purpose("test", 1)))
    at.rig.faults.arm("supply-hangs")
    at.person.follow_until("give_air")
    at.person.at_the_rig("hold press")
    at.person.wait_until(lambda: any("does not fall" in words for words in at.told("alarm")), 90.0)
    at.station.disconnect()
    at.turn()
    assert at.pressurised()


def test_a_fault_in_telling_of_a_fault_closes_the_port_and_the_next_turns_go_on(
    at: AtStation, monkeypatch: pytest.MonkeyPatch
) -> None:
    until_air(at)
    vents, number = at.vents(0), at.snapshot.number

    def fails(*_arguments: object) -> None:
        raise RuntimeError("nothing can be told")

    monkeypatch.setattr(at.station._journal, "tell_once", fails)
    at.source.ends[0].fault = RuntimeError("a fault")
    at.turn()
    assert not at.source.ends[0].is_open
    assert at.vents(0) == vents + 1
    seen = at.snapshot
    assert (seen.link.kind, seen.number > number, at.pressurised()) == ("lost", True, True)
    assert "BY HAND" in seen.link.words
    monkeypatch.undo()
    at.until_open()
    at.person.wait_until(lambda: not at.pressurised(), 10.0)
    assert kept_by_record(at.store) == [("void", "the program failed while reading the rig")]


# ---------------------------------------------------------------------- a screen that stands still


class Clock:
    """Seconds that pass when the test says so."""

    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


@pytest.mark.parametrize(("state", "air"), [(State.ARMED, "was coming"), (State.FILLING, "was on")])
def test_a_screen_that_nobody_looked_at_has_the_rig_shut_and_vent(shop: Path, state: State, air: str) -> None:
    with opened(shop) as store:
        clock = Clock()
        at = AtStation(store, hold_switch=False, clock=clock, unseen_s=1.0).connected()
        at.act(acts.SetPurpose(CAPPED))
        while at.step.key != "give_air":
            at.person.follow(at.step)
        at.act(acts.AskAir())
        at.person.wait_until(lambda: at.state.readiness.state is state, 10.0)
        openings, vents = at.openings(), at.vents(0)
        clock.now_s += 0.9
        at.turn()  # nobody has looked for less than may be
        assert at.vents(0) == vents
        clock.now_s += 0.2
        at.turns(200)  # six seconds of the rig, longer than a countdown
        assert at.openings() == openings
        assert at.vents(0) > vents
        assert at.told("alarm") == [f"the screen stood still while air {air}: the rig was told to shut and vent"]
        assert at.station.close()


def test_nothing_is_opened_at_the_end_of_a_countdown_that_nobody_saw(shop: Path) -> None:
    with opened(shop) as store:
        clock = Clock()
        at = AtStation(store, hold_switch=False, clock=clock, unseen_s=1.0).connected()
        at.act(acts.SetPurpose(CAPPED))
        while at.step.key != "give_air":
            at.person.follow(at.step)
        at.act(acts.AskAir())
        openings = at.openings()
        while (until_s := at.state.countdown_until_s) is None or at.state.now_s + station.VIRTUAL_READ_S < until_s:
            at.turn()
        clock.now_s += 1.1
        at.turn()  # what is read in it ends the countdown
        assert at.openings() == openings
        assert at.state.readiness.state is State.READY  # for another asking, not armed any more
        assert at.station.close()


def test_a_host_that_stood_still_raises_no_alarm_over_a_pressure_that_is_gone(at: AtStation) -> None:
    until_air(at)
    at.person.wait(1.0)
    at.rig.advance(7.0)  # the program stops; the rig vents by itself, and what it sends waits
    at.turns(200)
    assert at.told("alarm")[0].startswith("the rig shut and vented by itself: host silent")
    assert not any("does not fall" in text for text in at.told("alarm"))
    assert not at.pressurised()


def test_a_fit_in_the_reading_thread_is_no_silence_of_the_rig(at: AtStation, monkeypatch: pytest.MonkeyPatch) -> None:
    finish = Bench._finish_capture

    def slowly(bench: Bench, done: Analyse) -> None:
        finish(bench, done)
        at.rig.advance(2.0)

    monkeypatch.setattr(Bench, "_finish_capture", slowly)
    at.person.carry_out(CAPPED)
    at.person.wait(3.0)
    assert len(at.done) == 1
    assert at.kind() == "open"
    assert not any("silent" in text for text in at.told("warning") + at.told("alarm"))
