"""What job shows of the record, and files that cannot be the record."""

from __future__ import annotations

import csv
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from borewright.cli import exits
from borewright.cli.record_file import DEFAULT_RECORD
from borewright.store import Store

RESULT = {
    "leakage_percent": 10.04,
    "leak_area_mm2": 0.3712,
    "p_regulated_gauge_pa": 551_000.0,  # 79.9 psi
    "p_cylinder_gauge_pa": 495_700.0,  # 71.9 psi
    "t75_s": 0.2,
    "t50_s": 0.52,
    "t25_s": None,
    "steady": True,
    "phases": {"fill": [10, 20]},
}


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "shop.db"
    with Store.open(path, clock=lambda: 1_700_000_000.0) as store:
        engine = store.save_engine("Larch four", {"bore_mm": 86.0})
        before = store.create_job("hill-climb 7", "before", engine, customer_reference="=1+1", technician="ada")
        after = store.create_job("hill-climb 7", "after", engine)
        store.create_job("empty", "routine", engine)
        store.finish_capture(store.begin_capture(before, 1), RESULT, marks=["not steady"])
        store.finish_capture(store.begin_capture(before, 3), void_reason="the crank left its window", declared={"stroke": "by eye"})
        store.begin_capture(before, 4)
        store.finish_capture(store.begin_capture(after, 1), RESULT | {"leakage_percent": 4.0, "trapped_volume_cm3": 61.5})
    return path


def cells(out: str) -> list[list[str]]:
    return [[cell for cell in line.split("  ") if cell] for line in out.splitlines()]


def test_jobs_are_listed_oldest_first(record: Path, command: Callable[..., Any]) -> None:
    ended = command("job", "list", "--db", record, "--json")
    assert (ended.code, ended.err) == (exits.OK, "")
    said = json.loads(ended.out)
    assert said["database"] == str(record)
    assert [(job["name"], job["stage"], job["engine_name"], job["captures"]) for job in said["jobs"]] == [
        ("hill-climb 7", "before", "Larch four", 3),
        ("hill-climb 7", "after", "Larch four", 1),
        ("empty", "routine", "Larch four", 0),
    ]
    plain = command("job", "list", "--db", record)
    assert plain.code == exits.OK
    assert [[cell.strip() for cell in line[1:5]] for line in cells(plain.out)[1:4]] == [
        ["hill-climb 7", "before", "Larch four", "3"],
        ["hill-climb 7", "after", "Larch four", "1"],
        ["empty", "routine", "Larch four", "0"],
    ]


def test_a_job_shows_its_tests_with_the_pair_marks_and_reasons(record: Path, command: Callable[..., Any]) -> None:
    ended = command("job", "show", "hill-climb 7", "--db", record)
    assert (ended.code, ended.err) == (exits.OK, "")
    table, _, under = ended.out.partition("\n\n")
    title, about, _, *rows = table.splitlines()
    assert (title, about) == ("job hill-climb 7, engine Larch four", "  before: customer =1+1, by ada")
    judged, cut_off = under.splitlines()
    assert judged == "judged by common practice: common practice of engine builders; no document behind it"
    assert cut_off.startswith("! the test of cylinder 4 in job hill-climb 7, before, was cut off by a crash; nothing of it had")
    assert len(rows) == 4
    for words in ("before", "10.0", "80/72", "0.371", "0.2/0.5/-", "complete", "not steady"):
        assert words in rows[0]
    for words in (" 3 ", "void", "the crank left its window; stroke was declared", "-/-/-"):
        assert words in rows[1]
    for words in ("crashed", "the program ended in the middle of this test"):
        assert words in rows[2]
    assert rows[3].startswith("after")


def test_one_stage_as_json(record: Path, command: Callable[..., Any]) -> None:
    said = json.loads(command("job", "show", "hill-climb 7", "--stage", "before", "--db", record, "--json").out)
    assert said["files"] == []
    (job,) = said["jobs"]
    assert (job["name"], job["stage"], job["technician"]) == ("hill-climb 7", "before", "ada")
    assert [(c["cylinder"], c["state"], c["pair_psi"]) for c in job["captures"]] == [
        (1, "complete", "80/72"),
        (3, "void", None),
        (4, "crashed", None),
    ]
    assert job["captures"][0]["result"] == RESULT
    assert job["captures"][0]["marks"] == ["not steady"]


def test_the_stages_share_one_table(record: Path, command: Callable[..., Any], tmp_path: Path) -> None:
    table = tmp_path / "out.csv"
    ended = command("job", "show", "hill-climb 7", "--db", record, "--csv", table, "--json")
    assert json.loads(ended.out)["files"] == [str(table)]
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["stage"], row["cylinder"], row["leakage_percent"], row["trapped_volume_cm3"]) for row in rows] == [
        ("before", "1", "10.04", ""),
        ("before", "3", "", ""),
        ("before", "4", "", ""),
        ("after", "1", "4.0", "61.5"),
    ]
    nowhere = tmp_path / "no" / "out.csv"
    assert str(nowhere) in command("job", "show", "hill-climb 7", "--db", record, "--csv", nowhere).refusal(exits.RECORD)


def test_a_job_without_tests_and_a_record_without_jobs(record: Path, command: Callable[..., Any], tmp_path: Path) -> None:
    assert "no test has been recorded in it yet" in command("job", "show", "empty", "--db", record).out
    fresh = tmp_path / "fresh.db"
    Store.open(fresh).close()
    ended = command("job", "list", "--db", fresh)
    assert (ended.code, ended.out) == (exits.OK, f"there is no job in {fresh} yet\n")


def test_a_job_that_is_not_there_is_a_wrong_name(record: Path, command: Callable[..., Any]) -> None:
    assert "'nobody'" in command("job", "show", "nobody", "--db", record).refusal(exits.USE)
    said = command("job", "show", "hill-climb 7", "--stage", "routine", "--db", record).refusal(exits.USE)
    assert "at stage 'routine'" in said
    assert command("job", "show", "hill-climb 7", "--stage", "later", "--db", record).code == exits.USE


@pytest.mark.parametrize("words", [["list"], ["show", "x"]], ids=" ".join)
def test_looking_makes_no_file(
    words: list[str], command: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert f"there is no record file {DEFAULT_RECORD}" in command("job", *words).refusal(exits.RECORD)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", [["list"], ["show", "x"]], ids=" ".join)
def test_a_file_that_is_not_the_record_is_refused_and_left_as_it_was(
    words: list[str], record: Path, command: Callable[..., Any], tmp_path: Path
) -> None:
    text = tmp_path / "notes.txt"
    text.write_text("not a database\n" * 20, encoding="utf-8")
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE things (id INTEGER)")
    connection.close()
    newer = tmp_path / "newer.db"
    newer.write_bytes(record.read_bytes())
    connection = sqlite3.connect(newer)
    connection.execute("PRAGMA journal_mode = DELETE")
    connection.execute("PRAGMA user_version = 999")
    connection.close()
    for path, said in (
        (text, "is not a Borewright record file"),
        (other, "is not a Borewright record file"),
        (newer, "was written by a newer Borewright"),
    ):
        before = path.read_bytes()
        refusal = command("job", *words, "--db", path).refusal(exits.RECORD)
        assert said in refusal
        assert str(path) in refusal
        assert path.read_bytes() == before
    assert "is a folder" in command("job", *words, "--db", tmp_path).refusal(exits.RECORD)
