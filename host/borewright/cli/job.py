"""borewright job: what has been recorded."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.output import date_words, print_json, table_lines
from borewright.cli.record import add_record_argument, open_store
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.core.uncertainty import Budget
    from borewright.store.export import Cell, Table
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright job list
  borewright job show "hill-climb 7" --stage before
  borewright job show "hill-climb 7" --budget
  borewright job show "hill-climb 7" --csv hillclimb.csv

It only looks: a record file that is not there is not made."""

SUBCOMMANDS = {
    "list": ("the jobs in the record file, oldest first", "borewright job list --json"),
    "show": ("every test of a job, one on each line, also the void ones", 'borewright job show "hill-climb 7" --stage before'),
}
STAGES = ("before", "after", "routine")
HEADINGS = ("stage", "test", "when", "cylinder", "leakage %", "psi", "leak area mm²", "75/50/25 % after s", "state", "remarks")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The subcommands of job."""
    subcommands = parser.add_subparsers(dest="subcommand", metavar="SUBCOMMAND", required=True)
    made = {
        name: subcommands.add_parser(
            name,
            help=what,
            description=what[0].upper() + what[1:] + ".",
            epilog=f"example:\n  {example}\n\n{exits.HELP}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        for name, (what, example) in SUBCOMMANDS.items()
    }
    made["show"].add_argument("name", metavar="NAME", help="the job's name, as `borewright job list` shows it")
    made["show"].add_argument("--stage", choices=STAGES, help="only this stage (default: all)")
    made["show"].add_argument(
        "--budget", action="store_true", help="also what makes each number uncertain, item by item, largest first"
    )
    made["show"].add_argument("--csv", metavar="FILE", type=Path, help="also write the tests as a table for other programs")
    for subparser in made.values():
        add_record_argument(subparser)
        subparser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """List or show. Raises StoreError when the record file cannot be used, UseError when it has no such job."""
    does: dict[str, Callable[[argparse.Namespace], int]] = {"list": _list, "show": _show}
    return does[args.subcommand](args)


def _list(args: argparse.Namespace) -> int:
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


def _show(args: argparse.Namespace) -> int:
    from borewright.store.export import job_table, save_csv

    with open_store(args, create=False) as store:
        found = [job for job in store.list_jobs() if job.name == args.name and args.stage in (None, job.stage)]
        shown = [(job, store.list_captures(job.id)) for job in found]
    if not shown:
        at = f" at stage {args.stage!r}" if args.stage else ""
        raise UseError(f"there is no job {args.name!r}{at} in {args.db}; `borewright job list` shows those that are there")
    if args.csv is not None:
        save_csv(_one_table([job_table(job, captures) for job, captures in shown]), args.csv)
    files = [] if args.csv is None else [str(args.csv)]
    if args.json:
        print_json({"database": str(args.db), "jobs": [_as_dict(job, captures) for job, captures in shown], "files": files})
        return exits.OK
    print(f"job {args.name}, engine {', '.join(dict.fromkeys(job.engine_name for job, _ in shown))}")
    print("\n".join(_lines(args, shown)))
    if args.csv is not None:
        print(f"written to {args.csv}")
    return exits.OK


def _lines(args: argparse.Namespace, shown: Sequence[tuple[JobRecord, Sequence[CaptureRecord]]]) -> list[str]:
    """The tests as a table, the repeats among them, and, where asked for, the budgets."""
    from borewright.cli.budget_table import budget_lines, repeats_lines
    from borewright.service.repeated_tests import kept_budgets, repeated_tests

    tests = [(job, capture) for job, captures in shown for capture in captures]
    if not tests:
        return ["no test has been recorded in it yet"]
    lines = table_lines(HEADINGS, [_row(job, capture, kept_budgets(capture)) for job, capture in tests])
    lines += repeats_lines([(job, repeated_tests(captures)) for job, captures in shown])
    if args.budget:
        for job, capture in tests:
            if capture.state == "complete":
                lines += budget_lines(job, capture, kept_budgets(capture))
    return lines


def _as_dict(job: JobRecord, captures: Sequence[CaptureRecord]) -> dict[str, Any]:
    from borewright.cli.budget_table import budget_as_dict, repeats_as_dict
    from borewright.service.repeated_tests import kept_budgets, repeated_tests
    from borewright.store.export import capture_as_dict, job_as_dict

    listed = [
        capture_as_dict(capture)
        | {"pair_psi": _pair_psi(capture.result)}
        | {"uncertainty": [budget_as_dict(budget) for budget in kept_budgets(capture).values()]}
        for capture in captures
    ]
    return job_as_dict(job) | {"captures": listed, "repeats": [repeats_as_dict(repeated) for repeated in repeated_tests(captures)]}


def _row(job: JobRecord, capture: CaptureRecord, budgets: Mapping[str, Budget]) -> list[str]:
    result = capture.result or {}
    remarks = [*capture.marks, *(f"{key} was declared" for key in capture.declared)]
    if capture.void_reason is not None:
        remarks.insert(0, capture.void_reason)
    numbers = [
        _with_uncertainty(budgets.get("leakage")) or _number(result, "leakage_percent", ".1f"),
        _pair_psi(capture.result) or "-",
        _with_uncertainty(budgets.get("leak area")) or _number(result, "leak_area_mm2", ".3f"),
        "/".join(_number(result, key, ".1f") for key in ("t75_s", "t50_s", "t25_s")),
    ]
    return [
        job.stage,
        str(capture.id),
        date_words(capture.started_at_unix_s),
        str(capture.cylinder),
        *(numbers if capture.state == "complete" else [f"({number})" for number in numbers]),
        capture.state,
        "; ".join(remarks),
    ]


def _with_uncertainty(budget: Budget | None) -> str | None:
    """Value ± expanded uncertainty; None where the record holds no budget."""
    from borewright.cli.budget_table import plus_minus

    return None if budget is None else plus_minus(budget.value, budget.expanded())


def _number(result: Mapping[str, Any], key: str, form: str) -> str:
    value = result.get(key)
    return "-" if value is None else format(value, form)


def _pair_psi(result: Mapping[str, Any] | None) -> str | None:
    """Regulated and cylinder pressure the trade's way, in whole psi."""
    from borewright.core.capture import PA_PER_PSI

    regulated_pa, cylinder_pa = ((result or {}).get(f"p_{side}_gauge_pa") for side in ("regulated", "cylinder"))
    if regulated_pa is None or cylinder_pa is None:
        return None
    return f"{regulated_pa / PA_PER_PSI:.0f}/{cylinder_pa / PA_PER_PSI:.0f}"


def _one_table(tables: Iterable[Table]) -> Table:
    """The tables under each other; a column that one of them lacks stays empty there."""
    kept = [(headings, list(lines)) for headings, lines in tables]
    every = list(dict.fromkeys(heading for headings, _ in kept for heading in headings))
    lines: list[Sequence[Cell]] = []
    for headings, of_one in kept:
        for line in of_one:
            by_heading = dict(zip(headings, line, strict=True))
            lines.append([by_heading.get(heading) for heading in every])
    return every, lines
