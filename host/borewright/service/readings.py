"""What a reference gauge showed, beside what the transducers gave meanwhile."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from borewright.core.autocorrelation import noise_of
from borewright.core.samples import SampleColumns
from borewright.service.transducers import Transducers

__all__ = ["GaugeReading", "mean_reading"]

PARTS = 8
STANDS_NOISES = 6.0  # a part's mean farther than that many of its standard deviations from the others: it still moves
STANDS_STEP = 1.0  # or one raw word, whichever is more
LEAST_SAMPLES = 8 * PARTS
READ_S = 1.5  # at least so long of samples for one reading


@dataclass(frozen=True, slots=True)
class GaugeReading:
    """What the reference gauge showed, and the mean raw words of both channels while it did.

    raw_noise_*: standard deviation of single samples. independent_*: how many independent ones the mean is worth. rising: the
    pressure before it was lower.
    """

    reference_gauge_pa: float
    raw_regulated: float
    raw_cylinder: float
    raw_noise_regulated: float
    raw_noise_cylinder: float
    independent_regulated: int
    independent_cylinder: int
    at_s: float
    rising: bool = True


def mean_reading(transducers: Transducers, columns: SampleColumns, gauge_pa: float) -> tuple[GaugeReading, bool]:
    """The reading over these samples beside what the gauge showed, and whether the pressure moved meanwhile or they are too few."""
    if len(columns) < LEAST_SAMPLES:
        return GaugeReading(gauge_pa, 0.0, 0.0, 0.0, 0.0, 1, 1, 0.0), True
    raw = columns.raw[[transducers.regulated_channel, transducers.cylinder_channel]].astype(np.float64)
    moved = bool(columns.t_s[-1] - columns.t_s[0] < READ_S)
    figures = []
    for row in raw:
        parts = np.array_split(row, PARTS)
        # by the middle one of the parts, so that a pressure that moves in some of them does not pass for noise
        noise = sorted((noise_of(part) for part in parts), key=lambda found: found.mean_variance(len(parts[-1])))[PARTS // 2]
        sigma = hypot(noise.sigma, noise.white)
        independent = max(1, round(sigma**2 / float(noise.mean_variance(len(row))))) if sigma > 0.0 else 1
        figures.append((float(row.mean()), sigma, independent))
        means = np.array([part.mean() for part in parts])
        farthest = float(np.max(np.abs(means - np.median(means))))
        moved = moved or farthest > max(STANDS_STEP, STANDS_NOISES * sqrt(float(noise.mean_variance(len(parts[-1])))))
    (regulated, noise_regulated, n_regulated), (cylinder, noise_cylinder, n_cylinder) = figures
    at_s = float(columns.t_s[-1])
    taken = GaugeReading(gauge_pa, regulated, cylinder, noise_regulated, noise_cylinder, n_regulated, n_cylinder, at_s)
    return taken, moved
