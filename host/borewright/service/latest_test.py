"""Which capture of a cylinder stands for it: light, so that a command's help does not wait for it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from borewright.store.records import CaptureRecord

__all__ = ["latest"]


def latest(captures: Sequence[CaptureRecord], purpose: str) -> CaptureRecord | None:
    """The latest complete capture of a purpose ("test", "wet", …) that was measured and holds a leak area; captures oldest first.

    >>> latest((), "test") is None
    True
    """
    found = [
        capture
        for capture in captures
        if capture.purpose == purpose
        and capture.state == "complete"
        and capture.device_serial
        and (capture.result or {}).get("leak_area_mm2") is not None
    ]
    return found[-1] if found else None
