"""The trapped air bleeding away in a capture: the times it took. The law of it is in core.flow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats, checked

__all__ = ["DecayTimes", "decay_times"]


@dataclass(frozen=True, slots=True)
class DecayTimes:
    """When the cylinder's gauge pressure had fallen to 75, 50 and 25 % of what it was at the isolation; None where it did not
    get there."""

    t75_s: float | None
    t50_s: float | None
    t25_s: float | None
    p_start_gauge_pa: float


def decay_times(t_s: npt.ArrayLike, p_cylinder_gauge_pa: npt.ArrayLike, p_start_gauge_pa: float | None = None) -> DecayTimes:
    """Times from the first sample to 75, 50 and 25 % of the starting gauge pressure, in seconds.

    t_s, p_cylinder_gauge_pa: shape (n,), n at least 2, times rising, from the moment of isolation to the vent. p_start_gauge_pa,
    above 0: the pressure just before; None takes the first sample. Around each crossing a straight line is fitted to the
    logarithm of the pressure between 7 % over and under the level, so that noise does not decide; where that holds fewer than 4
    samples the neighbours are interpolated. The times carry the volumes of the rig and are not compared across rigs.

    >>> t = np.linspace(0.0, 4.0, 4001)
    >>> times = decay_times(t, 500e3 * np.exp(-t / 2.0))
    >>> round(times.t75_s, 3), round(times.t50_s, 3), round(times.t25_s, 3)
    (0.575, 1.386, 2.773)
    """
    t = checked("t_s", t_s)
    p = checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa)
    if t.ndim != 1 or t.shape != p.shape or t.shape[0] < 2:
        raise ValueError("t_s: needs at least two samples, as many as p_cylinder_gauge_pa")
    if np.any(np.diff(t) <= 0.0):
        raise ValueError("t_s: must rise")
    start = float(p[0]) if p_start_gauge_pa is None else float(p_start_gauge_pa)
    if start <= 0.0:
        raise ValueError("p_start_gauge_pa: must be above 0")
    times = [_crossing_s(t, p, share * start) for share in (0.75, 0.50, 0.25)]
    return DecayTimes(times[0], times[1], times[2], start)


def _crossing_s(t: Floats, p: Floats, level: float) -> float | None:
    """When p falls through the level, from t[0]; None when it does not."""
    # the first sample under it that the median of its neighbourhood confirms
    span = max(1, min(25, t.shape[0] // 50))
    under = np.flatnonzero(p <= level)
    confirmed = next((int(i) for i in under if np.median(p[max(0, i - span) : i + span + 1]) <= level * 1.02), None)
    if confirmed is None:
        return None
    over = np.flatnonzero(p[:confirmed] >= 1.07 * level)
    first = int(over[-1]) + 1 if over.size else 0
    low = np.flatnonzero(p[confirmed:] <= level / 1.07)
    last = confirmed + (int(low[0]) if low.size else t.shape[0] - confirmed)
    near = slice(first, last)
    if last - first >= 4 and np.all(p[near] > 0.0):
        offset = np.log(p[near] / level)
        slope, height = np.polyfit(t[near] - t[confirmed], offset, 1)
        if slope < 0.0:
            at = float(t[confirmed] - height / slope)
            return min(max(at, float(t[first])), float(t[last - 1])) - float(t[0])
    if confirmed == 0:
        return 0.0
    here, before = float(p[confirmed]), float(p[confirmed - 1])
    share = 1.0 if here == before else (before - level) / (before - here)
    return float(t[confirmed - 1] + share * (t[confirmed] - t[confirmed - 1]) - t[0])
