"""The queue before the record: the caller never waits, and nothing goes missing without a word."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from borewright.core.rig import RigCheck
from borewright.core.samples import SampleColumns
from borewright.errors import StoreError
from borewright.store import Store
from borewright.store.store import Line
from borewright.store.writer import CaptureKept, CaptureLost, StoreWriter, WriteFailed


def samples(first: int, n: int = 50) -> SampleColumns:
    index = np.arange(first, first + n, dtype=np.int64)
    return SampleColumns(index * 1000, index, index * 0, np.zeros((2, n), np.uint16), np.zeros(n, np.uint16), 1_000_000)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "shop.borewright") as opened:
        yield opened


Make = Callable[..., StoreWriter]


@pytest.fixture
def make(store: Store) -> Iterator[Make]:
    made: list[StoreWriter] = []

    def of(**options: Any) -> StoreWriter:
        made.append(StoreWriter(store, **options))
        return made[-1]

    yield of
    for writer in made:
        assert writer.close()


class SlowDisk:
    """Holds everything that is added back until it is let go."""

    def __init__(self, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
        self.go = threading.Event()
        self.reached = threading.Event()
        self.transactions = 0
        inner = store.append

        def slow(capture_id: int, chunks: Sequence[SampleColumns], lines: Sequence[Line]) -> None:
            self.reached.set()
            assert self.go.wait(30.0)
            self.transactions += 1
            inner(capture_id, chunks, lines)

        monkeypatch.setattr(store, "append", slow)


@pytest.mark.parametrize("threaded", [True, False])
def test_all_that_is_handed_over_is_in_the_record_in_its_order(store: Store, make: Make, threaded: bool) -> None:
    writer = make(threaded=threaded)
    ticket = writer.begin_capture(None, 4, laws={"a": 1}, readiness={"stroke": "squeeze"})
    for second in range(20):
        writer.append_chunk(ticket, samples(second * 50))
        writer.append_event(ticket, "second", second, float(second))
        writer.append_event(None, "bench", second, float(second))
    writer.add_rig_check(RigCheck("sealed", 5.0, "Ada", "S1", True), ticket)
    writer.finish_capture(ticket, {"leakage_percent": 7.5}, marks=("m",), declared={"t_k": 293.0})
    assert writer.drain()
    (kept,) = writer.take_news()
    assert isinstance(kept, CaptureKept)
    assert (kept.ticket, kept.state, kept.capture_id) == (ticket, "complete", writer.capture_id(ticket))
    loaded = store.load_capture(kept.capture_id)
    assert np.array_equal(loaded.columns.index, np.arange(1000))
    assert [event.tick for event in loaded.events] == list(range(20))
    assert [event.tick for event in store.load_events(None)] == list(range(20))
    assert (loaded.meta.cylinder, loaded.meta.result, loaded.meta.declared) == (4, {"leakage_percent": 7.5}, {"t_k": 293.0})
    assert (loaded.meta.laws, loaded.meta.readiness, loaded.meta.marks) == ({"a": 1}, {"stroke": "squeeze"}, ("m",))
    assert store.latest_rig_checks("S1")["sealed"].passed
    assert writer.take_news() == ()


def test_a_slow_disk_never_holds_the_caller_and_what_overflows_is_told(
    store: Store, make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = SlowDisk(store, monkeypatch)
    writer = make(capacity=5)
    ticket = writer.begin_capture(None, 1)
    writer.append_chunk(ticket, samples(0))
    assert disk.reached.wait(30.0)
    for second in range(1, 10):  # returns although the disk stands still
        writer.append_chunk(ticket, samples(second * 50))
    writer.finish_capture(ticket, {"leakage_percent": 7.5})
    assert not writer.drain(0.0)
    (told,) = writer.take_news()
    assert isinstance(told, WriteFailed)
    assert told.ticket == ticket
    assert "the disk is too slow" in told.reason
    disk.go.set()
    assert writer.drain()
    (kept,) = writer.take_news()
    assert isinstance(kept, CaptureKept)
    assert kept.state == "void"
    assert kept.void_reason == f"part of the record is missing: {told.reason}"
    assert len(store.load_columns(kept.capture_id)) == 5 * 50
    assert store.get_capture(kept.capture_id).result == {"leakage_percent": 7.5}


def test_a_patient_caller_waits_for_the_disk_and_loses_nothing(store: Store, make: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    disk = SlowDisk(store, monkeypatch)
    writer = make(capacity=3, patient=True)
    ticket = writer.begin_capture(None, 1)

    def hand_over() -> None:
        for second in range(40):
            writer.append_chunk(ticket, samples(second * 50))
            writer.append_event(ticket, "second", second, float(second))

    caller = threading.Thread(target=hand_over)
    caller.start()
    assert disk.reached.wait(30.0)
    assert caller.is_alive()  # 80 additions cannot find room for three
    disk.go.set()
    caller.join(30.0)
    writer.finish_capture(ticket, {})
    assert writer.drain()
    (kept,) = writer.take_news()
    assert isinstance(kept, CaptureKept)
    assert kept.state == "complete"
    assert np.array_equal(store.load_columns(kept.capture_id).index, np.arange(2000))
    assert [event.tick for event in store.load_events(kept.capture_id)] == list(range(40))


def test_what_waits_for_a_slow_disk_is_written_in_one_transaction(
    store: Store, make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = SlowDisk(store, monkeypatch)
    writer = make()
    ticket = writer.begin_capture(None, 1)
    writer.append_chunk(ticket, samples(0))
    assert disk.reached.wait(30.0)
    for second in range(1, 50):
        writer.append_chunk(ticket, samples(second * 50))
        writer.append_event(ticket, "second", second, float(second))
    disk.go.set()
    assert writer.drain()
    assert disk.transactions == 2
    capture_id = writer.capture_id(ticket)
    assert capture_id is not None
    assert len(store.load_columns(capture_id)) == 2500


@pytest.mark.parametrize("threaded", [True, False])
def test_a_disk_error_is_told_once_and_voids_the_capture(
    store: Store, make: Make, monkeypatch: pytest.MonkeyPatch, threaded: bool
) -> None:
    def full(_capture_id: int, _chunks: Sequence[SampleColumns], _lines: Sequence[Line]) -> None:
        raise StoreError("the disk is full; free space")

    monkeypatch.setattr(store, "append", full)
    writer = make(threaded=threaded)
    ticket = writer.begin_capture(None, 1)
    for second in range(3):
        writer.append_chunk(ticket, samples(second * 50))
    writer.finish_capture(ticket, void_reason="the crank moved")
    assert writer.drain()
    told, kept = writer.take_news()
    assert told == WriteFailed(ticket, "the disk is full; free space")
    assert isinstance(kept, CaptureKept)
    assert kept.void_reason == "the crank moved; part of the record is missing: the disk is full; free space"


@pytest.mark.parametrize("threaded", [True, False])
def test_a_capture_that_could_not_begin_ends_as_lost_with_the_reason(store: Store, make: Make, threaded: bool) -> None:
    writer = make(threaded=threaded)
    ticket = writer.begin_capture(99, 1)  # there is no such job
    writer.append_chunk(ticket, samples(0))
    writer.append_event(ticket, "x", None, 0.0)
    writer.finish_capture(ticket, {})
    assert writer.drain()
    failed, lost = writer.take_news()
    assert isinstance(failed, WriteFailed)
    assert lost == CaptureLost(ticket, failed.reason)
    assert writer.capture_id(ticket) is None
    assert store.list_captures() == ()


def test_a_result_that_cannot_be_written_is_lost_aloud_and_the_writer_goes_on(store: Store, make: Make) -> None:
    writer = make()
    bad = writer.begin_capture(None, 1)
    writer.finish_capture(bad, {"leakage_percent": float("inf")})
    good = writer.begin_capture(None, 2)
    writer.append_chunk(good, samples(0))
    writer.finish_capture(good, {"leakage_percent": 5.0})
    assert writer.drain()
    lost, kept = writer.take_news()
    assert isinstance(lost, CaptureLost)
    assert "the program failed while writing the record" in lost.reason
    assert isinstance(kept, CaptureKept)
    assert store.get_capture(kept.capture_id).state == "complete"


def test_a_file_that_another_program_holds_for_a_while_loses_nothing(tmp_path: Path) -> None:
    path = tmp_path / "held.borewright"
    with Store.open(path, busy_s=0.01) as store:
        tried = threading.Semaphore(0)
        inner = store.append

        def append(capture_id: int | None, chunks: Sequence[SampleColumns] = (), lines: Sequence[Line] = ()) -> None:
            tried.release()
            inner(capture_id, chunks, lines)

        store.append = append  # type: ignore[method-assign]
        writer = StoreWriter(store)
        ticket = writer.begin_capture(None, 1)
        assert writer.drain()
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        for second in range(6):
            writer.append_chunk(ticket, samples(second * 50))
        for _ in range(3):
            assert tried.acquire(timeout=30.0)
        other.execute("ROLLBACK")
        other.close()
        writer.finish_capture(ticket, {"leakage_percent": 7.5})
        assert writer.drain()
        (kept,) = writer.take_news()
        assert isinstance(kept, CaptureKept)
        assert kept.state == "complete"
        assert len(store.load_columns(kept.capture_id)) == 300
        assert writer.close()


def test_a_file_that_stays_locked_voids_the_test_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("borewright.store.writer.LOCKED_S", 0.0)
    path = tmp_path / "held.borewright"
    with Store.open(path, busy_s=0.01) as store:
        writer = StoreWriter(store)
        ticket = writer.begin_capture(None, 1)
        assert writer.drain()
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        writer.append_chunk(ticket, samples(0))
        assert writer.drain()
        other.execute("ROLLBACK")
        other.close()
        writer.finish_capture(ticket, {"leakage_percent": 7.5})
        assert writer.drain()
        failed, kept = writer.take_news()
        assert failed == WriteFailed(ticket, f"{path} is locked by another program; close that program and try again")
        assert isinstance(kept, CaptureKept)
        assert kept.state == "void"
        assert writer.close()


def test_closing_writes_what_waits_and_tells_what_comes_too_late(store: Store, make: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    disk = SlowDisk(store, monkeypatch)
    writer = make()
    ticket = writer.begin_capture(None, 1)
    for second in range(10):
        writer.append_chunk(ticket, samples(second * 50))
    assert not writer.close(0.0)
    writer.append_chunk(ticket, samples(500))
    disk.go.set()
    assert writer.close()
    (late,) = writer.take_news()
    assert isinstance(late, WriteFailed)
    assert "being closed" in late.reason
    capture_id = writer.capture_id(ticket)
    assert capture_id is not None
    assert len(store.load_columns(capture_id)) == 500
