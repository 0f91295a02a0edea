"""Captures and jobs as tables for other programs: CSV and plain dictionaries for JSON.

A cell of text that a spreadsheet would take for a formula is kept from being one by an apostrophe before it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, TextIO

from borewright.errors import StoreError
from borewright.store.job_file import save_new
from borewright.store.records import CaptureRecord, EventRecord, JobRecord, LoadedCapture

__all__ = [
    "capture_as_dict",
    "capture_table",
    "csv_text",
    "event_as_dict",
    "guarded",
    "job_as_dict",
    "job_table",
    "one_table",
    "save_csv",
    "write_csv",
]

_BEGINNINGS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")  # the wide ones count as well here and there
_BLANK = "".join(map(chr, (*range(33), 0x7F, *range(0x80, 0xA1), 0xAD, 0x200B, 0x200C, 0x200D, 0x2060, 0x3000, 0xFEFF)))
Cell = str | int | float | None
EXPANDED = {
    "leakage": ("leakage_percent", "expanded_leakage_percent"),
    "leak area": ("leak_area_mm2", "expanded_leak_area_mm2"),
    "trapped volume": ("trapped_volume_cm3", "expanded_trapped_volume_cm3"),
}
Table = tuple[Sequence[str], Iterable[Sequence[Cell]]]


def guarded(cell: Cell) -> Cell:
    """The cell, with an apostrophe before a text that begins like a formula; numbers stay numbers.

    >>> guarded("=1+1"), guarded(-1.5), guarded("-1.5"), guarded("plain")
    ("'=1+1", -1.5, "'-1.5", 'plain')
    """
    if isinstance(cell, str) and (cell.startswith(("\t", "\r", "\n")) or cell.lstrip(_BLANK).startswith(_BEGINNINGS)):
        return "'" + cell
    return cell


def write_csv(table: Table, file: TextIO) -> None:
    """The table as CSV (comma, RFC 4180 quoting) into an open text file."""
    headings, lines = table
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow([guarded(heading) for heading in headings])
    writer.writerows([guarded(cell) for cell in line] for line in lines)


def csv_text(table: Table) -> str:
    """The table as the text of a CSV file."""
    text = io.StringIO(newline="")
    write_csv(table, text)
    return text.getvalue()


def save_csv(table: Table, path: Path) -> None:
    """The table as a file, whole or not at all; an older file is replaced, but no record. Raises UseError and StoreError."""
    save_new(path, csv_text(table).encode(), replace=True)


def job_table(job: JobRecord, captures: Iterable[CaptureRecord]) -> Table:
    """One line for each capture of a job, with every number of its result that is a plain value."""
    listed = [(capture, _numbers(capture)) for capture in captures]
    numbers = sorted({key for _, found in listed for key in found})
    about = ["job", "stage", "engine", "test", "cylinder", "purpose", "state", "void_reason", "marks", "started_at_unix_s"]
    return [*about, *numbers], (
        [
            job.name,
            job.stage,
            job.engine_name,
            capture.id,
            capture.cylinder,
            capture.purpose,
            capture.state,
            capture.void_reason,
            "; ".join(capture.marks),
            capture.started_at_unix_s,
            # a spreadsheet's mean must not take in a number that is no good: it stays in the JSON and in the record
            *(found.get(key) if capture.state == "complete" else None for key in numbers),
        ]
        for capture, found in listed
    )


def _numbers(capture: CaptureRecord) -> dict[str, Cell]:
    """The plain values of a result; for leakage, leak area and volume also what they are uncertain by, k about 2."""
    from borewright.core.uncertainty import Budget  # noqa: PLC0415 -- loads numpy, and lists of jobs do without

    result = capture.result or {}
    found: dict[str, Cell] = {key: value for key, value in result.items() if isinstance(value, Cell)}
    try:
        budgets = [Budget.from_dict(document) for document in result.get("budgets") or ()]
    except ValueError as error:
        raise StoreError(f"the uncertainty budget of test {capture.id} cannot be read ({error}); the record was changed") from error
    for budget in budgets:
        name = EXPANDED.get(budget.quantity)
        if name is not None and budget.items:
            found.setdefault(name[0], budget.value)
            found[name[1]] = budget.expanded()
    return found


def one_table(tables: Iterable[Table]) -> Table:
    """The tables under each other; a column that one of them lacks stays empty there."""
    kept = [(headings, list(lines)) for headings, lines in tables]
    every = list(dict.fromkeys(heading for headings, _ in kept for heading in headings))
    lines: list[Sequence[Cell]] = []
    for headings, of_one in kept:
        for line in of_one:
            by_heading = dict(zip(headings, line, strict=True))
            lines.append([by_heading.get(heading) for heading in every])
    return every, lines


def capture_table(capture: LoadedCapture) -> Table:
    """One line for each sample: device time from the first sample, counts and raw words as they came."""
    columns = capture.columns
    headings = ["t_s", "tick", "index", "crank_count", *(f"raw_{channel}" for channel in range(columns.raw.shape[0])), "flags"]
    elapsed_s = (columns.tick - columns.tick[:1]) / columns.tick_rate_hz
    return headings, zip(
        elapsed_s.tolist(),
        columns.tick.tolist(),
        columns.index.tolist(),
        columns.crank_count.tolist(),
        *columns.raw.tolist(),
        columns.flags.tolist(),
        strict=True,
    )


def job_as_dict(job: JobRecord) -> dict[str, Any]:
    """A job for JSON."""
    return asdict(job)


def capture_as_dict(capture: CaptureRecord) -> dict[str, Any]:
    """A capture without its samples, for JSON."""
    return {key: list(value) if isinstance(value, tuple) else _plain(value) for key, value in asdict(capture).items()}


def event_as_dict(event: EventRecord) -> dict[str, Any]:
    """A line of the log, for JSON."""
    return asdict(event)


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else value
