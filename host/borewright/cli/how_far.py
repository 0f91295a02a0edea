"""How far a piece of work is, told on the error stream once it takes longer than a second."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["how_far"]

QUIET_S = 1.0
BETWEEN_S = {True: 0.2, False: 5.0}  # on a terminal, where one line is written over; elsewhere, where each stays


@contextmanager
def how_far(clock: Callable[[], float] = time.monotonic) -> Iterator[Callable[[str, int, int], None]]:
    """A function that is told what is being done, how many of it are done, and of how many (0: nobody knows)."""
    live = sys.stderr.isatty()
    next_at_s = clock() + QUIET_S
    shown = 0

    def told(what: str, done: int, of: int) -> None:
        nonlocal next_at_s, shown
        now_s = clock()
        if now_s < next_at_s:
            return
        next_at_s = now_s + BETWEEN_S[live]
        line = f"{what} …" if of == 0 else f"{what}: {done} of {of}, {done / of:.0%} …"
        if live:
            line = line[: shutil.get_terminal_size().columns - 1]
            print(line.ljust(shown), end="\r", file=sys.stderr, flush=True)
            shown = len(line)
        else:
            print(line, file=sys.stderr, flush=True)

    try:
        yield told
    finally:
        if shown:
            print(" " * shown, end="\r", file=sys.stderr, flush=True)
