"""The frames of firmware_protocol/vectors that are for the device, as they are kept in vectors.toml of this room.

The vectors themselves are in no wheel; `python tests/conform/vector_frames_file.py` writes the file, and a test compares.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any

__all__ = ["accept_frames", "reject_frames"]


@cache
def _file() -> dict[str, Any]:
    return tomllib.loads(resources.files("borewright.conform").joinpath("vectors.toml").read_text("utf-8"))


def accept_frames() -> tuple[tuple[str, bytes], ...]:
    """Name and octets of each frame that must be accepted, by the device or by the host."""
    return _frames("accept")


def reject_frames() -> tuple[tuple[str, bytes], ...]:
    """Name and octets of each frame that the device must refuse.

    >>> reject_frames()[0][0]
    'IdentifyRequest, one octet more'
    """
    return _frames("reject")


def _frames(kind: str) -> tuple[tuple[str, bytes], ...]:
    return tuple((case["name"], bytes.fromhex(case["frame"])) for case in _file()[kind])
