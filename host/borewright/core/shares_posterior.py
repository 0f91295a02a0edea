"""What the readings leave possible: areas of all places and of the rest, as weighted draws.

Areas cannot be negative, most places of an engine hardly leak, and how much a stop leaks nobody knows. A normal distribution around
the least squares is wrong near zero, where most places are. So this is Bayes with few assumptions: each place leaks next to nothing
(half-normal, 0.2 % of the whole) or something (half-normal, as wide as the whole), two of five do; stops leak as `StopPrior` says.
Given which places leak, the unknowns of `core.shares_model` are nearly normal, cut off at zero, and are drawn straight, by the
sequential method of Geweke, Hajivassiliou and Keane with its weights; what is not normal, the leak of a stop, goes into the
weights. All combinations of leaking places are weighed against each other. The random numbers are fixed: the same readings give the
same shares.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from borewright.core.not_negative import not_negative
from borewright.core.shares_data import HOLDS_NOT, StopPrior
from borewright.core.shares_model import U_GAUGE_SQUARE, StopModel

__all__ = ["NARROW", "Draws", "draw_shares"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
SQRT_2_PI = float(np.sqrt(2.0 * np.pi))

OFTEN_LEAKS = 0.4
OFTEN_ELSEWHERE = 0.1
"""How often something beside the known places leaks."""
NARROW, WIDE = 0.002, 1.0
"""Widths of the two half-normals, parts of the whole leak."""
NONE = 1e-4  # width of what cannot be
OFTEN_ODD, ODD = 0.1, 2.0
"""How often a stop comes from a distribution so many times as wide."""
OFTEN_LEAKY, LEAKY = 0.15, 4.0
"""How often all stops of a set are poor ones and leak so many times as much: they come out of one drawer."""
_BEND = 2.5  # two nozzles in series: 2 if incompressible, 3.1 if choked
_FIRST, _DRAWS = 40, 6_000
_FARTHEST = 36.0  # standard deviations; beyond them a probability is no number any more


@dataclass(frozen=True, slots=True)
class Draws:
    """Weighted draws in units of the whole leak.

    areas: one row a draw, one column a place, the last one the rest that is at no place. faint: whether it is next to nothing.
    weights sum to 1. unknowns: d, e and r as in the equations.
    """

    areas: Floats
    faint: Bools
    weights: Floats
    unknowns: Floats

    @property
    def effective(self) -> float:
        """How many draws of equal weight they are worth."""
        return float(1.0 / np.sum(self.weights**2))


def draw_shares(model: StopModel, stop: StopPrior) -> Draws:
    """The draws for a set of equations; deterministic."""
    patterns, log_prior, widths = _patterns(model, stop)
    guess = _guess_of_stops(model)
    precision, towards, log_evidence = _normal(model, guess, patterns, widths)
    covariance = np.linalg.inv(precision)
    root: Floats = np.asarray(np.linalg.cholesky(0.5 * (covariance + covariance.transpose(0, 2, 1))), dtype=np.float64)
    mean: Floats = np.asarray(np.einsum("kij,kj->ki", covariance, towards), dtype=np.float64)
    log_evidence += log_prior + np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1) + 0.5 * np.sum(mean * towards, axis=1)

    which = np.repeat(np.arange(len(patterns)), _FIRST)
    drawn, log_weight = _cut_off(mean, root, which, _uniforms(which.size, mean.shape[1], 1))
    log_weight += _log_of_stops(model, stop, guess, patterns[which], drawn)
    first = (log_weight + log_evidence[which]).reshape(-1, _FIRST)
    chance = np.exp(first - first.max()).mean(axis=1)
    # a combination whose few draws fell badly is still given some
    chance = np.maximum(chance / chance.sum(), 1e-4)
    chance /= chance.sum()
    which = np.minimum(np.searchsorted(np.cumsum(chance), (np.arange(_DRAWS) + 0.5) / _DRAWS), len(patterns) - 1)
    drawn, log_weight = _cut_off(mean, root, which, _uniforms(_DRAWS, mean.shape[1] + 1, 2))
    log_weight += _log_of_stops(model, stop, guess, patterns[which], drawn) + log_evidence[which] - np.log(chance[which])
    weights = np.exp(log_weight - log_weight.max())
    return _divided(model, stop, patterns[which], drawn, weights / weights.sum())


def _patterns(model: StopModel, stop: StopPrior) -> tuple[Bools, Floats, Floats]:
    """Every combination of places that leak, and of something large that no stop took away: its chance, widths of the unknowns."""
    n = len(model.places)
    patterns = (np.arange(2 ** (n + 1))[:, None] >> np.arange(n + 1)) % 2 == 1
    leaks, large = patterns[:, :n], patterns[:, n]
    often = np.log(np.where(leaks, OFTEN_LEAKS, 1.0 - OFTEN_LEAKS)).sum(axis=1)
    failing = (~leaks & _blind(model)).sum(axis=1) * _often_fails(stop)
    often += np.log(np.where(large, OFTEN_ELSEWHERE + failing, 1.0 - OFTEN_ELSEWHERE))
    widths = np.column_stack(
        [np.where(leaks, WIDE, NARROW), np.where(leaks & model.stoppable, WIDE, NONE), np.where(large, WIDE, NARROW)]
    )
    return patterns, often, widths


def _blind(model: StopModel) -> Bools:
    """Places with stops that no gauge tells of."""
    return model.stoppable & np.isnan(model.told)


@dataclass(frozen=True, slots=True)
class _Guess:
    """e is about offset + slope · d with standard uncertainty u, for each place; only to draw from, the weights put it right."""

    offset: Floats
    slope: Floats
    u: Floats


def _guess_of_stops(model: StopModel) -> _Guess:
    usual = min(model.stop_leak, 0.4)
    n = len(model.places)
    offset, slope, u = np.full(n, 1.2 * usual), np.zeros(n), np.full(n, 1.4 * usual)
    # the small pull to zero shares out what the readings do not tell apart
    rows = np.vstack([model.rows / model.sigmas[:, None], np.eye(2 * n + 1) / WIDE])
    solution, _ = not_negative(rows, np.concatenate([model.values / model.sigmas, np.zeros(2 * n + 1)]))
    for k in np.flatnonzero(~np.isnan(model.told)):
        square = model.told[k] ** 2 + U_GAUGE_SQUARE * np.array([-1.5, -0.5, 0.5, 1.5])
        part = np.sqrt(np.clip(square, 1e-3, 0.95))
        over = part / (1.0 - part)
        offset[k], slope[k] = 0.0, over.mean()
        u[k] = 1.5 * max(over.std(), 0.02) * max(solution[k] + solution[n + k], 0.1)
    return _Guess(offset, slope, u)


def _normal(model: StopModel, guess: _Guess, patterns: Bools, widths: Floats) -> tuple[Floats, Floats, Floats]:
    """Precision and precision times mean of every combination before cutting off at zero, and what its evidence begins with."""
    n = len(model.places)
    unit = np.eye(2 * n + 1)
    data = model.rows.T @ (model.rows / model.sigmas[:, None] ** 2)
    precision = data[None] + widths[:, :, None] ** -2.0 * unit
    towards = np.tile(model.rows.T @ (model.values / model.sigmas**2), (len(patterns), 1))
    log_evidence = -np.log(widths).sum(axis=1)
    for k in np.flatnonzero(model.stoppable):
        row = (unit[n + k] - guess.slope[k] * unit[k]) / guess.u[k]
        aim = guess.offset[k] / guess.u[k]
        on = patterns[:, k]
        precision[on] += np.outer(row, row)
        towards[on] += aim * row
        # here stands no half-normal, whose constant is left out everywhere
        log_evidence[on] += np.log(WIDE * SQRT_2_PI / 2.0) - 0.5 * aim**2
    return precision, towards, log_evidence


def _often_fails(stop: StopPrior) -> float:
    """How often a place of which a stop holds nothing back does leak, and only its stop does not hold."""
    return OFTEN_LEAKS * stop.fails / (1.0 - OFTEN_LEAKS + OFTEN_LEAKS * stop.fails)


def _cut_off(mean: Floats, root: Floats, which: npt.NDArray[np.intp], uniforms: Floats) -> tuple[Floats, Floats]:
    """Draws of normal distributions cut off at zero, and the logarithm of their weights."""
    from scipy.special import ndtr, ndtri  # noqa: PLC0415 -- heavy

    mean, root = mean[which], root[which]
    z = np.zeros_like(mean)
    log_weight = np.zeros(len(mean))
    for k in range(mean.shape[1]):
        least = -(mean[:, k] + np.einsum("ij,ij->i", root[:, k, :k], z[:, :k])) / root[:, k, k]
        least = np.minimum(least, _FARTHEST)
        inside = ndtr(-least)
        log_weight += np.log(inside)
        z[:, k] = -ndtri(uniforms[:, k] * inside)
    drawn = mean + np.einsum("ijk,ik->ij", root, z)
    return np.maximum(drawn, 0.0), log_weight


def _log_of_stops(model: StopModel, stop: StopPrior, guess: _Guess, patterns: Bools, drawn: Floats) -> Floats:
    """What the leak of a stop makes of a draw's weight, in place of the normal guess it was drawn with.

    The area behind is d + e and the stop's own leak s = (e^-n − (d + e)^-n)^(-1/n); a flat prior of the area and the one of s
    become one of d and e by the factor (s/e)^(n+1).
    """
    n = len(model.places)
    log_weight = np.zeros(len(drawn))
    log_usual, log_leaky = np.zeros(len(drawn)), np.zeros(len(drawn))
    for k in np.flatnonzero(model.stoppable):
        at = np.flatnonzero(patterns[:, k])
        d, e = np.maximum(drawn[at, k], 1e-9), np.maximum(drawn[at, n + k], 1e-9)
        part = e / (d + e)
        log_over = -np.log(np.maximum(-np.expm1(_BEND * np.log(part)), 1e-12)) / _BEND
        away = (log_over + np.log(e / model.stop_leak)) / stop.spread
        log_usual[at] += _log_density(away)
        log_leaky[at] += _log_density(away - np.log(LEAKY) / stop.spread)
        more = _BEND * log_over - np.log(e * stop.spread * SQRT_2_PI)
        more += 0.5 * ((e - guess.offset[k] - guess.slope[k] * d) / guess.u[k]) ** 2 + 0.5 * (e / WIDE) ** 2
        if not np.isnan(model.told[k]):
            more -= 0.5 * ((part**2 - model.told[k] ** 2) / U_GAUGE_SQUARE) ** 2 + np.log(U_GAUGE_SQUARE * SQRT_2_PI)
        log_weight[at] += np.where(part < HOLDS_NOT, more, -np.inf)
    return np.asarray(
        log_weight + np.logaddexp(log_usual + np.log(1.0 - OFTEN_LEAKY), log_leaky + np.log(OFTEN_LEAKY)), dtype=np.float64
    )


def _log_density(away: Floats) -> Floats:
    """Of a stop's leak, so many standard deviations of its logarithm from the usual one."""
    density = (1.0 - OFTEN_ODD) * np.exp(-0.5 * away**2) + OFTEN_ODD / ODD * np.exp(-0.5 * (away / ODD) ** 2)
    return np.asarray(np.log(np.maximum(density, 1e-300)))


def _divided(model: StopModel, stop: StopPrior, patterns: Bools, drawn: Floats, weights: Floats) -> Draws:
    """Places and rest; something large is elsewhere, or at a place that seems tight and has a stop that does not hold."""
    n = len(model.places)
    leaks, large = patterns[:, :n], patterns[:, n]
    shares = np.column_stack([np.full(len(drawn), OFTEN_ELSEWHERE), np.where(~leaks & _blind(model), _often_fails(stop), 0.0)])
    steps = np.cumsum(shares, axis=1)
    by = np.sum(_uniforms(_DRAWS, 2 * n + 2, 2)[:, -1:] * steps[:, -1:] > steps, axis=1)
    failing = np.flatnonzero(large & (by > 0))
    areas = np.column_stack([drawn[:, :n] + drawn[:, n : 2 * n], drawn[:, -1]])
    faint = np.column_stack([~leaks, ~large])
    areas[failing, by[failing] - 1] += areas[failing, -1]
    areas[failing, -1] = 0.0
    faint[failing, by[failing] - 1], faint[failing, -1] = False, True
    return Draws(areas, faint, weights, drawn)


@lru_cache(maxsize=16)
def _uniforms(count: int, columns: int, stream: int) -> Floats:
    """The same numbers between 0 and 1 at every call."""
    drawn = np.random.default_rng((20_240, stream)).random((count, columns))
    drawn = np.clip(drawn, 1e-12, 1.0 - 1e-12)
    drawn.setflags(write=False)
    return drawn
