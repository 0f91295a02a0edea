"""Jobs begun, changed, put away, brought back, sent out and taken in by command."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from borewright.cli import exits
from borewright.store import Store

ENGINE = """schema_version = 1
name = "Larch single (invented)"
cycle = "four-stroke"
firing_order = [1]
bore_mm = 81.5
stroke_mm = 76.6
rod_mm = 134.0
compression_ratio = 11.2
"""
Run = Callable[..., Any]


@pytest.fixture
def job(tmp_path: Path, command: Run) -> Callable[..., Any]:
    """Runs `job SUBCOMMAND ...` on one record; job new was run."""
    (tmp_path / "engine.toml").write_text(ENGINE, encoding="utf-8")

    def run(*words: object, code: int = exits.OK) -> Any:
        ended = command("job", *words, "--db", tmp_path / "shop.db")
        assert ended.code == code, ended
        return ended

    told = (
        "--customer",
        "no. 7",
        "--technician",
        "ada",
        "--hours",
        "310 h",
        "--oil-temp",
        "80 degC",
        "--compression",
        "1=12.1 bar",
    )
    run("new", "hill-climb 7", "--engine", tmp_path / "engine.toml", "--stage", "before", "--hot", *told)
    return run


def listed(job: Run, *options: str) -> list[str]:
    return [line.split()[1] for line in job("list", *options).out.splitlines()[1:]]


def test_what_a_job_was_told_is_shown_and_can_be_changed(job: Run) -> None:
    shown = job("show", "hill-climb 7").out
    for words in ("customer no. 7", "by ada", "310 h", "oil 80 °C", "a hot test", "1: 12.10 bar"):
        assert words in shown
    job("change", "hill-climb 7", "--rename", "hill-climb 8", "--hours", "320 h", "--not-hot", "--compression", "1=11 bar")
    shown = job("show", "hill-climb 8").out
    assert "hot test" not in shown
    for words in ("320 h", "1: 11.00 bar", "customer no. 7"):
        assert words in shown
    assert "hours '310 h'" not in shown
    assert "hours': '310 h'" in job("show", "hill-climb 8", "--changes").out
    assert "nothing was changed" in job("change", "hill-climb 8", "--hours", "320 h", code=exits.USE).refusal(exits.USE)


def test_a_job_is_found_by_what_it_was_told(job: Run) -> None:
    for words in ("CLIMB", "no. 7", "Ada", "larch"):
        assert listed(job, "--search", words) == ["hill-climb"], words
    assert "no job in" in job("list", "--search", "100%").out


def test_what_is_put_away_can_be_brought_back(job: Run) -> None:
    job("archive", "hill-climb 7")
    assert listed(job) == []
    assert "archived" in job("list", "--archived").out
    job("unarchive", "hill-climb 7")
    job("delete", "hill-climb 7", "--reason", "wrong engine")
    assert listed(job) == []
    assert "deleted: wrong engine" in job("list", "--deleted").out
    assert "there is no job" in job("show", "hill-climb 7", code=exits.USE).refusal(exits.USE)
    job("restore", "hill-climb 7")
    assert listed(job) == ["hill-climb"]
    assert "no deleted job" in job("restore", "hill-climb 7", code=exits.USE).refusal(exits.USE)


def test_a_deleted_job_does_not_come_back_over_a_living_one(job: Run, tmp_path: Path) -> None:
    job("delete", "hill-climb 7")
    job("new", "hill-climb 7", "--engine", tmp_path / "engine.toml", "--stage", "before")
    assert "already" in job("restore", "hill-climb 7", code=exits.RECORD).refusal(exits.RECORD)


@pytest.mark.parametrize(
    ("option", "text"),
    [
        ("--compression", "one=12 bar"),
        ("--compression", "1=12"),
        ("--oil-temp", "80"),
        ("--rename", " "),
        ("--rename", "a\x1b[2J"),
        ("--rename", "x" * 81),
        ("--customer", "a\nb"),
    ],
)
def test_what_cannot_be_is_refused_by_its_option(job: Run, option: str, text: str) -> None:
    assert option in job("change", "hill-climb 7", option, text, code=exits.USE).refusal(exits.USE)


def test_names_with_slashes_and_equals_signs_are_names(job: Run, tmp_path: Path) -> None:
    job("change", "hill-climb 7", "--rename", "=1+1/../../x")
    out = tmp_path / "table.csv"
    with Store.open(tmp_path / "shop.db") as store:
        (one,) = store.list_jobs()
        store.finish_capture(store.begin_capture(one.id, 1), {"leakage_percent": -1.5}, marks=["@sum"])
    job("export", "=1+1/../../x", "--out", out)
    with out.open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert (row["job"], row["marks"], row["leakage_percent"]) == ("'=1+1/../../x", "'@sum", "-1.5")
    assert sorted(path.name for path in tmp_path.iterdir() if path.suffix == ".csv") == ["table.csv"]


def test_each_ending_is_another_export_and_nothing_is_overwritten_unasked(job: Run, tmp_path: Path) -> None:
    for ending in ("zip", "json", "csv", "npz"):
        job("export", "hill-climb 7", "--out", tmp_path / f"job.{ending}")
    document = json.loads((tmp_path / "job.json").read_text(encoding="utf-8"))
    assert (document["format"], document["jobs"][0]["name"]) == ("borewright job", "hill-climb 7")
    with np.load(tmp_path / "job.npz", allow_pickle=False) as curves:
        assert curves["tests"].shape == (0,)
    (tmp_path / "job.zip").write_text("mine", encoding="utf-8")
    assert "left alone" in job("export", "hill-climb 7", "--out", tmp_path / "job.zip", code=exits.USE).refusal(exits.USE)
    assert (tmp_path / "job.zip").read_text(encoding="utf-8") == "mine"
    job("export", "hill-climb 7", "--out", tmp_path / "job.zip", "--force")
    assert ".zip" in job("export", "hill-climb 7", "--out", tmp_path / "job.xls", code=exits.USE).refusal(exits.USE)
    nowhere = tmp_path / "nowhere" / "job.json"
    assert "cannot be opened for writing" in job("export", "hill-climb 7", "--out", nowhere, code=exits.RECORD).refusal(
        exits.RECORD
    )


def test_an_export_is_taken_in_by_another_record(job: Run, tmp_path: Path, command: Run) -> None:
    job("export", "hill-climb 7", "--out", tmp_path / "job.zip")
    other = tmp_path / "other.db"
    taken = command("job", "import", tmp_path / "job.zip", "--as", "from the other bench", "--db", other)
    assert taken.code == exits.OK
    assert taken.err.startswith("looking through ")
    assert "from the other bench, before" in taken.out
    again = command("job", "import", tmp_path / "job.zip", "--db", other)
    assert again.code == exits.USE
    assert "is in" in again.err
    none = command("job", "import", tmp_path / "engine.toml", "--db", tmp_path / "third.db")
    assert none.code == exits.USE
    assert "no job file" in none.err
    assert not (tmp_path / "third.db").exists()
