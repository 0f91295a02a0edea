"""A kill, a full disk, a program that goes on beside: what had been handed over is in the file, and the file opens."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from borewright.core.samples import SampleColumns
from borewright.errors import StoreError
from borewright.store import Store
from borewright.store.lease import Lease

COMMON = """
import sys
import numpy as np
from borewright.core.samples import SampleColumns
from borewright.errors import StoreError
from borewright.store import Store

rng = np.random.default_rng(3)

def second(number):
    index = np.arange(number * 1000, (number + 1) * 1000)
    raw = rng.integers(0, 4096, (3, 1000)).astype(np.uint16)
    return SampleColumns(index * 1000, index, 0 * index, raw, np.zeros(1000, np.uint16), 1_000_000)

store = Store.open(sys.argv[1])
"""

RECORDING = (
    COMMON
    + """
job = store.create_job("climb", "before", store.save_engine("four", {}))
capture = store.begin_capture(job, 2)
for number in range(10**9):
    store.append_chunk(capture, second(number))
    store.append_event(capture, "second", number, float(number))
    print(number, flush=True)
"""
)

DISK_FULL = (
    COMMON
    + """
import resource
job = store.create_job("climb", "before", store.save_engine("four", {}))
capture = store.begin_capture(job, 2)
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, resource.RLIM_INFINITY))
kept = 0
try:
    while True:
        store.append_chunk(capture, second(kept))
        kept += 1
except StoreError as error:
    print(error)
print(kept)
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
store.append_chunk(capture, second(kept))
store.finish_capture(capture, void_reason="the disk was full for a while")
store.close()
"""
)


@contextmanager
def recording_elsewhere(path: Path) -> Iterator[subprocess.Popen[str]]:
    child = subprocess.Popen([sys.executable, "-c", RECORDING, str(path)], stdout=subprocess.PIPE, text=True)
    try:
        yield child
    finally:
        child.kill()
        child.communicate()


def integrity(path: Path) -> str:
    connection = sqlite3.connect(path)
    try:
        return str(connection.execute("PRAGMA integrity_check").fetchone()[0])
    finally:
        connection.close()


@pytest.mark.parametrize("seconds_before", [1, 4, 23])
def test_a_kill_while_writing_keeps_every_second_handed_over(tmp_path: Path, seconds_before: int) -> None:
    path = tmp_path / "shop.borewright"
    with recording_elsewhere(path) as child:
        assert child.stdout is not None
        for _ in range(seconds_before):
            child.stdout.readline()
        child.kill()
        acknowledged = seconds_before + len(child.stdout.read().splitlines())
    with Store.open(path) as store:
        (capture,) = store.list_captures()
        assert (capture.state, capture.cylinder) == ("crashed", 2)
        assert capture.void_reason == "the program ended in the middle of this test"
        columns = store.load_columns(capture.id)
        assert len(columns) in {acknowledged * 1000, (acknowledged + 1) * 1000}
        assert np.array_equal(columns.index, np.arange(len(columns)))
        assert len(store.load_events(capture.id)) >= acknowledged
        again = store.begin_capture(capture.job_id, 2)
        store.finish_capture(again, {"leakage_percent": 4.0})
    assert integrity(path) == "ok"
    assert [p.name for p in tmp_path.iterdir()] == ["shop.borewright"]


def test_a_test_that_runs_in_another_program_is_not_taken_for_a_crash(tmp_path: Path) -> None:
    path = tmp_path / "shop.borewright"
    with recording_elsewhere(path) as child:
        assert child.stdout is not None
        child.stdout.readline()
        with Store.open(path) as store:
            assert [capture.state for capture in store.list_captures()] == ["running"]
            with pytest.raises(StoreError, match="another Borewright is recording into"):
                store.begin_capture(None, 1)
            assert child.stdout.readline()  # it went on
    with Store.open(path) as store:
        assert [capture.state for capture in store.list_captures()] == ["crashed"]


def test_a_full_disk_loses_what_was_not_written_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "shop.borewright"
    done = subprocess.run([sys.executable, "-c", DISK_FULL, str(path)], capture_output=True, text=True, check=True, timeout=60)
    words, kept = done.stdout.splitlines()
    assert words.startswith(f"the disk did not take a write to {path} (")
    assert words.endswith("; what is there already is kept; free space, then do it again")
    assert int(kept) > 10
    with Store.open(path) as store:
        (capture,) = store.list_captures()
        assert (capture.state, capture.void_reason) == ("void", "the disk was full for a while")
        columns = store.load_columns(capture.id)
        assert np.array_equal(columns.index, np.arange((int(kept) + 1) * 1000))
    assert integrity(path) == "ok"


def test_a_file_that_may_not_grow_is_said(tmp_path: Path) -> None:
    with Store.open(tmp_path / "shop.borewright") as store:
        with store._read() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
            connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(StoreError, match=r"the disk did not take a write .* free space, then do it again"):
            store.save_engine("four", {"text": "x" * 100_000})
        assert store.list_jobs() == ()


def test_a_store_closed_in_the_middle_of_a_test_leaves_it_as_crashed(tmp_path: Path) -> None:
    path = tmp_path / "shop.borewright"
    with Store.open(path) as store:
        capture = store.begin_capture(None, 0, purpose="sealed")
        store.append_chunk(capture, SampleColumns.empty(2, 1_000_000))
    with Store.open(path) as store:
        assert store.get_capture(capture).state == "crashed"
        with pytest.raises(StoreError, match="is crashed, so nothing was added"):
            store.finish_capture(capture, {})


def test_one_lease_for_a_file_and_it_comes_back(tmp_path: Path) -> None:
    one, two = Lease(tmp_path / "shop"), Lease(tmp_path / "shop")
    assert (one.take(), two.take(), one.take()) == (True, False, True)
    assert (one.held, two.held) == (True, False)
    one.give_back()
    one.give_back()
    assert list(tmp_path.iterdir()) == []
    assert two.take()
    two.give_back()


def test_a_lease_file_that_a_crash_left_is_no_hindrance(tmp_path: Path) -> None:
    (tmp_path / "shop-recording").touch()
    lease = Lease(tmp_path / "shop")
    assert lease.take()
    lease.give_back()
