"""Noise whose neighbours are alike: how well the mean of a record is known that holds fewer independent samples than samples.

The model is AR(1), each sample φ times the one before plus something new, whose autocorrelation is φ^k, and white noise on top of
it, as the steps of a converter are. φ = 0 is white noise alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats, checked

__all__ = ["Noise", "ar1_of", "block_mean_variance", "noise_of", "type_a"]

_LEAST_SAMPLES = 8
_GREATEST_PHI = 0.998
_ROUNDS = 4


def block_mean_variance(sigma: npt.ArrayLike, phi: npt.ArrayLike, n: npt.ArrayLike) -> Floats:
    """Variance of the mean of n neighbouring samples of AR(1) noise, in the unit of sigma squared; exact.

    sigma²/n·((1 + φ)/(1 − φ) − 2φ(1 − φⁿ)/(n(1 − φ)²)). sigma: standard deviation of a single sample, at least 0. phi: correlation
    of neighbours, above −1 and under 1. n: counts from 1. All broadcast; the shape of all together comes back. Raises ValueError
    naming the argument. Source: the double sum over the autocorrelation φ^|i−j|, as any text on time series has it.

    >>> block_mean_variance(2.0, [0.0, 0.9], 4).round(6).tolist()
    [1.0, 3.5245]
    """
    s = checked("sigma", sigma, least=0.0)
    f = checked("phi", phi, above=-1.0)
    count = checked("n", n, least=1.0)
    if np.any(f >= 1.0):
        raise ValueError("phi: must be under 1")
    new = 1.0 - f
    return np.asarray(s**2 / count * ((1.0 + f) / new - 2.0 * f * (1.0 - f**count) / (count * new**2)))


@dataclass(frozen=True, slots=True)
class Noise:
    """AR(1) noise of standard deviation sigma whose neighbours correlate by phi, and white noise of its own on top of it.

    >>> round(float(Noise(3.0, 0.9, 4.0).mean_variance(100)), 2)
    1.71
    """

    sigma: float
    phi: float
    white: float = 0.0

    def mean_variance(self, n: npt.ArrayLike) -> Floats:
        """Variance of the mean of n neighbouring samples, n of any shape, counts from 1; for n = 1 that of a sample."""
        return np.asarray(block_mean_variance(self.sigma, self.phi, n) + self.white**2 / np.asarray(n, dtype=np.float64))


def noise_of(samples: npt.ArrayLike) -> Noise:
    """The noise around a constant level that these neighbouring samples show.

    samples: shape (n,), n at least 8, evenly spaced in time, without a trend (a trend is taken for correlation). phi is the
    correlation of neighbours; but where samples two apart are more alike than its square says (partial correlation above 2/√n),
    white noise lies on top, and phi is what the second correlation keeps of the first. A record's own mean takes its slowest noise
    away: all correlations are put right by the variance of the mean, round by round, and phi by 2φ/n more, which is the bias of
    the ratio. Samples that are all the same show no noise. phi from −0.998 to 0.998. Raises ValueError naming the argument.
    Source: F. H. C. Marriott, J. A. Pope, Biometrika 41 (1954), for the bias (from memory, unverified; tests hold it to drawn
    series).

    >>> rng = np.random.default_rng(1)
    >>> noise = noise_of(rng.normal(0.0, 2.0, 4000))
    >>> round(noise.sigma, 1), abs(noise.phi) < 0.05, noise.white
    (2.0, True, 0.0)
    """
    x = checked("samples", samples)
    if x.ndim != 1 or x.shape[0] < _LEAST_SAMPLES:
        raise ValueError(f"samples: needs at least {_LEAST_SAMPLES} in one row")
    n = x.shape[0]
    off = x - np.mean(x)
    own, first, second = (float(off[lag:] @ off[: n - lag]) / (n - lag) for lag in range(3))
    if own <= 1e-24 * float(np.max(np.abs(x))) ** 2:
        return Noise(0.0, 0.0)
    noise = Noise(np.sqrt(own), 0.0)
    for _ in range(_ROUNDS):
        lost = min(float(noise.mean_variance(n)), own)
        noise = _noise_from(own + lost, first + lost, second + lost, n)
    return noise


def _noise_from(own: float, first: float, second: float, n: int) -> Noise:
    """The noise of these three autocovariances."""
    r1, r2 = first / own, second / own
    if r1 > 4.0 / np.sqrt(n) and r2 - r1**2 > 2.0 / np.sqrt(n) * (1.0 - r1**2):
        phi = _without_bias(r2 / r1, n)
        sigma = np.sqrt(min(first / phi, own))
        return Noise(float(sigma), phi, float(np.sqrt(own - sigma**2)))
    return Noise(float(np.sqrt(own)), _without_bias(r1, n))


def _without_bias(ratio: float, n: int) -> float:
    return float(np.clip(ratio * (1.0 + 2.0 / n), -_GREATEST_PHI, _GREATEST_PHI))


def ar1_of(samples: npt.ArrayLike) -> tuple[float, float]:
    """(sigma, phi) of the AR(1) noise that comes nearest to `noise_of`: its phi, and the standard deviation of a single sample.

    With white noise on top the mean of many samples is somewhat better known than these two say, never less well.

    >>> sigma, phi = ar1_of([3.0, 1.0, 2.0, 2.0, 4.0, 3.0, 1.0, 2.0])
    >>> round(sigma, 2), round(phi, 2)
    (1.06, 0.15)
    """
    noise = noise_of(samples)
    return float(np.hypot(noise.sigma, noise.white)), noise.phi


def type_a(samples: npt.ArrayLike) -> tuple[float, float, float]:
    """(mean, its standard uncertainty, degrees of freedom) of neighbouring samples, their correlation taken into account.

    samples: as for `noise_of`. The degrees of freedom are those of the estimated variance of the mean, 2/(its relative variance):
    n/(1 + 2(1 + φ)/(1 − φ)), which pays for phi being estimated from the same samples; at least 1. GUM 4.2.7 asks for such a
    treatment where observations are correlated.

    >>> mean, standard, dof = type_a([3.0, 1.0, 2.0, 2.0, 4.0, 3.0, 1.0, 2.0])
    >>> round(mean, 2), round(standard, 2), round(dof, 1)
    (2.25, 0.43, 2.2)
    """
    noise = noise_of(samples)
    x = np.asarray(samples, dtype=np.float64)
    dof = x.shape[0] / (1.0 + 2.0 * (1.0 + noise.phi) / (1.0 - noise.phi))
    return float(np.mean(x)), float(np.sqrt(noise.mean_variance(x.shape[0]))), max(1.0, dof)
