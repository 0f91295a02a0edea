"""The record file as it stands at one moment, through a connection of its own that writes nothing."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from borewright.store.errors import NO_TEXT, damaged, sqlite_error

__all__ = ["cannot_be_written", "reading", "uri_to_look"]

_NO_RIGHT = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM}


def cannot_be_written(error: sqlite3.Error) -> bool:
    """Whether it is the place or the file that takes no writing, so that it may still be looked at."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in _NO_RIGHT


def uri_to_look(path: Path) -> str:
    """The file's name for SQLite, to be read where nothing may be written.

    In a folder that takes no writing, and with nothing beside it, the file alone is all there is; else what is beside it is read.
    """
    beside = path.with_name(path.name + "-wal")
    alone = not os.access(path.parent, os.W_OK) and not (beside.exists() and beside.stat().st_size)
    return f"{path.absolute().as_uri()}?{'immutable=1' if alone else 'mode=ro'}"


@contextmanager
def reading(path: Path, named: Path, busy_s: float = 5.0) -> Iterator[sqlite3.Connection]:
    """The file as it stands at this moment, whoever writes into it meanwhile, and never written by us. Raises StoreError.

    Ctrl-C also ends a statement that takes long, where its progress is heard.
    """
    connection = None
    try:
        try:
            connection = _begun(f"{path.absolute().as_uri()}?mode=rw", busy_s)
        except sqlite3.Error as error:
            if not cannot_be_written(error):
                raise
            connection = _begun(uri_to_look(path), busy_s)
        yield connection
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_INTERRUPT:
            raise KeyboardInterrupt from None
        raise sqlite_error(named, error) from error
    except UnicodeDecodeError as error:
        raise damaged(named, NO_TEXT) from error
    finally:
        if connection is not None:
            connection.close()


def _begun(uri: str, busy_s: float) -> sqlite3.Connection:
    connection = sqlite3.connect(uri, uri=True, timeout=busy_s, isolation_level=None)
    try:
        connection.execute("PRAGMA query_only = ON")
        connection.execute("BEGIN")
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()  # the transaction begins with the first look
    except BaseException:
        connection.close()
        raise
    return connection
