"""The table of a report from the record: each cylinder at each stage, what came of it, and the marks that its tests bear.

Only complete tests count, and a declared reading only where its cylinder was not tested.
Several of one cylinder stand as their mean; where they are no repeats of each other, the latest stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from borewright.core.capture import PA_PER_PSI
from borewright.core.judgement import Judgement, judge
from borewright.report.model import Change, Fact, Quantity, Result, VoidTest
from borewright.service.counting_tests import counting
from borewright.service.judging import JudgedStage, circumstances_of, judge_stage
from borewright.service.other_cylinders import odd_volumes
from borewright.service.repeated_tests import kept_budgets, repeated_tests
from borewright.service.report_numbers import Shown, area_places, counted, quantity

if TYPE_CHECKING:
    from borewright.core.compare import Difference
    from borewright.core.limit_sets import LimitSet
    from borewright.service.comparing import JobComparison
    from borewright.service.repeated_tests import RepeatedTests
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["NOT_COMPARED", "MarksOf", "StageTests", "changes_of", "marks_of", "results_of", "stage_tests", "voids_of"]

LEAKAGE_PLACES = 2
NOT_COMPARED = "not compared"
_LETTERS = "abcdefghijklmnopqrstuvwxyz"


@dataclass(frozen=True, slots=True)
class StageTests:
    """One job at one stage: label is what the stage is called in the report."""

    job: JobRecord
    label: str
    captures: tuple[CaptureRecord, ...]
    repeats: Mapping[int, RepeatedTests]
    judged: JudgedStage
    engine: Mapping[str, Any]

    def counting(self, cylinder: int) -> tuple[CaptureRecord, ...]:
        """The tests of a cylinder that count, oldest first: complete plain ones, no declared reading beside a measured one."""
        return tuple(one for one in counting(self.captures) if one.cylinder == cylinder)

    def standing(self, cylinder: int) -> tuple[CaptureRecord, ...]:
        """Those that the numbers of the cylinder rest on: all of them, or the latest where they are no repeats of each other."""
        tests = self.counting(cylinder)
        repeated = self.repeats.get(cylinder)
        return tests[-1:] if repeated is not None and repeated.mixed is not None else tests

    @property
    def cylinders(self) -> tuple[int, ...]:
        """Those that were tested, rising."""
        return tuple(sorted({one.cylinder for one in self.captures if one.cylinder and one.purpose == "test"}))


def stage_tests(
    job: JobRecord, label: str, captures: Sequence[CaptureRecord], engine: Mapping[str, Any], limits: LimitSet
) -> StageTests:
    """A job's tests with their repeats and judgements. Raises StoreError for a budget that cannot be read."""
    repeats = {repeated.cylinder: repeated for repeated in repeated_tests(captures)}
    return StageTests(job, label, tuple(captures), repeats, judge_stage(captures, engine, limits), engine)


@dataclass(frozen=True, slots=True)
class MarksOf:
    """The marks of all tests: those that every cylinder at every stage bears, and the others by letter."""

    shared: tuple[str, ...]
    lettered: tuple[Fact, ...]
    _of: Mapping[tuple[str, int], str]

    def letters(self, stage: str, cylinder: int) -> str:
        """The letters of a line of the table."""
        return self._of.get((stage, cylinder), "")


def marks_of(stages: Sequence[StageTests]) -> MarksOf:
    """Gather the marks: of the tests, what was declared, the limits' procedure, questions, volumes that stand apart."""
    borne: dict[str, list[tuple[str, int]]] = {}
    lines = 0
    for stage in stages:
        odd = odd_volumes(stage.captures)
        for cylinder in stage.cylinders:
            tests = stage.standing(cylinder)
            lines += bool(tests)
            for mark in dict.fromkeys(mark for test in tests for mark in _marks_of_test(test, stage)):
                borne.setdefault(mark, []).append((stage.label, cylinder))
            if tests and (mixed := _mixed(stage, cylinder)):
                borne.setdefault(mixed, []).append((stage.label, cylinder))
            for words in odd:
                head, _, rest = words.partition(": ")
                if tests and head == f"cylinder {cylinder}":
                    borne.setdefault(f"contradiction: {rest}", []).append((stage.label, cylinder))
    shared = tuple(mark for mark, where in borne.items() if len(where) == lines)
    lettered: list[Fact] = []
    of: dict[tuple[str, int], str] = {}
    for number, (mark, where) in enumerate((mark, where) for mark, where in borne.items() if len(where) < lines):
        letter = _letter(number)
        lettered.append(Fact(letter, mark))
        for place in where:
            of[place] = of.get(place, "") + letter
    return MarksOf(shared, tuple(lettered), of)


def _letter(number: int) -> str:
    """a to z, then a1 to z1 and so on."""
    return _LETTERS[number % 26] + (str(number // 26) if number >= 26 else "")


def _marks_of_test(test: CaptureRecord, stage: StageTests) -> Iterable[str]:
    yield from test.marks
    if not any(mark.startswith("declared:") for mark in test.marks):  # a reading taken elsewhere says so itself
        for key, said in test.declared.items():
            yield _declared_words(key, said)
    judgement = stage.judged.judgements.get(test.id)
    if judgement is not None:
        if judgement.called:
            yield judgement.called
        yield from judgement.questions


def _declared_words(key: str, said: Any) -> str:
    """What a person entered instead of measuring it."""
    name = key.replace("_", " ")
    if isinstance(said, str | int | float) and not isinstance(said, bool):
        return f"declared: {name}: {said}"
    if isinstance(said, Mapping):
        parts = [f"{part.replace('_', ' ')} {value}" for part, value in said.items() if isinstance(value, str | int | float)]
        return f"declared: {name}" + (f": {', '.join(parts)}" if parts else "")
    return f"declared: {name}"


def _mixed(stage: StageTests, cylinder: int) -> str:
    repeated = stage.repeats.get(cylinder)
    if repeated is None or repeated.mixed is None:
        return ""
    return f"its {len(repeated.tests)} tests are not averaged ({repeated.mixed}); the latest stands here"


def results_of(stages: Sequence[StageTests], cylinders: Sequence[int], marks: MarksOf, shown: Shown) -> tuple[Result, ...]:
    """The lines of the table: every cylinder of the engine at every stage."""
    return tuple(_result(stage, cylinder, marks, shown) for cylinder in cylinders for stage in stages)


def _result(stage: StageTests, cylinder: int, marks: MarksOf, shown: Shown) -> Result:
    tests = stage.standing(cylinder)
    if not tests:
        void = [one for one in stage.captures if one.cylinder == cylinder and one.purpose == "test"]
        nothing = f"{counted(len(void), 'test', 'tests')}, none of which counts: see below" if void else "not tested"
        return Result(cylinder, stage.label, nothing=nothing)
    leakage, judgement = leakage_of(stage, cylinder)
    label = stage.label if len(tests) == 1 else f"{stage.label} ×{len(tests)}"
    pairs = [_mean(tests, f"p_{side}_gauge_pa") for side in ("regulated", "cylinder")]
    known = [pa for pa in pairs if pa is not None]
    return Result(
        cylinder=cylinder,
        stage=label,
        tests=", ".join(str(test.id) for test in tests),
        leakage=leakage,
        pair_psi="/".join(f"{pa / PA_PER_PSI:.0f}" for pa in known) if len(known) == 2 else "",
        pair_kpa="/".join(f"{pa / 1e3:.0f}" for pa in known) if len(known) == 2 else "",
        area=_area(stage, cylinder, tests, shown),
        volume=_volume(tests[-1], shown),
        band="" if judgement is None else judgement.band,
        letters=marks.letters(stage.label, cylinder),
    )


def leakage_of(stage: StageTests, cylinder: int) -> tuple[Quantity, Judgement | None]:
    """The leakage of a cylinder that was tested, and how the limits judge it."""
    test = stage.standing(cylinder)[-1]
    repeated = stage.repeats.get(cylinder)
    if repeated is not None and repeated.leakage is not None:
        mean, expanded = repeated.leakage.mean, repeated.leakage.expanded()
        around = circumstances_of(test.result or {}, test.laws, test.marks, stage.engine, kept_budgets(test))
        return quantity(mean, expanded, LEAKAGE_PLACES), judge(mean, expanded, stage.judged.limit_set, around)
    judgement = stage.judged.judgements.get(test.id)
    budget = kept_budgets(test).get("leakage")
    if budget is not None:
        return quantity(budget.value, budget.expanded() if budget.items else None, LEAKAGE_PLACES), judgement
    value = (test.result or {}).get("leakage_percent")
    return (Quantity() if value is None else quantity(float(value), None, 1)), judgement


def _area(stage: StageTests, cylinder: int, tests: Sequence[CaptureRecord], shown: Shown) -> Quantity:
    scale = shown.of(1e-6, "area", "mm²")  # results are in mm²
    places = area_places(shown.unit("area", "mm²"))
    repeated = stage.repeats.get(cylinder)
    if repeated is not None and repeated.leak_area is not None:
        return quantity(repeated.leak_area.mean * scale, repeated.leak_area.expanded() * scale, places)
    budget = kept_budgets(tests[-1]).get("leak area")
    if budget is not None:
        return quantity(budget.value * scale, budget.expanded() * scale if budget.items else None, places)
    value = (tests[-1].result or {}).get("leak_area_mm2")
    return Quantity() if value is None else quantity(float(value) * scale, None, places)


def _volume(test: CaptureRecord, shown: Shown) -> Quantity:
    budget = kept_budgets(test).get("trapped volume")
    if budget is None:
        return Quantity()
    scale = shown.of(1e-6, "volume", "cm³")  # the budget is in cm³
    return quantity(budget.value * scale, budget.expanded() * scale if budget.items else None, 1)


def _mean(tests: Sequence[CaptureRecord], key: str) -> float | None:
    values = [float(value) for test in tests if (value := (test.result or {}).get(key)) is not None]
    return sum(values) / len(values) if values else None


def changes_of(comparison: JobComparison, shown: Shown) -> tuple[Change, ...]:
    """What came of each cylinder, in leak area and in percentage points."""
    made = []
    for one in comparison.cylinders:
        leading = one.area or one.leakage
        if leading is None:
            made.append(Change(one.cylinder, NOT_COMPARED, ()))
            continue
        changes = tuple(_change_words(found, shown) for found in (one.area, one.leakage) if found is not None)
        made.append(Change(one.cylinder, leading.verdict, changes))
    return tuple(made)


def _change_words(found: Difference, shown: Shown) -> str:
    scale, unit, places = 1.0, "points", LEAKAGE_PLACES
    if found.quantity == "leak area":
        scale, unit = shown.of(1e-6, "area", "mm²"), shown.unit("area", "mm²")
        places = area_places(unit)
    change = quantity(found.change * scale, found.expanded * scale, places, plus=True)
    return f"{change.value} ± {change.expanded} {unit}" if change.expanded else f"{change.value} {unit}"


def voids_of(stages: Sequence[StageTests], shown: Shown) -> tuple[VoidTest, ...]:
    """Every test that does not count, with its reason."""
    return tuple(
        VoidTest(
            test=str(one.id),
            cylinder=str(one.cylinder),
            stage=stage.label,
            made=shown.moment(one.started_at_unix_s),
            reason=one.void_reason or ("it was not ended" if one.state == "running" else "no reason was recorded"),
        )
        for stage in stages
        for one in stage.captures
        if one.state != "complete" and one.cylinder
    )
