"""A check of the rig under way, from looks at a bench that is made up: what is told next, and how it ends."""

from __future__ import annotations

from dataclasses import replace

import pytest
from boresim.scenario import load_scenario
from borewire.messages import AirState
from borewright.core.readiness import Readiness
from borewright.core.readiness_table import State
from borewright.core.rig import RigCheck
from borewright.errors import NotReadyError
from borewright.service import acts
from borewright.service.analysis import Analysed
from borewright.service.bench import Done
from borewright.service.check_run import CheckPlan, CheckRun, begun, broken_off, looked, said
from borewright.service.engines import engine_from_document
from borewright.service.reducer import CheckGiven, PointGiven
from borewright.service.state import BenchState, Reading
from borewright.session.session import Session

SEALED = tuple(acts.Purpose("sealed", asked_gauge_pa=pa) for pa in (2e5, 5e5))


def bench(now_s: float = 10.0, *, valves: bool = True, state: State = State.VENTED) -> BenchState:
    """A vented rig."""
    readiness = replace(Readiness(), valves=valves, state=state)
    return BenchState(Session(0.0), reading=Reading(now_s, 0.0, 0.0, 0.0), readiness=readiness, device_air=AirState.VENTED)


def at(state: BenchState, seconds: float) -> BenchState:
    """So much later."""
    return replace(state, reading=Reading(state.now_s + seconds, 0.0, 0.0, 0.0))


def check(kind: str, made_at_unix_s: float = 1.8e9, *, passed: bool = True) -> RigCheck:
    return RigCheck(kind, made_at_unix_s, "R. Holm", "R-1", passed)  # type: ignore[arg-type]


def done(purpose: acts.Purpose, given: CheckGiven | PointGiven | None, void: str | None = None) -> Done:
    return Done(purpose, Analysed(None, void, (), given), {}, None)


def in_the_air() -> tuple[CheckRun, BenchState]:
    """A sealed check of two pressures, its zeros taken."""
    state = bench()
    run, told = begun(CheckPlan("sealed", SEALED, (("certificate", "C-1"),)), state, [])
    assert told == (acts.TakeZero(),)
    state = replace(at(state, 2.0), checks={"zero": check("zero")})
    run, told = looked(run, state, [])
    assert told == (acts.BeginRound(SEALED, (("certificate", "C-1"),)), acts.SetPurpose(SEALED[0]))
    return run, replace(state, purpose=SEALED[0])


def test_one_opening_after_the_other_until_the_check_is_given() -> None:
    run, state = in_the_air()
    assert run.progress == "1 of 2"
    first = (4, done(SEALED[0], PointGiven({})))
    locked = replace(state, readiness=replace(state.readiness, state=State.VENTING, pressurised=True))
    assert looked(run, locked, [first]) == (run, ())  # nothing is told to a rig that is not vented
    run, told = looked(run, state, [first])
    assert told == (acts.SetPurpose(SEALED[1]),)
    state = replace(state, purpose=SEALED[1])
    assert looked(run, state, [first]) == (run, ())
    found = check("sealed")
    run, told = looked(run, state, [first, (5, done(SEALED[1], CheckGiven(found)))])
    assert (run.stage, run.check, run.words, told) == ("over", found, "", ())


def test_one_that_came_to_nothing_is_made_again_or_left() -> None:
    run, state = in_the_air()
    void = (4, done(SEALED[0], None, "the air was let go"))
    run, told = looked(run, state, [void])
    assert (run.stage, told) == ("again", ())
    assert "the check came to nothing: the air was let go; see that the hose" in run.words
    again, told = said(run, state)
    assert (again.stage, told) == ("air", (acts.SetPurpose(SEALED[0]),))
    assert looked(again, state, [void]) == (again, ())  # the void one is not looked at twice
    over, told = broken_off(run, "broken off")
    assert (over.stage, over.words, told) == ("over", "broken off", (acts.StopAll(), acts.BeginRound(())))


def test_it_ends_where_the_rig_was_wanted_for_something_else() -> None:
    run, state = in_the_air()
    elsewhere = replace(state, purpose=acts.Purpose("test", 3))
    assert looked(run, at(elsewhere, 0.5), [])[0].stage == "air"  # the act may not have been heeded yet
    assert "wanted for something else" in looked(run, at(elsewhere, 1.5), [])[0].words


@pytest.mark.parametrize(
    ("zero", "later_s", "stage", "words"),
    [
        (None, 3.0, "zero", ""),
        (None, 6.0, "over", "did not stay vented"),
        (check("zero", passed=False), 2.0, "over", "a transducer is far from zero at vent"),
    ],
)
def test_zeros_that_do_not_come(zero: RigCheck | None, later_s: float, stage: str, words: str) -> None:
    state = bench()
    run, _ = begun(CheckPlan("sealed", SEALED), state, [])
    seen = replace(at(state, later_s), checks={} if zero is None else {"zero": zero})
    run, told = looked(run, seen, [])
    assert run.stage == stage
    assert words in run.words
    assert told == ()


def test_hand_valves_are_vented_by_hand_first() -> None:
    state = bench(valves=False)
    run, told = begun(CheckPlan("zero"), state, [])
    assert (run.stage, told) == ("vent", ())
    pressed = replace(state, readiness=replace(state.readiness, pressurised=True))
    refused, told = said(run, pressed)
    assert (refused.stage, told) == ("vent", ())
    assert "under pressure" in refused.words
    run, told = said(refused, state)
    assert (run.stage, run.words, told) == ("zero", "", (acts.TakeZero(),))


def test_nothing_begins_under_pressure_nor_out_of_order() -> None:
    state = bench()
    with pytest.raises(NotReadyError, match="the rig is under pressure"):
        begun(CheckPlan("zero"), replace(state, readiness=replace(state.readiness, pressurised=True)), [])
    with pytest.raises(NotReadyError, match="make the restrictor check first"):
        begun(CheckPlan("acceptance", SEALED[:1]), state, [])


def test_true_tdc_comes_after_the_zeros_and_ends_with_its_check_or_where_it_was_refused() -> None:
    scenario = load_scenario("hillclimb-before")
    state = replace(bench(), engine=engine_from_document(scenario.engine_document, "four"))
    run, _ = begun(CheckPlan("tdc", begin=acts.BeginTdc(1)), state, [])
    state = replace(at(state, 2.0), checks={"zero": check("zero")})
    run, told = looked(run, state, [])
    assert (run.stage, told) == ("tdc", (acts.BeginTdc(1),))
    assert looked(run, at(state, 0.5), [])[0].stage == "tdc"
    assert "came to nothing" in looked(run, at(state, 1.5), [])[0].words
    found = check("tdc")
    run, _ = looked(run, replace(state, checks=state.checks | {"tdc": found}), [])
    assert (run.stage, run.check) == ("over", found)
