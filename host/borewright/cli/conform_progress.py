"""What `borewright conform` shows while it tries: each result under its chapter, and on a terminal the check that is under way."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, TextIO

from borewright.conform.verdict import Outcome, result_lines

if TYPE_CHECKING:
    from borewright.conform.verdict import Result

__all__ = ["Progress"]


class Progress:
    """Prints each result as it comes; what was not tried as one line for a chapter and a reason: the files have the whole list.

    >>> from borewright.conform.verdict import Outcome, Result
    >>> import sys
    >>> told = Progress(sys.stdout)
    >>> for name in ("one", "two"):
    ...     told(Result(name, "Air", "PROTOCOL.md 7", "It vents.", Outcome.NOT_TRIED, "it has no valves"))
    >>> told.end()
    Air: 2 not tried: it has no valves
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._terminal = stream.isatty()
        self._chapter = ""
        self._headed = self._apart = False
        self._not_tried: dict[str, list[str]] = {}
        self._running = 0

    def __call__(self, result: Result) -> None:
        """A result has come."""
        if result.chapter != self._chapter:
            self.end()
            self._chapter, self._headed = result.chapter, False
        if result.outcome is Outcome.NOT_TRIED:
            self._not_tried.setdefault(result.sentence, []).append(result.name)
            return
        if not self._headed:
            self._print("", result.chapter)
            self._headed = self._apart = True
        self._print(*result_lines(result))

    def about(self, name: str, number: int, of: int) -> None:
        """This check is tried now; what takes seconds must be seen to go on. Only on a terminal, where it is written over."""
        if self._terminal:
            self.clear()
            line = f"{number} of {of} {name} …"[: shutil.get_terminal_size().columns - 1]
            print(line, end="\r", file=self._stream, flush=True)
            self._running = len(line)

    def clear(self) -> None:
        """Take the running line away, before anything else is printed."""
        if self._running:
            print(" " * self._running, end="\r", file=self._stream, flush=True)
            self._running = 0

    def end(self) -> None:
        """A chapter is over: what was not tried in it, and the running line goes."""
        self.clear()
        for reason, names in self._not_tried.items():
            which = f"{len(names)}" if len(names) > 1 else names[0]
            if self._headed:
                self._print(f"  {Outcome.NOT_TRIED.value:10}  {which}: {reason}")
            else:
                self._print(*([""] if self._apart else []), f"{self._chapter}: {which} not tried: {reason}")
                self._apart = False
        self._not_tried.clear()

    def _print(self, *lines: str) -> None:
        self.clear()
        print("\n".join(lines), file=self._stream, flush=True)
