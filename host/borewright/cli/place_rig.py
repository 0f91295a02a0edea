"""What stop-off, flow and wet have in common: the cylinder of a job at the rig, guided tests of it, and how they are told."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from borewright.cli.at_the_rig import add_rig_arguments, at_the_rig, kept_as
from borewright.cli.budget_table import plus_minus
from borewright.cli.find_job import add_job_arguments, the_job
from borewright.cli.record_file import open_store
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.cli.console import Console
    from borewright.core.engine import Engine
    from borewright.service.acts import Purpose
    from borewright.service.bench import Bench, Done
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["AtCylinder", "Job", "add_place_rig_arguments", "add_spare_argument", "at_the_cylinder", "job_of"]

BLOCKED_HINT = "The rig's own checks are made with: borewright rig sealed, rig restrictor, rig tdc."


@dataclass(frozen=True, slots=True)
class Job:
    """The job and what the record holds of one cylinder of it. captures: of that cylinder, oldest first."""

    record: JobRecord
    engine: Engine
    cylinder: int
    captures: tuple[CaptureRecord, ...]


@dataclass(frozen=True, slots=True)
class AtCylinder:
    """A bench at the rig with the person guided, for one cylinder of a job."""

    job: Job
    bench: Bench
    console: Console
    store: Store

    def need_spare(self, place: str) -> None:
        """Raises UseError where a gauge on the spare channel is asked for and this rig has none."""
        from borewright.service.spare import spare_law

        if place and spare_law(self.bench.state) is None:
            raise UseError(
                "this rig has no spare channel with a gauge of known range; give spare_range_top in the rig file, or no --spare-at"
            )

    def test(self, purpose: Purpose) -> tuple[Done, dict[str, Any]]:
        """Guide the person through one test of this cylinder, or through a capped proof; what came of it, for JSON too."""
        done = self.console.carry_out(purpose, BLOCKED_HINT)
        self.bench.flush_writer()
        number, void_reason = kept_as(self.bench, done, self.store.path)
        self.bench.writer_news.clear()
        result = done.analysed.result
        shown: dict[str, Any] = {
            "test": number,
            "recorded_as": purpose.recorded_as,
            "stopped": list(purpose.stopped),
            "void_reason": void_reason,
            "marks": list(done.analysed.marks),
        }
        if result is not None:
            shown |= {
                "leakage_percent": result.leakage_percent,
                "leak_area_mm2": result.leak_area_m2 * 1e6,
                "p_regulated_gauge_pa": result.p_regulated_gauge_pa,
                "p_cylinder_gauge_pa": result.p_cylinder_gauge_pa,
            }
        return done, shown

    def tell(self, done: Done, shown: dict[str, Any], what: str) -> None:
        """A line for the person on a test that is over."""
        budgets = {budget.quantity: budget for budget in done.analysed.budgets}
        area = budgets.get("leak area")
        if shown["void_reason"] is not None:
            self.console.tell_plainly(f"{what}: VOID, {shown['void_reason']} (test {shown['test']})")
        elif area is not None:
            percent = f"{shown['leakage_percent']:.1f} % at {shown['p_regulated_gauge_pa'] / 1000:.0f} kPa"
            words = f"{what}: leak area {plus_minus(area.value, area.expanded())} mm², leakage {percent} (test {shown['test']})"
            self.console.tell_plainly(words)
        else:
            self.console.tell_plainly(f"{what}: {shown.get('leak_area_mm2', 0.0):.3f} mm² (test {shown['test']})")


def add_place_rig_arguments(parser: argparse.ArgumentParser, *, port_needed: bool = True) -> None:
    """Job, cylinder, and everything that works at the rig."""
    add_job_arguments(parser)
    add_rig_arguments(parser, engine_needed=False, port_needed=port_needed)
    parser.add_argument("--cylinder", metavar="N", type=int, required=True, help="which cylinder")


def add_spare_argument(parser: argparse.ArgumentParser) -> None:
    """The option --spare-at."""
    parser.add_argument(
        "--spare-at", metavar="PLACE", help="the gauge there is that of the rig's spare channel, which then watches it too"
    )


def job_of(args: argparse.Namespace) -> Job:
    """The job that is meant, with its engine and what is known of the cylinder.

    Raises UseError where there is none, where it lacks the cylinder, or where --engine names another engine than the job's.
    """
    from borewright.service.engines import engine_from_document, find_engine

    with open_store(args, create=False) as store:
        record = the_job(store, args.name, args.stage)
        named = None if args.engine is None else find_engine(args.engine, store)[1]
        document = store.get_engine(record.engine_id).document
        captures = tuple(capture for capture in store.list_captures(record.id) if capture.cylinder == args.cylinder)
    engine = engine_from_document(document, "the record")
    if named is not None and named != document:
        raise UseError(f"job {record.name!r} is of another engine, {record.engine_name!r}; leave --engine out, or name another job")
    if args.cylinder not in engine.cylinders:
        raise UseError(f"this engine has no cylinder {args.cylinder}; it has {', '.join(map(str, engine.cylinders))}")
    return Job(record, engine, args.cylinder, captures)


@contextmanager
def at_the_cylinder(args: argparse.Namespace, job: Job) -> Iterator[AtCylinder]:
    """A bench at the rig for this cylinder, zeros taken; on the way out it shuts and vents."""
    with at_the_rig(args, job.engine) as (bench, console, store):
        bench.job_id = job.record.id
        console.take_zero()
        yield AtCylinder(job, bench, console, store)
