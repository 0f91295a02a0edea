"""borewright job list: what jobs the record holds."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.output import date_words, no_collecting, print_json, table_lines
from borewright.cli.record_file import add_record_argument, open_store

if TYPE_CHECKING:
    from borewright.store.records import JobRecord

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job list."""
    parser.add_argument(
        "--search", metavar="TEXT", default="", help="only jobs with this in their name, reference, technician or engine"
    )
    parser.add_argument("--archived", action="store_true", help="also those that were archived")
    parser.add_argument("--deleted", action="store_true", help="also those that were deleted")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """List them. Raises StoreError when the record file cannot be used."""
    with no_collecting():
        return _list(args)


def _list(args: argparse.Namespace) -> int:
    from borewright.cli.job_cut_off import cut_off_as_dict, cut_off_lines
    from borewright.service.cut_off import cut_off_tests
    from borewright.store.export import job_as_dict

    with open_store(args, create=False) as store:
        jobs = store.list_jobs(deleted=args.deleted, archived=args.archived or args.deleted, search=args.search)
        tests = store.count_captures()
        cut_off = cut_off_tests(store)
    if args.json:
        listed = [job_as_dict(job) | {"captures": tests.get(job.id, 0)} for job in jobs]
        print_json({"database": str(args.db), "jobs": listed, "cut_off": [cut_off_as_dict(one) for one in cut_off]})
        return exits.OK
    if jobs:
        rows = [_row(job, tests.get(job.id, 0)) for job in jobs]
        headings = ["no.", "job", "stage", "engine", "tests", "begun", "by", "reference", ""]
        print("\n".join(table_lines(headings, rows)))
    elif args.search:
        print(f"no job in {args.db} has {args.search!r} in its name, reference, technician or engine")
    else:
        print(f"there is no job in {args.db} yet")
    for line in cut_off_lines(cut_off, args.db):
        print(line)
    return exits.OK


def _row(job: JobRecord, tests: int) -> list[str]:
    away = f"deleted: {job.deleted_reason}" if job.deleted_at_unix_s is not None else ""
    away = away or ("archived" if job.archived_at_unix_s is not None else "")
    begun = date_words(job.created_at_unix_s)
    return [str(job.id), job.name, job.stage, job.engine_name, str(tests), begun, job.technician, job.customer_reference, away]
