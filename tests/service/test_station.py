"""The station in virtual time: the numbers of the bench, jobs and setups that change, a record that fails."""

from __future__ import annotations

import json
import sqlite3
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewright.core.readiness_table import AIR_ON
from borewright.core.rig import RigSetup
from borewright.errors import StoreError
from borewright.service import acts, station
from borewright.service.analysis import Analysed, analyse, analysed_as_dict
from borewright.service.bench import Bench
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.known_rig import usual_setup
from borewright.service.state import BenchState
from borewright.service.workers import Workers
from borewright.simrig.person import Person
from borewright.store.store import Store
from borewright.store.writer import StoreWriter

from .at_station import CAPPED, UNIX_S, AtStation, kept_by_record, opened, until_air

TEST_1 = acts.Purpose("test", 1)


class Slow(Workers):
    """The analysis is made when the test wants it."""

    def __init__(self, store: Store) -> None:
        super().__init__(store.path, store, inline=True)
        self.waiting: list[tuple[Future[Analysed], BenchState, Analyse, AirConditions]] = []

    def analyse(self, state: BenchState, done: Analyse, ambient: AirConditions) -> Future[Analysed]:
        self.waiting.append((Future(), state, done, ambient))
        return self.waiting[-1][0]

    def work_one(self) -> None:
        future, state, done, ambient = self.waiting.pop(0)
        future.set_result(analyse(state, done, ambient))


# ---------------------------------------------------------------------- before there is a rig


def test_before_a_rig_there_is_nothing_to_do_and_every_act_is_answered(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        at = AtStation(store)
        assert (at.kind(), at.snapshot.state, at.snapshot.step) == ("none", None, None)
        at.act(acts.AskAir())
        assert at.last_told().level == "warning"
        assert at.last_told().text == "nothing was done: no rig is connected; choose its port, or the built-in rig"
        answer = at.station.at_rig("look")
        at.station.use_setup(RigSetup())
        at.turn()
        assert answer.result(0.0) == "no: no rig is connected"
        assert at.last_told().text == "no rig is connected whose setup this could be; connect it first"
        at.act(acts.LetGo())  # a key that comes up
        assert at.last_told().number == 2
        assert at.station.close()


def test_a_rig_is_met_with_what_the_record_knows_of_it(at: AtStation) -> None:
    assert at.snapshot.link.words == "rig BW-REF-0001 at the simulated rig"
    assert set(at.state.checks) == {"zero", "sealed", "restrictor", "tdc"}
    assert at.state.tdc is not None
    assert at.state.proven_gauge_pa is not None
    assert at.state.setup == usual_setup(at.engine)
    assert at.snapshot.rig is False  # nothing is being done there
    assert at.snapshot.counters is not None
    assert at.snapshot.counters.octets > 0


# ---------------------------------------------------------------------- the same numbers


class AtBench:
    """The same person at a bench alone, with the turns of a station."""

    def __init__(self, store: Store) -> None:
        scenario = load_scenario("hillclimb-after")
        port = SimEndpoint(SimRig(scenario))
        at = AtStation(store)
        self.bench = Bench(
            port,
            StoreWriter(store, threaded=False),
            wall_clock=lambda: UNIX_S + port.monotonic(),
            tell=lambda _word: None,
            engine=at.engine,
            who="tester",
            ambient=at.ambient,
            read_s=station.VIRTUAL_READ_S,
        )
        self.person = Person(self, port)  # type: ignore[arg-type]
        while self.bench.state.transducers is None or self.bench.state.reading is None:
            self.bench.turn()
        self.bench.use_setup(usual_setup(at.engine))
        self.bench.know_checks(store.latest_rig_checks("BW-REF-0001"))

    def turn(self) -> None:
        self.bench.turn()

    def act(self, act: acts.Act) -> None:
        self.bench.act(act)
        self.bench.turn()

    @property
    def state(self) -> BenchState:
        return self.bench.state

    @property
    def done(self) -> list[Any]:
        return self.bench.done


def test_a_test_gives_the_numbers_of_the_bench_alone_and_the_record_has_them(
    at: AtStation, checked_record: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "shop.borewright").write_bytes(checked_record.read_bytes())
    job = at.store.create_job("hill-climb 7", "after", at.store.save_engine(at.engine.name, {}))
    at.station.use_job(at.store.get_job(job), at.engine, at.ambient)
    at.person.carry_out(TEST_1)
    with opened(other) as store:
        alone = AtBench(store)
        alone.person.carry_out(TEST_1)
        (expected,) = alone.bench.done
    (view,) = at.done
    assert view.void_reason is None
    assert view.done.analysed.result is not None
    assert analysed_as_dict(view.done.analysed) == analysed_as_dict(expected.analysed)
    assert (view.done.evidence, view.done.analysed.marks) == (expected.evidence, expected.analysed.marks)
    assert view.number == 1
    (kept,) = at.store.list_captures(job)
    assert (kept.id, kept.state, kept.void_reason) == (view.capture_id, "complete", None)
    assert kept.result == json.loads(json.dumps(analysed_as_dict(view.done.analysed)))
    assert kept.readiness == json.loads(json.dumps(view.done.evidence))
    assert at.snapshot.record_trouble is None


# ---------------------------------------------------------------------- while something is worked out


def test_the_rig_is_read_on_while_a_test_is_worked_out_and_the_next_can_begin(shop: Path) -> None:
    with opened(shop) as store:
        workers = Slow(store)
        at = AtStation(store, workers=workers).connected()
        until_air(at, TEST_1)
        at.person.wait_until(lambda: at.snapshot.analysing == 1 and not at.state.readiness.locked, 60.0)
        assert at.captures() == ()
        at.person.let_go()
        until_air(at, CAPPED)
        assert at.state.capture is not None
        workers.work_one()
        at.turn()
        (first,) = at.done
        assert at.state.capture is not None  # the second goes on
        at.person.wait_until(lambda: at.snapshot.analysing == 1, 60.0)
        workers.work_one()
        at.turn()
        second = at.done[1]
        assert (first.number, second.number) == (1, 2)
        assert (first.void_reason, second.void_reason) == (None, None)
        for view in (first, second):
            assert view.capture_id is not None
            kept = store.get_capture(view.capture_id)
            assert kept.result == json.loads(json.dumps(analysed_as_dict(view.done.analysed)))
            assert kept.readiness == json.loads(json.dumps(view.done.evidence))
        assert first.done.ticket != second.done.ticket
        assert at.station.close()


def test_a_check_is_kept_with_its_own_capture_and_the_next_step_waits_for_it(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        workers = Slow(store)
        at = AtStation(store, workers=workers).connected()
        at.person.wait(2.5)
        at.person.take_zero()
        at.act(acts.SetPurpose(acts.Purpose("sealed")))
        while not at.snapshot.analysing:
            at.person.follow(at.step)
        at.person.let_go()
        at.person.wait_until(lambda: not at.state.readiness.locked, 60.0)
        assert "sealed" not in at.state.checks
        assert (at.step.key, at.step.text) == ("wait", "the check is being worked out")
        workers.work_one()
        at.turn()
        assert at.state.checks["sealed"].passed
        assert at.state.proven_gauge_pa is not None
        assert at.step.key != "wait"
        (view,) = at.done
        assert store.latest_rig_checks("BW-REF-0001")["sealed"] == at.state.checks["sealed"]
        with sqlite3.connect(store.path) as file:
            assert file.execute("SELECT capture_id FROM rig_checks WHERE kind = 'sealed'").fetchall() == [(view.capture_id,)]
        assert at.station.close()


def test_an_analysis_that_fails_costs_the_number_and_not_the_samples_and_is_not_made_in_the_reading_thread(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def here(*_arguments: object) -> Analysed:
        raise AssertionError("it was worked out where the rig is read")

    monkeypatch.setattr("borewright.service.analyses.analyse", here)
    with opened(shop) as store:
        workers = Slow(store)
        at = AtStation(store, workers=workers).connected()
        until_air(at)
        at.person.wait_until(lambda: at.snapshot.analysing == 1, 60.0)
        workers.waiting.pop()[0].set_exception(ZeroDivisionError("by nothing"))
        at.turn()
        (view,) = at.done
        reason = "the check could not be worked out; its samples are kept"
        assert view.void_reason == reason
        assert view.capture_id is not None
        kept = store.get_capture(view.capture_id)
        assert (kept.state, kept.void_reason) == ("void", reason)
        assert len(store.load_columns(view.capture_id)) > 5_000
        assert at.station.close()


def test_what_is_not_worked_out_at_the_end_is_worked_out_then(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(station, "ANALYSES_S", 0.0)
    with opened(shop) as store:
        at = AtStation(store, workers=Slow(store)).connected()
        until_air(at)
        at.person.wait_until(lambda: at.snapshot.analysing == 1, 60.0)
        assert at.station.close()
        (view,) = at.done
        assert view.void_reason is None
        assert view.capture_id is not None
        assert view.done.analysed.result is not None
        assert store.get_capture(view.capture_id).state == "complete"


# ---------------------------------------------------------------------- job and setup


def test_another_job_waits_until_the_rig_is_vented_and_drops_what_was_shown(at: AtStation) -> None:
    until_air(at)
    job = at.store.create_job("hill-climb 7", "after", at.store.save_engine(at.engine.name, {}))
    other = replace(at.engine, name="another four")
    at.station.use_job(at.store.get_job(job), other, at.ambient)
    at.turns(3)
    assert at.last_told().text == "the job is changed as soon as the rig is vented"
    assert at.state.engine == at.engine
    assert at.state.readiness.state in AIR_ON
    at.person.wait_until(lambda: bool(at.done), 60.0)
    at.person.let_go()
    at.person.wait_until(lambda: at.state.engine == other, 10.0)
    assert not at.pressurised()
    state = at.state
    assert (state.stroke, state.hose, state.hose_evidence, state.confirmed, state.fitting_confirmed) == (
        None,
        None,
        None,
        None,
        False,
    )
    assert state.purpose == acts.Purpose("sealed")
    at.turns(2)
    assert at.state.tdc is None  # it was found for the engine of the other name
    assert at.state.proven_gauge_pa is not None
    assert at.store.list_captures(job) == ()


def test_the_same_job_with_other_air_drops_nothing(at: AtStation) -> None:
    at.act(acts.SetPurpose(TEST_1))
    at.act(acts.PlaceHose("cylinder", 1))
    at.station.use_job(None, at.engine, replace(at.ambient, p_ambient_abs_pa=95e3))
    at.turns(3)
    assert at.state.purpose == TEST_1
    assert at.state.hose == acts.PlaceHose("cylinder", 1)
    assert at.state.tdc is not None


def test_a_setup_is_kept_for_the_rig_and_its_checks_lapse(at: AtStation) -> None:
    setup = RigSetup(restrictor_area_m2=2e-6)
    at.station.use_setup(setup)
    at.turns(3)
    assert at.state.setup == setup
    assert at.store.get_rig("BW-REF-0001") == setup
    assert set(at.state.checks) == {"tdc"}
    assert at.state.proven_gauge_pa is None


def test_a_regulator_that_was_moved_is_not_proven_by_looking_the_checks_up_again(at: AtStation) -> None:
    at.act(acts.SetPurpose(acts.Purpose("sealed", asked_gauge_pa=3e5)))
    assert at.state.proven_gauge_pa is None
    at.station.know_checks_again()
    at.turns(3)
    assert at.state.proven_gauge_pa is None
    assert at.state.checks["sealed"].passed


# ---------------------------------------------------------------------- what fails


def test_a_record_that_takes_nothing_is_told_before_air_and_the_test_after(at: AtStation, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_arguments: object, **_named: object) -> int:
        raise StoreError("the disk of the record is full; free some space")

    monkeypatch.setattr(at.store, "append", full)
    at.act(acts.SetPurpose(CAPPED))
    at.turn()
    assert at.snapshot.record_trouble == "the disk of the record is full; free some space"
    assert "the disk of the record is full; free some space" not in at.told("warning")  # once is enough: the desk tells the trouble
    monkeypatch.setattr(at.store, "begin_capture", full)
    at.person.carry_out(CAPPED)
    (view,) = at.done
    assert (view.capture_id, view.lost) == (None, "the disk of the record is full; free some space")
    assert "the test is not in the record: the disk of the record is full; free some space" in at.told("alarm")
    monkeypatch.undo()
    at.person.carry_out(CAPPED)
    assert at.done[1].capture_id is not None
    assert at.snapshot.record_trouble is None


def test_what_waits_for_the_rig_to_be_vented_is_called_by_what_it_is(at: AtStation) -> None:
    until_air(at)
    at.station.use_job(None, at.engine, at.ambient)  # nothing is another one
    at.turns(2)
    assert not any("as soon as" in word for word in at.told("note"))
    at.station.use_job(None, at.engine, replace(at.ambient, p_ambient_abs_pa=95e3))
    at.turns(2)
    assert at.told("note")[-1] == "the air that was stated counts as soon as the rig is vented"


def test_at_the_end_a_test_under_way_is_void_and_kept(shop: Path) -> None:
    with opened(shop) as store:
        at = AtStation(store).connected()
        until_air(at)
        assert at.station.close()
        assert not at.rig.plant.supply_open
        (view,) = at.done
        assert view.void_reason == "the program was ended"
        assert kept_by_record(store) == [("void", "the program was ended")]
        assert view.capture_id is not None
        assert at.kind() == "none"
