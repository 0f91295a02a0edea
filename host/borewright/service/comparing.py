"""Two jobs of one engine against each other, cylinder by cylinder; and the curves of a test, thinned out for drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from borewright.core.compare import SEATING, Difference, Quantity, Verdict, difference
from borewright.errors import UseError
from borewright.service.compared_tests import counted, marks_of, why_none
from borewright.service.counting_tests import unused_words
from borewright.service.laws import laws_from_record
from borewright.service.paired_tests import pair_of, scatter_of
from borewright.service.same_engine import cylinders_of, what_differs

if TYPE_CHECKING:
    from borewright.core.flow import Floats
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["Curve", "CylinderComparison", "JobComparison", "compare_jobs", "decay_curves"]

EVEN_POINTS, SHUT_POINTS = 400, 120
SHUT_FROM_S = 0.01


@dataclass(frozen=True, slots=True)
class CylinderComparison:
    """One cylinder at both stages.

    area, leakage: None where there is nothing to compare, and both where refused says why. converted: what was carried over to the
    later rig's pressure, restrictor or temperature, or could not be, in sentences. marks: of all its tests, and which
    declared readings are not used. tests_before,
    tests_after: the numbers of the tests that count.
    """

    cylinder: int
    area: Difference | None
    leakage: Difference | None
    refused: str | None
    converted: tuple[str, ...]
    marks: tuple[str, ...]
    tests_before: tuple[int, ...]
    tests_after: tuple[int, ...]

    @property
    def verdict(self) -> Verdict | None:
        """What holds for the cylinder: by its leak area, which does not depend on the rig, or else by its leakage."""
        chosen = self.area or self.leakage
        return None if chosen is None else chosen.verdict


@dataclass(frozen=True, slots=True)
class JobComparison:
    """Two jobs of one engine; cylinders: all of the engine, in rising order. words: what came out, in a few sentences."""

    before: JobRecord
    after: JobRecord
    cylinders: tuple[CylinderComparison, ...]
    words: str


def compare_jobs(store: Store, before: JobRecord, after: JobRecord) -> JobComparison:
    """Compare the tests of two jobs.

    Raises UseError for a job against itself, for jobs of different engines and where no cylinder has a test in both; StoreError
    where the record cannot be read.
    """
    if before.id == after.id:
        raise UseError(f"job {before.name!r} at stage {before.stage!r} cannot be compared with itself; name another job or stage")
    if (differs := what_differs(store, before, after)) is not None:
        raise UseError(f"the jobs are not of the same engine ({differs}); compare two jobs of one engine")
    captures = [store.list_captures(job.id) for job in (before, after)]
    stages = [counted(listed) for listed in captures]
    unused = [unused_words(listed) for listed in captures]
    cylinders = sorted({*cylinders_of(store, after), *stages[0], *stages[1]})
    pairs = {n: pair_of(n, stages[0][n], stages[1][n]) for n in cylinders if n in stages[0] and n in stages[1]}
    if not pairs:
        raise UseError(
            f"no cylinder has a finished test in {_named(before)} and in {_named(after)}; test the same cylinders in both"
        )
    found: dict[Quantity, dict[int, Difference]] = {}
    for quantity in _QUANTITIES:
        readings = {n: sides for n, pair in pairs.items() if (sides := pair.of(quantity)) is not None}
        scatter = scatter_of(quantity, stages)
        found[quantity] = {
            n: difference(n, quantity, *sides, scatter, keys=((0, n), (1, n)), comparisons=len(readings))
            for n, sides in readings.items()
        }
    compared = []
    for n in cylinders:
        area, leakage = (found[quantity].get(n) for quantity in _QUANTITIES)
        if n in pairs:
            refused, converted = pairs[n].refused, pairs[n].converted
        else:
            refused, converted = _untested(captures, stages, n, before, after), ()
        tests = [tuple(stage.get(n, ())) for stage in stages]
        compared.append(
            CylinderComparison(
                cylinder=n,
                area=area,
                leakage=leakage,
                refused="; ".join(refused) if area is None and leakage is None else None,
                converted=converted if area is None and leakage is None else (*converted, *refused),
                marks=(*marks_of((*tests[0], *tests[1])), *(of_it[n] for of_it in unused if n in of_it)),
                tests_before=tuple(test.id for test in tests[0]),
                tests_after=tuple(test.id for test in tests[1]),
            )
        )
    return JobComparison(before, after, tuple(compared), _words(before, after, compared))


_QUANTITIES: tuple[Quantity, ...] = ("leak area", "leakage")


def _untested(
    captures: Sequence[Sequence[CaptureRecord]],
    stages: Sequence[Mapping[int, Sequence[CaptureRecord]]],
    cylinder: int,
    before: JobRecord,
    after: JobRecord,
) -> tuple[str, ...]:
    """Why a cylinder is not compared that has no test in one of the jobs, or in both."""
    if not any(capture.cylinder == cylinder for listed in captures for capture in listed):
        return (f"cylinder {cylinder} has no test in either job; test it to compare it",)
    untested = [which for which in (0, 1) if cylinder not in stages[which]]
    return tuple(why_none(captures[which], cylinder, _in_job(which, before, after)) for which in untested)


def _named(job: JobRecord) -> str:
    return f"{job.name!r} at stage {job.stage!r}"


def _in_job(which: int, before: JobRecord, after: JobRecord) -> str:
    """Which of the two jobs, in few words."""
    if {before.stage, after.stage} == {"before", "after"} and before.name == after.name:
        return (before, after)[which].stage
    return f"in {_named((before, after)[which])}"


def _words(before: JobRecord, after: JobRecord, compared: Sequence[CylinderComparison]) -> str:
    """What came out, and on whose scatter it rests."""
    sentences = []
    said: tuple[Verdict, ...] = ("better", "worse", "no shown difference")
    for verdict in said:
        if numbers := [one.cylinder for one in compared if one.verdict == verdict]:
            sentences.append(f"{verdict[0].upper()}{verdict[1:]}: {_cylinders(numbers)}.")
    if numbers := [one.cylinder for one in compared if one.verdict is None]:
        sentences.append(f"Not compared: {_cylinders(numbers)}.")
    chosen = [chosen for one in compared if (chosen := one.area or one.leakage) is not None]
    if any(one.basis == "assumed" for one in chosen):
        sentences.append(
            f"No test was repeated, so a scatter of {100.0 * SEATING:.0f} % of the leak from one seating to the next is assumed;"
            " repeats (turn the crank over, come back) supply what no sensor shows."
        )
    if apart := [one.cylinder for one in chosen if one.basis == "own"]:
        sentences.append(f"The repeats of {_cylinders(apart)} scatter more than the others' and stand for themselves.")
    if any(one.comparisons > 1 for one in chosen):
        sentences.append(
            "A change is called so only where it is larger than chance would make any of the cylinders show, at 95.45 %."
        )
    if before.created_at_unix_s > after.created_at_unix_s:
        sentences.append(f"{_named(before)} was begun later than {_named(after)}.")
    return " ".join(sentences)


def _cylinders(numbers: Sequence[int]) -> str:
    return f"cylinder{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"


@dataclass(frozen=True, slots=True)
class Curve:
    """The pressures of a test for drawing, from the opening of the supply on; t_s in seconds from there, rising.

    shut_s: when the supply was shut, None where the test has no decay. Every column is as long as t_s.
    """

    t_s: tuple[float, ...]
    p_cylinder_gauge_pa: tuple[float, ...]
    p_regulated_gauge_pa: tuple[float, ...]
    shut_s: float | None


def decay_curves(store: Store, capture_id: int) -> Curve | None:
    """The curves of a test, some hundred points: evenly spaced, and closer together after the shut, each the mean of its stretch.

    None where there is nothing to draw: a declared reading, a test without a result, a record from before the laws were kept.
    Raises StoreError where the record cannot be read.
    """
    capture = store.get_capture(capture_id)
    result = capture.result or {}
    if not capture.device_serial or "phases" not in result:
        return None
    try:
        laws = laws_from_record(capture.laws)
    except UseError:
        return None
    columns = store.load_columns(capture_id)
    regulated = laws.regulated.with_zero(result["zero_regulated_pa"]).gauge_pa(columns.raw[laws.regulated_channel])
    cylinder = laws.cylinder.with_zero(result["zero_cylinder_pa"]).gauge_pa(columns.raw[laws.cylinder_channel])
    phases, t_s, count = result["phases"], columns.t_s, len(columns.t_s)
    opened, isolated = int(phases["fill"][0]), phases["isolated"]
    edges = np.linspace(opened, count, EVEN_POINTS + 1)
    shut_s = None
    if isolated is not None:
        shut_s = float(t_s[isolated[0]] - t_s[opened])
        length_s = float(t_s[isolated[1] - 1] - t_s[isolated[0]])
        if length_s > SHUT_FROM_S:
            closer_s = t_s[isolated[0]] + np.geomspace(SHUT_FROM_S, length_s, SHUT_POINTS)
            edges = np.concatenate([edges, [isolated[0]], np.searchsorted(t_s, closer_s)])
    starts = np.unique(np.clip(edges.astype(np.int64), opened, count))
    starts, lengths = starts[:-1], np.diff(starts)

    def means(values: Floats) -> tuple[float, ...]:
        return tuple((np.add.reduceat(values[: starts[-1] + lengths[-1]], starts) / lengths).tolist())

    return Curve(means(t_s - t_s[opened]), means(cylinder), means(regulated), shut_s)
