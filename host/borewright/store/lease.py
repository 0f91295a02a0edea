"""Who is recording into a file just now.

A program that records holds an advisory lock on a small file beside the record. The lock goes with the process, however it ends, so
that another program can tell a test that is running from one that a crash has left behind.
"""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

__all__ = ["Lease"]


class Lease:
    """The right to record into one file; at most one holder on this computer."""

    def __init__(self, record: Path) -> None:
        self._path = record.with_name(record.name + "-recording")
        self._fd: int | None = None

    @property
    def held(self) -> bool:
        """Whether this object holds it."""
        return self._fd is not None

    def take(self) -> bool:
        """Take it; False when another one holds it. Raises OSError when the file beside the record cannot be made."""
        while self._fd is None:
            fd = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
            if not _lock(fd):
                os.close(fd)
                return False
            if _still_there(fd, self._path):
                self._fd = fd
            else:  # the last holder removed it between our opening and our locking
                os.close(fd)
        return True

    def give_back(self) -> None:
        """Give it back and remove the file. Doing so twice does nothing."""
        if self._fd is None:
            return
        fd, self._fd = self._fd, None
        if sys.platform == "win32":  # an open file cannot be removed there
            os.close(fd)
            with contextlib.suppress(PermissionError):  # the next holder has opened it already
                self._path.unlink(missing_ok=True)
        else:
            self._path.unlink(missing_ok=True)
            os.close(fd)


def _still_there(fd: int, path: Path) -> bool:
    try:
        there = os.stat(path)
    except FileNotFoundError:
        return False
    own = os.fstat(fd)
    return (own.st_dev, own.st_ino) == (there.st_dev, there.st_ino)


if sys.platform == "win32":
    import msvcrt

    def _lock(fd: int) -> bool:
        try:
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
else:
    import fcntl

    def _lock(fd: int) -> bool:
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
