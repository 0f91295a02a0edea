"""Where the squeeze peaks: a witness against a coupling that has slipped, which the counts do not show."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["PeakWatch"]

_HALF_DEG = 40
_FIT_DEG = 10
_LATE_DEG = 1.0
_LEAST_PA = 5_000.0
_KEPT = 6
_BEYOND_U_DEG = 1.0  # of a peak that lies beyond what is looked at


@dataclass(frozen=True, slots=True, eq=False)
class PeakWatch:
    """Gathers the pressure by whole degrees around each TDC passed in the running direction. Immutable."""

    number: int | None = None  # of the TDC that is being passed
    reached_deg: float = 0.0
    sums_pa: npt.NDArray[np.float64] | None = None
    n: npt.NDArray[np.float64] | None = None
    peaks: tuple[tuple[float, float], ...] = ()  # (degrees after TDC, standard uncertainty) of the passes that had a clear one

    def add(self, angle_deg: npt.NDArray[np.float64], p_gauge_pa: npt.NDArray[np.float64]) -> PeakWatch:
        """The watch after these samples. Angles from the TDC under test, unwrapped, rising in the running direction."""
        last = float(angle_deg[-1])
        number = round(last / 360.0)
        off = last - 360.0 * number
        if self.number is None or self.sums_pa is None or self.n is None:
            if -_HALF_DEG <= off < -_FIT_DEG:
                empty = np.zeros(2 * _HALF_DEG + 1)
                return replace(self, number=number, reached_deg=last, sums_pa=empty, n=empty)
            return self
        if last < self.reached_deg - 1.0:
            return replace(self, number=None, sums_pa=None, n=None)
        places = np.rint(angle_deg - 360.0 * self.number).astype(np.int64) + _HALF_DEG
        inside = (places >= 0) & (places <= 2 * _HALF_DEG)
        size = 2 * _HALF_DEG + 1
        sums = self.sums_pa + np.bincount(places[inside], p_gauge_pa[inside], size)
        n = self.n + np.bincount(places[inside], minlength=size)
        grown = replace(self, reached_deg=max(last, self.reached_deg), sums_pa=sums, n=n)
        if last - 360.0 * self.number <= _HALF_DEG:
            return grown
        found = _peak(sums, n)
        done = replace(grown, number=None, sums_pa=None, n=None)
        return done if found is None else replace(done, peaks=(*self.peaks, found)[-_KEPT:])

    @property
    def after_tdc_deg(self) -> float | None:
        """The mean of the peaks seen, weighted by their uncertainty; None when none was clear."""
        if not self.peaks:
            return None
        weights = [1.0 / (u * u + 1e-4) for _, u in self.peaks]
        return sum(w * at for w, (at, _) in zip(weights, self.peaks, strict=True)) / sum(weights)

    @property
    def late(self) -> bool:
        """True when the mean peak is more than a degree after TDC, and after TDC beyond its uncertainty."""
        at = self.after_tdc_deg
        if at is None:
            return False
        u_deg = (1.0 / sum(1.0 / (u * u + 1e-4) for _, u in self.peaks)) ** 0.5
        return at > _LATE_DEG and at - 2.0 * u_deg > 0.0


def _peak(sums_pa: npt.NDArray[np.float64], n: npt.NDArray[np.float64]) -> tuple[float, float] | None:
    """The vertex of a parabola through the highest part and its standard uncertainty in degrees; None when none is clear."""
    seen = n > 0
    if seen.sum() < 2 * _FIT_DEG:
        return None
    at = np.flatnonzero(seen) - float(_HALF_DEG)
    mean_pa, count = sums_pa[seen] / n[seen], n[seen]
    if count.max() > 8.0 * np.median(count) + 20.0:
        return None  # a pause: heat from a warm wall could raise the pressure while nothing turns
    if _rises_throughout(at, mean_pa):
        return float(_HALF_DEG - _FIT_DEG), _BEYOND_U_DEG
    smooth = np.convolve(mean_pa, np.ones(5) / 5.0, mode="same")
    top = at[int(np.argmax(smooth))]
    near = np.abs(at - top) <= _FIT_DEG
    if abs(top) > _HALF_DEG - _FIT_DEG or near.sum() < _FIT_DEG or mean_pa[near].mean() < _LEAST_PA:
        return None
    x, y, w = at[near] - top, mean_pa[near], np.sqrt(count[near])
    design = np.stack([np.ones_like(x), x, x * x], axis=1) * w[:, None]
    covariance = np.linalg.pinv(design.T @ design)
    _, b, c = covariance @ (design.T @ (y * w))
    rest = y * w - design @ (covariance @ (design.T @ (y * w)))
    if c >= 0.0:
        return None
    covariance = covariance * float(rest @ rest) / max(1, len(x) - 3)
    vertex = -b / (2.0 * c)
    by_b, by_c = -1.0 / (2.0 * c), b / (2.0 * c * c)
    variance = by_b**2 * covariance[1, 1] + by_c**2 * covariance[2, 2] + 2.0 * by_b * by_c * covariance[1, 2]
    u_deg = float(np.sqrt(max(variance, 0.0)))
    return (float(top + vertex), u_deg) if u_deg < 0.5 and abs(vertex) <= _FIT_DEG else None


def _rises_throughout(at_deg: npt.NDArray[np.floating[Any]], mean_pa: npt.NDArray[np.floating[Any]]) -> bool:
    """Whether it still rises where it should have fallen long ago: the peak lies beyond what is looked at, so far late is TDC."""
    places = np.abs(at_deg) <= _FIT_DEG / 2, np.abs(at_deg - 25.0) <= _FIT_DEG / 2, at_deg > _HALF_DEG - _FIT_DEG
    if not all(place.any() for place in places):
        return False
    middle, later, last = (float(mean_pa[place].mean()) for place in places)
    return later - middle > _LEAST_PA and last - later > _LEAST_PA
