"""A test that was cut off: it is told of, and finished it becomes what it holds, or discarded it is put away."""

from __future__ import annotations

import contextlib
import re
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from borewright.core.readiness_table import VOID_REASONS, Event, State
from borewright.core.samples import SampleColumns, SampleFlags
from borewright.errors import UseError
from borewright.service.air import SHUT_SAID
from borewright.service.cut_off import cut_off_tests, discard_cut_off
from borewright.service.finishing import finish_cut_off, outcome_words
from borewright.store.records import CaptureRecord, LoadedCapture
from borewright.store.store import Store

from .test_air_in_the_simulator import AirOn

Cut = Callable[..., int]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[LoadedCapture, dict[str, object]]:
    """A complete test of the simulated rig, and its engine."""
    air = AirOn(tmp_path_factory.mktemp("whole"))
    document = air.shop.rig.plant.scenario.engine_document
    engine = air.store.save_engine(document["name"], document)
    air.shop.bench.job_id = air.store.create_job("climb", "before", engine)
    air.fill()
    air.shop.person.wait_until(lambda: bool(air.shop.bench.done), 40.0)
    (kept,) = air.store.list_captures()
    loaded = air.store.load_capture(kept.id)
    air.store.close()
    return loaded, dict(document)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "shop.db") as opened:
        yield opened


@pytest.fixture
def cut(whole: tuple[LoadedCapture, dict[str, object]], tmp_path: Path) -> Cut:
    """Records the test up to a moment and ends there, as a crash does; the test's number. until_s: from its first sample."""

    def off(
        until_s: float,
        change: Callable[[CaptureRecord], CaptureRecord] = lambda meta: meta,
        more: str | None = None,
        act: str | None = None,
        bend: Callable[[SampleColumns], SampleColumns] = lambda columns: columns,
    ) -> int:
        loaded, document = whole
        meta = change(loaded.meta)
        with Store.open(tmp_path / "shop.db") as store:
            engine = store.save_engine(str(document["name"]), document)
            job = store.find_job("climb", "before")
            job_id = store.create_job("climb", "before", engine) if job is None else job.id
            capture = store.begin_capture(
                job_id if meta.purpose not in ("sealed", "restrictor") else None,
                meta.cylinder,
                purpose=meta.purpose,
                device_serial=meta.device_serial,
                laws=meta.laws,
                readiness={name: value for name, value in meta.readiness.items() if name not in ("shut_s", "ended_s")},
            )
            columns = bend(loaded.columns)
            samples = int(np.searchsorted(columns.t_s, columns.t_s[0] + until_s, side="right"))
            if samples:
                store.append_chunk(capture, columns.between(0, samples))
            lines = [(one.kind, one.tick, one.monotonic_s, one.detail) for one in loaded.events]
            kept = [line for line in lines if line[1] is not None and samples and line[1] <= columns.tick[samples - 1]]
            if more is not None:
                kept.append(("readiness", 0, 0.0, {"before": State.FILLING, "event": more, "after": State.VENTING}))
            if act is not None:
                kept.append(("act", 0, 0.0, {"act": act}))
            store.append(capture, lines=kept)
        Store.open(tmp_path / "shop.db").close()  # the next start finds it
        return capture

    return off


def shut_after_s(whole: tuple[LoadedCapture, dict[str, object]]) -> float:
    columns = whole[0].columns
    supply = np.flatnonzero(columns.flags & int(SampleFlags.SUPPLY_OPEN))
    return float(columns.t_s[supply[-1]] - columns.t_s[0])


def test_cut_off_after_its_last_sample_it_becomes_the_result_that_it_would_have_been(
    whole: tuple[LoadedCapture, dict[str, object]], cut: Cut, store: Store
) -> None:
    number, meta = cut(1e9), whole[0].meta
    finished = finish_cut_off(store, number)
    assert (finished.state, finished.void_reason) == ("complete", None)
    assert finished.result == meta.result
    assert finished.marks[0].startswith("cut off by a crash after ")
    assert set(finished.marks[1:]) == set(meta.marks)
    assert cut_off_tests(store) == ()
    job = store.find_job("climb", "before")
    assert outcome_words(finished, job) == (
        f"the test of cylinder 1 in job climb, before, (test {number}) holds a whole reading: "
        f"{meta.result['leakage_percent']:.1f} %, marked as cut off by a crash"  # type: ignore[index]
    )


def test_cut_off_at_the_end_of_its_steady_part_it_is_a_number_without_a_decay(
    whole: tuple[LoadedCapture, dict[str, object]], cut: Cut, store: Store
) -> None:
    finished = finish_cut_off(store, cut(shut_after_s(whole)))
    assert finished.state == "complete", finished.void_reason
    assert finished.result is not None
    assert whole[0].meta.result is not None
    assert finished.result["leakage_percent"] == pytest.approx(whole[0].meta.result["leakage_percent"], abs=0.3)
    assert finished.result["t50_s"] is None
    assert "no decay seen" in finished.marks


@pytest.mark.parametrize(
    ("until_s", "said"),
    [
        (0.0, "cut off by a crash after 0.0 s: nothing of it had been recorded"),
        (1.5, r"cut off by a crash after 1.5 s: [A-Z].*"),  # at vent
        (2.6, r"cut off by a crash after 2.6 s: [A-Z].*"),  # puff and watch
        (4.4, r"cut off by a crash after 4.4 s: .*"),  # full pressure has just come
    ],
)
def test_cut_off_before_its_reading_was_steady_it_is_void_with_what_is_missing(
    cut: Cut, store: Store, until_s: float, said: str
) -> None:
    finished = finish_cut_off(store, cut(until_s))
    assert (finished.state, finished.result) == ("void", None)
    assert re.fullmatch(said, finished.void_reason or ""), finished.void_reason
    assert outcome_words(finished, None).endswith(f"is void: {finished.void_reason}")


def test_what_was_void_before_it_was_cut_off_stays_void(cut: Cut, store: Store) -> None:
    finished = finish_cut_off(store, cut(1e9, more=Event.CRANK_LEFT_WINDOW))
    assert finished.state == "void"
    assert (finished.void_reason or "").endswith(VOID_REASONS[Event.CRANK_LEFT_WINDOW])


def test_a_channel_that_cannot_be_believed_makes_it_void(cut: Cut, store: Store) -> None:
    def stuck(columns: SampleColumns) -> SampleColumns:
        return replace(columns, raw=columns.raw | np.array([[0], [8]], np.uint16))

    finished = finish_cut_off(store, cut(1e9, bend=stuck))
    assert (finished.state, finished.result) == ("void", None)
    assert "one bit of the cylinder channel stays set" in (finished.void_reason or "")


def test_a_shut_by_the_person_s_word_stays_marked(cut: Cut, store: Store) -> None:
    assert SHUT_SAID in finish_cut_off(store, cut(1e9, act="SayShut")).marks
    assert SHUT_SAID not in finish_cut_off(store, cut(1e9, act="Hold")).marks


def test_a_log_with_words_of_another_program_makes_it_void(cut: Cut, store: Store) -> None:
    finished = finish_cut_off(store, cut(1e9, more="hose_whistled"))
    assert finished.state == "void"
    assert re.search("its log cannot be understood .*hose_whistled.*; test the cylinder again", finished.void_reason or "")


def test_a_check_of_the_rig_is_made_again(cut: Cut, store: Store) -> None:
    number = cut(1e9, lambda meta: replace(meta, purpose="sealed", cylinder=0))
    (found,) = cut_off_tests(store)
    assert found.words.startswith("the sealed check of the rig was cut off by a crash; ")
    finished = finish_cut_off(store, number)
    assert (finished.void_reason or "").endswith("a check of the rig that was cut off cannot be used; make it again")


def test_a_stop_off_test_without_its_gauge_is_void(cut: Cut, store: Store) -> None:
    def stopped(meta: CaptureRecord) -> CaptureRecord:
        purpose = {**meta.laws["purpose"], "aim": "place", "stopped": ["coolant"]}
        return replace(meta, purpose="stop_off", laws={**meta.laws, "purpose": purpose})

    finished = finish_cut_off(store, cut(1e9, stopped))
    assert (finished.void_reason or "").endswith("the gauge at the coolant had not been read")
    number = cut(1e9, stopped)
    job = store.find_job("climb", "before")
    assert job is not None
    detail = {"p_place_gauge_pa": 4_000.0}
    store.add_finding(job.id, 1, "stop_gauge", place="coolant", detail=detail, said_by="ada", capture_id=number)
    assert finish_cut_off(store, number).state == "complete"


def test_a_record_that_lacks_what_it_was_read_by_makes_it_void(cut: Cut, store: Store) -> None:
    finished = finish_cut_off(store, cut(1e9, lambda meta: replace(meta, laws={"purpose": {"kind": "test"}})))
    assert "the record lacks what this test was read by" in (finished.void_reason or "")
    finished = finish_cut_off(
        store, cut(1e9, lambda meta: replace(meta, laws={key: law for key, law in meta.laws.items() if key != "purpose"}))
    )
    assert "the record lacks what it was for" in (finished.void_reason or "")


def test_discarded_it_is_put_away_with_its_samples(cut: Cut, store: Store) -> None:
    number = cut(3.0)
    (found,) = cut_off_tests(store)
    named = "the test of cylinder 1 in job climb, before,"
    assert found.words == f"{named} was cut off by a crash; 3.0 s of it are recorded (test {number})"
    discard_cut_off(store, number)
    assert cut_off_tests(store) == ()
    assert store.list_captures() == ()
    assert len(store.load_columns(number)) > 2000
    with pytest.raises(UseError, match=f"test {number} has been discarded"):
        finish_cut_off(store, number)


def test_damaged_samples_keep_nobody_from_being_told_or_from_putting_it_away(cut: Cut, store: Store, tmp_path: Path) -> None:
    number = cut(3.0)
    with contextlib.closing(sqlite3.connect(tmp_path / "shop.db")) as damaged, damaged:
        for (trigger,) in damaged.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            damaged.execute(f"DROP TRIGGER {trigger}")
        damaged.execute("UPDATE capture_chunks SET packed = zeroblob(length(packed))")
    (found,) = cut_off_tests(store)
    assert found.recorded_s is None
    assert "what is recorded of it cannot be read" in found.words
    discard_cut_off(store, number)
    assert cut_off_tests(store) == ()


def test_only_what_was_cut_off_can_be_finished_or_discarded(store: Store) -> None:
    running = store.begin_capture(None, 0, purpose="sealed")
    with pytest.raises(UseError, match=f"test {running} is still being recorded"):
        discard_cut_off(store, running)
    store.finish_capture(running, void_reason="stopped")
    with pytest.raises(UseError, match=f"test {running} is void; only one that was cut off"):
        finish_cut_off(store, running)


def test_those_of_a_deleted_job_are_not_told_of(cut: Cut, store: Store) -> None:
    cut(3.0)
    job = store.find_job("climb", "before")
    assert job is not None
    assert len(cut_off_tests(store, job.id)) == 1
    store.delete_job(job.id, "wrong engine")
    assert cut_off_tests(store) == ()
