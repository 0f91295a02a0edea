"""borewright job archive, unarchive, delete, restore: out of the list and back. Nothing is ever removed from the record."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.find_job import add_job_arguments, the_job
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["add_arguments", "run"]

DONE = {
    "archive": "archived; `borewright job list --archived` shows it, `job unarchive` brings it back",
    "unarchive": "back in the list",
    "delete": "deleted; its tests are kept, and `borewright job restore` brings it back",
    "restore": "brought back",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of all four; --reason is for deleting, --number for one of several deleted jobs of a name."""
    add_job_arguments(parser)
    parser.add_argument("--reason", metavar="TEXT", default="", help="why it is deleted")
    parser.add_argument(
        "--number", metavar="N", type=int, help="its number in `borewright job list --deleted`, to tell deleted ones apart"
    )
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Do it. Raises UseError for a job that is not meant clearly, StoreError where a name is taken."""
    from borewright.service.names import checked_line
    from borewright.store.export import job_as_dict

    reason = checked_line(args.reason, "--reason")
    with open_store(args, create=False) as store:
        job = _deleted_job(store, args) if args.subcommand == "restore" else the_job(store, args.name, args.stage)
        match args.subcommand:
            case "delete":
                store.delete_job(job.id, reason or "deleted by hand")
            case "restore":
                store.restore_job(job.id)
            case _:
                store.archive_job(job.id, args.subcommand == "archive")
        job = store.get_job(job.id)
    if args.json:
        print_json({"database": str(args.db), "job": job_as_dict(job)})
    else:
        print(f"job {job.name}, {job.stage}: {DONE[args.subcommand]}")
    return exits.OK


def _deleted_job(store: Store, args: argparse.Namespace) -> JobRecord:
    found = [
        job
        for job in store.list_jobs(deleted=True, archived=True)
        if job.deleted_at_unix_s is not None
        and job.name == args.name
        and args.stage in (None, job.stage)
        and args.number in (None, job.id)
    ]
    if not found:
        raise UseError(f"no deleted job {args.name!r} is in {args.db}; `borewright job list --deleted` shows those that are there")
    if len(found) > 1:
        numbers = ", ".join(f"{job.id} ({job.stage})" for job in found)
        raise UseError(f"several deleted jobs are called {args.name!r}: {numbers}; say which one with --number")
    return found[0]
