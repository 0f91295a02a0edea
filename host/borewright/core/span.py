"""Calibration of a transducer at several pressures against a reference gauge: gain, zero, and a bow where the data show one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt
from typing import Literal

import numpy as np

from borewright.core.flow import Floats
from borewright.core.rig import ChannelLaw, CheckRefused

__all__ = ["ReferenceGauge", "Span", "SpanPoint", "fit_span", "within"]

LEAST_POINTS = 3
LEAST_SPREAD = 0.6  # of the range used
LEAST_GAIN, MOST_GAIN = 0.8, 1.25  # beyond it the transducer is another one than stated
SHOWN = 3.0  # standard uncertainties from which a bow counts as shown
UNLIKELY = 0.01  # chance of the residuals under which the stated uncertainties are not believed


def within(name: str, value: float, low: float, high: float) -> None:
    """Raises ValueError naming the figure when it lies outside of what can be.

    >>> within("gain", 1.3, 0.8, 1.25)
    Traceback (most recent call last):
    ValueError: gain: must be from 0.8 to 1.25
    """
    if not low <= value <= high:
        raise ValueError(f"{name}: must be from {low:g} to {high:g}")


@dataclass(frozen=True, slots=True)
class SpanPoint:
    """One pressure of the calibration, read while it stood still.

    reference_gauge_pa: of the reference gauge. u_reference_pa: standard uncertainty of that one reading (resolution, parallax,
    repeatability), independent from point to point; what is common to all of them stands in ReferenceGauge. indicated_pa: mean of
    the channel by its law with gain 1, zero 0 and no bow. scatter_pa: standard deviation of its samples; n: how many of them were
    independent. direction: how the pressure was reached.
    """

    reference_gauge_pa: float
    u_reference_pa: float
    indicated_pa: float
    scatter_pa: float
    n: int
    direction: Literal["rising", "falling"] = "rising"


@dataclass(frozen=True, slots=True)
class ReferenceGauge:
    """The reference gauge and its certificate. u_relative: standard uncertainty of its span, common to all points."""

    serial_number: str
    certificate: str
    certified_at_unix_s: float | None = None
    u_relative: float = 0.0005


@dataclass(frozen=True, slots=True)
class Span:
    """What a calibration gives: gauge pressure = gain·indicated − zero_pa + 4·x·(1 − x)·bow_pa.

    u_*: standard uncertainties of the three, covariance in their order, a bow that may be there but was not taken out counted in.
    residuals_pa: reference
    minus result, in the order of the points. hysteresis_pa: largest difference between falling and rising at one pressure, None
    without both. chi2_reduced: None without degrees of freedom. widened: factor on the uncertainties, above 1 where the points
    scatter more than their own uncertainties allow. u_gain_left, bow_left_pa: what remains in use, as Instrument.u_gain (with the
    gauge's span and the hysteresis) and Instrument.bow_pa (half-width, rectangular).
    """

    gain: float
    zero_pa: float
    bow_pa: float
    u_gain: float
    u_zero_pa: float
    u_bow_pa: float
    covariance: tuple[tuple[float, ...], ...]
    residuals_pa: tuple[float, ...]
    largest_residual_pa: float
    hysteresis_pa: float | None
    chi2_reduced: float | None
    bow_shown: bool
    widened: float
    u_gain_left: float
    bow_left_pa: float

    def __post_init__(self) -> None:
        within("gain", self.gain, LEAST_GAIN, MOST_GAIN)

    def applied_to(self, law: ChannelLaw) -> ChannelLaw:
        """The law with this gain and bow; its zero is taken anew at vent, so it is this calibration's."""
        return replace(law, gain=self.gain, zero_pa=self.zero_pa, bow_pa=self.bow_pa)


def fit_span(
    points: Sequence[SpanPoint],
    range_low_gauge_pa: float,
    range_high_gauge_pa: float,
    used_to_gauge_pa: float,
    gauge: ReferenceGauge,
    resolution_pa: float = 0.0,
    bow_within_pa: float = 500.0,
) -> Span:
    """Gain and zero by weighted least squares; a bow too when it is three times its uncertainty and four pressures carry it.

    range_*: of the transducer. used_to_gauge_pa: the highest pressure of ordinary use; the points must spread over 60 % of what
    lies from 0 to there. resolution_pa: of one raw step, which counts where the scatter is too small to average over it.
    bow_within_pa: half-width of the bow by the data sheet, which counts where no bow is shown and so none is taken out. Where the
    residuals are larger than 1 in 100 would be by the stated uncertainties, these are widened by the root of chi²/degrees.
    Raises CheckRefused with one sentence when the points cannot carry a calibration.

    >>> points = [SpanPoint(p, 30.0, p * 1.002 + 900.0, 300.0, 900) for p in (0.0, 200e3, 400e3, 600e3)]
    >>> span = fit_span(points, 0.0, 1e6, 600e3, ReferenceGauge("G-7", "2024-118"))
    >>> round(span.gain, 5), round(span.zero_pa), span.bow_shown, span.largest_residual_pa < 0.01
    (0.998, 898, False, True)
    """
    _refuse(points, range_low_gauge_pa, range_high_gauge_pa, used_to_gauge_pa)
    reference = np.array([point.reference_gauge_pa for point in points])
    indicated = np.array([point.indicated_pa for point in points])
    u = np.array([_u_of(point, resolution_pa) for point in points])
    if np.any(u <= 0.0):
        raise CheckRefused("A point without any uncertainty cannot be weighed; state that of the reference gauge's reading.")
    width = range_high_gauge_pa - range_low_gauge_pa

    def basis(at_pa: Floats) -> Floats:
        x = (at_pa - range_low_gauge_pa) / width
        return np.stack([at_pa, -np.ones_like(x), 4.0 * x * (1.0 - x)], axis=1)

    bent = basis(indicated)
    with_bow, of_bow, _ = _least_squares(bent, reference, u)
    bow, u_bow = float(with_bow[2]), sqrt(of_bow[2, 2])
    shown = _distinct(indicated, 0.02 * used_to_gauge_pa) > LEAST_POINTS and abs(bow) > SHOWN * u_bow
    used = 3 if shown else 2
    values, covariance, inverse = _least_squares(bent[:, :used], reference, u)
    if not LEAST_GAIN <= values[0] <= MOST_GAIN:
        raise CheckRefused(f"The transducer would need a gain of {values[0]:.2f}; see that its range is stated right.")
    residuals = reference - bent[:, :used] @ values
    degrees = len(points) - used
    chi2 = float(np.sum((residuals / u) ** 2))
    widened = sqrt(chi2 / degrees) if degrees > 0 and _chance(chi2, degrees) < UNLIKELY else 1.0
    full = np.zeros((3, 3))
    full[:used, :used] = covariance * widened**2
    if not shown:
        # a bow that was not taken out pulls at gain and zero as far as the points let it, and stays in the reading itself
        pulled = np.append(inverse @ (bent[:, 2] / u), -1.0)
        full += np.outer(pulled, pulled) * _square_of_bow(bow, widened * u_bow, bow_within_pa)
    at_use = np.linspace(0.05, 1.0, 20) * used_to_gauge_pa
    left_gain, bow_left = _left_in_use(basis(at_use) - basis(np.zeros(1)), full, at_use)
    hysteresis = _hysteresis_pa(points, residuals)
    seen = 0.0 if hysteresis is None or hysteresis < 2.0 * sqrt(2.0) * float(np.mean(u)) else hysteresis
    left = sqrt(left_gain**2 + gauge.u_relative**2 + (seen / 2.0 / sqrt(3.0) / used_to_gauge_pa) ** 2)
    return Span(
        gain=float(values[0]),
        zero_pa=float(values[1]),
        bow_pa=bow if shown else 0.0,
        u_gain=sqrt(full[0, 0]),
        u_zero_pa=sqrt(full[1, 1]),
        u_bow_pa=sqrt(full[2, 2]),
        covariance=tuple(tuple(float(value) for value in row) for row in full),
        residuals_pa=tuple(float(value) for value in residuals),
        largest_residual_pa=float(np.max(np.abs(residuals))),
        hysteresis_pa=hysteresis,
        chi2_reduced=chi2 / degrees if degrees > 0 else None,
        bow_shown=shown,
        widened=widened,
        u_gain_left=left,
        bow_left_pa=bow_left,
    )


def _square_of_bow(bow_pa: float, u_bow_pa: float, within_pa: float) -> float:
    """Mean square of the bow, from what the points say of it and from the bounds that the data sheet states, taken as normal."""
    weight, bound = 1.0 / u_bow_pa**2, 3.0 / within_pa**2
    return 1.0 / (weight + bound) + (bow_pa * weight / (weight + bound)) ** 2


def _left_in_use(from_vent: Floats, covariance: Floats, at_pa: Floats) -> tuple[float, float]:
    """(u_gain, bow_pa) of Instrument that stand for the whole covariance, in which gain and bow partly cancel each other.

    The gain's share is what is uncertain at the highest pressure; the bow's is the largest that goes beyond it on the way there.
    from_vent: the basis at at_pa less that at vent, because the zero is taken anew.
    """
    variance = np.einsum("ij,jk,ik->i", from_vent, covariance, from_vent)
    gain = sqrt(float(variance[-1])) / float(at_pa[-1])
    beyond = np.sqrt(np.maximum(variance - (gain * at_pa) ** 2, 0.0))
    worst = int(np.argmax(beyond))
    shape = float(from_vent[worst, 2])
    return gain, sqrt(3.0) * float(beyond[worst]) / shape if shape > 0.0 else 0.0


def _refuse(points: Sequence[SpanPoint], low: float, high: float, used_to: float) -> None:
    if not low < high or not 0.0 < used_to <= high:
        raise ValueError("used_to_gauge_pa: must lie above 0 and inside of a range that rises")
    for number, point in enumerate(points, 1):
        figures = (point.reference_gauge_pa, point.u_reference_pa, point.indicated_pa, point.scatter_pa)
        if not np.all(np.isfinite(figures)) or point.u_reference_pa < 0.0 or point.scatter_pa < 0.0 or point.n < 1:
            raise CheckRefused(f"Point {number} holds a figure that cannot be; look at its uncertainty and its number of samples.")
        if abs(point.indicated_pa - point.reference_gauge_pa) > 0.1 * (high - low):
            raise CheckRefused(
                f"Point {number} reads {point.indicated_pa / 1e3:.1f} kPa where the gauge says "
                f"{point.reference_gauge_pa / 1e3:.1f} kPa; see that it is gauge pressure, the right unit and the right transducer."
            )
    pressures = [point.reference_gauge_pa for point in points]
    if len(pressures) < LEAST_POINTS or _distinct(np.array(pressures), 0.02 * used_to) < LEAST_POINTS:
        raise CheckRefused(f"A span calibration needs at least {LEAST_POINTS} pressures; take more points.")
    if max(pressures) - min(pressures) < LEAST_SPREAD * used_to:
        raise CheckRefused(
            f"The points spread over {(max(pressures) - min(pressures)) / 1e3:.0f} kPa; "
            f"take them over {LEAST_SPREAD * used_to / 1e3:.0f} kPa at least."
        )


def _u_of(point: SpanPoint, resolution_pa: float) -> float:
    # noise of half a step and more averages the steps out; under it a step stays a step
    step = resolution_pa / sqrt(12.0) if point.scatter_pa < resolution_pa / 2.0 else 0.0
    return sqrt(point.u_reference_pa**2 + point.scatter_pa**2 / point.n + step**2)


def _distinct(pressures: Floats, apart_pa: float) -> int:
    ordered = np.sort(pressures)
    count, last = 1, ordered[0]
    for pressure in ordered[1:]:
        if pressure - last > apart_pa:
            count, last = count + 1, pressure
    return count


def _least_squares(basis: Floats, y: Floats, u: Floats) -> tuple[Floats, Floats, Floats]:
    """Values, covariance, and what turns y/u into values; columns scaled, so that Pa and shares do not meet in one inverse."""
    scale = np.max(np.abs(basis), axis=0)
    inverse = np.linalg.pinv(basis / scale / u[:, None]) / scale[:, None]
    return inverse @ (y / u), inverse @ inverse.T, np.asarray(inverse)


def _chance(chi2: float, degrees: int) -> float:
    from scipy.special import chdtrc  # noqa: PLC0415 -- heavy

    return float(chdtrc(degrees, chi2))


def _hysteresis_pa(points: Sequence[SpanPoint], residuals: Floats) -> float | None:
    """Largest |falling − rising| of the residuals, the rising ones interpolated; only where rising points lie on both sides."""
    rising = sorted((p.reference_gauge_pa, float(r)) for p, r in zip(points, residuals, strict=True) if p.direction == "rising")
    falling = [(p.reference_gauge_pa, float(r)) for p, r in zip(points, residuals, strict=True) if p.direction == "falling"]
    if not rising or not falling:
        return None
    at, values = np.array(rising).T
    apart = [abs(r - float(np.interp(p, at, values))) for p, r in falling if at[0] - 1e-6 <= p <= at[-1] + 1e-6]
    return max(apart) if apart else None
