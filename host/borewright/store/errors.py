"""What the database says, in one sentence that says what to do."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from borewright.errors import StoreError

__all__ = ["not_ours", "os_error", "sqlite_error", "too_new"]


def not_ours(path: Path) -> StoreError:
    """A file that is something else; it has not been touched."""
    return StoreError(f"{path} is not a Borewright record file, so it was left alone; name another file")


def too_new(path: Path, found: int, known: int) -> StoreError:
    """A record file of a later program; it has not been touched."""
    return StoreError(
        f"{path} was written by a newer Borewright (record version {found}, this program knows {known}), so it was left alone; "
        "update this program"
    )


def os_error(path: Path, error: OSError) -> StoreError:
    """The file system refused.

    >>> print(os_error(Path("jobs.borewright"), PermissionError(13, "Permission denied")))
    jobs.borewright cannot be opened for writing (Permission denied); choose a folder that you may write to
    """
    if error.errno in {errno.ENOSPC, errno.EFBIG, errno.EDQUOT}:
        return _full(path, error.strerror or str(error))
    return StoreError(f"{path} cannot be opened for writing ({error.strerror or error}); choose a folder that you may write to")


def sqlite_error(path: Path, error: sqlite3.Error) -> StoreError:
    """SQLite refused: its primary result code decides the words."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = code & 0xFF if isinstance(code, int) else None
    if primary in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return StoreError(f"{path} is locked by another program; close that program and try again")
    if primary in {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR}:
        return _full(path, str(error))
    if primary in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM}:
        return StoreError(f"{path} cannot be opened for writing ({error}); choose a folder that you may write to")
    if primary == sqlite3.SQLITE_NOTADB:
        return not_ours(path)
    if primary == sqlite3.SQLITE_CONSTRAINT:
        return StoreError(f"{path} does not take this change ({error}); nothing was changed")
    if primary == sqlite3.SQLITE_CORRUPT:
        return StoreError(f"{path} is damaged ({error}); keep a copy of it and go on with your last backup or a new file")
    return StoreError(f"{path} could not be read or written ({error}); keep a copy of it and try again")


def _full(path: Path, what: str) -> StoreError:
    return StoreError(f"the disk did not take a write to {path} ({what}); what was recorded is kept, so free space and test again")
