"""borewright job change: another name for a job, and what it is told beside its tests."""

from __future__ import annotations

import argparse

from borewright.cli import exits
from borewright.cli.find_job import add_job_arguments, the_job
from borewright.cli.job_options import add_details_arguments, details_of
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store
from borewright.errors import UseError

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job change."""
    add_job_arguments(parser)
    parser.add_argument("--rename", metavar="NAME", help="the new name")
    add_details_arguments(parser)
    parser.add_argument("--not-hot", dest="hot", action="store_const", const=False, help="this is not to be a hot test after all")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Change what is given; the record's log keeps what stood there. Raises UseError and StoreError."""
    from borewright.service.names import checked_line, checked_name
    from borewright.store.export import job_as_dict

    rename = None if args.rename is None else checked_name(args.rename, "a job", "--rename")
    customer = None if args.customer is None else checked_line(args.customer, "--customer")
    technician = None if args.technician is None else checked_line(args.technician, "--technician")
    with open_store(args, create=False) as store:
        job = the_job(store, args.name, args.stage)
        details = details_of(args, job.details)
        if rename is None and customer is None and technician is None and details == job.details:
            raise UseError("nothing was changed; say what to change, for instance --rename NAME (`borewright job change --help`)")
        store.change_job(job.id, name=rename, customer_reference=customer, technician=technician, details=details)
        job = store.get_job(job.id)
    if args.json:
        print_json({"database": str(args.db), "job": job_as_dict(job)})
    else:
        print(f"job {job.name}, {job.stage}: changed")
    return exits.OK
