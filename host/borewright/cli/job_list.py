"""borewright job list: what jobs the record holds."""

from __future__ import annotations

import argparse

from borewright.cli import exits
from borewright.cli.output import date_words, print_json, table_lines
from borewright.cli.record import add_record_argument, open_store

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job list."""
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """List them. Raises StoreError when the record file cannot be used."""
    from borewright.store.export import job_as_dict

    with open_store(args, create=False) as store:
        jobs = [(job, len(store.list_captures(job.id))) for job in store.list_jobs()]
    if args.json:
        print_json({"database": str(args.db), "jobs": [job_as_dict(job) | {"captures": tests} for job, tests in jobs]})
    elif jobs:
        rows = [
            [
                job.name,
                job.stage,
                job.engine_name,
                str(tests),
                date_words(job.created_at_unix_s),
                job.technician,
                job.customer_reference,
            ]
            for job, tests in jobs
        ]
        print("\n".join(table_lines(["job", "stage", "engine", "tests", "begun", "by", "reference"], rows)))
    else:
        print(f"there is no job in {args.db} yet")
    return exits.OK
