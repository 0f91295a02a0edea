"""borewright job new: begin a job before the engine is at the rig."""

from __future__ import annotations

import argparse

from borewright.cli import exits
from borewright.cli.find_job import STAGES
from borewright.cli.job_options import add_details_arguments, details_of
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job new."""
    parser.add_argument("name", metavar="NAME", help="what the job is called")
    parser.add_argument("--engine", metavar="ENGINE", required=True, help="an engine file, or the name of an engine of the library")
    parser.add_argument("--stage", choices=STAGES, default="routine", help="before or after the rebuild (default: routine)")
    add_details_arguments(parser)
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Begin it. Raises UseError for an engine or details that cannot be, StoreError where the job is there already."""
    from borewright.service.engines import find_engine
    from borewright.service.names import checked_line, checked_name
    from borewright.store.export import job_as_dict

    name, details = checked_name(args.name, "a job", "NAME"), details_of(args)
    customer = checked_line(args.customer or "", "--customer")
    technician = checked_line(args.technician or "", "--technician")
    with open_store(args) as store:
        engine, document = find_engine(args.engine, store)
        job_id = store.create_job(name, args.stage, store.save_engine(engine.name, document), customer, technician, details)
        job = store.get_job(job_id)
    if args.json:
        print_json({"database": str(args.db), "job": job_as_dict(job)})
    else:
        print(f"job {job.name}, {job.stage}, {job.engine_name}: begun; go through the engine with: borewright job run")
    return exits.OK
