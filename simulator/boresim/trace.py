"""What the plant gives: true values at sample times, out of the polynomials of its steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["PlantTrace", "Row", "cubic", "sampled"]

Row = tuple[float, ...]
"""One step for output: its start, 1/length, then coefficients of powers of the part s of the step: four of the regulated pressure,
four of the cylinder's, two of the angle."""


@dataclass(frozen=True, slots=True, eq=False)
class PlantTrace:
    """True values at the times of n samples, before any sensor.

    position: how many samples the plant had given before the first of these. t_s: virtual time. crank_deg: unwrapped, running
    direction positive, 0 at the compression TDC of the first cylinder in the firing order. crank_before_deg and t_before_s: crank
    and time at the sample before the first.
    """

    position: int
    t_before_s: float
    crank_before_deg: float
    t_s: npt.NDArray[np.float64]
    p_regulated_abs_pa: npt.NDArray[np.float64]
    p_cylinder_abs_pa: npt.NDArray[np.float64]
    crank_deg: npt.NDArray[np.float64]

    def __len__(self) -> int:
        return int(self.t_s.shape[0])


def cubic(h: float, start: float, slope: float, end: float, end_slope: float) -> tuple[float, float, float, float]:
    """Hermite's cubic over one step of h, in powers of the part of the step."""
    rise, a, b = end - start, h * slope, h * end_slope
    return start, a, 3.0 * rise - 2.0 * a - b, a + b - 2.0 * rise


def sampled(
    rows: Sequence[Row], t_s: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Regulated pressure, cylinder pressure and crank angle at times that the rows cover.

    A time on the border of two steps belongs to the earlier one: whether the later one is there already must not matter.
    """
    values = np.array(rows).T
    if len(rows) > 1:
        values = values[:, np.searchsorted(values[0], t_s, side="left") - 1]
    start, per_s, r0, r1, r2, r3, c0, c1, c2, c3, a0, a1 = values
    s = (t_s - start) * per_s
    return ((r3 * s + r2) * s + r1) * s + r0, ((c3 * s + c2) * s + c1) * s + c0, a1 * s + a0
