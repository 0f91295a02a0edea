"""Power cuts and kills at seeded moments: the record opens, what was acknowledged is there, and the capture is marked.

A sample of what `tests/bench/power_loss.py` does on demand.
"""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path

import pytest
from borewright.errors import StoreError
from borewright.store import Store, opening

from .cut_runs import Opened, cuts_at_birth, power_cuts
from .disk_shim import Tap, tapped

MOST_LOST_S = 1.0
KILLING = "import sys; sys.path.insert(0, sys.argv[1]); from store.kill_runs import main; main(sys.argv[2:])"


def sound(runs: list[Opened]) -> None:
    assert [run for run in runs if run.trouble] == []
    assert max(run.lost_s for run in runs) <= MOST_LOST_S


def test_a_power_cut_loses_at_most_the_last_second_of_one_capture(tmp_path: Path) -> None:
    runs = list(power_cuts(tmp_path, 12, seed=1, of_a_record=6))
    sound(runs)
    assert len(runs) == 12
    assert len({run.left for run in runs}) >= 4
    assert any(run.lost_s > 0.0 for run in runs)


def test_a_record_that_is_not_synced_would_be_caught(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = opening._on_connect

    def careless(foreign_keys: bool, connection: sqlite3.Connection, record: object) -> None:
        usual(foreign_keys, connection, record)
        connection.execute("PRAGMA synchronous = OFF")

    monkeypatch.setattr(opening, "_on_connect", careless)
    assert any(run.trouble for run in power_cuts(tmp_path, 6, seed=1, of_a_record=3))


def test_a_power_cut_while_the_file_is_made_leaves_one_that_opens(tmp_path: Path) -> None:
    runs = list(cuts_at_birth(tmp_path, 60, seed=2))
    sound(runs)
    assert len(runs) == 60


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no fork")
def test_a_kill_loses_at_most_the_last_second_of_one_capture(tmp_path: Path) -> None:
    tests = Path(__file__).resolve().parents[1]
    words = [sys.executable, "-c", KILLING, tests, tmp_path, "12", "3"]
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, check=True)
    runs = [Opened(**run) for run in json.loads(done.stdout)]
    sound(runs)
    assert {run.left for run in runs} == {"killed", "killed in a write"}
    assert any(run.at_s > 3.0 for run in runs)


def test_the_file_of_another_program_that_was_cut_off_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "theirs.db"
    path.write_bytes(b"SQLite format 3\x00" + bytes(4080))
    journal = path.with_name("theirs.db-journal")
    journal.write_bytes(bytes.fromhex("d9d505f920a163d7") + bytes(4) + bytes(4) + (7).to_bytes(4, "big") + bytes(492))
    with pytest.raises(StoreError, match="is not a Borewright record file, so it was left alone"):
        Store.open(path)
    assert journal.exists()


def test_the_shim_lets_everything_through_and_hears_of_it(tmp_path: Path) -> None:
    class Hears(Tap):
        synced = 0

        def sync(self, path: str, go: object) -> int:
            self.synced += 1
            return super().sync(path, go)  # type: ignore[arg-type]

    hears = Hears()
    with tapped(hears), Store.open(tmp_path / "shop.db") as store:
        store.create_job("climb", "before", store.save_engine("four", {}))
    heard = hears.synced
    with Store.open(tmp_path / "shop.db") as store:
        assert [job.name for job in store.list_jobs()] == ["climb"]
        store.save_engine("six", {})
    assert heard > 5
    assert hears.synced == heard


def test_runs_that_lose_more_are_not_sound() -> None:
    with pytest.raises(AssertionError):
        sound([Opened("lost", 5.0, 1.5, "")])
    with pytest.raises(AssertionError):
        sound([Opened("lost", 5.0, 0.5, "StoreError: no")])
    assert asdict(Opened("lost", 5.0, 0.5, ""))["lost_s"] == 0.5
