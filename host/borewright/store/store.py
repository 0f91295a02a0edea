"""The record: jobs, engines, captures with their raw samples and event log, findings, checks of the rig.

One SQLite file through SQLAlchemy Core. Every call is one transaction that is on the disk when the call returns, so that a crash, a
pulled plug or a full disk loses at most what had not been handed over. Raw samples, findings and the log are only ever added to:
the file itself refuses to change them. Deleting marks a row and keeps it.

Every method raises StoreError when the file cannot be read or written, and ValueError for values that JSON has no word for (NaN,
infinity, objects); nothing has been written then. A Store may be used from several threads.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

from borewright.store.captures import Captures, Line
from borewright.store.database import random_uid
from borewright.store.findings import Findings
from borewright.store.library import Library
from borewright.store.opening import open_engine
from borewright.store.rigs import Rigs
from borewright.store.transfer import Transfer

__all__ = ["Line", "Store"]


class Store(Library, Rigs, Captures, Findings, Transfer):
    """One open record file; each of its parts stands in a file of its own.

    >>> with Store.open(getfixture("tmp_path") / "shop.borewright") as store:
    ...     engine = store.save_engine("demo four", {"bore_mm": 86.0})
    ...     job = store.create_job("hill-climb 7", "before", engine)
    ...     [(j.name, j.stage) for j in store.list_jobs()]
    [('hill-climb 7', 'before')]
    """

    @classmethod
    def open(
        cls,
        path: str | Path,
        create: bool = True,
        *,
        busy_s: float = 5.0,
        clock: Callable[[], float] = time.time,
        new_uid: Callable[[], str] = random_uid,
    ) -> Self:
        """Open a record file, or make it.

        busy_s: how long to wait for another program that writes. clock: seconds since 1970. new_uid: 32 hex digits, never the same
        twice. Captures that a crash left running are closed as crashed and kept. Raises StoreError when the file is missing
        (create=False), not ours, newer than this program, locked, damaged, or may not be written; with create=False one that may
        not be written is opened to be looked at, as it is, and every change of it raises StoreError.
        """
        where = Path(path)
        engine, may_write = open_engine(where, create, busy_s)
        store = cls(where, engine, clock, new_uid)
        try:
            if may_write:
                store._close_crashed()
        except BaseException:
            store.close()
            raise
        return store

    def close(self) -> None:
        """Close the file. A capture that is still running will be found as crashed."""
        self._engine.dispose()
        self._lease.give_back()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()
