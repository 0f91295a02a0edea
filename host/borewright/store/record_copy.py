"""A record file kept safe: a backup while others record into it, and a backup put in its place.

A copy is made under another name in the same folder, looked through, brought to the disk and only then given its name, so that
whatever ends the program, a file under its name is whole.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from borewright.errors import StoreError, UseError
from borewright.store.errors import os_error, sqlite_error
from borewright.store.lease import Lease
from borewright.store.opening import look
from borewright.store.reading import reading
from borewright.store.record_check import RecordCheck, Told, check_record, untold
from borewright.store.store import Store

__all__ = ["Restored", "back_up", "restore"]

_PAGES = 500  # of 4096 octets at once: Ctrl-C and the words about how far it is come between
_BESIDE = ("-wal", "-shm")  # what SQLite keeps beside a file that was not closed
_IN_USE = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}


@dataclass(frozen=True, slots=True)
class Restored:
    """A backup in its place. was_version: the record version of the backup. kept: the file that stood there before, if any."""

    check: RecordCheck
    was_version: int
    kept: Path | None


def back_up(record: Path, target: Path, *, replace: bool = False, told: Told = untold) -> RecordCheck:
    """Copy the record as it stands at this moment, while others may go on recording, and look through the copy.

    replace: also over an older record file of that name. Raises UseError where the name is taken, StoreError where the record
    cannot be read, or the copy cannot be written or is not sound; there is no file of that name then, or the one that was there.
    """
    look(record, create=False)
    target = _file_itself(target)
    _may_be_taken(record, target, replace)
    with _part_of(target) as part:
        _copy(record, part, target, told)
        check = check_record(part, told, record)
        if not check.sound:
            raise StoreError(
                f"{record} is damaged ({check.troubles[0]}), so no backup was made of it; keep a copy of the file and the backups "
                "that you have, and see what `borewright record check` says"
            )
        _may_be_taken(record, target, replace)  # again: the copy can have taken long
        _to_disk(part, target)
        os.replace(part, target)
        _to_disk(target.parent, target)
    return check


def restore(backup: Path, record: Path, *, told: Told = untold, clock: Callable[[], float] = time.time) -> Restored:
    """Put a backup in the place of the record, brought up to this program's version; the file that stood there is kept beside it.

    Raises UseError where both are one file, StoreError where the backup is not sound, another program has the record open, or the
    disk refuses; the record is then as it was.
    """
    look(backup, create=False)
    record = _file_itself(record)
    _may_be_replaced(backup, record)
    before = check_record(backup, told)
    if not before.sound:
        raise StoreError(f"{backup} is damaged ({before.troubles[0]}), so {record} was left as it was; take another backup")
    with _part_of(record) as part:
        _copy(backup, part, record, told)
        Store.open(part, create=False).close()  # migrates, and closes tests that were running when the backup was made
        check = check_record(part, told, record)
        if not check.sound:
            raise StoreError(f"the copy of {backup} is not what was written ({check.troubles[0]}); look after the disk of {record}")
        _one_file(part, record)
        _to_disk(part, record)
        lease = Lease(record)
        try:
            if not lease.take():
                raise StoreError(f"another Borewright is recording into {record}; end its test and close it first")
            kept = _put_in_place(part, record, clock())
            _to_disk(record.parent, record)
        finally:
            lease.give_back()
    return Restored(check, before.version, kept)


# ---------------------------------------------------------------------- what may be written


def _file_itself(path: Path) -> Path:
    """What a link points to, so that the link stays one. Raises UseError, StoreError for what is no name of a file."""
    if not path.name:
        raise UseError(f"{path} is a folder; name a file in it")
    try:
        itself = Path(os.path.realpath(path)) if path.is_symlink() else path
        _beside(itself, "-recording").exists()  # the longest of the names that it needs
    except OSError as error:
        raise os_error(path, error) from error
    return itself


def _may_be_taken(record: Path, target: Path, replace: bool) -> None:
    if not target.parent.is_dir():
        raise UseError(f"there is no folder {target.parent} to put the backup in; make it first")
    if target.exists() and target.samefile(record):
        raise UseError(f"{target} is the record itself; name another file")
    if any(_beside(target, ending).exists() for ending in ("-recording", *_BESIDE)):
        raise UseError(f"{target} is in use by a program, or was when it ended, and was left alone; give another name")
    if not os.path.lexists(target):
        return
    if target.is_dir():
        raise UseError(f"{target} is a folder; name a file in it")
    if not replace:
        raise UseError(f"{target} is there already and was left alone; give another name, or --force to write over it")
    if not target.is_file():
        raise UseError(f"{target} is no plain file and was left alone; give the name of a file")
    look(target, create=False)


def _may_be_replaced(backup: Path, record: Path) -> None:
    if not os.path.lexists(record):
        if not record.parent.is_dir():
            raise UseError(f"there is no folder {record.parent} to put the record file in; make it first")
        return
    if record.exists() and record.samefile(backup):
        raise UseError(f"{record} and the backup are one file; name the record by --db")
    if not record.is_file():
        raise UseError(f"{record} is no plain file and was left alone; name another one")
    look(record, create=False)


def _beside(record: Path, ending: str) -> Path:
    return record.with_name(record.name + ending)


# ---------------------------------------------------------------------- the copy


@contextmanager
def _part_of(target: Path) -> Iterator[Path]:
    """A file in the target's folder that goes with the block, unless it has got another name in it."""
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".borewright-", suffix=".part")
        os.close(handle)
    except OSError as error:
        raise os_error(target, error) from error
    part = Path(name)
    try:
        part.chmod(_rights_of(target))
        yield part
    except OSError as error:
        raise os_error(target, error) from error
    finally:
        for path in (part, *(_beside(part, ending) for ending in ("-journal", *_BESIDE))):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)


def _rights_of(target: Path) -> int:
    """Those of the file that it takes the place of, or of any new file."""
    with contextlib.suppress(OSError):
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _copy(record: Path, part: Path, target: Path, told: Told) -> None:
    """All pages as they stand now. The transaction of the reading end keeps them so, however long it takes."""
    with reading(record, record) as source:
        try:
            with contextlib.closing(sqlite3.connect(part)) as copied:
                source.backup(copied, pages=_PAGES, progress=lambda _status, left, of: told("copy", of - left, of))
        except sqlite3.Error as error:
            primary = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if primary in {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR}:
                raise StoreError(
                    f"the disk did not take {target} ({error}); free space there, or name a file on another disk"
                ) from error
            raise
    _one_file(part, target)


def _one_file(part: Path, target: Path) -> None:
    """With nothing beside it, so that it can be carried away alone and read where nothing may be written."""
    try:
        with contextlib.closing(sqlite3.connect(part)) as connection:
            connection.execute("PRAGMA journal_mode = DELETE").fetchone()
    except sqlite3.Error as error:
        raise sqlite_error(target, error) from error


def _to_disk(path: Path, target: Path) -> None:
    """What was written is on the disk when this returns. A folder cannot be asked for that everywhere, and then it is not."""
    flags = os.O_RDONLY if path.is_dir() else os.O_RDWR
    try:
        handle = os.open(path, flags)
    except OSError as error:
        if path.is_dir():
            return
        raise os_error(target, error) from error
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


# ---------------------------------------------------------------------- the file that stood there


def _put_in_place(part: Path, record: Path, now_unix_s: float) -> Path | None:
    """Give the present file a second, dated name and the part its first one. Gives the dated name, None where there was no file.

    Raises StoreError where another program has it open. Whatever else ends it, there is a whole file of the record's name.
    """
    if record.exists():
        _close_of_others(record)
    kept = _free_name(record, now_unix_s)
    two_names = record.exists() and _name_too(record, kept)
    for ending in _BESIDE:  # of a file too damaged to be closed: they belong to it, and would be taken for those of the new one
        if _beside(record, ending).exists():
            os.rename(_beside(record, ending), _beside(kept, ending))
    if record.exists() and not two_names:
        os.rename(record, kept)
    try:
        os.replace(part, record)
    except BaseException:
        if two_names:
            kept.unlink(missing_ok=True)
        elif kept.exists():
            os.rename(kept, record)
        raise
    return kept if kept.exists() else None


def _name_too(record: Path, kept: Path) -> bool:
    """Whether the disk knows second names, so that the first one is never without a file."""
    try:
        os.link(record, kept)
    except OSError:
        return False
    return True


def _free_name(record: Path, now_unix_s: float) -> Path:
    day, number = time.strftime("%Y-%m-%d-%H%M%S", time.localtime(now_unix_s)), 1
    while os.path.lexists(free := record.with_name(f"{record.stem}-until-{day}{f'-{number}' * (number > 1)}{record.suffix}")):
        number += 1
    return free


def _close_of_others(record: Path) -> None:
    """Bring in what stands beside the file; SQLite does that only while no other program has it open."""
    try:
        with contextlib.closing(sqlite3.connect(record, timeout=0.2)) as connection:
            connection.execute("PRAGMA journal_mode = DELETE").fetchone()
            connection.execute("BEGIN EXCLUSIVE")
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in _IN_USE:
            raise StoreError(f"{record} is open in another program; close that program and try again") from error
