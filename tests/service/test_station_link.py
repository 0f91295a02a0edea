"""A rig that goes and comes back: what is kept, what has to be shown again, what the person is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.connection import SILENT_FOR_S
from borewright.session.session import Phase

from .at_station import CAPPED, AtStation, SimSource, opened, until_air

ALL_CHECKS = {"zero", "sealed", "restrictor", "tdc"}


def test_a_cable_pulled_with_air_on_voids_the_test_and_everything_is_there_again_once_it_is_back(at: AtStation) -> None:
    until_air(at)
    at.person.wait(1.0)
    at.source.do("unplug")
    at.person.wait_until(lambda: at.kind() == "lost", 20.0)
    assert any(word.text.endswith("; check the cable and the rig, it is looked for every second") for word in at.snapshot.told)
    assert at.pressurised()  # as it was last known, until it has been heard again
    assert "the rig is silent: check cable and power; SHUT AND VENT BY HAND" in at.told("alarm")
    (view,) = at.done
    assert view.void_reason is not None
    assert view.capture_id is not None
    assert len(at.store.load_columns(view.capture_id)) > 1000

    at.act(acts.AskAir())
    assert at.told("alarm")[-1] == ("the rig cannot be reached: SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing")
    at.turns(100)
    assert at.snapshot.link.words == "there is no port of the simulated rig; plug it in"
    assert at.told("warning").count("there is no port of the simulated rig; plug it in") == 1
    assert at.pressurised()

    at.source.do("plug")
    at.until_open()
    at.person.wait(1.0)
    assert not at.pressurised()  # the rig vented by itself when nobody spoke to it
    assert len(at.source.ends) == 2
    assert set(at.state.checks) == ALL_CHECKS
    assert at.state.tdc is not None
    assert at.state.engine == at.engine
    assert at.state.purpose == CAPPED
    assert (at.state.hose, at.state.confirmed, at.state.stroke) == (None, None, None)
    before = at.last_told().number
    at.person.let_go()
    at.person.carry_out(CAPPED)
    assert [view.number for view in at.done] == [1, 2]
    assert at.done[1].void_reason is None
    assert at.last_told().number > before


def test_the_purpose_is_gone_on_with(at: AtStation) -> None:
    at.act(acts.SetPurpose(acts.Purpose("test", 3)))
    at.source.do("unplug")
    at.person.wait_until(lambda: at.kind() == "lost", 20.0)
    at.source.do("plug")
    at.until_open()
    assert at.state.purpose == acts.Purpose("test", 3)


def test_what_is_asked_for_while_the_rig_is_met_is_heeded_or_answered(at: AtStation) -> None:
    at.station.disconnect()
    at.turn()
    assert (at.kind(), at.snapshot.state) == ("none", None)
    at.station.connect(at.source)
    at.turn()
    assert at.kind() == "meeting"
    assert at.step.key == "wait"
    at.station.tell(acts.SetPurpose(acts.Purpose("test", 2)))
    at.station.tell(acts.TakeZero())
    at.turn()
    assert at.last_told().text == "nothing was done: waiting for the rig at the simulated rig to say who it is"
    at.until_open()
    assert at.state.purpose == acts.Purpose("test", 2)
    assert at.state.zero is None


def test_a_rig_that_was_switched_off_and_on_keeps_its_checks_and_shows_the_rest_again(at: AtStation) -> None:
    boot = at.state.session.boot_id
    at.act(acts.SetPurpose(acts.Purpose("test", 1)))
    at.act(acts.PlaceHose("cylinder", 1))
    at.source.do("power-cycle")
    at.person.wait_until(lambda: at.state.session.boot_id not in (boot, None) and at.kind() == "open", 20.0)
    at.person.wait(0.5)
    assert len(at.source.ends) == 1
    assert set(at.state.checks) == ALL_CHECKS
    assert at.state.crank is not None
    assert at.step.key == "find_index"
    assert any("the rig was restarted" in text for text in at.told("warning"))


class Mute(SimSource):
    """A rig that falls silent without its port saying so."""

    muted = False

    def open(self) -> object:  # type: ignore[override]
        end = super().open()
        heard = end.read
        end.read = lambda size: b"" if self.muted and heard(size) is not None else heard(size)  # type: ignore[method-assign]
        return end


def test_a_port_that_falls_silent_is_opened_anew(shop: Path) -> None:
    with opened(shop) as store:
        at = AtStation(store)
        at.source = Mute("hillclimb-after")
        at.rig = at.source.rig
        at.connected()
        Mute.muted = True
        try:
            until_s = at.rig.now_s + 1.0
            while at.rig.now_s < until_s:
                at.turn()
            assert at.kind() == "lost"
            assert at.state.session.phase is Phase.SILENT
            assert len(at.source.ends) == 1
            until_s = at.rig.now_s + SILENT_FOR_S
            while at.rig.now_s < until_s:
                at.turn()
            assert len(at.source.ends) == 2
            assert at.kind() == "meeting"
        finally:
            Mute.muted = False
        at.until_open()
        assert set(at.state.checks) == ALL_CHECKS
        assert at.station.close()


def test_another_rig_at_the_same_port_is_met_as_what_it_is(at: AtStation) -> None:
    at.station.connect(SimSource("hillclimb-before-hand"))
    at.turn()
    at.until_open()
    assert not at.state.has_valves
    assert at.snapshot.trace.newest_s < 5_000.0
    assert not at.source.ends[0].is_open


def test_a_rig_that_cannot_be_used_is_told_once_with_what_to_do(at: AtStation) -> None:
    assert at.station.close()
    other = AtStation(at.store)
    other.rig.faults.begin("other-major")
    other.station.connect(other.source)
    other.turns(60)
    why = "the device speaks version 2.0 of the wire protocol and this program version 1.0; update whichever is older"
    assert [word.text for word in other.snapshot.told] == [why, f"{why}; it is asked again every second"]
    assert other.snapshot.link.words == f"{why}; it is asked again every second"
    other.rig.faults.end("other-major")
    other.until_open()
    assert other.station.close()


def test_pressure_behind_a_dead_line_names_the_way_out(at: AtStation) -> None:
    until_air(at)
    at.rig.faults.begin("dead-to-the-host")
    at.turns(40)
    assert at.state.readiness.locked
    assert "Nothing goes on before the rig has been heard again" in at.step.text
    at.turns(600)
    said = at.told("warning")
    assert len(set(said)) == len(said)
    at.rig.faults.end("dead-to-the-host")
    at.until_open()
    at.turns(20)
    assert not at.state.readiness.locked


def test_a_command_that_nobody_answers_is_told(at: AtStation) -> None:
    at.rig.faults.begin("dead-to-the-device")
    at.act(acts.StopAll())
    at.turns(60)
    assert any(word.startswith("the rig was told to shut and vent and does not answer") for word in at.told("warning"))


def test_the_rig_stays_locked_until_it_has_answered_that_it_vents(at: AtStation) -> None:
    at.rig.faults.begin("late")
    at.act(acts.StopAll())
    at.turns(10)
    assert at.state.readiness.state is State.VENTING  # though no pressure is seen: an opening might still be on its way
    at.turns(40)
    assert at.state.readiness.state is State.VENTED


def test_a_port_that_is_not_there_is_told_once(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        at = AtStation(store)
        at.source.rig.operator.do("unplug")
        while at.source.rig.plugged:
            at.source.rig.advance(0.1)
        at.station.connect(at.source)
        at.turns(50)
        assert at.kind() == "lost"
        assert at.told("warning") == ["there is no port of the simulated rig; plug it in"]
        assert at.snapshot.state is None
        assert at.station.close()


def test_a_write_that_fails_is_a_lost_link_too(at: AtStation, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_data: bytes) -> int:
        raise OSError("it was pulled")

    monkeypatch.setattr(at.source.ends[0], "write", broken)
    at.act(acts.StopAll())
    words = "the link to the rig was lost (it was pulled); check the cable and the rig, it is looked for every second"
    assert words in [word.text for word in at.snapshot.told]
    assert at.told("warning") == ["the rig is silent: check cable and power"]
    at.until_open()
    assert len(at.source.ends) == 2


def test_a_rig_with_hand_valves_is_left_pressurised_only_with_a_word(shop: Path) -> None:
    with opened(shop) as store:
        at = AtStation(store, "hillclimb-after-hand").connected()
        at.source.do("hose capped")
        at.source.do("vent shut")
        at.source.do("supply open")
        at.person.wait_until(at.pressurised, 30.0)
        assert at.told("alarm")
        assert at.station.close()
        assert at.last_told().level == "alarm"
        assert at.last_told().text == "SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing until the gauges are down"
        assert not at.source.ends[0].is_open
