"""borewright record check: is the record file sound."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.how_far import how_far
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument

if TYPE_CHECKING:
    from borewright.store.record_check import RecordCheck

__all__ = ["add_arguments", "check_as_dict", "holds", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of record check."""
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Look through it and say what is wrong; exit code 1 where something is. Raises StoreError where it cannot be read at all."""
    from borewright.store.record_check import check_record

    with how_far() as told:
        check = check_record(args.db, told)
    if args.json:
        print_json(check_as_dict(check))
    elif check.sound:
        print(f"{args.db} is sound: {holds(check)}, record version {check.version}")
    else:
        print(f"{args.db} is damaged:")
        for trouble in check.troubles:
            print(f"  {trouble}")
        print("Keep a copy of it, and put your last sound backup in its place with `borewright record restore`.")
    return exits.OK if check.sound else exits.UNUSABLE


def holds(check: RecordCheck) -> str:
    """What the file holds, in words.

    >>> from pathlib import Path
    >>> from borewright.store.record_check import RecordCheck
    >>> holds(RecordCheck(Path("shop.db"), 2, 3, {"complete": 11, "void": 1}, 90, 84_000, 2, ()))
    '3 jobs, 12 tests (11 complete, 1 void), 84000 samples in 90 parts, 2 photos'
    """
    states = ", ".join(f"{count} {state}" for state, count in check.tests.items())
    tests = _some(sum(check.tests.values()), "test") + (f" ({states})" if states else "")
    samples = f"{_some(check.samples, 'sample')} in {_some(check.chunks, 'part')}"
    return ", ".join((_some(check.jobs, "job"), tests, samples, _some(check.photos, "photo")))


def _some(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def check_as_dict(check: RecordCheck) -> dict[str, object]:
    """The check for JSON."""
    return {
        "database": str(check.path),
        "record_version": check.version,
        "sound": check.sound,
        "jobs": check.jobs,
        "tests": dict(check.tests),
        "parts": check.chunks,
        "samples": check.samples,
        "photos": check.photos,
        "troubles": list(check.troubles),
    }
