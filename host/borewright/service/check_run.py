"""One check of the rig under way: what is told to the bench next, from what is seen of it. The same way as at the terminal.

First both zeros at vent; then, where air is needed, one opening after the other by the guide's steps; or the way to true TDC. Pure:
each look at the bench gives the run after it and the acts to be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from borewright.core.rig import CheckKind, RigCheck
from borewright.errors import NotReadyError
from borewright.service import acts
from borewright.service.bench import Done
from borewright.service.reducer import CheckGiven
from borewright.service.rig_purposes import AIR_HINT, came_to_nothing, needed_before
from borewright.service.rig_stated import Paper
from borewright.service.state import BenchState

__all__ = ["AIR_HINT", "CheckPlan", "CheckRun", "Numbered", "Stage", "begun", "broken_off", "looked", "said"]

Stage = Literal["vent", "zero", "bore", "air", "again", "tdc", "over"]
Numbered: TypeAlias = tuple[int, Done]
"""A capture that is over, with its number in this run of the program."""

ZERO_LIMIT_S = 5.0  # the zeros take two seconds
HEEDED_S = 1.0  # an act is heeded within one turn of the bench
FAR_ZERO = "a transducer is far from zero at vent; see that the vent is open and the transducer is the right one"
STILL_UNDER_PRESSURE = "the rig is under pressure; shut the supply, open the vent and try again"


@dataclass(frozen=True, slots=True)
class CheckPlan:
    """What a check takes. purposes, paper: as BeginRound has them; begin: the act that a way without air begins with."""

    kind: CheckKind
    purposes: tuple[acts.Purpose, ...] = ()
    paper: Paper = ()
    begin: acts.BeginTdc | acts.BeginTdcWay | acts.StateBore | None = None


@dataclass(frozen=True, slots=True)
class CheckRun:
    """How far it has come.

    vent: hand valves are to be worked; zero, bore: the bench is at it; air: by the guide's steps, for purposes[number]; again: that
    one came to nothing, as `words` say; tdc: by the bench's own prompts; over: with a check, or with `words` that say why without.
    """

    plan: CheckPlan
    stage: Stage
    number: int = 0
    words: str = ""
    check: RigCheck | None = None
    before: RigCheck | None = None  # the newest of the kind that is awaited, when the bench was asked
    asked_s: float = 0.0  # device time
    seen: int = 0  # number of the last capture that was looked at

    @property
    def progress(self) -> str:
        """Which of several openings this is; "" for a single one.

        >>> CheckRun(CheckPlan("sealed", (acts.Purpose("sealed"),) * 3), "air", 1).progress
        '2 of 3'
        """
        count = len(self.plan.purposes)
        return f"{self.number + 1} of {count}" if count > 1 else ""


Moved: TypeAlias = tuple[CheckRun, tuple[acts.Act, ...]]


def begun(plan: CheckPlan, state: BenchState, done: Sequence[Numbered]) -> Moved:
    """Begin. Raises NotReadyError where the rig is under pressure, or where another check has to come first."""
    if state.readiness.locked:
        raise NotReadyError(STILL_UNDER_PRESSURE)
    needed_before(plan.kind, state.checks)
    run = CheckRun(plan, "vent", seen=max((number for number, _ in done), default=0))
    if isinstance(plan.begin, acts.StateBore):
        return _ask(run, state, "bore", "restrictor", plan.begin)
    return _take_zero(run, state) if state.has_valves else (run, ())


def said(run: CheckRun, state: BenchState) -> Moved:
    """The person says that it is done: the hand valves are vented, or that the opening that came to nothing is made again."""
    match run.stage:
        case "vent":
            return _take_zero(run, state)
        case "again":
            return _ask(replace(run, words=""), state, "air", run.plan.kind, acts.SetPurpose(run.plan.purposes[run.number]))
        case _:
            return run, ()


def broken_off(run: CheckRun, why: str) -> Moved:
    """End it without a result: shut and vent, and leave no round behind that a later opening could belong to."""
    leave: tuple[acts.Act, ...] = (acts.StopAll(), acts.BeginRound(())) if run.stage in ("air", "again") else ()
    return _over(run, why)[0], leave


def looked(run: CheckRun, state: BenchState, done: Sequence[Numbered]) -> Moved:
    """The run after a look at the bench, and what to tell it."""
    match run.stage:
        case "zero":
            return _watch_zero(run, state)
        case "bore":
            return _watch_for(run, state, run.plan.kind, gone=state.now_s - run.asked_s > HEEDED_S)
        case "air":
            return _watch_air(run, state, done)
        case "tdc":
            waiting = state.stop is not None or state.tdc_way is not None
            return _watch_for(run, state, "tdc", gone=not waiting and state.now_s - run.asked_s > HEEDED_S)
        case _:
            return run, ()


# ---------------------------------------------------------------------- one stage after the other


def _take_zero(run: CheckRun, state: BenchState) -> Moved:
    if state.readiness.locked:
        return replace(run, words=STILL_UNDER_PRESSURE), ()
    return _ask(replace(run, words=""), state, "zero", "zero", acts.TakeZero())


def _watch_zero(run: CheckRun, state: BenchState) -> Moved:
    zero = state.checks.get("zero")
    if zero is None or zero == run.before:
        if state.zero is None and state.now_s - run.asked_s > ZERO_LIMIT_S:
            return _over(run, "the zeros were not taken: the rig did not stay vented; see to it and begin again")
        return run, ()
    if not zero.passed:
        return _over(replace(run, check=zero if run.plan.kind == "zero" else None), FAR_ZERO)
    if run.plan.kind == "zero":
        return _over(replace(run, check=zero), "")
    if run.plan.begin is not None:
        return _ask(run, state, "tdc", "tdc", run.plan.begin)
    first = acts.SetPurpose(run.plan.purposes[0])
    return _ask(run, state, "air", run.plan.kind, acts.BeginRound(run.plan.purposes, run.plan.paper), first)


def _watch_air(run: CheckRun, state: BenchState, done: Sequence[Numbered]) -> Moved:
    purpose = run.plan.purposes[run.number]
    new = [(number, one) for number, one in done if number > run.seen and one.purpose == purpose]
    if not new:
        if state.purpose != purpose and state.now_s - run.asked_s > HEEDED_S:
            return _over(run, "the rig was wanted for something else in between; begin again")
        return run, ()
    if state.readiness.locked:  # nothing is told to a rig that is not vented yet
        return run, ()
    number, last = new[-1]
    run = replace(run, seen=number)
    given = last.analysed.check
    if given is None:
        return replace(run, stage="again", words=came_to_nothing(last)), ()
    if isinstance(given, CheckGiven):
        return _over(replace(run, check=given.check), "")
    on = replace(run, number=run.number + 1)
    return _ask(on, state, "air", run.plan.kind, acts.SetPurpose(run.plan.purposes[on.number]))


def _watch_for(run: CheckRun, state: BenchState, kind: CheckKind, *, gone: bool) -> Moved:
    check = state.checks.get(kind)
    if check is not None and check != run.before:
        return _over(replace(run, check=check), "")
    return _over(run, "the check came to nothing; make it again") if gone else (run, ())


def _ask(run: CheckRun, state: BenchState, stage: Stage, awaited: CheckKind, *told: acts.Act) -> Moved:
    return replace(run, stage=stage, before=state.checks.get(awaited), asked_s=state.now_s), told


def _over(run: CheckRun, words: str) -> Moved:
    return replace(run, stage="over", words=words), ()
