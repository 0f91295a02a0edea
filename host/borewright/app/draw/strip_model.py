"""What the strip under the Test page shows: one place per cylinder in firing order, with what the record holds of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite

from borewright.core.engine import Engine
from borewright.core.judgement import Judgement, judge
from borewright.core.limit_sets import LimitSet
from borewright.service.counting_tests import counting, is_declared, unused_words
from borewright.service.judging import JudgedStage
from borewright.service.repeated_tests import RepeatedTests, kept_budgets, repeated_tests
from borewright.store.records import CaptureRecord

__all__ = ["StripModel", "StripPlace", "band_fill", "strip_of"]

LEAST_SCALE_PERCENT = 30.0  # the scale ends here at least, so that a healthy engine is not blown up to look like a poor one
FILLS = 4  # so many fills and patterns there are for bands


@dataclass(frozen=True, slots=True)
class StripPlace:
    """One cylinder.

    leakage_percent: the mean of its repeats, or its only or latest test; None without any. expanded_percent: what is stated of it,
    None where that is not known. band: the name, or between which; bands: their ranks in the set, from the tightest. tests: how
    many complete ones count. marks: what is to be known of them. void: why the last one is void, where none came after it.
    declared: entered by a person, not measured.
    """

    cylinder: int
    chosen: bool = False
    leakage_percent: float | None = None
    expanded_percent: float | None = None
    band: str = ""
    bands: tuple[int, ...] = ()
    tests: int = 0
    marks: tuple[str, ...] = ()
    void: str = ""
    declared: bool = False

    @property
    def figure(self) -> str:
        """The leakage, with tenths; a dash without a test."""
        return "–" if self.leakage_percent is None else f"{self.leakage_percent:.1f} %"

    @property
    def interval(self) -> str:
        """Its uncertainty in words and figures; empty without a test."""
        if self.leakage_percent is None:
            return ""
        return "± not known" if self.expanded_percent is None else f"± {self.expanded_percent:.1f}"

    @property
    def remark(self) -> str:
        """The one short line under the band: what should be known of the number; empty without one."""
        if self.leakage_percent is None:
            return ""
        if self.void:
            return f"last test void: {self.void}"
        parts = ["declared"] if self.declared else []
        parts += [f"{self.tests} tests"] if self.tests > 1 else []
        parts += [f"{len(self.marks)} {'mark' if len(self.marks) == 1 else 'marks'}"] if self.marks else []
        return ", ".join(parts)

    @property
    def sentence(self) -> str:
        """All of it in words.

        >>> StripPlace(3, True, 21.4, 0.6, "open it up", (2,), 2, ("not steady",)).sentence
        'Cylinder 3, chosen: leakage 21.4 % ± 0.6, open it up; mean of 2 tests; marks: not steady.'
        """
        words = f"Cylinder {self.cylinder}{', chosen' if self.chosen else ''}: "
        parts = [f"leakage {self.figure} {self.interval}, {self.band}" if self.leakage_percent is not None else "not tested"]
        parts += ["declared, not measured"] if self.declared else []
        parts += [f"mean of {self.tests} tests"] if self.tests > 1 else []
        parts += [f"the last test is void: {self.void}"] if self.void else []
        parts += [f"marks: {', '.join(self.marks)}"] if self.marks else []
        return words + "; ".join(parts) + "."


@dataclass(frozen=True, slots=True)
class StripModel:
    """All places, and the scale that they share: limits_percent are the upper ends of the bands inside of it, bands how many."""

    places: tuple[StripPlace, ...] = ()
    scale_percent: float = LEAST_SCALE_PERCENT
    limits_percent: tuple[float, ...] = ()
    limit_set: str = ""
    bands: int = 1

    @property
    def sentence(self) -> str:
        """The whole strip in words."""
        if not self.places:
            return "Cylinders: no engine is open."
        return f"Cylinders in firing order, judged by {self.limit_set}. " + " ".join(place.sentence for place in self.places)


def band_fill(rank: int, count: int) -> int:
    """Which of the four fills a band has: the tightest the first, the last the fourth where there are so many, else in order.

    >>> [band_fill(rank, 3) for rank in range(3)], [band_fill(rank, 6) for rank in range(6)]
    ([0, 1, 2], [0, 1, 1, 2, 2, 3])
    """
    return rank if count <= FILLS else round(rank * (FILLS - 1) / (count - 1))


def strip_of(engine: Engine | None, captures: Iterable[CaptureRecord], judged: JudgedStage, chosen: int | None) -> StripModel:
    """The strip of one job at one stage. captures: all of the job; judged: the same, judged. Raises StoreError for a bad budget."""
    if engine is None:
        return StripModel()
    tests = [one for one in captures if one.purpose == "test" and one.deleted_at_unix_s is None and one.state != "running"]
    repeated = {one.cylinder: one for one in repeated_tests(tests)}
    places = tuple(
        _place(n, n == chosen, [one for one in tests if one.cylinder == n], repeated.get(n), judged) for n in engine.firing_order
    )
    highest = max((_top(place) for place in places), default=0.0)
    scale = next(top for top in (LEAST_SCALE_PERCENT, 60.0, 100.0) if highest <= top or top == 100.0)
    limits = tuple(band.up_to_percent for band in judged.limit_set.bands if band.up_to_percent < scale)
    return StripModel(places, scale, limits, judged.limit_set.name, len(judged.limit_set.bands))


def _top(place: StripPlace) -> float:
    return (place.leakage_percent or 0.0) + (place.expanded_percent or 0.0)


def _place(
    cylinder: int, chosen: bool, tests: Sequence[CaptureRecord], repeated: RepeatedTests | None, judged: JudgedStage
) -> StripPlace:
    void = ""
    if tests and tests[-1].state != "complete":
        void = tests[-1].void_reason or "it was broken off"
    counted = [test for test in counting(tests) if (test.result or {}).get("leakage_percent") is not None]
    if not counted:
        return StripPlace(cylinder, chosen, void=void)
    latest = counted[-1]
    if repeated is not None and repeated.leakage is not None:
        percent, expanded = repeated.leakage.mean, _finite(repeated.leakage.expanded())
        judgement: Judgement | None = judge(percent, expanded, judged.limit_set)
        count = len(repeated.tests)
    else:
        percent, expanded = _leakage(latest)
        judgement, count = judged.judgements.get(latest.id), 1
    marks = [mark for test in counted for mark in test.marks]
    if repeated is not None and repeated.mixed is not None:
        marks.append(f"the latest of {len(counted)} tests, which were {repeated.mixed}")
    marks += [] if (latest_judged := judged.judgements.get(latest.id)) is None else latest_judged.questions
    marks += unused_words(tests).values()
    return StripPlace(
        cylinder,
        chosen,
        percent,
        expanded,
        "" if judgement is None else judgement.band,
        () if judgement is None else _ranks(judgement, judged.limit_set),
        count,
        tuple(dict.fromkeys(marks)),
        void,
        is_declared(latest),
    )


def _leakage(test: CaptureRecord) -> tuple[float, float | None]:
    budget = kept_budgets(test).get("leakage")
    if budget is None:
        return float((test.result or {})["leakage_percent"]), None
    return budget.value, _finite(budget.expanded()) if budget.items else None


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None


def _ranks(judgement: Judgement, limit_set: LimitSet) -> tuple[int, ...]:
    return tuple(rank for rank, band in enumerate(limit_set.bands) if band.name in judgement.between)
