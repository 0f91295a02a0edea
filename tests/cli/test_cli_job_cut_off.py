"""What the commands say of a test that was cut off, and the two ways out of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from borewright.cli import exits
from borewright.core.samples import SampleColumns
from borewright.store import Store

Command = Callable[..., Any]
WORDS = "the test of cylinder 4 in job hill-climb 7, before, was cut off by a crash; 3.0 s of it are recorded (test 1)"
WAYS_OUT = "borewright job cut-off --finish 1 --db {} makes of it what it holds, --discard 1 puts it away"


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "shop.db"
    index = np.arange(3001, dtype=np.int64)
    columns = SampleColumns(index * 1000, index, index * 0, np.zeros((2, 3001), np.uint16), np.zeros(3001, np.uint16), 1_000_000)
    with Store.open(path) as store:
        job = store.create_job("hill-climb 7", "before", store.save_engine("Larch four", {"bore_mm": 86.0}))
        store.append_chunk(store.begin_capture(job, 4), columns)
    return path


def test_lists_and_jobs_tell_of_it_with_the_ways_out(record: Path, command: Command) -> None:
    for words in (("job", "list"), ("job", "show", "hill-climb 7")):
        ended = command(*words, "--db", record)
        assert (ended.code, ended.err) == (exits.OK, "")
        assert ended.out.splitlines()[-1] == f"! {WORDS}: {WAYS_OUT.format(record)}"
    listed = json.loads(command("job", "list", "--db", record, "--json").out)
    assert listed["cut_off"] == [
        {"test": 1, "job": "hill-climb 7", "stage": "before", "cylinder": 4, "purpose": "test", "recorded_s": 3.0}
    ]
    alone = command("job", "cut-off", "--db", record)
    assert (alone.code, alone.out) == (exits.OK, f"{WORDS}: {WAYS_OUT.format(record)}\n")
    assert json.loads(command("job", "cut-off", "--db", record, "--json").out)["cut_off"] == listed["cut_off"]


def test_the_rig_s_commands_tell_of_it_and_go_on_without_an_answer(record: Path, command: Command, tmp_path: Path) -> None:
    no_port = tmp_path / "no port"
    ended = command("rig", "zero", "--db", record, "--port", no_port)
    assert ended.code == exits.RIG
    assert f"! {WORDS}: {WAYS_OUT.format(record)}\n" in ended.out + ended.err


def test_the_rig_s_commands_tell_of_a_clock_that_was_set_back(command: Command, tmp_path: Path) -> None:
    record = tmp_path / "later.db"
    with Store.open(record, clock=lambda: 4e9) as store:
        store.finish_capture(store.begin_capture(None, 0, purpose="sealed"), void_reason="stopped")
    ended = command("rig", "zero", "--db", record, "--port", tmp_path / "no port")
    assert "! this computer's clock says 20" in ended.out
    assert "! this computer's clock says 20" in command("rig", "show", "--db", record).out


def test_finished_without_a_reading_it_is_void(record: Path, command: Command) -> None:
    ended = command("job", "cut-off", "--finish", 1, "--db", record)
    assert ended.code == exits.UNUSABLE
    assert ended.out.startswith("the test of cylinder 4 in job hill-climb 7, before, (test 1) is void: cut off by a crash after 3")
    assert command("job", "cut-off", "--db", record).out == f"no test in {record} is cut off\n"
    assert command("job", "cut-off", "--finish", 1, "--db", record).refusal(exits.USE).startswith("test 1 is void; only one that")


def test_discarded_it_is_put_away(record: Path, command: Command) -> None:
    ended = command("job", "cut-off", "--discard", 1, "--reason", "made again", "--db", record, "--json")
    assert ended.code == exits.OK
    said = json.loads(ended.out)
    assert (said["discarded"], said["test"]["id"]) == (True, 1)
    with Store.open(record) as store:
        assert store.list_captures() == ()
        (gone,) = store.list_captures(deleted=True)
        assert gone.deleted_at_unix_s is not None
        assert len(store.load_columns(1)) == 3001
    assert "!" not in command("job", "list", "--db", record).out


def test_a_test_that_is_not_there_is_said(record: Path, command: Command) -> None:
    assert command("job", "cut-off", "--discard", 9, "--db", record).refusal(exits.RECORD).startswith("there is no test 9 in")
