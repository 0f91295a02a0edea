"""borewright engine, as a person types it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from borewright.cli import exits

VECTORS = Path(__file__).resolve().parents[2] / "firmware_protocol" / "vectors" / "engine_accept"
FOUR = VECTORS / "inline_four.toml"
EIGHT = VECTORS / "tdc_angles_uneven_eight.toml"
NAME = tomllib.loads(FOUR.read_text("utf-8"))["name"]

Command = Callable[..., Any]


@pytest.fixture
def record(tmp_path: Path, command: Command) -> Path:
    path = tmp_path / "shop.db"
    for file in (FOUR, EIGHT):
        assert command("engine", "add", file, "--db", path).code == exits.OK
    return path


def engines(command: Command, record: Path, *more: str) -> dict[str, Any]:
    ended = command("engine", "list", "--db", record, "--json", *more)
    assert (ended.code, ended.err) == (exits.OK, "")
    return {engine["name"]: engine for engine in json.loads(ended.out)["engines"]}


def test_the_library_is_listed_and_searched(record: Path, command: Command) -> None:
    listed = engines(command, record)
    assert list(listed) == sorted(listed)
    assert NAME in listed
    assert listed["invented uneven eight on a boat"]["firing_angles_deg"]["7"] == 525.0  # by hand: 555 - 30
    assert list(engines(command, record, "--search", "BOAT")) == ["invented uneven eight on a boat"]
    assert engines(command, record, "--search", "%") == {}
    lines = command("engine", "list", "--db", record).out.splitlines()
    assert lines[0].split()[:3] == ["engine", "cycle", "cylinders"]
    assert any(line.startswith(f"{NAME}  ") and "86 × 86" in line for line in lines)


def test_what_show_prints_is_an_engine_file(record: Path, command: Command, tmp_path: Path) -> None:
    printed = command("engine", "show", NAME, "--db", record)
    assert tomllib.loads(printed.out) == tomllib.loads(FOUR.read_text("utf-8"))
    file = tmp_path / "shown.toml"
    file.write_text(printed.out.replace("86.0", "87.0"), encoding="utf-8")
    assert "a new version" in command("engine", "edit", NAME, "--file", file, "--db", record).out
    assert "nothing was changed" in command("engine", "edit", NAME, "--file", file, "--db", record).out
    assert engines(command, record)[NAME]["versions"] == 2
    assert "bore_mm = 87.0" in command("engine", "show", NAME, "--db", record).out
    assert "bore_mm = 86.0" in command("engine", "show", NAME, "--version", "1", "--db", record).out
    assert "it has 2" in command("engine", "show", NAME, "--version", "3", "--db", record).refusal(exits.USE)


def test_removing_can_be_undone(record: Path, command: Command) -> None:
    assert command("engine", "remove", NAME, "--db", record).code == exits.OK
    assert NAME not in engines(command, record)
    assert list(engines(command, record, "--removed")) == [NAME]
    assert "no engine" in command("engine", "show", NAME, "--db", record).refusal(exits.USE)
    assert command("engine", "restore", NAME, "--db", record).code == exits.OK
    assert NAME in engines(command, record)
    assert "nothing to bring back" in command("engine", "restore", NAME, "--db", record).refusal(exits.RECORD)


def test_an_engine_of_the_library_begins_a_job(record: Path, command: Command) -> None:
    begun = command("job", "new", "climb", "--engine", NAME, "--db", record)
    assert (begun.code, begun.err) == (exits.OK, "")
    assert "no engine of that name" in command("job", "new", "b", "--engine", "none", "--db", record).refusal(exits.USE)


def test_commands_at_the_rig_take_an_engine_of_the_library(record: Path, command: Command, tmp_path: Path) -> None:
    at = ("--port", tmp_path / "no-such-port", "--cylinder", "1", "--job", "climb", "--db")
    assert "no-such-port" in command("measure", "--engine", NAME, *at, record).refusal(exits.RIG)
    assert "no engine of that name" in command("measure", "--engine", "none", *at, record).refusal(exits.USE)
    nowhere = tmp_path / "none.db"
    assert "no engine of that name" in command("measure", "--engine", NAME, *at, nowhere).refusal(exits.USE)
    assert not nowhere.exists()


def test_refusals_are_one_sentence_and_make_no_file(record: Path, command: Command, tmp_path: Path) -> None:
    assert "say what is to be changed" in command("engine", "edit", NAME, "--db", record).refusal(exits.USE)
    assert "bore_mm: must be more than 5" in command("engine", "edit", NAME, "--set", "bore_mm=1", "--db", record).refusal(
        exits.USE
    )
    assert "'\\x1b[2J'" in command("engine", "show", "\x1b[2J", "--db", record).refusal(exits.USE)
    nowhere = tmp_path / "none.db"
    bad = VECTORS.parent / "engine_reject" / "bore_zero.toml"
    assert "bore_mm" in command("engine", "add", bad, "--db", nowhere).refusal(exits.USE)
    assert "no record file" in command("engine", "list", "--db", nowhere).refusal(exits.RECORD)
    assert not nowhere.exists()
