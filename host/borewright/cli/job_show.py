"""borewright job show: every test of a job, with what it is judged by, its repeats and its budgets."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.find_job import STAGES, the_jobs
from borewright.cli.job_about import about_lines, change_lines, note_lines
from borewright.cli.judged import add_limits_argument
from borewright.cli.output import date_words, print_json, table_lines
from borewright.cli.record_file import add_record_argument, open_store
from borewright.cli.shown import add_units_argument, shown_units
from borewright.service.shown_units import ShownUnits

if TYPE_CHECKING:
    from borewright.core.uncertainty import Budget
    from borewright.service.judging import JudgedStage
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job show."""
    parser.add_argument("name", metavar="NAME", help="the job's name, as `borewright job list` shows it")
    parser.add_argument("--stage", choices=STAGES, help="only this stage (default: all)")
    parser.add_argument("--budget", action="store_true", help="also what makes each number uncertain, item by item, largest first")
    parser.add_argument("--csv", metavar="FILE", type=Path, help="also write the tests as a table for other programs")
    parser.add_argument("--changes", action="store_true", help="also what was changed of the job itself, and when")
    add_limits_argument(parser)
    add_units_argument(parser)
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Show it. Raises StoreError when the record file cannot be used, UseError for a job, limits or units that are none."""
    from borewright.cli.job_cut_off import cut_off_lines
    from borewright.service.cut_off import cut_off_tests
    from borewright.service.judging import judge_stage
    from borewright.service.limit_files import find_limits
    from borewright.store.export import job_table, one_table, save_csv

    units = shown_units(args)
    with open_store(args, create=False) as store:
        found = the_jobs(store, args.name, args.stage)
        shown = [(job, store.list_captures(job.id)) for job in found]
        engines = [store.get_engine(job.engine_id).document for job in found]
        notes = [line for job in found for line in note_lines(job, store.list_findings(job.id))]
        notes += cut_off_lines([one for job in found for one in cut_off_tests(store, job.id)], args.db)
        if args.changes:
            notes += [line for job in found for line in change_lines(job, store.job_changes(job.id))]
    judged = [
        judge_stage(captures, engine, find_limits(args.limits, engine))
        for (_, captures), engine in zip(shown, engines, strict=True)
    ]
    if args.csv is not None:
        save_csv(one_table([job_table(job, captures) for job, captures in shown]), args.csv)
    files = [] if args.csv is None else [str(args.csv)]
    if args.json:
        jobs = [_as_dict(job, captures, stage) for (job, captures), stage in zip(shown, judged, strict=True)]
        print_json({"database": str(args.db), "jobs": jobs, "files": files})
        return exits.OK
    print(f"job {args.name}, engine {', '.join(dict.fromkeys(job.engine_name for job, _ in shown))}")
    print("\n".join([*(line for job in found for line in about_lines(job, units)), *_lines(args, shown, judged, units), *notes]))
    if args.csv is not None:
        print(f"written to {args.csv}")
    return exits.OK


def _lines(
    args: argparse.Namespace,
    shown: Sequence[tuple[JobRecord, Sequence[CaptureRecord]]],
    judged: Sequence[JudgedStage],
    units: ShownUnits,
) -> list[str]:
    """The tests as a table with their bands, by what they were judged, the repeats, and, where asked for, the budgets."""
    from borewright.cli.budget_table import budget_lines, repeats_lines
    from borewright.cli.judged import band_of, stages_lines
    from borewright.service.counting_tests import unused_by_test
    from borewright.service.other_cylinders import odd_volumes
    from borewright.service.repeated_tests import kept_budgets, repeated_tests

    tests = [(job, capture) for job, captures in shown for capture in captures]
    if not tests:
        return ["no test has been recorded in it yet"]
    unused = {number: words for _, captures in shown for number, words in unused_by_test(captures).items()}
    rows = [
        _row(job, capture, kept_budgets(capture), band_of(stage, capture.id), unused.get(capture.id), units)
        for (job, captures), stage in zip(shown, judged, strict=True)
        for capture in captures
    ]
    lines = table_lines(_headings(units), rows)
    lines += stages_lines([(job, stage) for (job, _), stage in zip(shown, judged, strict=True)])
    lines += [f"  contradiction, {job.stage}: {words}" for job, captures in shown for words in odd_volumes(captures)]
    lines += repeats_lines([(job, repeated_tests(captures)) for job, captures in shown])
    if args.budget:
        for job, capture in tests:
            if capture.state == "complete":
                lines += budget_lines(job, capture, kept_budgets(capture))
    return lines


def _headings(units: ShownUnits) -> tuple[str, ...]:
    pressure, area = units.unit("pressure_gauge", "psi"), units.unit("area", "mm²")
    numbers = ("leakage %", pressure, f"leak area {area}", "75/50/25 % after s")
    return ("stage", "test", "when", "cylinder", *numbers, "state", "judged", "remarks")


def _as_dict(job: JobRecord, captures: Sequence[CaptureRecord], stage: JudgedStage) -> dict[str, Any]:
    from borewright.cli.budget_table import budget_as_dict, repeats_as_dict
    from borewright.cli.judged import judgement_as_dict, stage_as_dict
    from borewright.service.counting_tests import unused_by_test
    from borewright.service.other_cylinders import odd_volumes
    from borewright.service.repeated_tests import kept_budgets, repeated_tests
    from borewright.store.export import capture_as_dict, job_as_dict

    unused = unused_by_test(captures)
    listed = [
        capture_as_dict(capture)
        | {"pair_psi": _pair_psi(capture.result)}
        | {"uncertainty": [budget_as_dict(budget) for budget in kept_budgets(capture).values()]}
        | {"judgement": judgement_as_dict(stage.judgements[capture.id]) if capture.id in stage.judgements else None}
        | {"not_used": unused.get(capture.id)}
        for capture in captures
    ]
    repeats = [repeats_as_dict(repeated) for repeated in repeated_tests(captures)]
    more = {"captures": listed, "repeats": repeats, "contradictions": list(odd_volumes(captures))}
    return job_as_dict(job) | more | stage_as_dict(stage)


def _row(
    job: JobRecord, capture: CaptureRecord, budgets: Mapping[str, Budget], band: str, unused: str | None, units: ShownUnits
) -> list[str]:
    result = capture.result or {}
    remarks = [*capture.marks, *(f"{key} was declared" for key in capture.declared)]
    if capture.void_reason is not None:
        remarks.insert(0, capture.void_reason)
    if unused is not None:
        remarks.insert(0, unused)
    numbers = [
        _with_uncertainty(budgets.get("leakage")) or _number(result, "leakage_percent", ".1f"),
        _pair(result, units),
        _area(result, budgets.get("leak area"), units),
        "/".join(_number(result, key, ".1f") for key in ("t75_s", "t50_s", "t25_s")),
    ]
    return [
        job.stage,
        str(capture.id),
        date_words(capture.started_at_unix_s),
        str(capture.cylinder),
        *(numbers if capture.state == "complete" else [f"({number})" for number in numbers]),
        capture.state,
        band,
        "; ".join(remarks),
    ]


def _pair(result: Mapping[str, Any], units: ShownUnits) -> str:
    """Regulated and cylinder pressure the trade's way, like 80/72."""
    regulated_pa, cylinder_pa = (result.get(f"p_{side}_gauge_pa") for side in ("regulated", "cylinder"))
    if regulated_pa is None or cylinder_pa is None:
        return "-"
    return "/".join(units.number(pa, "pressure_gauge", "psi") for pa in (regulated_pa, cylinder_pa))


def _area(result: Mapping[str, Any], budget: Budget | None, units: ShownUnits) -> str:
    """The leak area, with its uncertainty where the record holds it."""
    if budget is not None:
        from borewright.cli.budget_table import plus_minus
        from borewright.units import in_unit

        scale = in_unit(1e-6, "area", units.unit("area", "mm²"))  # the budget is in mm²
        return plus_minus(budget.value * scale, budget.expanded() * scale)
    area_mm2 = result.get("leak_area_mm2")
    return "-" if area_mm2 is None else units.number(area_mm2 * 1e-6, "area", "mm²")


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
