"""Record files that each version of the program has really written: brought up to this one and read by every reader."""

from __future__ import annotations

import json
import lzma
import re
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from borewright.cli import exits
from borewright.cli.main import main
from borewright.store import Store
from borewright.store.record_check import check_record
from borewright.store.record_copy import restore
from borewright.store.schema import SCHEMA_VERSION
from pypdf import PdfReader

FIXTURES = {
    int(path.name.split("_")[1].split(".")[0]): path for path in Path(__file__).parent.glob("fixtures/version_*.borewright.xz")
}
NAME = "Single (invented)"


def rows(path: Path, query: str) -> list[Any]:
    with sqlite3.connect(path) as raw:
        found = raw.execute(query).fetchall()
    raw.close()
    return found


@pytest.fixture(params=sorted(FIXTURES), ids=lambda version: f"version {version}")
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path = tmp_path / "old.db"
    path.write_bytes(lzma.decompress(FIXTURES[request.param].read_bytes()))
    assert rows(path, "PRAGMA user_version") == [(request.param,)]
    return path


def said(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    capsys.readouterr()
    assert main([str(word) for word in words]) == exits.OK
    return capsys.readouterr().out


def settled_percent(result: str) -> float:
    """What the whole-capture fit stated, which is what is shown."""
    budgets = json.loads(result)["budgets"]
    return float(next(budget["value"] for budget in budgets if budget["quantity"] == "leakage"))


def test_every_version_has_a_file_of_its_own() -> None:
    assert set(FIXTURES) == set(range(1, SCHEMA_VERSION + 1)), (
        "make one with tests/store/fixtures/make_record.py when the record version goes up, and keep those of the versions before"
    )


def test_it_is_sound_as_it_is_and_comes_up_with_every_sample_and_line(old: Path) -> None:
    raw = "SELECT capture_id, number, sample_count, packed FROM capture_chunks ORDER BY 1, 2"
    log = "SELECT id, capture_id, kind, tick, monotonic_s, detail FROM events ORDER BY 1"
    results = "SELECT id, purpose, result, marks, laws, versions, readiness, device_serial FROM captures ORDER BY 1"
    before = [rows(old, query) for query in (raw, log, results)]
    assert check_record(old).troubles == ()
    Store.open(old).close()
    assert [rows(old, query) for query in (raw, log, results)] == before
    check = check_record(old)
    assert (check.troubles, check.version) == ((), SCHEMA_VERSION)
    assert check.tests == {"complete": 6, "crashed": 2, "void": 1}
    assert check.samples > 70_000


def test_every_reader_reads_it(old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tests = rows(old, "SELECT result FROM captures WHERE purpose = 'test' AND state = 'complete' ORDER BY id")
    leakage = [settled_percent(result) for (result,) in tests]
    assert len(leakage) == 2

    listed = said(capsys, "job", "list", "--db", old)
    assert re.findall(rf"{re.escape(NAME)} +(\w+) +Winch single \(invented\) +(\d)", listed) == [("before", "3"), ("after", "1")]
    assert "Begun twice" not in listed

    shown = said(capsys, "job", "show", NAME, "--budget", "--db", old)
    for number in leakage:
        assert f"  {number:.3f} ± " in shown
    assert "the crank moved" in shown
    assert "the program ended in the middle of this test" in shown

    compared = said(capsys, "compare", NAME, "--db", old)
    assert "no shown difference" in compared
    assert "tdc: passed" in said(capsys, "rig", "show", "--db", old)

    said(capsys, "report", NAME, "--out", tmp_path / "report.pdf", "--db", old)
    printed = " ".join(page.extract_text() for page in PdfReader(tmp_path / "report.pdf").pages)
    assert "true TDC never" not in " ".join(printed.split())
    assert f"before: {leakage[0]:.2f} % (cylinder 1); after: {leakage[1]:.2f} %" in " ".join(printed.split())

    said(capsys, "job", "export", NAME, "--out", tmp_path / "job.zip", "--db", old)
    said(capsys, "job", "import", tmp_path / "job.zip", "--db", tmp_path / "new.db")
    again = said(capsys, "job", "show", NAME, "--db", tmp_path / "new.db")
    for number in leakage:
        assert f"  {number:.3f} ± " in again


def test_what_version_2_added_is_read_as_well(tmp_path: Path) -> None:
    path = tmp_path / "old.db"
    path.write_bytes(lzma.decompress(FIXTURES[2].read_bytes()))
    with Store.open(path) as store:
        job = store.list_jobs()[0].id
        assert [(one.place, one.detail) for one in store.list_findings(job)] == [("crankcase", {"strength": "faint"})]
        assert store.get_photo(store.list_photos(job)[0].id).startswith(b"\x89PNG")
        assert [entry.name for entry in store.list_library()] == ["Winch single (invented)"]


def test_a_backup_of_an_old_version_is_restored_as_one_of_this(old: Path, tmp_path: Path) -> None:
    was = rows(old, "PRAGMA user_version")
    done = restore(old, tmp_path / "shop.db")
    assert [(done.was_version,)] == was == rows(old, "PRAGMA user_version")
    assert (done.check.version, done.check.sound, done.kept) == (SCHEMA_VERSION, True, None)
