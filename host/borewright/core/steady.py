"""The steady part of a capture: where the ratio of the two pressures has stopped moving, and what it is there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats

__all__ = ["STEADY_SLOPE_PERCENT_PER_S", "STEADY_WINDOW_S", "SteadyPart", "steady_part"]

STEADY_WINDOW_S = 3.0
STEADY_SLOPE_PERCENT_PER_S = 0.1
_BIN_S = 0.05
_STEP_S = 0.25
_MOST_CORRECTION = 0.005  # of the ratio


@dataclass(frozen=True, slots=True)
class SteadyPart:
    """What was read where the pressures stood still.

    start, stop: sample range of the window that was read. steady: whether it fulfils the rule. slope_percent_per_s: of the ratio
    over it. p_regulated_gauge_pa, p_cylinder_gauge_pa: means over it, the second carried on to where it was settling
    (settling_pa was added to the mean). moved_again: the reading left that level later.
    """

    start: int
    stop: int
    steady: bool
    slope_percent_per_s: float
    p_regulated_gauge_pa: float
    p_cylinder_gauge_pa: float
    settling_pa: float
    moved_again: bool


def steady_part(t_s: npt.ArrayLike, p_regulated_gauge_pa: npt.ArrayLike, p_cylinder_gauge_pa: npt.ArrayLike) -> SteadyPart:
    """The part of the air-on time to read: 3 s over which the ratio p_cylinder/p_regulated moves by less than 0.1 % a second.

    t_s and the two zero-corrected pressures: shape (n,), from the end of the fill to the shutting of the supply, n at least 4,
    p_regulated above 0. From the first window that fulfils the rule on, the window is moved on for as long as it is fulfilled,
    because the last one has settled most; a reading that moves again later (somebody stops a place) does not reach back into it.
    Without such a window the last 3 s are read, or the last half of what there is, and steady is False.

    Air that still cools makes the mean over the window read a little more leakage than the settled state has. Where an
    exponential through the whole approach is well determined, its end value is taken instead of the mean; the change is bounded
    by 0.5 % of p_regulated.

    >>> t = np.arange(0.0, 10.0, 0.01)
    >>> part = steady_part(t, np.full(1000, 550e3), 495e3 - 40e3 * np.exp(-t))
    >>> part.steady, round(part.p_cylinder_gauge_pa / 1e3, 1), part.start >= 600
    (True, 495.0, True)
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
    skipped = n - bins * size
    tb, rb, cb = (v[skipped:].reshape(bins, size).mean(axis=1) for v in (t, regulated, cylinder))
    ratio = cb / np.maximum(rb, 1.0)
    width = round(STEADY_WINDOW_S / (size * period))
    steady, moved_again, stop = False, False, bins
    if bins >= width >= 3:
        stops = np.arange(bins, width - 1, -max(1, round(_STEP_S / (size * period))))[::-1]
        good = np.abs(_window_slopes(tb, ratio, width)[stops - width]) * 100.0 < STEADY_SLOPE_PERCENT_PER_S
        if np.any(good):
            first = int(np.flatnonzero(good)[0])
            bad_after = np.flatnonzero(~good[first:])
            last = first + (int(bad_after[0]) if bad_after.size else good.shape[0] - first) - 1
            steady, moved_again, stop = True, bool(bad_after.size), int(stops[last])
    else:
        width = max(2, bins // 2)
    start = stop - width
    slope = 100.0 * float(_window_slopes(tb[start:stop], ratio[start:stop], width)[0])
    window = slice(skipped + start * size, skipped + stop * size)
    p_regulated = float(np.mean(regulated[window]))
    settling = _still_to_come(tb[:stop], ratio[:stop], start) * p_regulated
    return SteadyPart(
        start=window.start,
        stop=window.stop,
        steady=steady,
        slope_percent_per_s=slope,
        p_regulated_gauge_pa=p_regulated,
        p_cylinder_gauge_pa=float(np.mean(cylinder[window])) + settling,
        settling_pa=settling,
        moved_again=moved_again,
    )


def _window_slopes(t: Floats, y: Floats, width: int) -> Floats:
    """Slope of the straight line through each window of `width` values; shape (n − width + 1,)."""
    x = t - t[0]
    sums = [np.concatenate([[0.0], np.cumsum(v)]) for v in (x, y, x * y, x * x)]
    sx, sy, sxy, sxx = (s[width:] - s[:-width] for s in sums)
    return np.asarray((sxy - sx * sy / width) / np.maximum(sxx - sx * sx / width, 1e-12))


def _still_to_come(t: Floats, ratio: Floats, window: int) -> float:
    """End value of the exponential approach minus the mean over [window:]; 0 where the data do not determine it."""
    if t.shape[0] < 20:
        return 0.0
    # what is far from the end value is not one exponential: only the last percent of the approach is fitted
    level = float(np.mean(ratio[window:]))
    far = np.flatnonzero(np.abs(ratio[:window] - level) > 0.01)
    first = int(far[-1]) + 1 if far.size else 0
    x, y = t[first:] - t[first], ratio[first:]
    length = float(x[-1])
    best: tuple[float, float, float] | None = None  # misfit, end value, its uncertainty
    for tau in np.geomspace(0.2, max(length / 1.5, 0.3), 24):
        basis = np.stack([np.ones_like(x), np.exp(-x / tau)], axis=1)
        gram = np.linalg.inv(basis.T @ basis)
        end, rise = gram @ (basis.T @ y)
        misfit = float(np.sum((y - end - rise * basis[:, 1]) ** 2))
        if best is None or misfit < best[0]:
            best = (misfit, float(end), float(np.sqrt(gram[0, 0])))
    if best is None:
        return 0.0
    spread = float(np.sqrt(best[0] / max(x.shape[0] - 3, 1)))
    change = best[1] - level
    doubt = 2.0 * spread * best[2]
    if abs(change) < 2.0 * doubt or abs(change) > _MOST_CORRECTION:
        return 0.0
    return change
