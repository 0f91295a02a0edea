"""One engine over many jobs: whether a leak has changed since the first, and since the job before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from borewright.core.compare import Difference, Quantity, Reading, Scatter, difference

__all__ = ["Change", "Step", "changes", "steps_of"]


@dataclass(frozen=True, slots=True)
class Step:
    """Two jobs of a trend, by their place in it, for one cylinder: readings before, carried over to the later job, and after."""

    cylinder: int
    before: int
    after: int
    readings: tuple[Sequence[Reading], Sequence[Reading]]


@dataclass(frozen=True, slots=True)
class Change:
    """A step, compared."""

    before: int
    after: int
    difference: Difference


def steps_of(tested: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Which jobs are compared: each with the first and with the one before it. tested: the jobs with a test, in order.

    >>> steps_of([0, 2, 3])
    ((0, 2), (0, 3), (2, 3))
    """
    first = [(tested[0], later) for later in tested[1:]]
    before = [(earlier, later) for earlier, later in pairwise(tested[1:])]
    return tuple(sorted({*first, *before}, key=lambda pair: (pair[1], pair[0])))


def changes(quantity: Quantity, steps: Sequence[Step], scatter: Scatter, comparisons: int) -> tuple[Change, ...]:
    """The steps, compared. scatter: pooled over all jobs, its keys (job, cylinder); comparisons: how many are made together."""
    return tuple(
        Change(
            step.before,
            step.after,
            difference(
                step.cylinder,
                quantity,
                *step.readings,
                scatter,
                keys=((step.before, step.cylinder), (step.after, step.cylinder)),
                comparisons=comparisons,
            ),
        )
        for step in steps
    )
