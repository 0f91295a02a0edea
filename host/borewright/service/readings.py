"""What a reference gauge showed, beside what the transducers gave meanwhile."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from borewright.core.autocorrelation import noise_of
from borewright.core.samples import SampleColumns
from borewright.service.transducers import Transducers

__all__ = ["GaugeReading", "mean_reading"]

STANDS_NOISES = 4.0  # more than that many standard deviations of a half's mean apart: it still moves
STANDS_STEP = 1.0  # or one raw word, whichever is more
LEAST_SAMPLES = 40
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
    half = raw.shape[1] // 2
    moved = bool(columns.t_s[-1] - columns.t_s[0] < READ_S)
    figures = []
    for row in raw:
        noise = noise_of(np.concatenate([row[:half] - row[:half].mean(), row[half:] - row[half:].mean()]))
        sigma = hypot(noise.sigma, noise.white)
        independent = max(1, round(sigma**2 / float(noise.mean_variance(len(row))))) if sigma > 0.0 else 1
        figures.append((float(row.mean()), sigma, independent))
        apart = abs(float(row[:half].mean() - row[half:].mean()))
        moved = moved or apart > max(STANDS_STEP, STANDS_NOISES * sqrt(2.0 * float(noise.mean_variance(half))))
    (regulated, noise_regulated, n_regulated), (cylinder, noise_cylinder, n_cylinder) = figures
    at_s = float(columns.t_s[-1])
    taken = GaugeReading(gauge_pa, regulated, cylinder, noise_regulated, noise_cylinder, n_regulated, n_cylinder, at_s)
    return taken, moved
