"""Whether what was recorded is in the file that has the record's name: a file can be taken away while it is written into.

The database writes on into a file that was removed, moved or cut short, and says nothing of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from borewright.errors import StoreError
from borewright.store.errors import GoneError, LockedError
from borewright.store.reading import reading

__all__ = ["Opened", "check_still_there"]

OTHER = "keep a copy of it and go on with the last backup or a new file"


@dataclass(frozen=True, slots=True)
class Opened:
    """The file that was opened: which one of which disk, and its octets then."""

    device: int
    inode: int
    size: int

    @classmethod
    def of(cls, path: Path) -> Opened:
        """The file that has this name now. Raises OSError."""
        found = path.stat()
        return cls(found.st_dev, found.st_ino, found.st_size)


def check_still_there(path: Path, opened: Opened, capture_id: int, uid: str, state: str, parts: int) -> None:
    """Read a capture back by the record's name. parts: of its samples. Raises GoneError where it is not there as it was written.

    What another program holds for so long that it cannot be looked at counts as there: its transaction had ended.
    """
    try:
        now = Opened.of(path)
    except OSError as error:
        raise _gone(path, f"was taken away ({error.strerror or error})", "bring it back, or go on with the last backup") from None
    if (now.device, now.inode) != (opened.device, opened.inode):
        raise _gone(path, "had another file put in its place", "look for the test in the file that was moved away")
    try:
        found = _read_back(path, capture_id, whole=now.size < opened.size)
    except LockedError:
        return
    except StoreError as error:
        raise _gone(path, f"was damaged ({error.__cause__ or error})", OTHER) from None
    if found != (uid, state, parts):
        raise _gone(path, "was cut short, or what belongs to it was taken away,", OTHER)


def _read_back(path: Path, capture_id: int, whole: bool) -> tuple[str, str, int] | None:
    """Its row as it stands on the disk, with every part of its samples read. whole: None also where any page is missing."""
    with reading(path, path) as connection:
        if whole and connection.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
            return None
        row = connection.execute("SELECT uid, state FROM captures WHERE id = ?", (capture_id,)).fetchone()
        packed = connection.execute("SELECT packed FROM capture_chunks WHERE capture_id = ?", (capture_id,)).fetchall()
    return None if row is None else (row[0], row[1], len(packed))


def _gone(path: Path, what: str, way: str) -> GoneError:
    return GoneError(f"{path} {what} while the test was recorded, so the test was NOT KEPT there; {way}, and test again")
