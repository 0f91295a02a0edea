"""borewright record restore: a backup put in the place of the record file."""

from __future__ import annotations

import argparse
from pathlib import Path

from borewright.cli import exits
from borewright.cli.how_far import how_far
from borewright.cli.output import print_json
from borewright.cli.record_check import check_as_dict, holds
from borewright.cli.record_file import add_record_argument

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of record restore."""
    parser.add_argument("file", metavar="FILE", type=Path, help="the backup")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Put it in place. Raises UseError and StoreError; the record file is as it was then."""
    from borewright.store.record_copy import restore

    with how_far() as told:
        done = restore(args.file, args.db, told=told)
    if args.json:
        print_json(
            check_as_dict(done.check)
            | {"database": str(args.db), "backup": str(args.file), "was_version": done.was_version}
            | {"kept": None if done.kept is None else str(done.kept)}
        )
        return exits.OK
    print(f"{args.file} is now {args.db}: {holds(done.check)}")
    if done.was_version != done.check.version:
        print(f"It was brought from record version {done.was_version} to {done.check.version}; the backup itself is as it was.")
    if done.kept is not None:
        print(f"The record file that stood there is kept as {done.kept}.")
    return exits.OK
