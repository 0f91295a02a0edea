"""borewright record backup: a copy of the record file, whole and looked through."""

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
    """The options of record backup."""
    parser.add_argument("file", metavar="FILE", type=Path, help="the copy that is made")
    parser.add_argument("--force", action="store_true", help="write over an older backup of that name")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Make the copy. Raises UseError and StoreError; there is no file of that name then, or the one that was there."""
    from borewright.store.record_copy import back_up

    with how_far() as told:
        check = back_up(args.db, args.file, replace=args.force, told=told)
    if args.json:
        print_json(check_as_dict(check) | {"database": str(args.db), "backup": str(args.file)})
    else:
        print(f"{args.db} copied to {args.file}, and the copy is sound: {holds(check)}")
    return exits.OK
