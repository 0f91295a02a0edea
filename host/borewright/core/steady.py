"""The steady part of a capture: where the ratio of the two pressures has stopped moving, and what it is there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats, leakage_percent

__all__ = ["STEADY_SLOPE_PERCENT_PER_S", "STEADY_WINDOW_S", "SteadyPart", "steady_part"]

STEADY_WINDOW_S = 3.0
STEADY_SLOPE_PERCENT_PER_S = 0.1
_BIN_S = 0.05
_STEP_S = 0.25


@dataclass(frozen=True, slots=True)
class SteadyPart:
    """What was read where the pressures stood still.

    start, stop: sample range of the window that was read. steady: whether it fulfils the rule. slope_percent_per_s: of the ratio
    over it. p_regulated_gauge_pa, p_cylinder_gauge_pa: means over it. moved_again: the reading left that level later.
    """

    start: int
    stop: int
    steady: bool
    slope_percent_per_s: float
    p_regulated_gauge_pa: float
    p_cylinder_gauge_pa: float
    moved_again: bool

    @property
    def leakage_percent(self) -> float:
        """Leakage of the two means in percent."""
        return float(leakage_percent(self.p_regulated_gauge_pa, self.p_cylinder_gauge_pa))


def steady_part(t_s: npt.ArrayLike, p_regulated_gauge_pa: npt.ArrayLike, p_cylinder_gauge_pa: npt.ArrayLike) -> SteadyPart:
    """The part of the air-on time to read: 3 s over which the ratio p_cylinder/p_regulated moves by less than 0.1 % a second.

    t_s and the two zero-corrected pressures: shape (n,), from the end of the fill to the shutting of the supply, n at least 4,
    p_regulated above 0. From the first window that fulfils the rule on, the window is moved on for as long as it is fulfilled,
    because the last one has settled most; a reading that moves again later (somebody stops a place) does not reach back into it.
    Without such a window the last 3 s are read, or the last half of what there is, and steady is False.

    >>> t = np.arange(0.0, 10.0, 0.01)
    >>> part = steady_part(t, np.full(1000, 550e3), 495e3 - 40e3 * np.exp(-t))
    >>> part.steady, round(part.leakage_percent, 2), part.start >= 600
    (True, 10.0, True)
    """
    t, regulated, cylinder = (np.asarray(v, dtype=np.float64) for v in (t_s, p_regulated_gauge_pa, p_cylinder_gauge_pa))
    if t.ndim != 1 or t.shape != regulated.shape or t.shape != cylinder.shape or t.shape[0] < 4:
        raise ValueError("t_s: needs at least four samples, as many as of each pressure")
    if np.mean(regulated) <= 0.0:
        raise ValueError("p_regulated_gauge_pa: must be above 0")
    n = t.shape[0]
    period = float(t[-1] - t[0]) / (n - 1)
    size = max(1, min(round(_BIN_S / period), n // 4))
    bins = n // size
    tb, rb, cb = (v[n - bins * size :].reshape(bins, size).mean(axis=1) for v in (t, regulated, cylinder))
    ratio = cb / np.maximum(rb, 1.0)
    width = round(STEADY_WINDOW_S / (size * period))
    step = max(1, round(_STEP_S / (size * period)))
    first_sample = n - bins * size
    if bins >= width >= 3:
        stops = np.arange(bins, width - 1, -step)[::-1]
        slopes = 100.0 * _window_slopes(tb, ratio, width)[stops - width]
        good = np.abs(slopes) < STEADY_SLOPE_PERCENT_PER_S
        if np.any(good):
            first = int(np.flatnonzero(good)[0])
            bad_after = np.flatnonzero(~good[first:])
            last = first + (int(bad_after[0]) if bad_after.size else good.shape[0] - first) - 1
            stop = int(stops[last])
            part = (first_sample + (stop - width) * size, first_sample + stop * size)
            return _read(regulated, cylinder, part, True, float(slopes[last]), bool(bad_after.size))
    width = width if bins >= width else max(2, bins // 2)
    slope = 100.0 * float(_window_slopes(tb[-width:], ratio[-width:], width)[0])
    return _read(regulated, cylinder, (n - width * size, n), False, slope, False)


def _window_slopes(t: Floats, y: Floats, width: int) -> Floats:
    """Slope of the straight line through each window of `width` values; shape (n − width + 1,)."""
    x = t - t[0]
    sums = [np.concatenate([[0.0], np.cumsum(v)]) for v in (x, y, x * y, x * x)]
    sx, sy, sxy, sxx = (s[width:] - s[:-width] for s in sums)
    return np.asarray((sxy - sx * sy / width) / np.maximum(sxx - sx * sx / width, 1e-12))


def _read(regulated: Floats, cylinder: Floats, part: tuple[int, int], steady: bool, slope: float, moved_again: bool) -> SteadyPart:
    window = slice(*part)
    return SteadyPart(*part, steady, slope, float(np.mean(regulated[window])), float(np.mean(cylinder[window])), moved_again)
