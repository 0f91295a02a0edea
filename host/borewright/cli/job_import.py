"""borewright job import: a job from another record."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from borewright.cli import exits
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job import."""
    parser.add_argument("file", metavar="FILE", type=Path, help="a .zip that `borewright job export` wrote")
    parser.add_argument("--as", dest="rename", metavar="NAME", help="the name that the job gets here")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Take all jobs of the file into the record, or none. Raises UseError and StoreError."""
    from borewright.service.job_import import checked_job_file
    from borewright.service.names import checked_name
    from borewright.store.export import job_as_dict

    rename = None if args.rename is None else checked_name(args.rename, "a job", "--as")
    print(f"looking through {args.file}: every number is read once before anything is taken in", file=sys.stderr, flush=True)
    file = checked_job_file(args.file)
    with open_store(args) as store:
        taken = store.take_in(file, rename)
        counts = store.count_captures()
    if args.json:
        print_json({"database": str(args.db), "jobs": [job_as_dict(job) | {"captures": counts.get(job.id, 0)} for job in taken]})
    for job in taken if not args.json else ():
        print(f"job {job.name}, {job.stage}, {job.engine_name}: {counts.get(job.id, 0)} tests imported into {args.db}")
    return exits.OK
