"""Covariances of what the transducers read beside the truth: the converter, the drift of the zeros; and their way through a fit."""

from __future__ import annotations

import numpy as np

from borewright.core.fit_blocks import Blocks
from borewright.core.flow import Floats
from borewright.core.instrument import Instrument

__all__ = ["carried", "converter_covariance", "drift_covariance"]

CONVERTER_ALIKE = 0.05  # of the range


def converter_covariance(levels: Floats, instrument: Instrument, sigma_pa: float) -> Floats:
    """What the converter adds and no averaging takes away: its non-linearity, and its steps where the noise does not blur them.

    The non-linearity is alike at levels closer than a twentieth of the range, and what it is at the zero has been taken off.
    """
    step = instrument.resolution_pa
    covariance = np.zeros((levels.size, levels.size))
    if instrument.converter_pa > 0.0:
        at = np.append(levels, 0.0)
        alike = np.exp(-np.abs(at[:, None] - at[None, :]) / (CONVERTER_ALIKE * instrument.range_pa))
        covariance += instrument.converter_pa**2 / 3.0 * _since_last(alike)
    if step > 0.0:
        steps = step**2 / 12.0 * np.exp(-4.0 * np.pi**2 * (sigma_pa / step) ** 2)
        covariance += steps * np.exp(-np.abs(levels[:, None] - levels[None, :]) / (0.5 * step))
    return covariance


def _since_last(alike: Floats) -> Floats:
    """Covariance of the differences from the last of some values, from the covariance of all of them."""
    return np.asarray(alike[:-1, :-1] - alike[:-1, -1:] - alike[-1:, :-1] + alike[-1, -1])


def drift_covariance(blocks: Blocks, zeroed_s: float, instrument: Instrument) -> Floats:
    """Covariance of what a zero has drifted since it was read at vent.

    A wander with a rate but no more smoothness than that (Matérn 3/2), of such a size that its change has the stated variance
    after zero_drift_s, goes with the square of the time before that and is a third more much later.
    """
    at = np.append(0.5 * (blocks.edge_s[:-1] + blocks.edge_s[1:]), zeroed_s)
    apart = 2.6926 / instrument.zero_drift_s * np.abs(at[:, None] - at[None, :])  # (1 + x)·exp(−x) is a quarter at x = 2.6926
    return _since_last(2.0 / 3.0 * instrument.u_zero_pa**2 * (1.0 + apart) * np.exp(-apart))


def carried(through: Floats, of_regulated: Floats, of_cylinder: Floats) -> Floats:
    """Covariance of the residuals: errors of the driving blocks through the equations, errors of the fitted blocks as they are.

    through: (m, d), how the fitted readings answer to the driving ones.
    """
    m, n = through.shape[0], of_cylinder.shape[0]
    way = np.concatenate([-through, np.eye(m)[:, n:]], axis=1)
    covariance = way @ of_regulated @ way.T
    covariance[:n, :n] += of_cylinder
    return np.asarray(covariance)
