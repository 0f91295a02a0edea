"""The way round the engine on the page of the tests: which cylinder, the zeros before the first test, begin, skip. Without Qt.

The guide leads through a test; this only begins one, as the command for a whole job does, and sees when it is over.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, Protocol

from borewright.app.settings import Settings
from borewright.app.step_model import Question, StepView
from borewright.core.engine import Engine
from borewright.core.readiness_table import AIR_ON, State
from borewright.core.rig import RigCheck
from borewright.service import acts
from borewright.service.answers import engine_temperature_k
from borewright.service.conditions_of_air import AirConditions
from borewright.service.going_round import (
    CRANK_MOVED_BECAUSE,
    TEMPERATURE_GOOD_FOR_S,
    Visit,
    chosen_visit,
    crank_angle_deg,
    crank_moved,
    hot_marks,
    visit_words,
)
from borewright.service.shown_units import ShownUnits
from borewright.service.snapshot import DoneView, Snapshot
from borewright.service.state import BenchState
from borewright.service.view_test import RoundView
from borewright.store.records import JobRecord

__all__ = ["Round", "RoundDesk"]

HEEDED_WITHIN_S = 1.0
Stage = Literal["idle", "by_hand", "zeroing", "under_way"]


class RoundDesk(Protocol):
    """What of the desk is needed here."""

    job: JobRecord | None
    engine: Engine | None
    snapshot: Snapshot
    settings: Settings
    ambient: AirConditions
    units: ShownUnits

    def tell(self, act: acts.Act) -> None:
        """An act of the person."""

    def use_air(self, ambient: AirConditions) -> None:
        """The air around, as stated."""


@dataclass(frozen=True, slots=True)
class _Warmth:
    t_engine_k: float
    at_s: float


class Round:
    """One person's way round one engine. clock: seconds, for the age of the engine's temperature."""

    def __init__(self, desk: RoundDesk, clock: Callable[[], float] = time.monotonic) -> None:
        self._desk, self._clock = desk, clock
        self.begin_anew()

    def begin_anew(self) -> None:
        """Another job is open, or none: as at the start."""
        done = self._desk.snapshot.done
        self._stage: Stage = "idle"
        self._seen: RoundView | None = None
        self._chosen: int | None = None
        self._zeroed_in: tuple[int, int | None] | None = None  # job and boot of the rig
        self._zero_before: RigCheck | None = None
        self._asked_s = 0.0  # device time of what the bench was told last
        self._purpose = acts.Purpose("sealed")
        self._purpose_heeded = False
        self._done_number = done[-1].number if done else 0
        self._last: DoneView | None = None
        self._trouble = ""
        self._warmth: _Warmth | None = None
        self._air: AirConditions | None = None  # as it was before this round said more of the engine
        self._air_said: AirConditions | None = None
        self.left: frozenset[tuple[int, int]] = frozenset()

    # ------------------------------------------------------------------ how it stands

    @property
    def under_way(self) -> bool:
        """Whether the guide leads through a test now."""
        return self._stage == "under_way" and self._chosen is None

    @property
    def last(self) -> DoneView | None:
        """The test that was over last, of this job in this run."""
        return self._last

    @property
    def chosen(self) -> int | None:
        """Which cylinder is meant: the one under test, else the one chosen, else the one that comes next."""
        if self._chosen is not None:
            return self._chosen
        if self._stage != "idle":
            return self._purpose.cylinder
        return None if self._seen is None or self._seen.visit is None else self._seen.visit.cylinder

    @property
    def coming(self) -> Visit | None:
        """The test that would be begun now."""
        seen, engine = self._seen, self._desk.engine
        if seen is None or engine is None:
            return None
        return seen.visit if self._chosen is None else chosen_visit(engine, seen.progress, self._chosen, self._angle_deg())

    @property
    def may_skip(self) -> bool:
        """Whether the one that comes next may be left out."""
        return self._stage == "idle" and self._chosen is None and self._seen is not None and self._seen.visit is not None

    @property
    def may_go_back(self) -> bool:
        """Whether there is a choice to be taken back, or a test without air to be left."""
        return self._chosen is not None or (self._stage != "idle" and not _air(self._desk.snapshot.state))

    def _angle_deg(self) -> float | None:
        state = self._desk.snapshot.state
        return None if state is None else crank_angle_deg(state)

    # ------------------------------------------------------------------ what happens

    def take(self, seen: RoundView) -> None:
        """What the record holds now."""
        self._seen = seen

    def heed(self, snapshot: Snapshot) -> None:
        """See whether the zeros are taken, a test is over, or another page has begun one."""
        state = snapshot.state
        if state is None:
            return
        if self._stage == "zeroing":
            self._see_zero(state)
        for one in snapshot.done:
            if one.number >= self._done_number:  # the latest again: the record may have said meanwhile that it kept it
                self._see_done(one)
        if state.purpose != self._purpose:
            self._see_purpose(state)
        elif self._stage == "under_way":
            self._purpose_heeded = True

    def _see_zero(self, state: BenchState) -> None:
        check = state.checks.get("zero")
        before_s = None if self._zero_before is None else self._zero_before.made_at_unix_s
        if check is not None and check.made_at_unix_s != before_s:
            self._stage = "idle"
            if check.passed:
                self._zeroed_in = self._here(state)
                self._start(self._purpose.cylinder)
            else:
                self._trouble = "A transducer is far from zero at vent; see that the vent is open and the transducer the right one."
        elif state.zero is None and state.now_s - self._asked_s > HEEDED_WITHIN_S:
            self._stage = "idle"
            self._trouble = "The zeros were not taken: see that the rig is vented, and begin again."

    def _see_done(self, done: DoneView) -> None:
        if done.done.purpose.kind == "test":
            if done.number > self._done_number and self._stage == "under_way":
                self._stage = "idle"
                self._desk.tell(acts.ConfirmPeople(frozenset()))  # no switch may begin another test that nobody asked for
            if self._last is None or done.number >= self._last.number:
                self._last = done
        self._done_number = max(self._done_number, done.number)

    def _see_purpose(self, state: BenchState) -> None:
        """Another purpose than this round's: ours is not heeded yet, or another page has set it."""
        waits = self._stage == "under_way" and not self._purpose_heeded
        if self._stage in ("by_hand", "zeroing") or (waits and state.now_s - self._asked_s < HEEDED_WITHIN_S):
            return
        self._purpose, self._purpose_heeded = state.purpose, True
        self._stage = "under_way" if state.purpose.kind == "test" and not waits else "idle"

    # ------------------------------------------------------------------ what the person does

    def choose(self, cylinder: int) -> None:
        """This cylinder next."""
        engine = self._desk.engine
        if engine is not None and cylinder in engine.firing_order and not _air(self._desk.snapshot.state):
            self._chosen = None if self.under_way and cylinder == self._purpose.cylinder else cylinder
            self._trouble = ""

    def go_back(self) -> None:
        """Take the choice back, or leave a test that has no air yet."""
        if self._chosen is not None:
            self._chosen = None
        elif self.may_go_back:
            self._stage = "idle"

    def skip(self) -> None:
        """Leave out the one that comes next."""
        visit = self._seen.visit if self._seen is not None else None
        if self.may_skip and visit is not None:
            self.left |= {visit.left_as}

    def begin(self, answer: str = "") -> None:
        """The one act: begin the test that comes, first with the zeros where this is the first of the round.

        answer: what was typed where the engine's temperature was asked for. Raises UseError where it cannot be used.
        """
        state, visit = self._desk.snapshot.state, self.coming
        if state is None or _air(state) or state.engine != self._desk.engine:
            return
        if self._stage == "by_hand":
            self._take_zero(state)
            return
        if visit is None or self._stage == "zeroing":
            return
        self._see_to_the_warmth(answer)
        self._trouble = ""
        self._purpose, self._purpose_heeded, self._chosen = acts.Purpose("test", visit.cylinder), False, None
        if self._zeroed_in == self._here(state):
            self._start(visit.cylinder)
        elif state.has_valves:
            self._take_zero(state)
        else:
            self._stage = "by_hand"

    def _here(self, state: BenchState) -> tuple[int, int | None]:
        return (0 if self._desk.job is None else self._desk.job.id), state.session.boot_id

    def _take_zero(self, state: BenchState) -> None:
        self._stage, self._zero_before, self._asked_s = "zeroing", state.checks.get("zero"), state.now_s
        self._desk.tell(acts.TakeZero())

    def _start(self, cylinder: int) -> None:
        engine, seen, state = self._desk.engine, self._seen, self._desk.snapshot.state
        if engine is None or seen is None or state is None:
            return
        self._asked_s = state.now_s
        visit = chosen_visit(engine, seen.progress, cylinder, self._angle_deg())
        done = self._desk.snapshot.done
        self._done_number = done[-1].number if done else 0
        self._stage, self._purpose, self._purpose_heeded = "under_way", acts.Purpose("test", cylinder), False
        self._desk.tell(acts.CarryStroke(not self._desk.settings.squeeze_each and not visit.turn_over))
        self._desk.tell(acts.SetPurpose(self._purpose))

    # ------------------------------------------------------------------ a hot engine

    @property
    def _wants_warmth(self) -> bool:
        job = self._desk.job
        hot = job is not None and job.details.get("hot") is True
        return hot and (self._warmth is None or self._clock() - self._warmth.at_s > TEMPERATURE_GOOD_FOR_S)

    def _see_to_the_warmth(self, answer: str) -> None:
        job = self._desk.job
        if job is None or job.details.get("hot") is not True:
            return
        if answer.strip():
            unit = self._desk.units.unit("temperature", "°C")
            self._warmth = _Warmth(engine_temperature_k(answer, unit), self._clock())
        if self._desk.ambient is not self._air_said:
            self._air = self._desk.ambient
        air, warmth = self._air or self._desk.ambient, self._warmth
        said = air if warmth is None else air.with_engine_at(warmth.t_engine_k)
        marks = hot_marks(*((None, 0.0) if warmth is None else (warmth.t_engine_k, self._clock() - warmth.at_s)))
        self._air_said = replace(said, assumed=(*said.assumed, *marks))
        self._desk.use_air(self._air_said)

    # ------------------------------------------------------------------ what is shown of it

    def view(self) -> StepView | None:
        """What the step's panel shows in place of the guide's step; None while the guide leads."""
        state, job = self._desk.snapshot.state, self._desk.job
        if state is None or self._desk.snapshot.link.kind != "open":
            return None
        if self.under_way:  # until the bench has heeded it, the guide still leads to what was before
            return None if self._purpose_heeded else StepView("begin", "One moment", "The test begins.")
        if job is None or self._desk.engine is None:
            text = "Open the job that the tests belong to, or begin a new one; it names the engine."
            return StepView("no_job", "No job is open", text, helps="Jobs")
        if self._stage == "by_hand":
            text = "Shut the supply and open the vent by hand, and wait until the gauges show nothing."
            return StepView("zero", "The zeros come first", text, button="They show &nothing")
        if self._stage == "zeroing":
            return StepView("zero", "Taking the zeros", "The rig stays vented; this takes two seconds.")
        return self._choice(state)

    def _choice(self, state: BenchState) -> StepView:
        visit, seen, engine = self.coming, self._seen, self._desk.engine
        if seen is None or engine is None:
            return StepView("choose", "One moment", "Looking what the record holds.")
        if state.engine != engine:
            return StepView("choose", "One moment", "The rig takes over the engine of this job.")
        if visit is None:
            text = " ".join((self._before(), _sentence(seen.progress.words()), *seen.over)).strip()
            text += " To test one again, choose it by its number."
            return StepView("choose", "All is tested", text, helps="Findings")
        words = visit_words(visit, engine).removeprefix(f"cylinder {visit.cylinder}").lstrip(":;, ")
        lines = [self._before(), words and _sentence(words)]
        if visit.kind == "suggested":
            lines.append("Suggested, and yours to decide.")
        if not state.has_valves and not self._desk.settings.squeeze_each:
            lines.append("The valves of this rig are turned by hand, so there is no puff: each cylinder is squeezed.")
        lines.append(_sentence(seen.progress.words()))
        question = None
        if self._wants_warmth:
            again = "again, " if self._warmth is not None else ""
            question = Question(f"The engine's temperature, read {again}now (empty leaves it open)", "temperature", "°C")
            lines.append("This is to be a test of the hot engine. What hot is, the maker's manual says; mind hot parts.")
        again = " again" if visit.tests else ""
        title = f"Cylinder {visit.cylinder}{again} {'is chosen' if self._chosen is not None else 'comes next'}"
        button = f"&Begin with cylinder {visit.cylinder}"
        return StepView("choose", title, " ".join(line for line in lines if line), button, question=question)

    def _before(self) -> str:
        """What has to be said of what was before."""
        if self._trouble:
            return self._trouble
        last = self._last
        if last is None or last.lost is not None or not crank_moved(last.void_reason):
            return ""
        because = "; ".join(CRANK_MOVED_BECAUSE)
        return f"The crank moved with air on; see to it first, the next test may go the same way. Most likely {because}."


def _air(state: BenchState | None) -> bool:
    """Whether air is coming or on, so that nothing may be begun."""
    return state is not None and (state.readiness.locked or state.readiness.state in AIR_ON | {State.ARMED})


def _sentence(words: str) -> str:
    """Words as a sentence.

    >>> _sentence("cylinder 3: the crank stands there")
    'Cylinder 3: the crank stands there.'
    """
    words = words[0].upper() + words[1:]
    return words if words[-1] in ".!?" else words + "."
