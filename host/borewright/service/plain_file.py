"""Files that a person names, read whole: never a device or a pipe, which may have no end, and never more than is meant."""

from __future__ import annotations

import errno
from pathlib import Path

__all__ = ["octets_of", "text_of"]


def octets_of(path: Path, most: int) -> bytes:
    """The octets of a file. Raises OSError, with its strerror in words, where it is no plain file or holds more than `most`.

    >>> octets_of(Path("/"), 10)
    Traceback (most recent call last):
    IsADirectoryError: [Errno 21] it is a folder: '/'
    """
    try:
        if path.is_dir():
            raise OSError(errno.EISDIR, "it is a folder", str(path))
        if path.exists() and not path.is_file():
            raise OSError(errno.EINVAL, "it is a device or a pipe", str(path))
        with path.open("rb") as file:
            octets = file.read(most + 1)
    except ValueError:  # a zero in it
        raise OSError(errno.EINVAL, "it is no name of a file", str(path)) from None
    if len(octets) > most:
        raise OSError(errno.EFBIG, f"it is too large, over {most / 1e6:g} MB", str(path))
    return octets


def text_of(path: Path, most: int) -> str:
    """The same as text. Raises OSError as octets_of, and where it is not UTF-8."""
    try:
        return octets_of(path, most).decode("utf-8")
    except UnicodeDecodeError:
        raise OSError(errno.EILSEQ, "it is not UTF-8 text", str(path)) from None
