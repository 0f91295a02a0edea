"""What is put into the record comes out of it, and nothing recorded is ever changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from borewright.core.rig import RigCheck, RigSetup
from borewright.core.samples import SampleColumns
from borewright.errors import StoreError
from borewright.store import Store
from borewright.store.schema import GUARDED_TABLES, metadata


def samples(first: int, n: int = 100) -> SampleColumns:
    index = np.arange(first, first + n, dtype=np.int64)
    raw = np.stack([index % 4096, (3 * index) % 4096]).astype(np.uint16)
    return SampleColumns(index * 1000, index, index - 50, raw, np.zeros(n, np.uint16), 1_000_000)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "shop.borewright"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    ticking = iter(range(1_700_000_000, 1_800_000_000))
    with Store.open(path, clock=lambda: float(next(ticking))) as opened:
        yield opened


@pytest.fixture
def job(store: Store) -> int:
    engine = store.save_engine("four", {"bore_mm": 86.0, "firing_order": [1, 3, 4, 2]})
    return store.create_job("climb 7", "before", engine, "C-12", "Ada")


def test_a_capture_comes_back_whole(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 3, device_serial="S1", laws={"cylinder": {"zero_pa": 12.5}}, versions={"host": "0.1.0"})
    store.append_event(capture, "SupplyOpen", 12, 0.5, {"opening_id": 1})
    store.append_chunk(capture, samples(0))
    store.append_chunk(capture, SampleColumns.empty(2, 1_000_000))
    store.append_chunk(capture, samples(100))
    store.append_event(capture, "AirEvent", None, 0.75)
    store.finish_capture(capture, {"leakage_percent": 9.25}, marks=["not steady"])
    loaded = store.load_capture(capture)
    assert np.array_equal(loaded.columns.index, np.arange(200))
    assert np.array_equal(loaded.columns.raw, samples(0, 200).raw)
    assert [(e.kind, e.tick, e.monotonic_s, e.detail) for e in loaded.events] == [
        ("SupplyOpen", 12, 0.5, {"opening_id": 1}),
        ("AirEvent", None, 0.75, {}),
    ]
    meta = loaded.meta
    assert (meta.state, meta.cylinder, meta.result, meta.marks) == ("complete", 3, {"leakage_percent": 9.25}, ("not steady",))
    assert (meta.laws, meta.versions, meta.device_serial) == ({"cylinder": {"zero_pa": 12.5}}, {"host": "0.1.0"}, "S1")
    assert meta.ended_at_unix_s is not None
    assert meta.ended_at_unix_s > meta.started_at_unix_s


def test_a_void_capture_keeps_its_reason_and_its_samples(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 1)
    store.append_chunk(capture, samples(0))
    store.finish_capture(capture, void_reason="the crank left its window")
    assert (store.get_capture(capture).state, store.get_capture(capture).void_reason) == ("void", "the crank left its window")
    assert store.get_capture(capture).result is None
    assert len(store.load_columns(capture)) == 100


def test_a_capture_ends_with_a_result_or_a_reason(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 1)
    with pytest.raises(ValueError, match="result or with the reason"):
        store.finish_capture(capture)
    assert store.get_capture(capture).state == "running"


def test_nothing_is_added_to_a_capture_that_has_ended(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 1)
    store.append_chunk(capture, samples(0))
    store.finish_capture(capture, {})
    with pytest.raises(StoreError, match="is complete, so nothing was added"):
        store.append_chunk(capture, samples(100))
    with pytest.raises(StoreError, match="is complete, so nothing was added"):
        store.append_event(capture, "late", None, 0.0)
    with pytest.raises(StoreError, match="is complete, so nothing was added"):
        store.finish_capture(capture, {"leakage_percent": 1.0})
    with pytest.raises(StoreError, match="is not there, so nothing was added"):
        store.append_chunk(capture + 1, samples(100))
    assert (len(store.load_columns(capture)), store.load_events(capture)) == (100, ())


def test_samples_and_lines_are_added_together_or_not_at_all(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 1)
    store.append(capture, [samples(0), samples(100)], [("a", 1, 0.0, {}), ("b", 2, 0.5, {})])
    with pytest.raises(ValueError, match="cannot be recorded"):
        store.append(capture, [samples(200)], [("c", 3, 1.0, {"p_pa": float("inf")})])
    with pytest.raises(ValueError, match="samples belong to a capture"):
        store.append(None, [samples(200)])
    assert np.array_equal(store.load_columns(capture).index, np.arange(200))
    assert [event.kind for event in store.load_events(capture)] == ["a", "b"]


def test_a_number_that_is_none_is_refused_before_anything_is_written(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 1)
    with pytest.raises(ValueError, match="cannot be recorded"):
        store.finish_capture(capture, {"leakage_percent": float("nan")})
    assert store.get_capture(capture).state == "running"


def changed(table: str) -> str:
    """Every column but those of the tombstone, set to what is in it."""
    names = [column.name for column in metadata.tables[table].columns if not column.name.startswith("deleted_")]
    return ", ".join(f"{name} = {name}" for name in names)


@pytest.mark.parametrize(("table", "verb"), [(table, verb) for table, verbs in GUARDED_TABLES.items() for verb in verbs])
def test_the_file_itself_refuses_to_change_what_was_recorded(store: Store, job: int, table: str, verb: str) -> None:
    capture = store.begin_capture(job, 1)
    store.append_chunk(capture, samples(0))
    store.append_event(capture, "x", None, 0.0)
    store.add_rig_check(RigCheck("zero", 1.0, "Ada", "S1", True), capture)
    store.add_photo(store.add_finding(job, 1, "note", detail={"text": "oily"}, said_by="Ada"), "a", "image/png", 1, 1, b"x")
    store.save_in_library({"name": "four"})
    sql = f"DELETE FROM {table}" if verb == "DELETE" else f"UPDATE {table} SET {changed(table)}"
    other = sqlite3.connect(store.path)
    try:
        with pytest.raises(sqlite3.IntegrityError, match="kept as they were recorded"):
            other.execute(sql)
    finally:
        other.close()
    assert len(store.load_columns(capture)) == 100


def test_deleting_hides_and_keeps(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 1)
    store.append_chunk(capture, samples(0))
    store.finish_capture(capture, {})
    store.delete_capture(capture, "wrong cylinder number")
    store.delete_job(job, "typed twice")
    assert (store.list_captures(job), store.list_jobs(), store.find_job("climb 7", "before")) == ((), (), None)
    assert [c.id for c in store.list_captures(job, deleted=True)] == [capture]
    assert [j.id for j in store.list_jobs(deleted=True)] == [job]
    assert len(store.load_columns(capture)) == 100
    with pytest.raises(StoreError, match=r"no test .* that could be deleted"):
        store.delete_capture(capture, "again")


def test_a_job_name_can_be_used_once_for_each_stage_and_again_after_deleting(store: Store, job: int) -> None:
    engine = store.get_job(job).engine_id
    after = store.create_job("climb 7", "after", engine)
    with pytest.raises(StoreError, match="already; go on with it"):
        store.create_job("climb 7", "before", engine)
    store.delete_job(job, "mistake")
    again = store.create_job("climb 7", "before", engine)
    found = store.find_job("climb 7", "before")
    assert found is not None
    assert (found.id, [j.id for j in store.list_jobs()]) == (again, [after, again])
    assert (store.get_job(job).customer_reference, store.get_job(job).technician, found.engine_name) == ("C-12", "Ada", "four")


def test_the_same_engine_file_is_kept_once_and_a_changed_one_beside_it(store: Store) -> None:
    first = store.save_engine("four", {"bore_mm": 86.0, "stroke_mm": 86.0})
    assert store.save_engine("four", {"stroke_mm": 86.0, "bore_mm": 86.0}) == first
    changed = store.save_engine("four", {"bore_mm": 86.5, "stroke_mm": 86.0})
    assert changed != first
    assert store.get_engine(first).document == {"bore_mm": 86.0, "stroke_mm": 86.0}


def test_the_newest_check_of_each_kind_counts_for_its_own_device_only(store: Store) -> None:
    zero = RigCheck("zero", 10.0, "Ada", "S1", True, {"regulated_zero_pa": 120.5, "channels": 2, "words": "ok"})
    store.add_rig_check(zero)
    store.add_rig_check(replace(zero, made_at_unix_s=30.0, passed=False))
    store.add_rig_check(replace(zero, made_at_unix_s=20.0))
    store.add_rig_check(replace(zero, made_at_unix_s=40.0, device_serial="S2"))
    store.add_rig_check(replace(zero, kind="tdc", made_at_unix_s=5.0))
    assert store.latest_rig_checks("S1") == {
        "zero": replace(zero, made_at_unix_s=30.0, passed=False),
        "tdc": replace(zero, kind="tdc", made_at_unix_s=5.0),
    }
    assert store.latest_rig_checks("S3") == {}


def test_a_rig_is_kept_and_replaced(store: Store) -> None:
    assert store.get_rig("S1") is None
    store.save_rig("S1", RigSetup())
    changed = RigSetup(name="bench 2", hose_volume_m3=41e-6, running_sign=-1)
    store.save_rig("S1", changed)
    assert store.get_rig("S1") == changed


def test_the_log_of_the_bench_stands_apart_from_those_of_captures(store: Store, job: int) -> None:
    store.append(None, lines=[("link_up", None, 1.0, {}), ("link_lost", 7, 2.0, {"why": "unplugged"})])
    capture = store.begin_capture(job, 1)
    store.append_event(capture, "x", None, 3.0)
    assert [e.kind for e in store.load_events(None)] == ["link_up", "link_lost"]
    assert [e.kind for e in store.load_events(capture)] == ["x"]


@pytest.mark.parametrize("ask", ["get_job", "get_capture", "get_engine", "load_columns"])
def test_what_is_not_there_is_said_in_one_sentence(store: Store, ask: str) -> None:
    with pytest.raises(StoreError, match=r"^(there is no|test) [^.\n]+"):
        getattr(store, ask)(99)


def test_a_capture_for_a_job_that_is_not_there_is_refused(store: Store) -> None:
    with pytest.raises(StoreError, match="nothing was changed"):
        store.begin_capture(99, 1)
    assert store.list_captures() == ()


def test_damaged_samples_are_said_and_the_rest_of_the_file_goes_on(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 1)
    store.append_chunk(capture, samples(0))
    store.finish_capture(capture, {"leakage_percent": 5.0})
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("DROP TRIGGER keep_capture_chunks_update")
    other.execute("UPDATE capture_chunks SET packed = substr(packed, 1, 30)")
    other.close()
    with pytest.raises(StoreError, match=r"cannot be read .*; keep a copy"):
        store.load_columns(capture)
    assert store.get_capture(capture).result == {"leakage_percent": 5.0}
