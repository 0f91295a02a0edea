"""borewright compare: before against after, cylinder by cylinder; the trend of one engine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.find_job import STAGES, one_of_two, the_job
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store
from borewright.cli.shown import add_units_argument, shown_units
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright compare "hill-climb 7"
  borewright compare "hill-climb 7" "hill-climb 9" --stage-a after --stage-b routine
  borewright compare "hill-climb 7" --curves hillclimb.svg
  borewright compare "hill-climb 9" --trend --csv trend.csv

better, worse: the change is larger than its uncertainty, which is wide enough for all
cylinders together. Leak areas are compared at one pressure; a percentage that was read on
another restrictor, pressure or temperature is converted first, and that is said."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of compare."""
    parser.add_argument("job", metavar="JOB", help="the job's name; alone, its stages before and after are compared")
    parser.add_argument("other", metavar="JOB", nargs="?", help="the later job, of the same engine")
    parser.add_argument("--stage-a", choices=STAGES, help="stage of the first (alone: before)")
    parser.add_argument("--stage-b", choices=STAGES, help="stage of the second (alone: after)")
    parser.add_argument("--stage", choices=STAGES, help="with two jobs: the stage of each that has several")
    parser.add_argument("--trend", action="store_true", help="all jobs of its engine, each against the first and the one before")
    parser.add_argument("--curves", metavar="FILE", type=Path, help="also draw the decays of both over each other, as .svg")
    parser.add_argument("--csv", metavar="FILE", type=Path, help="also write the table for other programs")
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
    add_units_argument(parser)
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object; with --curves, the points of the curves too")


def run(args: argparse.Namespace) -> int:
    """Compare, or show the trend. Raises UseError for jobs that cannot be compared, StoreError when a file cannot be used."""
    for file in (args.csv, args.curves):
        if file is not None and file.exists() and not args.force:
            raise UseError(f"{file} is there already and was left alone; give another name, or --force to write over it")
    if args.stage is not None and args.other is None and not args.trend:
        raise UseError("--stage is that of both of two jobs; name the other one, or say --stage-a and --stage-b")
    if args.curves is not None and args.trend:
        raise UseError("curves are drawn of two jobs, not of a trend; leave --curves or --trend out")
    with open_store(args, create=False) as store:
        return _trend(args, store) if args.trend else _compare(args, store)


def _jobs(args: argparse.Namespace, store: Store) -> tuple[JobRecord, JobRecord]:
    if args.other is None:
        return the_job(store, args.job, args.stage_a or "before"), the_job(store, args.job, args.stage_b or "after")
    first, second = (
        the_job(store, name, stage) if stage is not None else one_of_two(store, name, args.stage)
        for name, stage in ((args.job, args.stage_a), (args.other, args.stage_b))
    )
    return first, second


def _compare(args: argparse.Namespace, store: Store) -> int:
    from borewright.cli.compare_shown import comparison_as_dict, comparison_lines, comparison_table
    from borewright.service.comparing import compare_jobs
    from borewright.store.export import save_csv

    units = shown_units(args)
    found = compare_jobs(store, *_jobs(args, store))
    document: dict[str, Any] = {"database": str(args.db)} | comparison_as_dict(found)
    files = []
    if args.curves is not None:
        from borewright.cli.curves_svg import curves_svg, save_svg
        from borewright.service.overlaying import overlaid

        curves = overlaid(store, found)
        save_svg(curves_svg(found, curves, units), args.curves, replace=args.force)
        document["curves"] = [curve.as_dict() for curve in curves]
        files.append(args.curves)
    if args.csv is not None:
        save_csv(comparison_table(found), args.csv)
        files.append(args.csv)
    if args.json:
        print_json(document | {"files": [str(file) for file in files]})
        return exits.OK
    print("\n".join([*comparison_lines(found, units), *(f"written to {file}" for file in files)]))
    return exits.OK


def _trend(args: argparse.Namespace, store: Store) -> int:
    from borewright.cli.compare_shown import trend_as_dict, trend_lines, trend_table
    from borewright.cli.find_job import the_jobs
    from borewright.service.trending import trend_of
    from borewright.store.export import save_csv

    if args.other is not None or args.stage_b is not None:
        raise UseError("a trend is of one engine; name one job of it")
    units = shown_units(args)
    found = trend_of(store, the_jobs(store, args.job, args.stage_a or args.stage)[-1])
    files = []
    if args.csv is not None:
        save_csv(trend_table(found), args.csv)
        files.append(args.csv)
    if args.json:
        print_json({"database": str(args.db)} | trend_as_dict(found) | {"files": [str(file) for file in files]})
        return exits.OK
    print("\n".join([*trend_lines(found, units), *(f"written to {file}" for file in files)]))
    return exits.OK
