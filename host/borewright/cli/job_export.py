"""borewright job export: a job for other programs, or for another record."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from borewright.cli import exits
from borewright.cli.find_job import STAGES, the_jobs
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store
from borewright.errors import UseError
from borewright.service.exporting import KINDS, export_bytes

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job export."""
    parser.add_argument("name", metavar="NAME", help="the job's name, as `borewright job list` shows it")
    parser.add_argument("--stage", choices=STAGES, help="only this stage (default: all)")
    kinds = "; ".join(f"{ending} {what}" for ending, what in KINDS.items())
    parser.add_argument("--out", metavar="FILE", type=Path, required=True, help=f"the file; its ending says what it holds: {kinds}")
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="say what was written as one JSON object")


def run(args: argparse.Namespace) -> int:
    """Export it. Raises UseError for an unknown job or ending, and for a file that is there already."""
    from borewright.store.job_file import save_new

    kind = args.out.suffix.lower()
    if kind not in KINDS:
        raise UseError(f"{args.out}: the ending says what is written; give one of {', '.join(KINDS)}")
    if os.path.lexists(args.out) and not args.force:  # said before the work, not after it
        raise UseError(f"{args.out} is there already and was left alone; give another name, or --force to write over it")
    with open_store(args, create=False) as store:
        chosen = the_jobs(store, args.name, args.stage)
        data = export_bytes(store, chosen, kind)
    save_new(args.out, data, replace=args.force)
    stages = [job.stage for job in chosen]
    if args.json:
        print_json({"file": str(args.out), "job": args.name, "stages": stages, "bytes": len(data)})
    else:
        print(f"job {args.name} ({', '.join(stages)}) written to {args.out}: {KINDS[kind]}")
    return exits.OK
