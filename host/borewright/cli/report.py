"""borewright report: what the customer gets, as a PDF."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.find_job import STAGES, one_of_two, the_jobs
from borewright.cli.judged import add_limits_argument
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store
from borewright.cli.shown import add_units_argument, chosen_units
from borewright.errors import UseError
from borewright.service.shown_units import user_settings_path

if TYPE_CHECKING:
    from borewright.service.shop import Shop
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright report "hill-climb 7" --out hillclimb.pdf
  borewright report "hill-climb 7" --stage before --out before.pdf --page letter
  borewright report "hill-climb 6" "hill-climb 7" --stage after --out both.pdf
  borewright report "hill-climb 7" --out hillclimb.pdf --shop "Alder Lane Engine Works" --logo logo.png --keep-shop

A job with the stages before and after is shown with both, held against each other; any other is shown as it is.
The report is an aid to judgement; it approves nothing, and the engine maker's manual comes first."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of report."""
    parser.add_argument("name", metavar="JOB", help="the job's name, as `borewright job list` shows it")
    parser.add_argument("other", metavar="JOB", nargs="?", help="a later job of the same engine, to be held against the first")
    parser.add_argument("--out", metavar="FILE.pdf", type=Path, required=True, help="the file to write")
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
    parser.add_argument("--page", choices=("a4", "letter"), default="a4", help="the paper (default: a4)")
    parser.add_argument("--stage", choices=STAGES, help="only this stage; with two jobs, of each that has several")
    parser.add_argument("--shop", metavar="NAME", help="the name over the report (default: the one that was kept)")
    parser.add_argument("--contact", metavar="TEXT", help="a line under it: address, telephone")
    parser.add_argument("--logo", metavar="FILE", type=Path, help="a logo beside it, PNG or JPEG")
    parser.add_argument("--keep-shop", action="store_true", help="keep name, contact and logo for the reports to come")
    add_limits_argument(parser)
    add_units_argument(parser)
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="say what was written as one JSON object")


def run(args: argparse.Namespace) -> int:
    """Write it. Raises UseError for jobs, limits, units, logo or file that will not do, StoreError for the record."""
    from borewright.store.job_file import save_new

    if args.out.suffix.lower() != ".pdf":
        raise UseError(f"{args.out}: a report is written as PDF; give a name that ends in .pdf")
    if args.out.exists() and not args.force:  # said before the work, not after it
        raise UseError(f"{args.out} is there already and was left alone; give another name, or --force to write over it")
    units = chosen_units(args)
    shop = _shop(args)
    with open_store(args, create=False) as store:
        first, second = _meant(store, args)
        from borewright.report.pdf import render
        from borewright.service.report_data import report_of

        report = report_of(store, first, second, limits=args.limits, units=units, shop=shop)
    data = render(report, "letter" if args.page == "letter" else "A4")
    save_new(args.out, data, replace=args.force)
    jobs = [job for job in (first, second) if job is not None]
    if args.json:
        shown = [{"job": job.name, "stage": job.stage} for job in jobs]
        print_json({"file": str(args.out), "jobs": shown, "page": args.page, "bytes": len(data)})
    else:
        print(f"report of {' and '.join(f'{job.name} ({job.stage})' for job in jobs)} written to {args.out}")
    return exits.OK


def _meant(store: Store, args: argparse.Namespace) -> tuple[JobRecord, JobRecord | None]:
    """The job or the two jobs, the earlier one first."""
    if args.other is not None:
        first, second = (one_of_two(store, name, args.stage) for name in (args.name, args.other))
        if first.id == second.id:
            raise UseError(f"job {args.name!r} cannot be held against itself; name another one, or leave the second name out")
        return first, second
    found = the_jobs(store, args.name, args.stage)
    by_stage = {job.stage: job for job in found}
    if "before" in by_stage and "after" in by_stage:
        return by_stage["before"], by_stage["after"]
    if len(found) > 1:
        raise UseError(f"job {args.name!r} has the stages {', '.join(by_stage)}; say which one with --stage")
    return found[0], None


def _shop(args: argparse.Namespace) -> Shop:
    """The shop that was kept, with what the options say in its place; kept anew where that is asked for."""
    from dataclasses import replace

    from borewright.service.shop import LONGEST_CONTACT, LONGEST_NAME, checked_line, load_shop, read_logo, save_shop, shop_path

    path = shop_path(user_settings_path())
    shop, notice = load_shop(path)
    if notice is not None and args.shop is None:
        print(notice, file=sys.stderr)
    if args.shop is not None:
        name = checked_line("--shop", args.shop, LONGEST_NAME)
        shop = replace(shop, name=name) if name else type(shop)()  # no name: no heading
    if args.contact is not None:
        shop = replace(shop, contact=checked_line("--contact", args.contact, LONGEST_CONTACT))
    if args.logo is not None:
        shop = replace(shop, logo=read_logo(args.logo))
    if args.keep_shop:
        save_shop(path, shop)
    return shop
