"""Whether the leak grew while it was being measured: with air on, or while the trapped air bled away.

Settling makes the reading better, never worse: air that cools in the fill makes a leak look larger than it is, less so by and by.
A regulator that is readjusted moves it both ways, for the cylinder follows late, but never by a larger part than its own.
In the decay, while it is choked, the pressure's own rate falls off or stays; only a leak that grows makes it rise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats, checked

__all__ = ["Grown", "grew_in_decay", "grew_while_fed"]

LEAST_GROWTH_PERCENT = 1.0
"""Points of leakage within half a second (project): a tenth of what common practice calls a good cylinder, and ten times the slope
that counts as steady."""
LEAST_RATE_GROWTH = 1.35
"""Of the rate of the decay, from one stretch to another (project): a leak whose area grows as the pressure falls, as a valve's may,
makes it a few percent."""
_WINDOW_S, _GAP_S, _BIN_S = 0.4, 0.2, 0.05
_FOLLOWS_S = 2.0  # after so long a cylinder has followed what the regulated pressure did, but for a small rest
_DOUBT = 6.0  # standard deviations of a difference, the largest of some hundred of them
_STRETCHES = 10
_LEAST_SAMPLES = 12
_EQUALISES_S = 0.3  # the dead volume before the restrictor feeds the cylinder so long, and makes its pressure fall slowly
_CHOKED_OVER = 2.0  # in units of ambient pressure


@dataclass(frozen=True, slots=True)
class Grown:
    """at_s: when, on the clock of the samples. before, after: percent of leakage with air on; in the decay 1/s of pressure."""

    at_s: float
    before: float
    after: float


def grew_while_fed(t_s: npt.ArrayLike, p_regulated_gauge_pa: npt.ArrayLike, p_cylinder_gauge_pa: npt.ArrayLike) -> Grown | None:
    """The largest growth of leakage from the end of the fill to the shut of the supply; None where there is none to speak of.

    >>> t = np.arange(0.0, 6.0, 0.001)
    >>> grown = grew_while_fed(t, np.full(6000, 550e3), np.where(t < 2.5, 500e3, 440e3))
    >>> round(grown.at_s, 1), round(grown.before, 1), round(grown.after, 1)
    (2.5, 9.1, 20.0)
    """
    t, regulated, cylinder = (np.asarray(checked(name, values), dtype=np.float64) for name, values in _named(
        t_s, p_regulated_gauge_pa, p_cylinder_gauge_pa
    ))  # fmt: skip
    if len(t) < _LEAST_SAMPLES or t[-1] - t[0] < 2.0 * _WINDOW_S + _GAP_S:
        return None
    size = max(1, round(_BIN_S / float(np.median(np.diff(t)))))
    count = len(t) // size
    tb, rb, cb = (values[: count * size].reshape(count, size).mean(axis=1) for values in (t, regulated, cylinder))
    leakage = 100.0 * (1.0 - cb / np.maximum(rb, 1.0))
    window, gap = max(2, round(_WINDOW_S / (size * _period(t)))), max(1, round(_GAP_S / (size * _period(t))))
    if count < 2 * window + gap:
        return None
    sums = np.concatenate([[0.0], np.cumsum(leakage)])
    means = (sums[window:] - sums[:-window]) / window
    growth = means[window + gap :] - means[: -(window + gap)]
    certain = growth - _readjusted_percent(rb, round(_FOLLOWS_S / (size * _period(t))), 2 * window + gap)
    most = int(np.argmax(certain))
    noise = 1.4826 * float(np.median(np.abs(np.diff(leakage)))) / np.sqrt(2.0)
    if certain[most] < LEAST_GROWTH_PERCENT + _DOUBT * noise * np.sqrt(2.0 / window):
        return None
    steps = np.diff(leakage[most : most + 2 * window + gap])
    at = most + int(np.argmax(steps)) + 1
    return Grown(float(tb[at]) - 0.5 * _BIN_S, float(means[most]), float(means[most + window + gap]))


def grew_in_decay(t_s: npt.ArrayLike, p_cylinder_gauge_pa: npt.ArrayLike, p_ambient_abs_pa: float) -> Grown | None:
    """The largest growth of the decay's own rate, from one tenth of it to another, while it is choked; None where there is none.

    What the dead volume lets in at first is left out, so that in a decay of under half a second nothing is found.

    >>> t = np.arange(0.0, 2.0, 0.001)
    >>> absolute = np.where(t < 0.8, 600e3 * np.exp(-t), 600e3 * np.exp(-0.8) * np.exp(-2.0 * (t - 0.8)))
    >>> grown = grew_in_decay(t, absolute - 101e3, 101e3)
    >>> round(grown.at_s, 1), round(grown.before, 1), round(grown.after, 1)
    (0.8, 1.0, 2.0)
    """
    t, cylinder = np.asarray(checked("t_s", t_s), dtype=np.float64), np.asarray(checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa))
    absolute = cylinder + float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    unchoked = np.flatnonzero(absolute < _CHOKED_OVER * p_ambient_abs_pa)
    start, stop = int(np.searchsorted(t, t[0] + _EQUALISES_S)), int(unchoked[0]) if len(unchoked) else len(t)
    width = (stop - start) // _STRETCHES
    if width < _LEAST_SAMPLES:
        return None
    rates, doubts = zip(
        *(_rate(t[at : at + width], np.log(absolute[at : at + width])) for at in range(start, stop - width + 1, width // 2)),
        strict=True,
    )
    found: Grown | None = None
    for at, (before, after) in enumerate(zip(rates, rates[3:], strict=False)):
        doubt = _DOUBT * float(np.hypot(doubts[at], doubts[at + 3]))
        grown = before > 0.0 and after > LEAST_RATE_GROWTH * before + doubt
        if grown and (found is None or after / before > found.after / found.before):
            found = Grown(float(t[start + (at + 2) * (width // 2) + width // 4]), before, after)
    return found


def _readjusted_percent(regulated: Floats, before: int, span: int) -> Floats:
    """How far the regulated pressure moved in each span of values and so many before it, in percent."""
    kept = np.concatenate([np.full(before, regulated[0]), regulated])
    around = np.lib.stride_tricks.sliding_window_view(kept, before + span)
    return np.asarray(100.0 * np.ptp(around, axis=1) / np.maximum(around.mean(axis=1), 1.0))


def _rate(t: Floats, logarithm: Floats) -> tuple[float, float]:
    """How fast a logarithm falls, 1/s, and its standard deviation from the scatter about the line."""
    x = t - t.mean()
    square = float(x @ x)
    slope = float(x @ logarithm) / square
    rest = logarithm - logarithm.mean() - slope * x
    return -slope, float(np.sqrt(rest @ rest / max(1, len(t) - 2) / square))


def _period(t: Floats) -> float:
    return float(np.median(np.diff(t)))


def _named(t_s: npt.ArrayLike, regulated: npt.ArrayLike, cylinder: npt.ArrayLike) -> tuple[tuple[str, npt.ArrayLike], ...]:
    return ("t_s", t_s), ("p_regulated_gauge_pa", regulated), ("p_cylinder_gauge_pa", cylinder)
