"""Requests to end that must leave the rig as Ctrl-C leaves it."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["ended_like_ctrl_c"]


@contextmanager
def ended_like_ctrl_c() -> Iterator[None]:
    """A closed terminal window and a request to end raise KeyboardInterrupt, as Ctrl-C does: shut, vent, keep what was recorded."""
    names = ("SIGTERM", "SIGHUP")  # SIGHUP: not on Windows
    before = {number: signal.signal(number, _interrupt) for name in names if (number := getattr(signal, name, None)) is not None}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _interrupt(_number: int, _frame: object) -> None:
    raise KeyboardInterrupt
