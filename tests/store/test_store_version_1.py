"""A record of version 1 becomes one of this version with all that is in it, or stays as it was."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from borewright.core.samples import SampleColumns
from borewright.errors import StoreError
from borewright.store import Store
from borewright.store.migrations.versions import v0001_base
from borewright.store.opening import _engine
from borewright.store.packing import pack

SAMPLES = SampleColumns(
    np.arange(5) * 1000,
    np.arange(5),
    np.arange(5) - 2,
    np.arange(10, dtype=np.uint16).reshape(2, 5),
    np.zeros(5, np.uint16),
    1_000_000,
)
ROWS: dict[str, list[tuple[Any, ...]]] = {
    "engines": [(1, "four", "a" * 64, '{"bore_mm":86.0}', 1.0)],
    "jobs": [
        (1, "climb", "before", 1, "C-12", "Ada", 2.0, 9.0, "a slip"),
        (2, "climb", "before", 1, "C-12", "Ada", 3.0, None, None),
        (3, "climb", "after", 1, "", "", 4.0, None, None),
    ],
    "captures": [
        (1, 2, "test", 1, "complete", 5.0, 6.0, None, '["unsteady"]', "{}", '{"l":9.25}', '{"a":1}', "{}", "{}", "S1", None, None),
        (2, 2, "test", 3, "void", 5.0, 6.0, "the crank", "[]", "{}", None, "{}", "{}", "{}", "S1", 8.0, "twice"),
        (4, None, "sealed", 0, "complete", 5.0, 6.0, None, "[]", "{}", "{}", "{}", "{}", "{}", "S1", None, None),
        (7, 3, "test", 1, "running", 7.0, None, None, "[]", "{}", None, "{}", "{}", "{}", "S1", None, None),
    ],
    "capture_chunks": [(1, 1, 5, pack(SAMPLES))],
    "events": [(1, 1, "SupplyOpen", 12, 0.5, '{"opening_id":1}'), (2, None, "Zero", None, 0.25, "{}")],
    "rig_checks": [(1, "sealed", 6.0, "Ada", "S1", 1, "{}", 4)],
    "rigs": [("S1", "{}", 1.0)],
}  # fmt: skip


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A file as version 1 of the record was, with a row of everything and ids that do not follow each other."""
    path = tmp_path / "old.borewright"
    engine = _engine(path, 1.0)
    with engine.execution_options(writes=True).begin() as connection:
        with Operations.context(MigrationContext.configure(connection)):
            v0001_base.upgrade()
        connection.exec_driver_sql("PRAGMA user_version = 1")
    engine.dispose()
    with sqlite3.connect(path) as raw:
        for table, rows in ROWS.items():
            raw.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(rows[0]))})", rows)
    raw.close()
    return path


def dumped(path: Path) -> list[str]:
    with sqlite3.connect(path) as raw:
        lines = list(raw.iterdump())
    raw.close()
    return lines


def test_everything_is_still_there_and_has_an_identity(old: Path) -> None:
    with Store.open(old) as store:
        jobs = {job.id: job for job in store.list_jobs(deleted=True)}
        assert [(job.name, job.stage, job.deleted_at_unix_s) for job in jobs.values()] == [
            ("climb", "before", 9.0),
            ("climb", "before", None),
            ("climb", "after", None),
        ]
        assert (jobs[1].deleted_reason, jobs[2].customer_reference, jobs[2].technician) == ("a slip", "C-12", "Ada")
        assert all(job.details == {} and job.archived_at_unix_s is None for job in jobs.values())
        captures = {capture.id: capture for capture in store.list_captures(deleted=True)}
        assert list(captures) == [1, 2, 4, 7]
        assert (captures[1].result, captures[1].marks, captures[1].laws) == ({"l": 9.25}, ("unsteady",), {"a": 1})
        assert [captures[number].state for number in captures] == ["complete", "void", "complete", "crashed"]
        assert store.count_captures() == {2: 1, 3: 1}
        uids = [*(job.uid for job in jobs.values()), *(capture.uid for capture in captures.values())]
        assert len(set(uids)) == len(uids)
        assert all(len(uid) == 32 and int(uid, 16) >= 0 for uid in uids)
        loaded = store.load_capture(1)
        assert np.array_equal(loaded.columns.raw, SAMPLES.raw)
        assert [event.kind for event in loaded.events] == ["SupplyOpen"]
        assert store.latest_rig_checks("S1")["sealed"].made_by == "Ada"
    with Store.open(old) as again:
        assert [capture.uid for capture in again.list_captures(deleted=True)] == uids[3:]


def test_it_works_on_and_guards_on(old: Path) -> None:
    with Store.open(old) as store:
        stopped = store.begin_capture(2, 1, purpose="stop_off")
        store.finish_capture(stopped, {"leak_area_mm2": 0.5})
        store.add_finding(2, 1, "heard", place="exhaust", detail={"strength": "strong"}, said_by="Ada", capture_id=stopped)
        with pytest.raises(StoreError, match="FOREIGN KEY"):
            store.begin_capture(99, 1)
    raw = sqlite3.connect(old)
    assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    for act in ("DELETE FROM captures", "DELETE FROM jobs", "UPDATE findings SET detail = '{}'", "UPDATE events SET kind = 'x'"):
        with pytest.raises(sqlite3.IntegrityError, match="kept as they were recorded"):
            raw.execute(act)
    raw.close()


def test_a_row_that_points_to_nothing_leaves_the_old_file_as_it_was(old: Path) -> None:
    with sqlite3.connect(old) as raw:  # foreign keys are off in a plain connection
        raw.execute("INSERT INTO capture_chunks VALUES (99, 1, 0, x'00')")
    raw.close()
    before = dumped(old)
    with pytest.raises(StoreError, match=r"is damaged .* left as it was"):
        Store.open(old)
    assert dumped(old) == before
