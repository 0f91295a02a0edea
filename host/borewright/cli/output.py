"""What every command prints alike: JSON, tables of text, times."""

from __future__ import annotations

import codecs
import gc
import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from borewright.service.time_words import date_words

__all__ = ["date_words", "no_collecting", "print_json", "prints_every_letter", "table_lines"]


def prints_every_letter() -> bool:
    """Whether standard output takes any text; where it does not, what another program is to read must be written in ASCII."""
    encoding = getattr(sys.stdout, "encoding", None)  # None: kept in memory, as text
    return encoding is None or codecs.lookup(encoding).name.startswith("utf")


def print_json(value: object) -> None:
    """One line of JSON, handed on at once. Raises ValueError for NaN and infinity, for which JSON has no word."""
    print(json.dumps(value, ensure_ascii=not prints_every_letter(), allow_nan=False), flush=True)


@contextmanager
def no_collecting() -> Iterator[None]:
    """No garbage collection inside: for a list of tens of thousands of rows, all of which are kept until it is printed.

    Looking them over for what could be freed would take a fifth of the time and free nothing.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def table_lines(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """The rows under their headings, each column as wide as its widest cell.

    >>> table_lines(["name", "n"], [["inlet", "3"]])
    ['name   n', 'inlet  3']
    """
    every = [headings, *rows]
    widths = [max(map(len, column)) for column in zip(*every, strict=True)]
    form = "  ".join(f"{{:<{width}}}" for width in widths)  # one for all lines: a shop's list has tens of thousands
    return [form.format(*line).rstrip() for line in every]
