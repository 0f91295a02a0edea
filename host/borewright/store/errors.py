"""What the database says, in one sentence that says what to do."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from borewright.errors import StoreError

__all__ = ["NO_TEXT", "GoneError", "LockedError", "damaged", "not_ours", "not_together", "os_error", "sqlite_error", "too_new"]

NO_TEXT = "it holds what is no text"
_OTHER_TABLES = ("already exists", "no such table", "no such column", "has no column named", "duplicate column name")


class LockedError(StoreError):
    """Another program holds the file; nothing was written, and it can be tried again."""


class GoneError(StoreError):
    """What was written is no longer in the file of the record's name."""


def not_ours(path: Path) -> StoreError:
    """A file that is something else; it has not been touched."""
    return StoreError(f"{path} is not a Borewright record file, so it was left alone; name another file")


def too_new(path: Path, found: int, known: int) -> StoreError:
    """A record file of a later program; it has not been touched."""
    return StoreError(
        f"{path} was written by a newer Borewright (record version {found}, this program knows {known}), so it was left alone; "
        "update this program"
    )


def damaged(path: Path, what: str) -> StoreError:
    """The file holds what no Borewright wrote into it.

    >>> print(damaged(Path("jobs.borewright"), "row \\x1b[2J"))
    jobs.borewright is damaged (row ?[2J); keep a copy of it and go on with your last backup or a new file
    """
    return StoreError(f"{path} is damaged ({_printable(what)}); keep a copy of it and go on with your last backup or a new file")


def not_together(path: Path, what: str) -> StoreError:
    """The record version that the file gives is not that of its tables."""
    return StoreError(
        f"{path} does not go together (its record version is not that of its tables: {_printable(what)}), so it was left alone; "
        "keep a copy of it and go on with your last backup or a new file"
    )


def os_error(path: Path, error: OSError) -> StoreError:
    """The file system refused.

    >>> print(os_error(Path("jobs.borewright"), PermissionError(13, "Permission denied")))
    jobs.borewright cannot be opened for writing (Permission denied); choose a folder that you may write to
    """
    if error.errno == errno.ENAMETOOLONG:
        return StoreError(f"{path} is a longer name than the disk takes; give a shorter one")
    if error.errno in {errno.ENOSPC, errno.EFBIG, errno.EDQUOT}:
        return _full(path, error.strerror or str(error))
    return StoreError(f"{path} cannot be opened for writing ({error.strerror or error}); choose a folder that you may write to")


def sqlite_error(path: Path, error: sqlite3.Error) -> StoreError:
    """SQLite refused: its primary result code decides the words."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = code & 0xFF if isinstance(code, int) else None
    if primary in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return LockedError(f"{path} is locked by another program; close that program and try again")
    if primary in {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR}:
        return _full(path, str(error))
    if primary in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM}:
        return StoreError(f"{path} cannot be opened for writing ({error}); choose a folder that you may write to")
    if primary == sqlite3.SQLITE_NOTADB:
        return not_ours(path)
    if primary == sqlite3.SQLITE_CONSTRAINT:
        return StoreError(f"{path} does not take this change ({error}); nothing was changed")
    if str(error).startswith("Could not decode to UTF-8"):
        return damaged(path, NO_TEXT)
    if primary == sqlite3.SQLITE_CORRUPT:
        return damaged(path, str(error))
    if primary == sqlite3.SQLITE_ERROR and any(mark in str(error) for mark in _OTHER_TABLES):
        return not_together(path, str(error))
    return StoreError(f"{path} could not be read or written ({_printable(str(error))}); keep a copy of it and try again")


def _printable(text: str) -> str:
    """What the database says can hold pieces of a damaged file."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)[:200]


def _full(path: Path, what: str) -> StoreError:
    return StoreError(
        f"the disk did not take a write to {path} ({what}); what is there already is kept; free space, then do it again"
    )
