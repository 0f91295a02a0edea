"""The record file kept safe by command: what is said, and how it ends."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from borewright.cli import exits
from borewright.cli.how_far import how_far
from borewright.store import Store

Run = Callable[..., Any]


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "shop.db"
    with Store.open(path) as store:
        store.create_job("hill-climb 7", "before", store.save_engine("four", {}))
    return path


def names_of(path: Path) -> list[str]:
    with Store.open(path) as store:
        return [job.name for job in store.list_jobs()]


def test_backup_spoil_and_restore(record: Path, command: Run) -> None:
    copy = record.with_name("copy.db")
    done = command("record", "backup", copy, "--db", record)
    assert (done.code, done.err) == (exits.OK, "")
    assert done.out == f"{record} copied to {copy}, and the copy is sound: 1 job, 0 tests, 0 samples in 0 parts, 0 photos\n"
    with Store.open(record) as store:
        store.change_job(1, name="spoilt")
    done = command("record", "restore", copy, "--db", record, "--json")
    said = json.loads(done.out)
    assert names_of(record) == ["hill-climb 7"]
    assert names_of(Path(said["kept"])) == ["spoilt"]
    assert (said["database"], said["backup"], said["sound"], said["jobs"]) == (str(record), str(copy), True, 1)
    words = command("record", "restore", copy, "--db", record).out
    assert f"{copy} is now {record}: 1 job" in words
    assert "The record file that stood there is kept as " in words


def test_a_name_that_is_taken_is_refused_and_forced(record: Path, command: Run) -> None:
    copy = record.with_name("copy.db")
    command("record", "backup", copy, "--db", record)
    assert "--force to write over it" in command("record", "backup", copy, "--db", record).refusal(exits.USE)
    assert command("record", "backup", copy, "--db", record, "--force", "--json").code == exits.OK


def test_check_of_a_sound_and_of_a_damaged_file(record: Path, command: Run) -> None:
    done = command("record", "check", "--db", record)
    assert (done.code, done.out.startswith(f"{record} is sound: 1 job, 0 tests")) == (exits.OK, True)
    with sqlite3.connect(record) as raw:
        raw.execute("UPDATE jobs SET details = '{'")
    raw.close()
    done = command("record", "check", "--db", record)
    assert done.code == exits.UNUSABLE
    assert done.out.splitlines()[:2] == [f"{record} is damaged:", "  details in row 1 of jobs cannot be read"]
    assert "borewright record restore" in done.out
    said = json.loads(command("record", "check", "--db", record, "--json").out)
    assert (said["sound"], said["troubles"]) == (False, ["details in row 1 of jobs cannot be read"])
    assert "no backup was made" in command("record", "backup", record.with_name("copy.db"), "--db", record).refusal(exits.RECORD)


def test_check_of_no_record(tmp_path: Path, command: Run) -> None:
    assert "there is no record file" in command("record", "check", "--db", tmp_path / "no.db").refusal(exits.RECORD)
    assert os.listdir(tmp_path) == []


def test_how_far_is_told_after_a_second_and_then_now_and_then(capsys: pytest.CaptureFixture[str]) -> None:
    now_s = [0.0]
    with how_far(lambda: now_s[0]) as told:
        told("samples", 0, 400)
        now_s[0] = 1.5
        told("samples", 100, 400)
        told("samples", 101, 400)
        now_s[0] = 7.0
        told("pages", 0, 0)
    assert capsys.readouterr().err.splitlines() == ["samples: 100 of 400, 25% …", "pages …"]


def test_on_a_terminal_one_line_is_written_over_and_taken_away(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    now_s = [0.0]
    with how_far(lambda: now_s[0]) as told:
        now_s[0] = 2.0
        told("samples", 1, 4)
        now_s[0] = 3.0
        told("pages", 0, 0)
    first, second, blank, end = capsys.readouterr().err.split("\r")
    assert (first, second.rstrip(), blank.strip(), end) == ("samples: 1 of 4, 25% …", "pages …", "", "")
    assert len(first) == len(second)


@pytest.mark.parametrize("name", ["", ".", "/"])
def test_a_backup_without_a_name_is_refused(record: Path, command: Run, name: str) -> None:
    assert "is a folder; name a file in it" in command("record", "backup", name, "--db", record).refusal(exits.USE)


def test_a_name_that_no_disk_takes_is_refused(record: Path, command: Run) -> None:
    long = record.with_name(300 * "x")
    for words in (("record", "backup", long), ("job", "export", "hill-climb 7", "--out", long.with_suffix(".zip"))):
        assert "longer name than the disk takes; give a shorter one" in command(*words, "--db", record).refusal(exits.RECORD)
    assert "longer name" in command("record", "restore", record, "--db", long).refusal(exits.RECORD)


def test_a_restore_through_a_link_leaves_it_a_link(record: Path, command: Run) -> None:
    link, copy = record.with_name("link.db"), record.with_name("copy.db")
    command("record", "backup", copy, "--db", record)
    link.symlink_to(record)
    with Store.open(record) as store:
        store.change_job(1, name="spoilt")
    done = command("record", "restore", copy, "--db", link, "--json")
    kept = Path(json.loads(done.out)["kept"])
    assert (link.is_symlink(), kept.is_symlink(), record.is_symlink()) == (True, False, False)
    assert (names_of(link), names_of(kept)) == (["hill-climb 7"], ["spoilt"])


def test_a_job_of_a_clock_that_was_far_off_is_listed(tmp_path: Path, command: Run) -> None:
    record = tmp_path / "far.db"
    with Store.open(record, clock=lambda: 3.018e11) as store:
        store.create_job("hill-climb 7", "before", store.save_engine("four", {}))
    assert "no date that is" in command("job", "list", "--db", record).out
