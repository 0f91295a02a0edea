"""Is a record file sound: its pages, what points to what, every value, every sample. Nothing in it is changed by looking.

Plain SQL and not the tables of store.schema, so that a file of an older version is looked at as it is.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from borewright.core.plain_text import printable
from borewright.errors import StoreError
from borewright.store import schema
from borewright.store.errors import damaged, too_new
from borewright.store.json_text import from_json
from borewright.store.opening import look
from borewright.store.packing import unpack
from borewright.store.reading import reading
from borewright.store.word import Word

__all__ = ["RecordCheck", "Told", "check_record", "untold"]

Told = Callable[[str, int, int], None]
"""Hears how far it is: what is being looked at, how many of it are done, of how many (0: nobody knows)."""

MOST_TROUBLES = 20  # of one kind: who reads more than that would not be helped by it
_INSTRUCTIONS = 100_000  # of SQLite between two words about a long statement: about a hundredth of a second


@dataclass(frozen=True, slots=True)
class RecordCheck:
    """What was found in a record file.

    version: its record version. tests: how many of each state, the rig's checks included. chunks: parts in which their samples
    stand. troubles: what is wrong, in words, one for each; none where the file is sound.
    """

    path: Path
    version: int
    jobs: int
    tests: Mapping[str, int]
    chunks: int
    samples: int
    photos: int
    troubles: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong with it."""
        return not self.troubles


def untold(_what: str, _done: int, _of: int) -> None:
    """For those who need not be told how far it is."""


def check_record(path: Path, told: Told = untold, named: Path | None = None) -> RecordCheck:
    """Look through a record file, whatever its version, while others may go on recording into it.

    named: what it is called in errors, where it is a copy without a name of its own yet. Raises StoreError where it is no record
    file, of a newer program, or cannot be read at all.
    """
    look(path, create=False)
    named = named or path
    with reading(path, named) as connection:
        version = _number(connection, "PRAGMA user_version")
        if version > schema.SCHEMA_VERSION:
            raise too_new(named, version, schema.SCHEMA_VERSION)
        if version < 1:
            raise damaged(named, f"there is no record version {version}")
        connection.set_progress_handler(lambda: told("pages", 0, 0), _INSTRUCTIONS)
        troubles = [*_pages(connection), *_pointers(connection)]
        connection.set_progress_handler(None, 0)
        if not troubles:  # what stands on a damaged page is damaged as well, and would be told again and again
            troubles += [*_guards(connection, version), *_values(path, connection, told), *_samples(connection, told)]
            troubles += _photos(connection, told)
        states = connection.execute("SELECT state, count(*) FROM captures GROUP BY state ORDER BY state").fetchall()
        chunks, samples = connection.execute("SELECT count(*), coalesce(sum(sample_count), 0) FROM capture_chunks").fetchone()
        return RecordCheck(
            path=named,
            version=version,
            jobs=_number(connection, "SELECT count(*) FROM jobs"),
            tests=dict(states),
            chunks=chunks,
            samples=samples,
            photos=_number(connection, "SELECT count(*) FROM photos") if _has(connection, "photos") else 0,
            troubles=tuple(troubles),
        )


def _number(connection: sqlite3.Connection, query: str) -> int:
    return int(connection.execute(query).fetchone()[0])


def _has(connection: sqlite3.Connection, table: str) -> bool:
    query = "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = ?"
    return bool(connection.execute(query, (table,)).fetchone()[0])


def _pages(connection: sqlite3.Connection) -> Iterator[str]:
    for (found,) in connection.execute(f"PRAGMA integrity_check({MOST_TROUBLES})"):
        if found != "ok":
            for line in str(found).splitlines():
                yield f"the file itself: {printable(line)}"


def _pointers(connection: sqlite3.Connection) -> Iterator[str]:
    found = connection.execute("PRAGMA foreign_key_check").fetchmany(MOST_TROUBLES)
    for table, row_id, parent, _ in found:
        yield f"row {row_id} of {table} belongs to a row of {parent} that is not there"


def _guards(connection: sqlite3.Connection, version: int) -> Iterator[str]:
    """The triggers that keep what was recorded; an older version gets those that it lacks when it is next opened."""
    if version == schema.SCHEMA_VERSION:
        here = {sql for (sql,) in connection.execute("SELECT sql FROM sqlite_schema WHERE type = 'trigger'")}
        if missing := [statement.split()[2] for statement in schema.guard_statements() if statement not in here]:
            names = ", ".join(missing)
            yield f"the guards that keep what was recorded are not all there ({names}): another program changed the file"


def _values(path: Path, connection: sqlite3.Connection, told: Told) -> Iterator[str]:
    """Every text is one, and every value in JSON can be read."""
    for table in schema.metadata.sorted_tables:
        here = {name for _, name, *_ in connection.execute(f"PRAGMA table_info({table.name})")}
        texts = [one.name for one in table.columns if one.name in here and isinstance(one.type, sa.Text | sa.JSON | Word)]
        if not texts:
            continue
        count = _number(connection, f"SELECT count(*) FROM {table.name}")
        pairs = ", ".join(f"typeof({name}), CAST({name} AS BLOB)" for name in texts)
        wrong = 0
        for done, (row_id, *values) in enumerate(connection.execute(f"SELECT rowid, {pairs} FROM {table.name}")):
            told(table.name, done, count)
            for name, kind, octets in zip(texts, values[::2], values[1::2], strict=True):
                if not _readable(path, kind, octets, table.columns[name].type) and (wrong := wrong + 1) <= MOST_TROUBLES:
                    yield f"{name} in row {row_id} of {table.name} cannot be read"


def _readable(path: Path, kind: str, octets: bytes | None, of: sa.types.TypeEngine[Any]) -> bool:
    if octets is None:
        return True
    try:
        text = octets.decode()
        if isinstance(of, sa.JSON):
            from_json(path, text)
    except (UnicodeDecodeError, StoreError):
        return False
    return kind == "text" and (not isinstance(of, Word) or text in of.words)


def _samples(connection: sqlite3.Connection, told: Told) -> Iterator[str]:
    """Every chunk is what was packed, the chunks of a test are all there, and a test that a device made has some."""
    count, wrong = _number(connection, "SELECT count(*) FROM capture_chunks"), 0
    last = (0, 0)
    query = "SELECT capture_id, number, sample_count, packed FROM capture_chunks ORDER BY capture_id, number"
    for done, (capture_id, number, sample_count, packed) in enumerate(connection.execute(query)):
        told("samples", done, count)
        expected = last[1] + 1 if last[0] == capture_id else 1
        last = (capture_id, number)
        said = "" if number == expected else f"part {expected} of the samples of test {capture_id} is missing"
        try:
            found = len(unpack(packed))
            if found != sample_count:
                said = f"part {number} of the samples of test {capture_id} holds {found} samples, not {sample_count}"
        except (ValueError, TypeError) as error:
            said = f"part {number} of the samples of test {capture_id} cannot be read ({error})"
        if said and (wrong := wrong + 1) <= MOST_TROUBLES:
            yield said
    without = (
        "SELECT id FROM captures WHERE state = 'complete' AND device_serial <> '' "
        "AND NOT EXISTS (SELECT 1 FROM capture_chunks WHERE capture_id = captures.id)"
    )
    for (capture_id,) in connection.execute(without).fetchmany(MOST_TROUBLES):
        yield f"test {capture_id} is complete, and no samples of it are there"


def _photos(connection: sqlite3.Connection, told: Told) -> Iterator[str]:
    if not _has(connection, "photos"):
        return
    count, wrong = _number(connection, "SELECT count(*) FROM photos"), 0
    for done, (photo_id, sha256, data) in enumerate(connection.execute("SELECT id, sha256, data FROM photos")):
        told("photos", done, count)
        same = isinstance(data, bytes) and hashlib.sha256(data).hexdigest() == sha256
        if not same and (wrong := wrong + 1) <= MOST_TROUBLES:
            yield f"photo {photo_id} is not the one that was kept"
