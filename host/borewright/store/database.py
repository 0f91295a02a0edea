"""The open file under the record: reading, writing in one transaction, the marks of deletion."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store.errors import NO_TEXT, damaged, os_error
from borewright.store.lease import Lease
from borewright.store.opening import in_words
from borewright.store.schema import events
from borewright.store.still_there import Opened
from borewright.store.word import UnknownWord

__all__ = ["Database", "new_id", "random_uid"]


def random_uid() -> str:
    """32 hex digits that nothing else has.

    >>> len(random_uid()), random_uid() == random_uid()
    (32, False)
    """
    return secrets.token_hex(16)


def new_id(done: sa.CursorResult[Any]) -> int:
    """The id that an insert has given its row."""
    key = done.inserted_primary_key
    if key is None:
        raise RuntimeError("an insert gave no key")
    return int(key[0])


class Database:
    """What every part of the Store stands on."""

    def __init__(self, path: Path, engine: sa.Engine, clock: Callable[[], float], new_uid: Callable[[], str]) -> None:
        self.path = path
        self._engine = engine
        self._writing = engine.execution_options(writes=True)
        self._clock = clock
        self._new_uid = new_uid
        self._lease = Lease(path)
        try:
            self._opened = Opened.of(path)
        except OSError as error:
            engine.dispose()
            raise os_error(path, error) from error

    @contextmanager
    def _read(self) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect() as connection:
                yield connection
        except sa.exc.DBAPIError as error:
            raise in_words(self.path, error) from error
        except UnicodeDecodeError as error:
            raise damaged(self.path, NO_TEXT) from error
        except UnknownWord as error:
            raise damaged(self.path, str(error)) from error

    @contextmanager
    def _write(self) -> Iterator[sa.Connection]:
        try:
            with self._writing.begin() as connection:
                yield connection
        except sa.exc.DBAPIError as error:
            raise in_words(self.path, error) from error
        except UnicodeDecodeError as error:
            raise damaged(self.path, NO_TEXT) from error
        except UnknownWord as error:
            raise damaged(self.path, str(error)) from error
        except sa.exc.StatementError as error:  # a value that JSON has no word for
            raise ValueError(f"this cannot be recorded: {error.orig}") from error

    def _bury(self, table: sa.Table, what: str, row_id: int, reason: str) -> None:
        change = table.update().where(table.c.id == row_id, table.c.deleted_at_unix_s.is_(None))
        with self._write() as connection:
            done = connection.execute(change.values(deleted_at_unix_s=self._clock(), deleted_reason=reason))
            if done.rowcount == 0:
                raise StoreError(f"there is no {what} {row_id} in {self.path} that could be deleted; look at the list")
            self._log_change(connection, what, row_id, {"deleted": False}, {"deleted": True, "reason": reason})

    def _unbury(self, connection: sa.Connection, table: sa.Table, what: str, row_id: int) -> None:
        change = table.update().where(table.c.id == row_id, table.c.deleted_at_unix_s.is_not(None))
        reason = connection.execute(sa.select(table.c.deleted_reason).where(table.c.id == row_id)).scalar_one_or_none()
        if connection.execute(change.values(deleted_at_unix_s=None, deleted_reason=None)).rowcount == 0:
            raise StoreError(f"there is no deleted {what} {row_id} in {self.path}; look at the list")
        self._log_change(connection, what, row_id, {"deleted": True, "reason": reason}, {"deleted": False})

    def _log_change(
        self, connection: sa.Connection, what: str, row_id: int, was: Mapping[str, Any], now: Mapping[str, Any]
    ) -> None:
        """A line of the bench's log for what is changed in its row, so that what stood there before is not lost."""
        connection.execute(
            events.insert().values(
                capture_id=None,
                kind=f"{what}_changed",
                tick=None,
                monotonic_s=time.monotonic(),
                detail={f"{what}_id": row_id, "at_unix_s": self._clock(), "was": dict(was), "now": dict(now)},
            )
        )
