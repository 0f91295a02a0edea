"""borewright job run: round the whole engine, cylinder by cylinder, from wherever the record says that it was broken off."""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.at_the_rig import add_rig_arguments, at_the_rig, kept_as
from borewright.cli.find_job import STAGES
from borewright.cli.job_options import add_details_arguments, details_of
from borewright.cli.judged import add_limits_argument, judgement_as_dict
from borewright.cli.measure import BLOCKED_HINT, job_of_engine, judged_test, test_as_dict, test_words
from borewright.cli.output import print_json
from borewright.cli.record_file import named_engine, open_store
from borewright.cli.shown import add_units_argument, shown_units
from borewright.errors import NotReadyError, UseError
from borewright.service.shown_units import ShownUnits

if TYPE_CHECKING:
    from borewright.cli.console import Console
    from borewright.core.engine import Engine
    from borewright.core.limit_sets import LimitSet
    from borewright.service.bench import Bench
    from borewright.service.going_round import Visit
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["add_arguments", "run"]

MOST_REPEATS = 10
GO_ON = "what has been tested is kept; the same command goes on from here"
ENDS = ("end", "quit", "q", "stop")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of job run."""
    parser.add_argument("name", metavar="NAME", help="the job; it is begun when it is new")
    parser.add_argument("--stage", choices=STAGES, help="which stage of it (the one that there is, else routine)")
    add_rig_arguments(parser, engine_needed=False)
    parser.add_argument("--cylinders", metavar="N,N", help="only these cylinders, like 2,3")
    parser.add_argument("--repeats", metavar="N", type=int, default=1, help="how many tests of each cylinder (%(default)s)")
    parser.add_argument(
        "--squeeze-each",
        action="store_true",
        help="squeeze in each cylinder; else in the first, then the stroke is carried over by count and the hose read back",
    )
    add_details_arguments(parser, engine_temp=False)
    add_limits_argument(parser)
    add_units_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Go round the engine. Raises UseError, StoreError, LinkError, NotReadyError; what was tested by then is kept."""
    from borewright.service.limit_files import find_limits
    from borewright.service.names import checked_line, checked_name

    name, details = checked_name(args.name, "a job", "NAME"), details_of(args)
    customer, technician = checked_line(args.customer or "", "--customer"), checked_line(args.technician or "", "--technician")
    if not 1 <= args.repeats <= MOST_REPEATS:
        raise UseError(f"--repeats is from 1 to {MOST_REPEATS}, not {args.repeats}")
    engine, document = _engine(args, name)
    cylinders = _cylinders(args.cylinders, engine)
    limit_set, units = find_limits(args.limits, document), shown_units(args)
    try:
        with at_the_rig(args, engine) as (bench, console, store):
            job = job_of_engine(store, name, args, engine.name, document)
            if details or customer or technician:
                store.change_job(
                    job.id,
                    customer_reference=customer or None,
                    technician=technician or None,
                    details=details_of(args, job.details),
                )
            bench.job_id = job.id
            one = _Round(args, bench, console, store, store.get_job(job.id), engine, document, limit_set, units, cylinders)
            one.go()
            shown = one.shown()
    except (NotReadyError, KeyboardInterrupt):
        print(GO_ON, file=sys.stderr if args.json else sys.stdout, flush=True)
        raise
    if args.json:
        print_json(shown)
    return exits.OK if not shown["missing"] else exits.UNUSABLE


def _engine(args: argparse.Namespace, name: str) -> tuple[Engine, dict[str, Any]]:
    """The engine that is named, or the job's own; sets args.stage where only one can be meant."""
    from borewright.service.engines import engine_from_document

    jobs: list[JobRecord] = []
    if args.db.exists():
        with open_store(args, create=False) as store:
            jobs = [job for job in store.list_jobs(archived=True) if job.name == name and args.stage in (None, job.stage)]
            kept = [dict(store.get_engine(job.engine_id).document) for job in jobs]
    if len(jobs) > 1:
        raise UseError(f"job {name!r} has the stages {', '.join(job.stage for job in jobs)}; say which one with --stage")
    args.stage = jobs[0].stage if jobs else args.stage or "routine"
    if args.engine is not None:
        return named_engine(args)
    if not jobs:
        raise UseError(f"job {name!r} is new at stage {args.stage!r}; name its engine with --engine")
    return engine_from_document(kept[0], f"the engine of job {name!r}"), kept[0]


def _cylinders(text: str | None, engine: Engine) -> tuple[int, ...] | None:
    from borewright.cli.console import cylinder_of

    if text is None:
        return None
    try:
        numbers = [int(word) for word in text.split(",")]
    except ValueError:
        raise UseError(f"--cylinders {text} cannot be read; give their numbers, like 2,3") from None
    return tuple(cylinder_of(engine.cylinders, number) for number in numbers)


class _Round:
    """One person's way round one engine."""

    def __init__(
        self,
        args: argparse.Namespace,
        bench: Bench,
        console: Console,
        store: Store,
        job: JobRecord,
        engine: Engine,
        document: dict[str, Any],
        limit_set: LimitSet,
        units: ShownUnits,
        cylinders: tuple[int, ...] | None,
    ) -> None:
        self._args, self._bench, self._console, self._store, self._job = args, bench, console, store, job
        self._engine, self._document, self._limit_set, self._units = engine, document, limit_set, units
        self._cylinders = cylinders
        self._left: set[tuple[int, int]] = set()
        self._tests: list[dict[str, Any]] = []
        self._hot = job.details.get("hot") is True
        self._air = bench.ambient
        self._warmth: tuple[float, float] | None = None  # as last entered, and when, by a clock that nobody sets
        if args.engine_temp is not None:
            self._warmth = (bench.ambient.t_engine_k, time.monotonic())

    # ------------------------------------------------------------------ the way round

    def go(self) -> None:
        """Visit after visit until all is done or the person ends it."""
        from borewright.service.going_round import visit_words

        say = self._console.tell_plainly
        say(f"Job {self._job.name}, {self._job.stage}, {self._engine.name}: {self._progress().words()}.")
        if self._hot:
            say("This is to be a test of the hot engine. What hot is, the maker's manual says; mind hot metal and hot coolant.")
        zeroed = False
        moved = False
        while (visit := self._next()) is not None:
            if moved and not self._goes_on():
                break
            say(f"\n== {visit_words(visit, self._engine)}".replace("== c", "== C"))
            if visit.kind in ("void", "suggested") and (answer := self._decided(visit)) != "do":
                if answer == "end":
                    break
                self._left.add(visit.left_as)
                continue
            self._see_to_the_warmth()
            if not zeroed:
                self._console.take_zero()
                zeroed = True
            moved = self._test(visit)
        self._end()

    def _next(self) -> Visit | None:
        from borewright.service.going_round import crank_angle_deg, next_visit

        return next_visit(
            self._engine,
            self._document,
            self._store.list_captures(self._job.id),
            self._limit_set,
            angle_deg=crank_angle_deg(self._bench.state),
            cylinders=self._cylinders,
            repeats=self._args.repeats,
            compares=self._job.stage != "routine",
            left=self._left,
        )

    def _decided(self, visit: Visit) -> str:
        what = "tests it again" if visit.kind == "suggested" else "tests it"
        question = f"> Suggested, and yours to decide.\n  [Enter {what}, skip leaves it, end ends the round]"
        if visit.kind == "void":
            question = f"> Its test has to be made again.\n  [Enter {what}, skip leaves it, end ends the round]"
        while True:
            word = self._console.ask(question).lower()
            if word in ("", "y", "yes", "ok"):
                return "do"
            if word in ("skip", "n", "no"):
                return "skip"
            if word in ENDS:
                return "end"
            self._console.tell_plainly(f"  {word!r} is not understood here")

    def _goes_on(self) -> bool:
        """After a crank that moved under air: the same would befall the next cylinder, unless the person finds out why."""
        while True:
            word = self._console.ask("> See to the crank before the next test.\n  [Enter goes on, end ends the round]").lower()
            if word in ("", "y", "yes", "ok"):
                return True
            if word in ENDS:
                return False
            self._console.tell_plainly(f"  {word!r} is not understood here")

    def _test(self, visit: Visit) -> bool:
        """One test, guided and told; whether the crank moved under its air."""
        from borewright.service import acts
        from borewright.service.going_round import CRANK_MOVED_BECAUSE, crank_moved

        if not self._bench.state.has_valves and not self._args.squeeze_each and not self._tests:
            self._console.tell_plainly(
                "  The valves of this rig are turned by hand, so there is no puff: each cylinder is squeezed."
            )
        self._bench.act(acts.CarryStroke(not self._args.squeeze_each and not visit.turn_over))
        done = self._console.carry_out(acts.Purpose("test", visit.cylinder), BLOCKED_HINT)
        self._bench.flush_writer()
        shown = test_as_dict(done, self._job, self._bench)
        try:
            shown["test"], shown["void_reason"] = kept_as(self._bench, done, self._args.db)
        finally:  # a reading that the record could not take is shown all the same, and not judged: nothing is to be done on it
            good = shown["test"] is not None and shown["void_reason"] is None
            judgement = judged_test(done, self._bench, self._document, self._limit_set) if good else None
            shown["judgement"] = None if judgement is None else judgement_as_dict(judgement)
            self._tests.append(shown)
            self._console.tell_plainly(test_words(shown, done, judgement, self._bench.ambient, self._units))
        self._console.tell_plainly(f"\n{self._progress().words()}")
        moved = crank_moved(shown["void_reason"])
        if moved:
            self._console.tell_plainly(
                "\n! The crank moved with air on; the next test may go the same way. What most likely lets it move:"
            )
            for reason in CRANK_MOVED_BECAUSE:
                self._console.tell_plainly(f"    {reason.replace('find it anew', 'find it anew with borewright rig tdc')}")
        return moved

    # ------------------------------------------------------------------ a hot engine

    def _see_to_the_warmth(self) -> None:
        """Before a test of a hot engine: ask for its temperature where none is known or the last is old, and mark the test."""
        from borewright.service.going_round import TEMPERATURE_GOOD_FOR_S, hot_marks

        if not self._hot:
            return
        if self._warmth is None or time.monotonic() - self._warmth[1] > TEMPERATURE_GOOD_FOR_S:
            self._ask_for_warmth()
        t_engine_k, at_s = (None, 0.0) if self._warmth is None else self._warmth
        air = self._air if t_engine_k is None else self._air.with_engine_at(t_engine_k)
        marks = hot_marks(t_engine_k, time.monotonic() - at_s)
        self._bench.ambient = replace(air, assumed=(*air.assumed, *marks))
        for mark in marks:
            self._console.tell_plainly(f"! {mark}; the test will be marked so")

    def _ask_for_warmth(self) -> None:
        from borewright.service.answers import engine_temperature_k

        again = "again " if self._warmth is not None else ""
        question = f"> Read the engine's temperature {again}and type it.\n  [with its unit, like 82 degC; Enter leaves it open]"
        while line := self._console.ask(question):
            try:
                self._warmth = (engine_temperature_k(line), time.monotonic())
            except UseError as wrong:
                self._console.tell_plainly(f"  {wrong}")
                continue
            return

    # ------------------------------------------------------------------ the end

    def _progress(self) -> Any:
        from borewright.service.going_round import progress

        return progress(self._engine, self._store.list_captures(self._job.id), self._cylinders)

    def _end(self) -> None:
        from borewright.service.other_cylinders import odd_volumes

        say, judged = self._console.tell_plainly, self._judged()
        say(f"\n{self._job.name}, {self._job.stage}: {self._progress().words()}")
        if judged.spread is not None:
            say(f"between cylinders: {judged.spread.words}")
        for words in odd_volumes(self._store.list_captures(self._job.id)):
            say(f"contradiction: {words}")
        say(f'all of it: borewright job show "{self._job.name}" --stage {self._job.stage}')

    def _judged(self) -> Any:
        from borewright.service.judging import judge_stage

        return judge_stage(self._store.list_captures(self._job.id), self._document, self._limit_set)

    def shown(self) -> dict[str, Any]:
        """The round for JSON: the tests that were made now, and how the job stands."""
        from dataclasses import asdict

        so_far, found = self._progress(), self._judged().spread
        return {
            "database": str(self._args.db),
            "job": self._job.name,
            "stage": self._job.stage,
            "engine": self._engine.name,
            "made_now": self._tests,
            "tests": {str(cylinder): count for cylinder, count in so_far.tests.items()},
            "missing": list(so_far.missing),
            "left_out": sorted({cylinder for cylinder, _ in self._left}),
            "spread": None if found is None else asdict(found),
        }
