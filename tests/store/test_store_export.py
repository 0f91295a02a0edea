"""Tables for other programs."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from borewright.core.samples import SampleColumns
from borewright.errors import StoreError
from borewright.store import Store, export
from hypothesis import given
from hypothesis import strategies as st


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "shop.borewright") as opened:
        yield opened


@pytest.fixture
def job(store: Store) -> int:
    return store.create_job("=cmd|' /C calc'!A1", "before", store.save_engine("@four", {}), "+49", "\tAda")


def read(table: export.Table) -> list[list[str]]:
    file = io.StringIO(newline="")
    export.write_csv(table, file)
    return list(csv.reader(io.StringIO(file.getvalue(), newline="")))


def test_a_job_table_has_one_line_for_each_capture(store: Store, job: int) -> None:
    good = store.begin_capture(job, 1)
    store.finish_capture(good, {"leakage_percent": -0.25, "pair": [80, 72], "note": "-2"}, marks=["not steady", "hot"])
    void = store.begin_capture(job, 2)
    store.finish_capture(void, void_reason="-the crank moved, off TDC\nagain")
    headings, first, second = read(export.job_table(store.get_job(job), store.list_captures(job)))
    assert headings[-2:] == ["leakage_percent", "note"]
    assert dict(zip(headings, first, strict=True)) | {"started_at_unix_s": ""} == {
        "job": "'=cmd|' /C calc'!A1",
        "stage": "before",
        "engine": "'@four",
        "test": "1",
        "cylinder": "1",
        "purpose": "test",
        "state": "complete",
        "void_reason": "",
        "marks": "not steady; hot",
        "started_at_unix_s": "",
        "leakage_percent": "-0.25",
        "note": "'-2",
    }
    assert second[headings.index("void_reason")] == "'-the crank moved, off TDC\nagain"
    assert second[-2:] == ["", ""]


@given(st.text())
def test_no_text_reaches_a_spreadsheet_as_a_formula(text: str) -> None:
    cell = export.guarded(text)
    assert isinstance(cell, str)
    assert not cell.lstrip().startswith(tuple("=+-@"))
    assert cell in {text, "'" + text}


def test_a_capture_table_is_the_raw_samples(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 1)
    index = np.arange(3, dtype=np.int64)
    raw = np.array([[410, 411, 65535], [0, 1, 2]], np.uint16)
    store.append_chunk(capture, SampleColumns(2**40 + index * 500, index + 7, index - 2, raw, np.full(3, 33, np.uint16), 1_000_000))
    assert read(export.capture_table(store.load_capture(capture))) == [
        ["t_s", "tick", "index", "crank_count", "raw_0", "raw_1", "flags"],
        ["0.0", str(2**40), "7", "-2", "410", "0", "33"],
        ["0.0005", str(2**40 + 500), "8", "-1", "411", "1", "33"],
        ["0.001", str(2**40 + 1000), "9", "0", "65535", "2", "33"],
    ]


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "table.csv"
    export.save_csv((["a"], [[1]]), path)

    def full(_from: object, _to: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr("borewright.store.job_file.os.replace", full)
        with pytest.raises(StoreError, match="the disk did not take a write to"):
            export.save_csv((["a"], [[2]]), path)
    assert path.read_bytes() == b"a\r\n1\r\n"
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(StoreError, match="choose a folder that you may write to"):
        export.save_csv((["a"], []), tmp_path / "none" / "table.csv")


def test_records_become_json(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 3, declared={"t_k": 293.0})
    store.append_event(capture, "x", 5, 0.5, {"a": [1]})
    store.finish_capture(capture, {"leakage_percent": 7.0}, marks=["m"])
    text = json.dumps(
        [
            export.job_as_dict(store.get_job(job)),
            export.capture_as_dict(store.get_capture(capture)),
            [export.event_as_dict(event) for event in store.load_events(capture)],
        ]
    )
    told_job, told_capture, told_events = json.loads(text)
    assert (told_job["engine_name"], told_job["stage"]) == ("@four", "before")
    assert (told_capture["marks"], told_capture["declared"]) == (["m"], {"t_k": 293.0})
    assert told_capture["result"] == {"leakage_percent": 7.0}
    assert told_events[0]["detail"] == {"a": [1]}
