"""Octets that have flipped in what the record keeps: whoever reads it is told in one sentence, and never reads another number."""

from __future__ import annotations

import random
import re
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import pytest
import sqlalchemy as sa
from borewright.cli import exits
from borewright.cli.main import main
from borewright.core.rig import CheckKind, RigSetup
from borewright.errors import StoreError
from borewright.store import Store, schema

from .shop_record import four_before_and_after, open_record

NAME = "hill-climb 7"
READERS = (("rig", "show"), ("report", NAME), ("job", "show", NAME), ("job", "list"), ("compare", NAME))
READ_BY = {
    "captures.marks": ("job", "show", NAME),
    "captures.declared": ("job", "show", NAME),
    "captures.result": ("report", NAME),
    "captures.laws": ("report", NAME),
    "captures.versions": ("report", NAME),
    "captures.readiness": ("report", NAME),
    "jobs.details": ("job", "list"),
    "rig_checks.result": ("rig", "show"),
    "engines.document": ("report", NAME),
    "findings.detail": ("report", NAME),
}


@dataclass(frozen=True, slots=True)
class Said:
    code: int
    err: str


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "shop.db"
    with open_record(path) as store:
        four_before_and_after(store)
    return path


@pytest.fixture
def read(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Said]:
    monkeypatch.chdir(tmp_path)
    made = 0

    def of(path: Path, *words: str) -> Said:
        nonlocal made
        made += 1
        out = ("--out", f"report-{made}.pdf") if words[0] == "report" else ()
        code = main([*words, *out, "--db", str(path)])
        return Said(code, capsys.readouterr().err)

    return of


def flip(path: Path, table: str, column: str, chance: random.Random) -> None:
    """One octet of one value becomes another one, past the guards, as on a disk that goes bad."""
    connection = sqlite3.connect(path)
    connection.text_factory = bytes
    connection.execute("PRAGMA ignore_check_constraints = ON")
    for (trigger,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {trigger.decode()}")
    rows = connection.execute(f"SELECT rowid, {column} FROM {table} WHERE length({column}) > 0").fetchall()
    row, value = chance.choice(rows)
    octets = bytearray(value)
    octets[chance.randrange(len(octets))] ^= 1 << chance.randrange(8)
    connection.execute(f"UPDATE {table} SET {column} = CAST(? AS TEXT) WHERE rowid = ?", (bytes(octets), row))
    connection.commit()
    connection.close()


def test_every_command_reads_the_whole_record(whole: Path, read: Callable[..., Said]) -> None:
    assert [read(whole, *words) for words in READERS] == [Said(exits.OK, "")] * len(READERS)


@pytest.mark.parametrize("column", READ_BY)
def test_a_flipped_octet_of_a_kept_value_is_said(whole: Path, tmp_path: Path, read: Callable[..., Said], column: str) -> None:
    chance = random.Random(column)
    for number in range(2):
        path = Path(shutil.copy(whole, tmp_path / f"{number}.db"))
        flip(path, *column.split("."), chance)
        said = read(path, *READ_BY[column])
        assert said.code == exits.RECORD, said
        assert re.fullmatch(rf"borewright \w+: {re.escape(str(path))} is damaged \([^\n]+\); keep a copy of it [^\n]+\n", said.err)


@pytest.mark.parametrize("seed", range(10))
def test_a_flipped_octet_of_any_text_is_read_or_said(whole: Path, tmp_path: Path, read: Callable[..., Said], seed: int) -> None:
    chance = random.Random(seed)
    path = Path(shutil.copy(whole, tmp_path / "flipped.db"))
    table, column = chance.choice(_texts(whole))
    flip(path, table, column, chance)
    said = read(path, *chance.choice(READERS))
    assert said.code in (exits.OK, exits.UNUSABLE, exits.USE, exits.RECORD), said
    assert said.code == exits.OK or re.fullmatch(r"borewright \w+: [^\n]+\n", said.err), (table, column, said)


def test_the_schema_knows_every_kind_of_check() -> None:
    assert get_args(CheckKind) == schema.CHECK_KINDS


def test_every_kept_value_is_in_the_table_of_those_that_are_read() -> None:
    kept = {f"{table.name}.{column.name}" for table, column in _columns(sa.JSON)}
    assert kept - set(READ_BY) == {"rigs.setup", "events.detail"}  # none in this record; no command here shows them


def test_a_flipped_octet_of_a_rig_or_of_the_log_is_said(tmp_path: Path) -> None:
    chance = random.Random(1)
    for number in range(20):
        path = tmp_path / f"{number}.db"
        with open_record(path) as store:
            store.save_rig("R-1", RigSetup())
            store.append_event(None, "act", 7, 0.5, {"act": "StopAll"})
        of_rig = bool(number % 2)
        flip(path, *(("rigs", "setup") if of_rig else ("events", "detail")), chance)
        with Store.open(path) as store, pytest.raises(StoreError, match="is damaged"):
            store.get_rig("R-1") if of_rig else store.load_events(None)


def _columns(kind: type[sa.types.TypeEngine[object]]) -> list[tuple[sa.Table, sa.Column[object]]]:
    return [
        (table, column) for table in schema.metadata.tables.values() for column in table.columns if isinstance(column.type, kind)
    ]


def _texts(path: Path) -> list[tuple[str, str]]:
    """Table and column of every text that this record holds."""
    connection = sqlite3.connect(path)
    found = [(table.name, column.name) for table, column in _columns(sa.Text)]
    held = [one for one in found if connection.execute(f"SELECT 1 FROM {one[0]} WHERE length({one[1]}) > 0").fetchone()]
    connection.close()
    return held
