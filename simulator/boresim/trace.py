"""What the plant gives: true values at sample times, out of the polynomials of its steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = ["TURNS", "Clock", "PlantTrace", "Row", "cubic", "sampled"]

Row = tuple[float, ...]
"""One step for output: its start, 1/length, then coefficients of powers of the part s of the step: four of the regulated pressure,
four of the cylinder's, two of the angle."""

TURNS = 11  # where in a row it stands how far the crank turns


class Clock(NamedTuple):
    """When the plant gives its samples: the k-th from its beginning on at anchor_s + (k − anchor) · period_s."""

    anchor_s: float
    anchor: int
    period_s: float

    def times_s(self, given: int, count: int) -> npt.NDArray[np.float64]:
        """The times of so many samples, after so many were given."""
        return np.arange(given + 1 - self.anchor, given + 1 - self.anchor + count, dtype=np.float64) * self.period_s + self.anchor_s


@dataclass(frozen=True, slots=True, eq=False)
class PlantTrace:
    """True values at the times of n samples, before any sensor.

    position: how many samples the plant had given before the first of these. t_s: virtual time. crank_deg: unwrapped, running
    direction positive, 0 at the compression TDC of the first cylinder in the firing order. crank_before_deg and t_before_s: crank
    and time at the sample before the first. crank_stands: it did not move from that sample to the last. clock: what t_s comes
    from; None: times of their own.
    """

    position: int
    t_before_s: float
    crank_before_deg: float
    t_s: npt.NDArray[np.float64]
    p_regulated_abs_pa: npt.NDArray[np.float64]
    p_cylinder_abs_pa: npt.NDArray[np.float64]
    crank_deg: npt.NDArray[np.float64]
    crank_stands: bool = False
    clock: Clock | None = None

    def __len__(self) -> int:
        return int(self.t_s.shape[0])


def cubic(h: float, start: float, slope: float, end: float, end_slope: float) -> tuple[float, float, float, float]:
    """Hermite's cubic over one step of h, in powers of the part of the step."""
    rise, a, b = end - start, h * slope, h * end_slope
    return start, a, 3.0 * rise - 2.0 * a - b, a + b - 2.0 * rise


def sampled(rows: Sequence[Row], t_s: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Regulated and cylinder pressure, float64[2, n], and crank angle at times that the rows cover.

    A time on the border of two steps belongs to the earlier one: whether the later one is there already must not matter.
    """
    if len(rows) == 1:  # while little happens a step is longer than a batch
        return _of_one(rows[0], t_s)
    values = np.array(rows).T
    values = values[:, values[0].searchsorted(t_s) - 1]
    s = (t_s - values[0]) * values[1]
    pressures = values[5:10:4] * s  # Horner's scheme for both at once
    for power in (4, 3):
        pressures += values[power : power + 5 : 4]
        pressures *= s
    pressures += values[2:7:4]
    return pressures, values[11] * s + values[10]


def _of_one(row: Row, t_s: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    s = t_s - row[0]
    s *= row[1]
    pressures = np.empty((2, len(t_s)))
    _follow(pressures[0], s, row[2:6])
    _follow(pressures[1], s, row[6:10])
    return pressures, np.full(len(t_s), row[10]) if row[TURNS] == 0.0 else row[TURNS] * s + row[10]


def _follow(values: npt.NDArray[np.float64], s: npt.NDArray[np.float64], powers: Row) -> None:
    """Horner's scheme into values, with the same bits as that for many rows."""
    p0, p1, p2, p3 = powers
    if p1 == p2 == p3 == 0.0:
        values.fill(p0)
        return
    np.multiply(s, p3, out=values)
    values += p2
    values *= s
    values += p1
    values *= s
    values += p0
