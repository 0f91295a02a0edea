"""A door between SQLite and the disk: what goes through can be logged, refused, held back, or be the last act of a process.

A VFS of SQLite's own kind (sqlite.org/vfs.html) that hands everything to the usual one and asks a Tap first. It is put below the
library that Python's sqlite3 has loaded, so the store above it is the one that people run.
"""

from __future__ import annotations

import _sqlite3
import ctypes
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from ctypes import CFUNCTYPE, POINTER, Structure, c_char_p, c_int, c_int64, c_void_p

__all__ = ["CREATE", "OK", "Tap", "tapped"]

OK = sqlite3.SQLITE_OK
CREATE = 0x4  # SQLITE_OPEN_CREATE
DELETE_ON_CLOSE = 0x8

_OPEN = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, POINTER(c_int))
_DELETE = CFUNCTYPE(c_int, c_void_p, c_char_p, c_int)
_WRITE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
_TRUNCATE = CFUNCTYPE(c_int, c_void_p, c_int64)
_SYNC = CFUNCTYPE(c_int, c_void_p, c_int)


class _Methods(Structure):
    """sqlite3_io_methods; what is not tapped stays a bare address."""

    _fields_ = (
        ("version", c_int),
        ("close", c_void_p),
        ("read", c_void_p),
        ("write", _WRITE),
        ("truncate", _TRUNCATE),
        ("sync", _SYNC),
        *((f"other_{number}", c_void_p) for number in range(13)),
    )


class _File(Structure):
    _fields_ = (("methods", POINTER(_Methods)),)


class _Vfs(Structure):
    """sqlite3_vfs, version 3."""

    _fields_ = (
        ("version", c_int),
        ("file_size", c_int),
        ("longest_path", c_int),
        ("next", c_void_p),
        ("name", c_char_p),
        ("own", c_void_p),
        ("open", _OPEN),
        ("delete", _DELETE),
        *((f"other_{number}", c_void_p) for number in range(14)),
    )


class Tap:
    """Asked before each act; `go` does it. Each gives SQLite's result code. This one lets everything through."""

    def opened(self, path: str, flags: int) -> None:
        """A file was opened; made, where flags has CREATE and it was not there."""

    def write(self, path: str, offset: int, data: bytes, go: Callable[[bytes], int]) -> int:
        """Write data, or as much of it as go is given."""
        del path, offset
        return go(data)

    def truncate(self, path: str, size: int, go: Callable[[], int]) -> int:
        """Cut the file."""
        del path, size
        return go()

    def sync(self, path: str, go: Callable[[], int]) -> int:
        """Have all that was written on the disk."""
        del path
        return go()

    def delete(self, path: str, folder_synced: bool, go: Callable[[], int]) -> int:
        """Remove the file."""
        del path, folder_synced
        return go()


@contextmanager
def tapped(tap: Tap) -> Iterator[None]:
    """Every file that SQLite opens meanwhile in this process goes through the tap, also after the end of it."""
    library = ctypes.CDLL("sqlite3.dll" if sys.platform == "win32" else _sqlite3.__file__)
    library.sqlite3_vfs_find.restype = POINTER(_Vfs)
    usual = library.sqlite3_vfs_find(None)
    shim = _Shim(usual, tap)
    library.sqlite3_vfs_register(ctypes.byref(shim.vfs), 1)
    _KEPT.append(shim)  # files that are still open call into it
    try:
        yield
    finally:
        library.sqlite3_vfs_unregister(ctypes.byref(shim.vfs))
        library.sqlite3_vfs_register(usual, 1)


_KEPT: list[_Shim] = []


class _Shim:
    def __init__(self, usual: ctypes._Pointer[_Vfs], tap: Tap) -> None:
        self._usual, self._tap = usual, tap
        self._paths: dict[int, str] = {}
        self._theirs: dict[int, _Methods] = {}
        self._methods: dict[int, tuple[_Methods, _Methods]] = {}  # by the address of the usual ones: ours, theirs
        self.vfs = _Vfs()
        ctypes.pointer(self.vfs)[0] = usual.contents
        self.vfs.name = b"borewright-test-shim"
        self.vfs.open, self.vfs.delete = _OPEN(self._open), _DELETE(self._delete)

    def _open(self, _vfs: int, name: int | None, file: int, flags: int, out: ctypes._Pointer[c_int]) -> int:
        # the name goes on as the address that SQLite gave: it is kept there for as long as the file is open
        code = int(self._usual.contents.open(ctypes.cast(self._usual, c_void_p), name, file, flags, out))
        made = ctypes.cast(file, POINTER(_File)).contents
        if code != OK or not name or not made.methods or flags & DELETE_ON_CLOSE:
            return code
        address = ctypes.addressof(made.methods.contents)
        if address not in self._methods:
            ours = _Methods()
            ctypes.pointer(ours)[0] = made.methods.contents
            theirs = made.methods.contents
            ours.write, ours.truncate = _WRITE(self._write), _TRUNCATE(self._truncate)
            ours.sync = _SYNC(self._sync)
            self._methods[address] = (ours, theirs)
        ours, self._theirs[file] = self._methods[address]
        made.methods = ctypes.pointer(ours)
        self._paths[file] = ctypes.string_at(name).decode()
        self._tap.opened(self._paths[file], flags)
        return code

    def _write(self, file: int, data: int, size: int, offset: int) -> int:
        def go(octets: bytes) -> int:
            return int(self._theirs[file].write(file, ctypes.cast(c_char_p(octets), c_void_p), len(octets), offset))

        return self._tap.write(self._paths[file], offset, ctypes.string_at(data, size), go)

    def _truncate(self, file: int, size: int) -> int:
        return self._tap.truncate(self._paths[file], size, lambda: int(self._theirs[file].truncate(file, size)))

    def _sync(self, file: int, flags: int) -> int:
        return self._tap.sync(self._paths[file], lambda: int(self._theirs[file].sync(file, flags)))

    def _delete(self, _vfs: int, name: bytes, sync_folder: int) -> int:
        def go() -> int:
            return int(self._usual.contents.delete(ctypes.cast(self._usual, c_void_p), name, sync_folder))

        return self._tap.delete(name.decode(), bool(sync_folder), go)
