"""Files of the person's own folder: written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

__all__ = ["replace_whole"]


def replace_whole(path: Path, octets: bytes) -> None:
    """Put a file there, or leave the one that is there as it was. Raises OSError.

    >>> path = getfixture("tmp_path") / "units.toml"
    >>> replace_whole(path, b"new")
    >>> path.read_bytes(), [other.name for other in path.parent.iterdir()]
    (b'new', ['units.toml'])
    """
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=f"{path.stem}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(octets)
        os.replace(part, path)
    except OSError:
        with contextlib.suppress(OSError):
            os.unlink(part)
        raise
