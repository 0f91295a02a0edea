"""A record file that is taken away while a test is recorded: what is not there by its name is never called kept."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from borewright.store import Store
from borewright.store.writer import CaptureKept, CaptureLost, StoreWriter

from .records import second, shop_record


@pytest.fixture
def record(tmp_path: Path) -> Path:
    return shop_record(tmp_path / "shop.db")


def ended(path: Path, happens: Callable[[Path], None]) -> CaptureKept | CaptureLost:
    """How a test ends of whose record file this becomes while it is recorded."""
    with Store.open(path) as store:
        writer = StoreWriter(store, threaded=False)
        ticket = writer.begin_capture(1, 3, device_serial="S-1")
        writer.append_chunk(ticket, second(0))
        happens(path)
        writer.append_chunk(ticket, second(1))
        writer.finish_capture(ticket, {"leakage_percent": 7.5})
        end = writer.take_news()[-1]
        assert isinstance(end, CaptureKept | CaptureLost)
        return end


def removed(path: Path) -> None:
    for ending in ("", "-wal", "-shm"):
        path.with_name(path.name + ending).unlink()


def moved_over(path: Path) -> None:
    os.replace(shop_record(path.with_name("other.db")), path)


def log_removed(path: Path) -> None:
    for ending in ("-wal", "-shm"):
        path.with_name(path.name + ending).unlink()


def cut_short(path: Path) -> None:
    os.truncate(path, 4096)


@pytest.mark.parametrize(
    ("happens", "said"),
    [
        (removed, "was taken away"),
        (moved_over, "had another file put in its place"),
        (log_removed, "was cut short, or what belongs to it was taken away,|was damaged"),
        (cut_short, "was cut short, or what belongs to it was taken away,|was damaged"),
    ],
)
def test_what_is_not_in_the_file_of_that_name_is_not_called_kept(record: Path, happens: Callable[[Path], None], said: str) -> None:
    end = ended(record, happens)
    assert isinstance(end, CaptureLost)
    assert any(words in end.reason for words in said.split("|")), end.reason
    assert f"{record} " in end.reason
    assert "so the test was NOT KEPT there; " in end.reason
    assert end.reason.endswith(", and test again")
    assert end.cut_off is None


def test_a_test_that_is_there_is_kept_while_another_program_reads(record: Path) -> None:
    other = sqlite3.connect(record, isolation_level=None)

    def looks(_path: Path) -> None:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM captures").fetchone()

    try:
        end = ended(record, looks)
    finally:
        other.close()
    assert isinstance(end, CaptureKept)
    assert end.state == "complete"
