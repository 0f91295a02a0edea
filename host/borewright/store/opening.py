"""Opening the record file: is it ours, how old is it, may it be written. Alembic is loaded only when the version differs."""

from __future__ import annotations

import os
import sqlite3
import struct
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store import schema
from borewright.store.errors import NO_TEXT, damaged, not_ours, os_error, sqlite_error, too_new
from borewright.store.json_text import from_json, to_json
from borewright.store.reading import cannot_be_written, uri_to_look

__all__ = ["in_words", "look", "open_engine"]

_MAGIC = b"SQLite format 3\x00"
_JOURNAL_MAGIC = bytes.fromhex("d9d505f920a163d7")  # section 3; at 16 of it: how many pages the file had before
_APPLICATION_ID_AT = 68  # SQLite file format, section 1.3: big-endian


def open_engine(path: Path, create: bool, busy_s: float) -> tuple[sa.Engine, bool]:
    """The database at path, at this program's schema version, and whether it may be written.

    create=False, for those that only look: also one that may not. Raises StoreError; a file that is not ours is never touched.
    """
    look(path, create)
    try:
        # SQLite itself opens a file without the right to write as one to be read, where the folder takes what it puts beside it
        engine = _settled(path, _engine(path, busy_s), lambda engine: _settle(path, engine, busy_s))
        return engine, create or os.access(path, os.W_OK)
    except (sqlite3.Error, sa.exc.DBAPIError) as error:
        original = _original(error)
        if create or not cannot_be_written(original) or not path.exists():
            raise sqlite_error(path, original) from error
    try:
        return _settled(path, _engine(path, busy_s, only_looks=True), lambda engine: _be_this_version(path, engine)), False
    except (sqlite3.Error, sa.exc.DBAPIError) as error:
        raise sqlite_error(path, _original(error)) from error


def _settled(path: Path, engine: sa.Engine, settle: Callable[[sa.Engine], None]) -> sa.Engine:
    try:
        settle(engine)
    except UnicodeDecodeError as error:  # what SQLite says of a damaged file can itself be no text
        engine.dispose()
        raise damaged(path, NO_TEXT) from error
    except BaseException:
        engine.dispose()
        raise
    return engine


def _be_this_version(path: Path, engine: sa.Engine) -> None:
    with engine.connect() as connection:
        version = _known_version(path, connection)
    if version < schema.SCHEMA_VERSION:
        raise StoreError(
            f"{path} is of an older Borewright (record version {version}) and cannot be opened for writing, so it was not brought "
            "up to date; copy it to a folder that you may write to, and look at the copy"
        )


def in_words(path: Path, error: sa.exc.DBAPIError) -> StoreError:
    """The database's error in words."""
    return sqlite_error(path, _original(error))


def _original(error: sqlite3.Error | sa.exc.DBAPIError) -> sqlite3.Error:
    if isinstance(error, sqlite3.Error):
        return error
    return error.orig if isinstance(error.orig, sqlite3.Error) else sqlite3.OperationalError(str(error))


def look(path: Path, create: bool) -> None:
    """Refuse what is not ours before SQLite, which may write even when it is asked to read, sees it."""
    try:
        if path.is_dir():
            raise StoreError(f"{path} is a folder; name a file in it")
        if not path.exists():
            if not create:
                raise StoreError(f"there is no record file {path}; name another one, or record a test into it first")
            if not path.parent.is_dir():
                raise StoreError(f"there is no folder {path.parent} to put the record file in; make it first")
            return
        if not path.is_file():
            raise StoreError(f"{path} is a device or a pipe and no record file; name another one")
        with path.open("rb") as file:
            header = file.read(100)
        if not header or _was_empty(path):
            return  # made, and nothing written into it that counts
    except OSError as error:
        raise os_error(path, error) from error
    if not header.startswith(_MAGIC) or len(header) < 100:
        raise not_ours(path)
    if struct.unpack_from(">I", header, _APPLICATION_ID_AT)[0] != schema.APPLICATION_ID:
        raise not_ours(path)


def _was_empty(path: Path) -> bool:
    """Whether a first transaction was cut off while it was written into an empty file: SQLite takes it back on opening."""
    journal = path.with_name(path.name + "-journal")
    if not journal.exists():
        return False
    with journal.open("rb") as file:
        head = file.read(20)
    return head.startswith(_JOURNAL_MAGIC) and len(head) == 20 and struct.unpack_from(">I", head, 16)[0] == 0


def _engine(path: Path, busy_s: float, *, foreign_keys: bool = True, only_looks: bool = False) -> sa.Engine:
    url = sa.URL.create("sqlite+pysqlite", database=str(path))
    if only_looks:
        name, _, how = uri_to_look(path).partition("?")
        url = sa.URL.create("sqlite+pysqlite", database=name, query={"uri": "true", **dict([how.split("=")])})
    engine = sa.create_engine(
        url,
        connect_args={"timeout": busy_s},
        json_serializer=to_json,
        json_deserializer=partial(from_json, path),
    )
    sa.event.listen(engine, "connect", partial(_on_connect, foreign_keys))
    sa.event.listen(engine, "begin", _on_begin)
    return engine


def _on_connect(foreign_keys: bool, connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # transactions are begun by us, so that tables are made and changed inside them too
    for pragma in ("synchronous = FULL", f"foreign_keys = {'ON' if foreign_keys else 'OFF'}"):
        connection.execute(f"PRAGMA {pragma}")


def _on_begin(connection: sa.Connection) -> None:
    # a writer takes the lock at once: taking it later can fail without waiting
    connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get("writes") else "BEGIN")


def _settle(path: Path, engine: sa.Engine, busy_s: float) -> None:
    with engine.execution_options(writes=True).begin() as connection:
        version = _known_version(path, connection)
        if version == 0:
            _create(connection)
    if 0 < version < schema.SCHEMA_VERSION:
        _migrate(path, busy_s)
    _without_transaction(engine, lambda cursor: cursor.execute("PRAGMA journal_mode = WAL").fetchone())


def _known_version(path: Path, connection: sa.Connection) -> int:
    version = _number(connection, "user_version")
    if version < 0:
        raise damaged(path, f"there is no record version {version}")
    if version > schema.SCHEMA_VERSION:
        raise too_new(path, version, schema.SCHEMA_VERSION)
    return version


def _create(connection: sa.Connection) -> None:
    schema.metadata.create_all(connection)
    for statement in schema.guard_statements():
        connection.exec_driver_sql(statement)
    connection.exec_driver_sql(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {schema.SCHEMA_VERSION}")


def _migrate(path: Path, busy_s: float) -> None:
    """Bring an older file up, whole or not at all.

    A table can be made anew only while SQLite does not follow foreign keys, and that cannot be switched inside a transaction: so a
    connection of its own, and a look at every key before the transaction ends (sqlite.org/lang_altertable.html, section 7).
    """
    from borewright.store.migrate import migrate  # noqa: PLC0415 -- Alembic costs 70-100 ms and is hardly ever needed

    engine = _engine(path, busy_s, foreign_keys=False)
    try:
        with engine.execution_options(writes=True).begin() as connection:
            migrate(connection, _known_version(path, connection))  # another program may have done it meanwhile
            if connection.exec_driver_sql("PRAGMA foreign_key_check").first() is not None:
                raise StoreError(f"{path} is damaged (a row points to nothing), so it was left as it was; keep a copy of it")
    finally:
        engine.dispose()


def _number(connection: sa.Connection, pragma: str) -> int:
    return int(connection.exec_driver_sql(f"PRAGMA {pragma}").scalar_one())


def _without_transaction(engine: sa.Engine, act: Callable[[sqlite3.Cursor], Any]) -> None:
    raw = engine.raw_connection()
    try:
        cursor: Any = raw.cursor()
        act(cursor)
        cursor.close()
    finally:
        raw.close()
