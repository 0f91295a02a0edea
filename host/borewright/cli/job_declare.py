"""borewright job declare: a reading taken elsewhere with a pair of gauges, entered by hand and marked as such."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.find_job import add_job_arguments, the_job
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store

if TYPE_CHECKING:
    from borewright.service.declaring import DeclaredReading

__all__ = ["add_arguments", "run"]

FORMS = {"sharp": "sharp", "short-cylinder": "short cylinder", "rounded": "rounded", "unknown": "unknown"}
NAMES = {
    field: f"--{field.replace('_', '-')}"
    for field in (
        *("regulated", "cylinder_pressure", "gauge_error", "read_to", "when", "how", "who"),
        *("restrictor_bore", "engine_temp", "ambient"),
    )
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job declare."""
    add_job_arguments(parser)
    parser.add_argument("--cylinder", metavar="N", type=int, required=True, help="which cylinder")
    parser.add_argument("--regulated", metavar="P", required=True, help='what the gauge before the restrictor showed: "80 psi"')
    parser.add_argument("--cylinder-pressure", metavar="P", required=True, help='what the gauge behind it showed: "72 psi"')
    parser.add_argument(
        "--gauge-error",
        metavar="WORDS",
        required=True,
        help='what each gauge may be off by: its class and full scale, "1.6 %% of 160 psi", or a pressure, "2 psi"',
    )
    parser.add_argument("--read-to", metavar="P", required=True, help='the smallest step that was read off: "1 psi"')
    parser.add_argument("--one-gauge", action="store_true", help="the same gauge was moved from one side to the other")
    parser.add_argument("--restrictor-bore", metavar="BORE", help='bore of its restrictor, "0.040 in"; without it, percent only')
    parser.add_argument("--bore-form", choices=FORMS, default="unknown", help="how that bore is made (default: %(default)s)")
    parser.add_argument("--engine-temp", metavar="T", help='the engine\'s temperature, "80 degC"')
    parser.add_argument("--ambient", metavar="P", help='pressure of the surrounding air, "98.9 kPa"')
    parser.add_argument("--when", metavar="DATE", required=True, help="the day of the reading, like 2026-03-31")
    parser.add_argument("--how", metavar="TEXT", required=True, help="how it was read: with what, hot or cold")
    parser.add_argument("--who", metavar="NAME", required=True, help="who says so")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Keep the reading. Raises UseError for one that cannot be, StoreError when the record file cannot be used."""
    from borewright.cli.budget_table import budget_as_dict, plus_minus
    from borewright.service.counting_tests import unused_by_test
    from borewright.service.declaring import declare
    from borewright.service.repeated_tests import kept_budgets
    from borewright.store.export import capture_as_dict

    reading = _reading(args)
    with open_store(args, create=False) as store:
        job = the_job(store, args.name, args.stage)
        test = store.get_capture(declare(store, job, args.cylinder, reading))
        unused = unused_by_test(store.list_captures(job.id)).get(test.id)
    budgets = kept_budgets(test)
    if args.json:
        shown = capture_as_dict(test) | {"uncertainty": [budget_as_dict(budget) for budget in budgets.values()]}
        shown |= {"not_used": unused}
        print_json({"database": str(args.db), "test": shown})
        return exits.OK
    numbers = [f"{budget.quantity} {plus_minus(budget.value, budget.expanded())} {budget.unit}" for budget in budgets.values()]
    print(f"test {test.id}, job {job.name}, {job.stage}, cylinder {test.cylinder}: {', '.join(numbers)}")
    for mark in test.marks:
        print(f"  {mark}")
    if unused is not None:
        print(f"  {unused}")
    return exits.OK


def _reading(args: argparse.Namespace) -> DeclaredReading:
    from borewright.service.declared_words import DeclaredWords, reading_of

    said = {field: getattr(args, field) or "" for field in NAMES}
    words = DeclaredWords(**said, one_gauge=args.one_gauge, bore_form=FORMS[args.bore_form])  # type: ignore[arg-type] # argparse lets no other through
    return reading_of(words, NAMES)
