"""Two jobs of one engine against each other, cylinder by cylinder; and the curves of a test, thinned out for drawing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from borewright.core.compare import Difference
from borewright.errors import UseError
from borewright.service.laws import laws_from_record

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["Curve", "CylinderComparison", "JobComparison", "compare_jobs", "decay_curves"]

EVEN_POINTS, SHUT_POINTS = 400, 120
SHUT_FROM_S = 0.01


@dataclass(frozen=True, slots=True)
class CylinderComparison:
    """One cylinder at both stages.

    area, leakage: None where there is nothing to compare, and both where refused says why. converted: what was carried over to the
    later rig's pressure, restrictor or temperature, in sentences. marks: of all its tests. tests_before, tests_after: the numbers of
    the tests that count.
    """

    cylinder: int
    area: Difference | None
    leakage: Difference | None
    refused: str | None
    converted: tuple[str, ...]
    marks: tuple[str, ...]
    tests_before: tuple[int, ...]
    tests_after: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class JobComparison:
    """Two jobs of one engine; cylinders: all of the engine, in rising order. words: what came out, in a few sentences."""

    before: JobRecord
    after: JobRecord
    cylinders: tuple[CylinderComparison, ...]
    words: str


def compare_jobs(store: Store, before: JobRecord, after: JobRecord) -> JobComparison:
    """Compare the tests of two jobs. Raises UseError for jobs of different engines and where no cylinder has a test in both."""
    raise NotImplementedError(store, before, after)


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

    def means(values: np.ndarray) -> tuple[float, ...]:
        return tuple((np.add.reduceat(values[: starts[-1] + lengths[-1]], starts) / lengths).tolist())

    return Curve(means(t_s - t_s[opened]), means(cylinder), means(regulated), shut_s)
