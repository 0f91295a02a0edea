"""The record file as it stands at one moment, through a connection of its own that writes nothing."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from borewright.store.errors import NO_TEXT, damaged, sqlite_error

__all__ = ["reading"]


@contextmanager
def reading(path: Path, named: Path, busy_s: float = 5.0) -> Iterator[sqlite3.Connection]:
    """The file as it stands at this moment, whoever writes into it meanwhile, and never written by us. Raises StoreError.

    Ctrl-C also ends a statement that takes long, where its progress is heard.
    """
    connection = None
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=busy_s, isolation_level=None)
        connection.execute("PRAGMA query_only = ON")
        connection.execute("BEGIN")
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()  # the transaction begins with the first look
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
