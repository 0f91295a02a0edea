"""The trend of one engine over its jobs, cylinder by cylinder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.core.compare import Difference, Quantity, Reading, Scatter, stated
from borewright.core.trend import Step, changes, steps_of
from borewright.errors import UseError
from borewright.service.compared_tests import area_reading, counted, leakage_reading, marks_of
from borewright.service.counting_tests import unused_words
from borewright.service.paired_tests import pair_of, scatter_of
from borewright.service.same_engine import what_differs

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["EngineTrend", "TrendPoint", "trend_of"]

Level = tuple[float, float]
_QUANTITIES: tuple[Quantity, ...] = ("leak area", "leakage")


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One cylinder in one job.

    area_mm2, leakage_percent: (mean, expanded uncertainty) as measured in that job, None where there is none. since_first,
    since_before: the change of the leak area (of the leakage where there is no area) against the first job and against the one
    before in which the cylinder was tested, None where there is none or it could not be compared, which notes says.
    """

    job: JobRecord
    cylinder: int
    tests: tuple[int, ...]
    area_mm2: Level | None
    leakage_percent: Level | None
    since_first: Difference | None
    since_before: Difference | None
    notes: tuple[str, ...]
    marks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EngineTrend:
    """The jobs of one engine, oldest first, and their points by cylinder, then job. comparisons: made together."""

    engine_name: str
    jobs: tuple[JobRecord, ...]
    points: tuple[TrendPoint, ...]
    comparisons: int


def trend_of(store: Store, job: JobRecord) -> EngineTrend:
    """All jobs of the engine of this one, archived ones too. Raises UseError where fewer than two have a finished test."""
    alike = [other for other in store.list_jobs(archived=True) if what_differs(store, job, other) is None]
    listed = {other.id: store.list_captures(other.id) for other in alike}
    stages = [(other, counted(listed[other.id])) for other in alike]
    stages = sorted((pair for pair in stages if pair[1]), key=lambda pair: (pair[0].created_at_unix_s, pair[0].id))
    if len(stages) < 2:
        raise UseError(f"there is only one job with finished tests of {job.engine_name}; a trend needs two")
    jobs, tested = tuple(other for other, _ in stages), [found for _, found in stages]
    scatters = {quantity: scatter_of(quantity, tested) for quantity in _QUANTITIES}
    chosen, notes = _steps(tested)
    count = sum(len(steps) for steps in chosen.values())
    found: dict[tuple[int, int, int], Difference] = {}
    for quantity in _QUANTITIES:
        for change in changes(quantity, chosen[quantity], scatters[quantity], count):
            found[change.difference.cylinder, change.before, change.after] = change.difference
    unused = [unused_words(listed[other.id]) for other in jobs]
    points = []
    for cylinder in sorted({n for stage in tested for n in stage}):
        of_it = [number for number, stage in enumerate(tested) if cylinder in stage]
        for place, number in enumerate(of_it):
            tests = tested[number][cylinder]
            points.append(
                TrendPoint(
                    job=jobs[number],
                    cylinder=cylinder,
                    tests=tuple(test.id for test in tests),
                    area_mm2=_level("leak area", tests, scatters, (number, cylinder)),
                    leakage_percent=_level("leakage", tests, scatters, (number, cylinder)),
                    since_first=found.get((cylinder, of_it[0], number)),
                    since_before=found.get((cylinder, of_it[place - 1], number)) if place else None,
                    notes=notes.get((cylinder, number), ()),
                    marks=(*marks_of(tests), *(words for n, words in unused[number].items() if n == cylinder)),
                )
            )
    return EngineTrend(job.engine_name, jobs, tuple(points), count)


def _steps(
    tested: Sequence[Mapping[int, Sequence[CaptureRecord]]],
) -> tuple[dict[Quantity, list[Step]], dict[tuple[int, int], tuple[str, ...]]]:
    """What is compared with what, by leak area where there is one; and what was converted or refused, by cylinder and later job."""
    chosen: dict[Quantity, list[Step]] = {"leak area": [], "leakage": []}
    notes: dict[tuple[int, int], tuple[str, ...]] = {}
    for cylinder in sorted({n for stage in tested for n in stage}):
        for before, after in steps_of([number for number, stage in enumerate(tested) if cylinder in stage]):
            pair = pair_of(cylinder, tested[before][cylinder], tested[after][cylinder])
            quantity: Quantity = "leak area" if pair.areas is not None else "leakage"
            if (readings := pair.of(quantity)) is not None:
                chosen[quantity].append(Step(cylinder, before, after, readings))
            said = (*notes.get((cylinder, after), ()), *pair.converted, *pair.refused)
            notes[cylinder, after] = tuple(dict.fromkeys(said))
    return chosen, notes


def _level(
    quantity: Quantity, tests: Sequence[CaptureRecord], scatters: Mapping[Quantity, Scatter], key: tuple[int, int]
) -> Level | None:
    of = area_reading if quantity == "leak area" else leakage_reading
    readings: list[Reading] = [found[0] for found in map(of, tests) if found is not None]
    return stated(readings, scatters[quantity], key) if readings else None
