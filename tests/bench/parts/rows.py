"""A row of the table that all benchmarks end in: what was measured, against what, what is asked, what was found.

Each benchmark tells its rows with `tell`. It prints them where it is run alone, and hands them to `python3 tests/run.py --bench`,
which prints one table of all of them at its end: `rows.py FILE` prints what was handed on in FILE. Standard library only.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

__all__ = ["ROWS_FILE", "Row", "at_least", "at_most", "read_rows", "table_lines", "tell"]

ROWS_FILE = "BOREWRIGHT_BENCH_ROWS"  # the environment variable that names the file which rows are handed on in


@dataclass(frozen=True)
class Row:
    """what: what was measured, with its circumstances. yardstick: what the figure is a multiple of, or is measured in.

    asked: the bound, None where there is none and the figure stands for itself; no less than it when `least`, else no more.
    """

    what: str
    yardstick: str
    found: float
    asked: float | None
    least: bool

    @property
    def reached(self) -> bool | None:
        """Whether the bound is met; None where there is none.

        >>> at_least("decode", "line rate", 41.0, 40.0).reached, at_most("start", "bare program", 1.6, 1.5).reached
        (True, False)
        """
        if self.asked is None:
            return None
        return self.found >= self.asked if self.least else self.found <= self.asked


def at_least(what: str, yardstick: str, found: float, asked: float | None) -> Row:
    """A row whose figure is good when it is large."""
    return Row(what, yardstick, float(found), asked, least=True)


def at_most(what: str, yardstick: str, found: float, asked: float | None) -> Row:
    """A row whose figure is good when it is small."""
    return Row(what, yardstick, float(found), asked, least=False)


def tell(rows: Iterable[Row]) -> None:
    """Print the rows, or hand them on to the run of all benchmarks where this is one of it."""
    told = list(rows)
    file = os.environ.get(ROWS_FILE)
    if file is None:
        print("\n".join(table_lines(told)), flush=True)
        return
    with Path(file).open("a", encoding="utf-8") as out:
        out.writelines(json.dumps(asdict(row), ensure_ascii=False) + "\n" for row in told)


def read_rows(file: Path) -> list[Row]:
    """What was told so far, oldest first."""
    return [Row(**json.loads(line)) for line in file.read_text(encoding="utf-8").splitlines()] if file.exists() else []


def table_lines(rows: Sequence[Row]) -> list[str]:
    """The table.

    >>> print("\\n".join(table_lines([at_least("decode", "× line rate", 41.0, 40.0), at_most("start", "× bare", 1.6, 1.5)])))
    what    in           asked  found
    decode  × line rate   ≥ 40     41  reached
    start   × bare       ≤ 1.5    1.6  NOT REACHED
    """
    verdicts = {True: "reached", False: "NOT REACHED", None: ""}
    cells = [("what", "in", "asked", "found", "")]
    for row in rows:
        asked = "" if row.asked is None else f"{'≥' if row.least else '≤'} {row.asked:.4g}"
        cells.append((row.what, row.yardstick, asked, f"{row.found:.4g}", verdicts[row.reached]))
    wide = [max(len(line[column]) for line in cells) for column in range(4)]
    return [
        f"{what:{wide[0]}}  {yardstick:{wide[1]}}  {asked:>{wide[2]}}  {found:>{wide[3]}}  {verdict}".rstrip()
        for what, yardstick, asked, found, verdict in cells
    ]


if __name__ == "__main__":
    print("\n".join(table_lines(read_rows(Path(sys.argv[1])))))
