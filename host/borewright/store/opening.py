"""Opening the record file: is it ours, how old is it, may it be written. Alembic is loaded only when the version differs."""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store import schema
from borewright.store.errors import not_ours, os_error, sqlite_error, too_new

__all__ = ["in_words", "open_engine"]

_MAGIC = b"SQLite format 3\x00"
_APPLICATION_ID_AT = 68  # SQLite file format, section 1.3: big-endian


def open_engine(path: Path, create: bool, busy_s: float) -> sa.Engine:
    """The database at path, at this program's schema version. Raises StoreError; a file that is not ours is never touched."""
    _look(path, create)
    engine = _engine(path, busy_s)
    try:
        _settle(path, engine)
    except (sqlite3.Error, sa.exc.DBAPIError) as error:
        engine.dispose()
        raise sqlite_error(path, _original(error)) from error
    except BaseException:
        engine.dispose()
        raise
    return engine


def in_words(path: Path, error: sa.exc.DBAPIError) -> StoreError:
    """The database's error in words."""
    return sqlite_error(path, _original(error))


def _original(error: sqlite3.Error | sa.exc.DBAPIError) -> sqlite3.Error:
    if isinstance(error, sqlite3.Error):
        return error
    return error.orig if isinstance(error.orig, sqlite3.Error) else sqlite3.OperationalError(str(error))


def _look(path: Path, create: bool) -> None:
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
        with path.open("rb") as file:
            header = file.read(100)
    except OSError as error:
        raise os_error(path, error) from error
    if not header:
        return  # made, and nothing written into it yet
    if not header.startswith(_MAGIC) or len(header) < 100:
        raise not_ours(path)
    if struct.unpack_from(">I", header, _APPLICATION_ID_AT)[0] != schema.APPLICATION_ID:
        raise not_ours(path)


def _engine(path: Path, busy_s: float) -> sa.Engine:
    engine = sa.create_engine(
        sa.URL.create("sqlite+pysqlite", database=str(path)),
        connect_args={"timeout": busy_s},
        json_serializer=_to_json,
    )
    sa.event.listen(engine, "connect", _on_connect)
    sa.event.listen(engine, "begin", _on_begin)
    return engine


def _to_json(value: object) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def _on_connect(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # transactions are begun by us, so that tables are made and changed inside them too
    for pragma in ("synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _on_begin(connection: sa.Connection) -> None:
    # a writer takes the lock at once: taking it later can fail without waiting
    connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get("writes") else "BEGIN")


def _settle(path: Path, engine: sa.Engine) -> None:
    with engine.execution_options(writes=True).begin() as connection:
        version = _number(connection, "user_version")
        if version > schema.SCHEMA_VERSION:
            raise too_new(path, version, schema.SCHEMA_VERSION)
        if version == 0:
            _create(connection)
        elif version < schema.SCHEMA_VERSION:
            _migrate(connection, version)
    _without_transaction(engine, lambda cursor: cursor.execute("PRAGMA journal_mode = WAL").fetchone())


def _create(connection: sa.Connection) -> None:
    schema.metadata.create_all(connection)
    for statement in schema.guard_statements():
        connection.exec_driver_sql(statement)
    connection.exec_driver_sql(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {schema.SCHEMA_VERSION}")


def _migrate(connection: sa.Connection, version: int) -> None:
    from borewright.store.migrate import migrate  # noqa: PLC0415 -- Alembic costs 70-100 ms and is hardly ever needed

    migrate(connection, version)


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
