"""borewright measure: one cylinder, from connecting to the stored result."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.at_the_rig import add_rig_arguments, at_the_rig, kept_as
from borewright.cli.budget_table import budget_as_dict
from borewright.cli.judged import add_limits_argument, judgement_as_dict, judgement_lines
from borewright.cli.record_file import named_engine
from borewright.cli.shown import add_units_argument, shown_units
from borewright.errors import UseError
from borewright.service.shown_units import ShownUnits

if TYPE_CHECKING:
    from borewright.core.judgement import Judgement
    from borewright.core.limit_sets import LimitSet
    from borewright.service.bench import Bench, Done
    from borewright.service.conditions_of_air import AirConditions
    from borewright.service.figures_of_test import FiguresOfTest
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["BLOCKED_HINT", "EXAMPLE", "add_arguments", "job_of_engine", "judged_test", "run", "test_as_dict", "test_words"]

EXAMPLE = """examples:
  borewright measure --port /dev/ttyACM0 --engine four.toml --cylinder 1 --job "Larch four" --stage before
  borewright measure --port socket://localhost:5700 --engine four.toml --cylinder 3 --job "Larch four"

It says what to do next and waits until it is done. Type stop, or press Ctrl-C, to shut and vent. While air is on, type listen to
keep it on for looking and listening (again within a minute), and go on to let the test go on."""

BLOCKED_HINT = "The rig's own checks are made with: borewright rig sealed, rig restrictor, rig tdc."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of measure."""
    add_rig_arguments(parser, engine_needed=True)
    parser.add_argument("--cylinder", metavar="N", type=int, required=True, help="which cylinder")
    parser.add_argument("--job", metavar="NAME", required=True, help="the job that the test belongs to; it is begun when it is new")
    parser.add_argument("--stage", choices=("before", "after", "routine"), default="routine", help="before or after the rebuild")
    add_limits_argument(parser)
    add_units_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Test one cylinder."""
    from borewright.cli.console import cylinder_of
    from borewright.service.acts import Purpose
    from borewright.service.limit_files import find_limits
    from borewright.service.names import checked_name

    name = checked_name(args.job, "a job", "--job")
    engine, document = named_engine(args)
    cylinder = cylinder_of(engine.cylinders, args.cylinder)
    limit_set, units = find_limits(args.limits, document), shown_units(args)
    with at_the_rig(args, engine) as (bench, console, store):
        job = job_of_engine(store, name, args, engine.name, document)
        bench.job_id = job.id
        console.take_zero()
        done = console.carry_out(Purpose("test", cylinder), BLOCKED_HINT)
        bench.flush_writer()
        shown = test_as_dict(done, job, bench)
        try:
            shown["test"], shown["void_reason"] = kept_as(bench, done, args.db)
        finally:  # a reading that the record could not take is shown all the same, and not judged: nothing is to be done on it
            good = shown["test"] is not None and shown["void_reason"] is None
            judgement = judged_test(done, bench, document, limit_set) if good else None
            shown["judgement"] = None if judgement is None else judgement_as_dict(judgement)
            print(json.dumps(shown, allow_nan=False) if args.json else test_words(shown, done, judgement, bench.ambient, units))
    return exits.OK if shown["void_reason"] is None else exits.UNUSABLE


def job_of_engine(store: Store, name: str, args: argparse.Namespace, engine_name: str, document: dict[str, Any]) -> JobRecord:
    """The job of that name at args.stage, begun when it is new. Raises UseError when it is of another engine."""
    engine_id = store.save_engine(engine_name, document)
    job = store.find_job(name, args.stage)
    if job is None:
        return store.get_job(store.create_job(name, args.stage, engine_id, technician=args.who))
    if job.engine_id != engine_id:
        another = "another version of the engine" if job.engine_name == engine_name else "another engine"
        raise UseError(
            f"job {name!r} at stage {args.stage!r} is of {another}, {job.engine_name!r}; "
            "name the engine that it was begun with, or another job"
        )
    return job


def test_as_dict(done: Done, job: JobRecord, bench: Bench) -> dict[str, Any]:
    """A test as its JSON has it, its number in the record still to come."""
    from borewright.service.figures_of_test import leak_flow_kg_s

    result = done.analysed.result
    shown: dict[str, Any] = {
        "job": job.name,
        "stage": job.stage,
        "engine": job.engine_name,
        "cylinder": done.purpose.cylinder,
        "void_reason": done.analysed.void_reason,
        "test": None,
        "marks": list(done.analysed.marks),
        "readiness": {key: value for key, value in done.evidence.items() if key != "conditions"},
    }
    if result is not None:
        shown |= {
            "leakage_percent": result.leakage_percent,
            "leak_area_mm2": result.leak_area_m2 * 1e6,
            "leak_flow_kg_s": leak_flow_kg_s(
                bench.state.restrictor_area_m2,
                result.p_regulated_gauge_pa,
                result.p_cylinder_gauge_pa,
                bench.ambient.p_ambient_abs_pa,
                bench.ambient.t_supply_k,
            ),
            "pair_psi": [round(p) for p in result.pair_psi],
            "decay": {"t75_s": result.t75_s, "t50_s": result.t50_s, "t25_s": result.t25_s},
            "uncertainty": [budget_as_dict(budget) for budget in done.analysed.budgets],
        }
    return shown


def _figures(done: Done, air: AirConditions, leak_flow: float) -> FiguresOfTest | None:
    """What the test says, for the person; None where it says nothing."""
    from borewright.service.figures_of_test import FiguresOfTest, stated_of

    result = done.analysed.result
    if result is None:
        return None
    return FiguresOfTest(
        result.leakage_percent,
        result.p_regulated_gauge_pa,
        result.p_cylinder_gauge_pa,
        result.leak_area_m2,
        leak_flow,
        result.t75_s,
        result.t50_s,
        result.t25_s,
        air.p_ambient_abs_pa,
        air.t_supply_k,
        air.t_engine_k,
        stated_of(done.analysed.budgets),
    )


def judged_test(done: Done, bench: Bench, engine: dict[str, Any], limit_set: LimitSet) -> Judgement | None:
    """The reading by the limits; None where there is none."""
    from dataclasses import asdict

    from borewright.core.uncertainty import Budget
    from borewright.service.analysis import analysed_as_dict
    from borewright.service.judging import judge_test

    result = analysed_as_dict(done.analysed)
    if done.analysed.result is None or result is None:
        return None
    budgets = [Budget.from_dict(budget) for budget in result.get("budgets") or ()]
    laws = {
        "restrictor_area_m2": bench.state.restrictor_area_m2,
        "t_engine_k": bench.ambient.t_engine_k,
        "setup": asdict(bench.state.setup),
    }
    return judge_test(result, laws, done.analysed.marks, engine, limit_set, {budget.quantity: budget for budget in budgets})


def test_words(shown: dict[str, Any], done: Done, judgement: Judgement | None, air: AirConditions, units: ShownUnits) -> str:
    """A test in lines for the person. shown: as test_as_dict gives it, with its number."""
    head = f"\nCylinder {shown['cylinder']}, {shown['job']}, {shown['stage']}"
    lines = [head]
    if shown["void_reason"] is not None:
        lines.append(f"  VOID: {shown['void_reason']}; the figures below are not to be used")
    elif shown["test"] is None:
        lines.append(
            "  NOT KEPT: the record did not take this test to its end; these figures stand nowhere else, and are not judged"
        )
    figures = _figures(done, air, shown.get("leak_flow_kg_s", 0.0))
    if figures is not None:
        volume = figures.volume_words(units)
        lines.append(f"  leakage    {figures.leakage_number} %      reads {figures.pair_words(units)}")
        lines.append(f"  leak area  {figures.area_words(units)}")
        lines += [] if volume is None else [f"  volume     {volume}"]
        lines.append(f"  leak flow  {figures.flow_words(units)}")
        lines.append(f"  decay      {figures.decay_words()}")
        lines.append(f"  at         {figures.at_words(units)}")
    if judgement is not None:
        lines += judgement_lines(judgement)
    lines += [f"  mark: {mark}" for mark in shown["marks"]]
    lines.append("  NOT KEPT; test again" if shown["test"] is None else f"  kept as test {shown['test']}")
    return "\n".join(lines)
