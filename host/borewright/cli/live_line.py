"""The one line of a terminal that is written over while something changes, and ended before anything else is printed."""

from __future__ import annotations

import sys

__all__ = ["LiveLine"]


class LiveLine:
    """On the error stream. terminal: whether a line can be written over there; None: where it is a terminal."""

    def __init__(self, *, terminal: bool | None = None) -> None:
        self.terminal = sys.stderr.isatty() if terminal is None else terminal
        self._length = 0

    def show(self, text: str) -> None:
        """Write this over what stands there."""
        print(f"\r{text:<{self._length}}", end="", file=sys.stderr, flush=True)
        self._length = len(text)

    def end(self) -> None:
        """What is printed next begins on a line of its own."""
        if self._length:
            self._length = 0
            print(file=sys.stderr, flush=True)
