"""A disk that takes no more, at any write: it is said, the capture is void, what was written stays, and the record opens."""

from __future__ import annotations

import random
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from borewright.core.samples import SampleColumns
from borewright.errors import StoreError
from borewright.store import Store
from borewright.store.writer import CaptureKept, CaptureLost, StoreWriter, WriteFailed

from .disk_shim import Tap, tapped

FULL = sqlite3.SQLITE_FULL
BROKEN = sqlite3.SQLITE_IOERR
READ_ONLY = sqlite3.SQLITE_READONLY
SAID = {
    FULL: r"the disk did not take a write to .* what is there already is kept; free space, then do it again",
    BROKEN: r"the disk did not take a write to .* what is there already is kept; free space, then do it again",
    READ_ONLY: r".* cannot be opened for writing \(attempt to write a readonly database\); choose a folder that you may write to",
}


class Refusing(Tap):
    """Refuses so many writes and syncs, from the one on that is named, counted from `begin`."""

    def __init__(self, code: int, at: int, count: int) -> None:
        self._code, self._at, self._end = code, at, at + count
        self._seen: int | None = None
        self.refused = 0

    def begin(self) -> None:
        self._seen = 0

    def _go(self, go: Callable[[], int]) -> int:
        if self._seen is None:
            return go()
        self._seen += 1
        if self._at <= self._seen < self._end:
            self.refused += 1
            return self._code
        return go()

    def write(self, path: str, offset: int, data: bytes, go: Callable[[bytes], int]) -> int:
        del path, offset
        return self._go(lambda: go(data))

    def sync(self, path: str, go: Callable[[], int]) -> int:
        del path
        return self._go(go)


def second(number: int) -> SampleColumns:
    index = np.arange(number * 500, (number + 1) * 500, dtype=np.int64)
    return SampleColumns(index * 1000, index, index * 0, np.zeros((2, 500), np.uint16), np.zeros(500, np.uint16), 1_000_000)


@pytest.mark.parametrize("code", SAID, ids=["full", "broken", "read-only"])
@pytest.mark.parametrize("seed", range(8))
def test_a_write_that_is_refused_is_said_and_nothing_written_is_lost(tmp_path: Path, code: int, seed: int) -> None:
    chance = random.Random(seed)
    tap = Refusing(code, chance.randint(1, 60), chance.choice((1, 3, 10**6)))
    path = tmp_path / "shop.db"
    with tapped(tap), Store.open(path) as store:
        job = store.create_job("climb", "before", store.save_engine("four", {}))
        whole = store.begin_capture(job, 1)
        store.append_chunk(whole, second(0))
        store.finish_capture(whole, {"leakage_percent": 4.0})
        writer = StoreWriter(store, threaded=False)
        tap.begin()
        ticket = writer.begin_capture(job, 2)
        for number in range(12):
            writer.append_chunk(ticket, second(number))
        writer.finish_capture(ticket, {"leakage_percent": 5.0})
        news = writer.take_news()
    failed = [word for word in news if isinstance(word, WriteFailed)]
    ends = [word for word in news if isinstance(word, CaptureKept | CaptureLost)]
    assert len(ends) == 1
    assert tap.refused > 0
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    connection.close()
    with Store.open(path) as store:
        captures = {capture.cylinder: capture for capture in store.list_captures()}
        assert (captures[1].state, len(store.load_columns(captures[1].id))) == ("complete", 500)
        if not failed and isinstance(ends[0], CaptureKept):  # the refusal came after it was all on the disk
            assert captures[2].state == "complete"
            assert len(store.load_columns(captures[2].id)) == 6000
            return
        words = [word.reason for word in (*failed, *ends) if isinstance(word, WriteFailed | CaptureLost)]
        assert re.match(SAID[code], words[0]), words
        assert 2 not in captures or captures[2].state in ("void", "crashed")
        assert 2 not in captures or captures[2].void_reason


def test_of_a_full_disk_the_rest_is_kept_once_there_is_room(tmp_path: Path) -> None:
    tap = Refusing(FULL, 1, 6)
    with tapped(tap), Store.open(tmp_path / "shop.db") as store:
        writer = StoreWriter(store, threaded=False)
        ticket = writer.begin_capture(None, 1)
        writer.append_chunk(ticket, second(0))
        tap.begin()
        for number in range(1, 12):
            writer.append_chunk(ticket, second(number))
        writer.finish_capture(ticket, {"leakage_percent": 5.0})
        failed, kept = writer.take_news()
        assert isinstance(failed, WriteFailed)
        assert isinstance(kept, CaptureKept)
        assert tap.refused == 6
        assert kept.state == "void"
        assert kept.void_reason == f"part of the record is missing: {failed.reason}"
        assert 500 < len(store.load_columns(kept.capture_id)) < 6000


def test_a_full_disk_at_a_start_is_said(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    tap = Refusing(FULL, 1, 10**6)
    tap.begin()
    with tapped(tap), pytest.raises(StoreError, match=r"the disk did not take a write to .*; what is there already is kept"):
        Store.open(path)
    with Store.open(path) as store:
        assert store.list_jobs() == ()
