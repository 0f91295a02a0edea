"""Going round the engine: which cylinder comes next and how far to turn to it, and which tests should be made again, and why.

Planned from what the record holds of the job, so that it goes on where it was broken off. What is suggested, the person decides.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from borewright.core.engine import Engine
from borewright.core.judgement import judge
from borewright.core.limit_sets import LimitSet
from borewright.core.readiness_table import VOID_REASONS, Event
from borewright.service.facts import reference_tdc_count
from borewright.service.judging import JudgedStage, judge_stage
from borewright.service.repeated_tests import RepeatedTests, kept_budgets, repeated_tests
from borewright.service.state import BenchState
from borewright.store.records import CaptureRecord

__all__ = [
    "COLD_BELOW_K",
    "CRANK_MOVED_BECAUSE",
    "TEMPERATURE_GOOD_FOR_S",
    "Progress",
    "Visit",
    "chosen_visit",
    "crank_angle_deg",
    "crank_moved",
    "hot_marks",
    "next_visit",
    "progress",
    "visit_words",
]

MOST_TESTS = 4  # project: where four tests do not settle it, a fifth will not
POOLED_REPEATS = 2  # project: with fewer degrees of freedom the t-factor swallows a comparison (12.7 for one, 4.3 for two)
HERE_DEG = 10.0  # within so much past a TDC the crank stands at it
COLD_BELOW_K = 333.15  # common practice, no source: what hot is, the maker's manual says
CRANK_MOVED_BECAUSE = (  # most likely first
    "the restraint does not hold: look how it is fastened",
    "true TDC is wrong or the encoder has slipped: end the round and find it anew",
    "the hose is in another cylinder's hole: look which",
)
TEMPERATURE_GOOD_FOR_S = 15 * 60.0  # project: an engine that stands open loses some degrees in that time


@dataclass(frozen=True, slots=True)
class Visit:
    """A test that comes next. reason: why; empty for a first one. suggested: the person may leave it, as any other.

    turn_deg: how far ahead in the running direction its compression TDC lies, None while it is not known where the crank stands.
    here: the crank stands at it. tests: complete ones so far.
    """

    cylinder: int
    kind: Literal["first", "void", "planned", "suggested"]
    reason: str = ""
    turn_deg: float | None = None
    here: bool = False
    tests: int = 0

    @property
    def turn_over(self) -> bool:
        """Whether the crank has to be turned over first: a repeat without that shows nothing new. A squeeze does it."""
        return self.here and self.tests > 0

    @property
    def left_as(self) -> tuple[int, int]:
        """What stands for this visit once the person has left it out."""
        return self.cylinder, self.tests


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the job has come: complete tests of each cylinder, and why the last one of a cylinder without any is void."""

    tests: Mapping[int, int]
    void: Mapping[int, str]

    @property
    def missing(self) -> tuple[int, ...]:
        """Cylinders without a complete test."""
        return tuple(cylinder for cylinder, count in self.tests.items() if count == 0)

    def words(self) -> str:
        """One line for the person.

        >>> Progress({1: 1, 3: 0, 4: 0, 2: 0}, {3: "it was stopped"}).words()
        'tested 1 of 4: cylinder 1; still to come: 3 (void: it was stopped), 4, 2'
        """
        done = [cylinder for cylinder, count in self.tests.items() if count]
        words = f"tested {len(done)} of {len(self.tests)}" + (f": cylinder {', '.join(map(str, done))}" if done else "")
        missing = [f"{n} (void: {self.void[n]})" if n in self.void else str(n) for n in self.missing]
        return words + (f"; still to come: {', '.join(missing)}" if missing else "")


def progress(engine: Engine, captures: Iterable[CaptureRecord], cylinders: Collection[int] | None = None) -> Progress:
    """What the record holds of these cylinders (None: all), in firing order. What was declared is no test of this rig."""
    asked = [cylinder for cylinder in engine.firing_order if cylinders is None or cylinder in cylinders]
    tests, void = dict.fromkeys(asked, 0), {}
    for capture in _tests(captures):
        if capture.cylinder not in tests:
            continue
        if capture.state == "complete":
            tests[capture.cylinder] += 1
        else:
            void[capture.cylinder] = capture.void_reason or "it was broken off"
    return Progress(tests, {cylinder: reason for cylinder, reason in void.items() if tests[cylinder] == 0})


def crank_moved(void_reason: str | None) -> bool:
    """Whether a test ended void because the crank left its window, as host or rig saw it, or did not stand still after the puff.

    >>> crank_moved("the crank left its window while air was on"), crank_moved("it was stopped"), crank_moved(None)
    (True, False, False)
    """
    seen_by_rig = f"{VOID_REASONS[Event.DEVICE_TRIPPED]}: crank left window"
    return void_reason in (VOID_REASONS[Event.CRANK_LEFT_WINDOW], VOID_REASONS[Event.READY_STALE], seen_by_rig)


def _tests(captures: Iterable[CaptureRecord]) -> list[CaptureRecord]:
    return [capture for capture in captures if capture.purpose == "test" and capture.device_serial and not capture.declared]


def next_visit(
    engine: Engine,
    document: Mapping[str, Any],
    captures: Sequence[CaptureRecord],
    limit_set: LimitSet,
    *,
    angle_deg: float | None = None,
    cylinders: Collection[int] | None = None,
    repeats: int = 1,
    compares: bool = False,
    left: Collection[tuple[int, int]] = (),
) -> Visit | None:
    """The test that comes next; None when all is done.

    document: of the engine, as the record keeps it. angle_deg: as crank_angle_deg gives it; from there the nearest cylinder ahead
    in the running direction comes first. repeats: how many tests of each cylinder were asked for. compares: a later comparison will
    rest on these tests. left: Visit.left_as of those that the person has left out. Raises StoreError for a budget that cannot be
    read.
    """
    so_far = progress(engine, captures, cylinders)
    open_ = {cylinder: count for cylinder, count in so_far.tests.items() if (cylinder, count) not in left}
    least = min((count for count in open_.values() if count < repeats), default=None)
    if least is not None:
        due = [cylinder for cylinder, count in open_.items() if count == least]
        cylinder = _nearest(engine, due, angle_deg)
        kind, reason = _planned(so_far, cylinder, repeats)
        return _visit(engine, cylinder, kind, reason, angle_deg, least)
    reasons = _suggestions(document, _tests(captures), limit_set, so_far, compares)
    due = [cylinder for cylinder, count in open_.items() if cylinder in reasons and 0 < count < MOST_TESTS]
    if not due:
        return None
    cylinder = _nearest(engine, due, angle_deg)
    return _visit(engine, cylinder, "suggested", "; ".join(reasons[cylinder]), angle_deg, open_[cylinder])


def chosen_visit(engine: Engine, so_far: Progress, cylinder: int, angle_deg: float | None) -> Visit:
    """The visit to a cylinder that the person has chosen, whatever would come next; angle_deg as next_visit has it."""
    tests = so_far.tests.get(cylinder, 0)
    if cylinder in so_far.void:
        return _visit(engine, cylinder, *_planned(so_far, cylinder, 1), angle_deg, tests)
    return _visit(engine, cylinder, "planned" if tests else "first", "", angle_deg, tests)


def _planned(so_far: Progress, cylinder: int, repeats: int) -> tuple[Literal["first", "void", "planned"], str]:
    if cylinder in so_far.void:
        return "void", f"its test was void: {so_far.void[cylinder]}"
    tests = so_far.tests[cylinder]
    return ("first", "") if tests == 0 else ("planned", f"test {tests + 1} of the {repeats} that were asked for")


def _visit(
    engine: Engine,
    cylinder: int,
    kind: Literal["first", "void", "planned", "suggested"],
    reason: str,
    angle_deg: float | None,
    tests: int,
) -> Visit:
    if angle_deg is None:
        return Visit(cylinder, kind, reason, tests=tests)
    ahead_deg = _ahead_deg(engine, cylinder, angle_deg)
    return Visit(cylinder, kind, reason, ahead_deg, min(ahead_deg, engine.cycle_deg - ahead_deg) <= HERE_DEG, tests)


def _ahead_deg(engine: Engine, cylinder: int, angle_deg: float) -> float:
    return (engine.firing_angle_deg(cylinder) - angle_deg) % engine.cycle_deg


def _nearest(engine: Engine, cylinders: Sequence[int], angle_deg: float | None) -> int:
    """The one that comes first in the running direction; one whose TDC the crank stands at or has just passed comes last."""
    if angle_deg is None:
        return cylinders[0]
    return min(cylinders, key=lambda cylinder: (_ahead_deg(engine, cylinder, angle_deg) - HERE_DEG) % engine.cycle_deg)


def visit_words(visit: Visit, engine: Engine) -> str:
    """What the person is told of it.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> visit_words(Visit(3, "first", turn_deg=178.6), four)
    'cylinder 3: 179° ahead in the running direction (clockwise)'
    """
    again = " again" if visit.tests else ""
    words = f"cylinder {visit.cylinder}{again}"
    if visit.here:
        words += ": the crank stands there" + ("; it is turned over once, by another squeeze" if visit.turn_over else "")
    elif visit.turn_deg is not None:
        words += f": {visit.turn_deg:.0f}° ahead in the running direction ({engine.running_direction})"
    return words + (f", because {visit.reason}" if visit.kind == "suggested" else f"; {visit.reason}" if visit.reason else "")


# ---------------------------------------------------------------------- where the crank stands


def crank_angle_deg(state: BenchState) -> float | None:
    """Where the crank stands, in degrees after the compression TDC of the first cylinder in the firing order, within one cycle.

    None while it is not known, which for a four-stroke needs the stroke to be shown.
    """
    engine, crank, stroke = state.engine, state.crank, state.stroke
    if engine is None or crank is None or crank.last_count is None:
        return None
    if engine.cycle == "two-stroke":
        at_count, fires_deg = reference_tdc_count(state, engine.firing_order[0]), 0.0
    elif stroke is not None and stroke.boot_id == state.session.boot_id:
        at_count, fires_deg = stroke.tdc_count, engine.firing_angle_deg(stroke.cylinder)
    else:
        return None
    if at_count is None:
        return None
    turned_deg = state.setup.running_sign * (crank.last_count - at_count) / crank.counts_per_rev * 360.0
    return (turned_deg + fires_deg) % engine.cycle_deg


# ---------------------------------------------------------------------- what should be tested again


def _suggestions(
    document: Mapping[str, Any],
    tests: Sequence[CaptureRecord],
    limit_set: LimitSet,
    so_far: Progress,
    compares: bool,
) -> dict[int, list[str]]:
    """Why a cylinder should be tested again, by cylinder."""
    judged = judge_stage(tests, document, limit_set)
    repeated = {one.cylinder: one for one in repeated_tests(tests)}
    reasons: dict[int, list[str]] = {}
    for cylinder in so_far.tests:
        complete = [test for test in tests if test.cylinder == cylinder and test.state == "complete" and test.result is not None]
        if complete and (found := _of_cylinder(complete, judged, repeated.get(cylinder), limit_set)):
            reasons[cylinder] = found
    for cylinder, reason in _uneven(judged, limit_set, so_far.tests):
        reasons.setdefault(cylinder, []).append(reason)
    more = sum(max(0, count - 1) for count in so_far.tests.values())
    if compares and not reasons and more < POOLED_REPEATS:
        few = "no test was made twice" if more == 0 else "only one test was made twice"
        reason = f"{few}, and a comparison of before and after asks how far tests scatter"
        fewest = min(so_far.tests.values(), default=0)
        reasons = {cylinder: [reason] for cylinder, count in so_far.tests.items() if count == fewest}
    return reasons


def _of_cylinder(
    complete: Sequence[CaptureRecord], judged: JudgedStage, repeated: RepeatedTests | None, limit_set: LimitSet
) -> list[str]:
    reasons: list[str] = []
    if all(any(mark.startswith("not steady") for mark in test.marks) for test in complete):
        reasons.append("its reading was not steady")
    latest, judgement = complete[-1], judged.judgements.get(complete[-1].id)
    if len(complete) == 1:
        against = [mark for mark in latest.marks if mark.startswith("contradiction")]
        odd = against or (list(judgement.questions) if judgement is not None else [])
        reasons += [f"something does not go together; look first, then test again ({odd[0]})"] if odd else []
    if (limit := _limit_reached(latest, repeated, limit_set)) is not None:
        reasons.append(f"its uncertainty reaches over the limit of {limit:g} %")
    if repeated is not None:
        if repeated.mixed is not None:
            reasons.append(f"its tests were {repeated.mixed}")
        elif any(one is not None and one.agreement == "scatter is larger" for one in (repeated.leakage, repeated.leak_area)):
            reasons.append("its tests scatter more than their uncertainties say")
    return reasons


def _limit_reached(latest: CaptureRecord, repeated: RepeatedTests | None, limit_set: LimitSet) -> float | None:
    """The limit inside the interval of the mean, or of the only test; None where there is none, or more would gain nothing."""
    if repeated is not None and repeated.leakage is not None:
        if repeated.leakage.governed() == "budget":  # what all tests have in common is what is left, and no repeat makes it less
            return None
        value, expanded = repeated.leakage.mean, repeated.leakage.expanded()
    else:
        budget = kept_budgets(latest).get("leakage")
        if budget is None or not budget.items:
            return None
        value, expanded = budget.value, budget.expanded()
    judgement = judge(value, expanded, limit_set)
    if len(judgement.between) < 2:
        return None
    return next(band.up_to_percent for band in limit_set.bands if band.name == judgement.between[0])


def _uneven(judged: JudgedStage, limit_set: LimitSet, tests: Mapping[int, int]) -> list[tuple[int, str]]:
    """The highest and the lowest, where they lie farther apart than is usual, or where one test of each leaves it open."""
    found = judged.spread
    if found is None or limit_set.spread_percent is None:
        return []
    pair = (("the highest", found.highest_cylinder), ("the lowest", found.lowest_cylinder))
    usual = limit_set.spread_percent[1]
    once = all(tests.get(cylinder) == 1 for _, cylinder in pair)
    if found.range_percent > usual:
        uneven = "are uneven"
    elif once and found.range_percent + (found.expanded_percent or 0.0) > usual:
        uneven = "may be uneven"
    else:
        return []
    apart = f"{found.range_percent:.1f} percentage points between cylinder {found.highest_cylinder} and {found.lowest_cylinder}"
    return [
        (cylinder, f"it reads {which} and the cylinders {uneven}, {apart}") for which, cylinder in pair if tests.get(cylinder) == 1
    ]


# ---------------------------------------------------------------------- a hot test


def hot_marks(t_engine_k: float | None, age_s: float) -> tuple[str, ...]:
    """The marks on a test of a job that wanted a hot engine. t_engine_k: as last entered, None: never; age_s: how long ago.

    What hot is, the maker's manual says; 60 °C is common practice.

    >>> hot_marks(353.15, 60.0), hot_marks(297.15, 60.0)
    ((), ('a hot test was wanted and the engine was cold, 24 °C',))
    """
    if t_engine_k is None:
        return ("a hot test was wanted and the engine's temperature was not given",)
    marks = [f"a hot test was wanted and the engine was cold, {t_engine_k - 273.15:.0f} °C"] if t_engine_k < COLD_BELOW_K else []
    if age_s > TEMPERATURE_GOOD_FOR_S:
        marks.append(f"the engine's temperature was read {age_s / 60:.0f} minutes before the test")
    return tuple(marks)
