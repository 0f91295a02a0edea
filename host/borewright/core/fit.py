"""One fit of a whole capture: fill, steady part and decay against the equations of core.fit_plant, errors of the rig included.

What is fitted are block means of both pressures. What is asked for (leak area, its pressure dependence, trapped volume) has no
prior; what is known with an uncertainty (restrictor, tie, span, non-linearity, ambient pressure, temperatures, dead volume) is
fitted as a random effect about what the instrument states, so that the result carries it; noise, drift of the zeros and the
converter are in the covariance of the readings. The errors of p_regulated go through the equations into what the cylinder should
read, and count there. Gauss–Newton, one banded LU each round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from borewright.core.capture import CaptureUnusable
from borewright.core.fit_course import Course, drive_of, follow
from borewright.core.fit_noise import carried, converter_covariance, drift_covariance
from borewright.core.fit_plant import Plant, Q
from borewright.core.fit_priors import first_course, priors
from borewright.core.fit_record import Record
from borewright.core.flow import Floats
from borewright.core.instrument import Instrument

__all__ = ["Fitted", "fit_record"]

ROUNDS = 30
FIRST_WALL_W_K = (0.4, 0.1, 1.6)  # where the search begins; the second and third only where the first does not lead to a fit
FOLLOWED_SIGMAS = 5.0  # chi-square of a fit lies no more standard deviations above what noise makes
NOT_FOLLOWED = "The pressures do not follow those of one leaking volume: something changed meanwhile; look at the raw curves."
LEAST_SHARE_OF_AMBIENT, T_RANGE_K = 0.3, (150.0, 600.0)  # the search is kept out of where the equations mean nothing


@dataclass(frozen=True, slots=True)
class Fitted:
    """The unknowns (order of Q) with their covariance; the gain matrix by which residuals moved them, and what is left over."""

    plant: Plant
    unknowns: Floats
    covariance: Floats
    prior_sd: Floats  # inf where there is none
    from_noise: Floats  # covariance of the unknowns that the noise of both transducers makes
    from_converter: Floats  # and that the converter's steps and non-linearity make
    from_zeros: Floats  # and that the drift of both zeros makes
    chi2: float
    dof: int


def fit_record(record: Record, instrument: Instrument) -> Fitted:
    """Fit it. Raises CaptureUnusable when the equations cannot follow the data."""
    task = _Task(record, instrument)
    best: Fitted | None = None
    for wall_w_k in FIRST_WALL_W_K:
        try:
            with np.errstate(invalid="ignore", over="ignore", divide="ignore"):  # a search that leads nowhere is seen by its end
                fitted = task.search(wall_w_k)
        except (CaptureUnusable, np.linalg.LinAlgError):
            continue
        if best is None or fitted.chi2 < best.chi2:
            best = fitted
        if best.chi2 < best.dof + FOLLOWED_SIGMAS * np.sqrt(2.0 * best.dof):
            break
    if best is None:
        raise CaptureUnusable(NOT_FOLLOWED)
    return best


class _Task:
    """A record and an instrument, with what stays the same from round to round."""

    def __init__(self, record: Record, instrument: Instrument) -> None:
        blocks = record.blocks
        self.blocks, self.record, self.instrument = blocks, record, instrument
        self.plant = Plant(instrument.restrictor, instrument.dead_volume_m3, record.p_cylinder_gauge_pa)
        self.prior, self.prior_sd = priors(record, instrument)
        self.precision = np.where(np.isinf(self.prior_sd), 0.0, 1.0 / self.prior_sd**2)
        self.measured = np.concatenate([blocks.p_cylinder_pa, blocks.p_regulated_pa[blocks.driven :]])
        drift = drift_covariance(blocks, record.zeroed_s, instrument)
        self.noise = (record.cov_regulated, record.cov_cylinder)
        self.zeros = (drift, drift)
        levels = (blocks.p_regulated_pa, blocks.p_cylinder_pa)
        sigmas = tuple(float(np.sqrt(np.max(np.diag(covariance) * blocks.samples))) for covariance in self.noise)
        self.converter = (
            converter_covariance(levels[0], instrument, sigmas[0]),
            converter_covariance(levels[1], instrument, sigmas[1]),
        )
        self.regulated = self.noise[0] + self.zeros[0] + self.converter[0]
        self.cylinder = self.noise[1] + self.zeros[1] + self.converter[1]

    def search(self, first_wall_w_k: float) -> Fitted:
        """Gauss–Newton from the prior; raises CaptureUnusable or LinAlgError where it leads nowhere."""
        from scipy.linalg import cho_factor, cho_solve  # noqa: PLC0415 -- heavy

        blocks, instrument = self.blocks, self.instrument
        unknowns = self.prior.copy()
        unknowns[Q.LN_WALL] = np.log(first_wall_w_k)
        state = first_course(self.record, drive_of(blocks, unknowns, instrument.range_pa), instrument)
        step = np.zeros(len(Q))
        for _ in range(ROUNDS):
            course = follow(blocks, self.plant, unknowns, state, drive_of(blocks, unknowns, instrument.range_pa))
            expected, by = _readings(course, unknowns, instrument)
            residual = self.measured - expected
            through = np.concatenate([course.cylinder_by_drive, course.regulated_by_drive])
            factor = cho_factor(carried(through, self.regulated, self.cylinder), lower=True, check_finite=False)
            weighted = cho_solve(factor, by, check_finite=False)
            hessian = by.T @ weighted + np.diag(self.precision)
            covariance = _inverse(hessian)
            gradient = weighted.T @ residual - self.precision * (unknowns - self.prior)
            last, step = step, _bounded(covariance @ gradient, unknowns)
            # back and forth over a bend of the equations (flow that turns, or chokes): halfway is nearer
            share = 0.5 if float(step @ hessian @ last) < 0.0 else 1.0
            unknowns = unknowns + share * step
            state = self._kept_sound(state + share * (course.state - state + np.einsum("nsq,q->sn", course.state_by, step)))
            variance = np.diag(covariance)
            if not (np.all(np.isfinite(unknowns)) and np.all(variance > 0.0)):
                raise CaptureUnusable(NOT_FOLLOWED)
            if np.max(np.abs(step) / np.sqrt(variance)) < 0.02 and course.defect_pa < 20.0:
                break
        else:
            raise CaptureUnusable(NOT_FOLLOWED)
        left = residual - by @ step
        misfit = float(left @ cho_solve(factor, left, check_finite=False))
        gain = covariance @ weighted.T
        return Fitted(
            self.plant,
            unknowns,
            covariance,
            self.prior_sd,
            gain @ carried(through, *self.noise) @ gain.T,
            gain @ carried(through, *self.converter) @ gain.T,
            gain @ carried(through, *self.zeros) @ gain.T,
            misfit + float(np.sum(self.precision * (unknowns - self.prior) ** 2)),
            len(self.measured) - int(np.sum(np.isinf(self.prior_sd))),
        )

    def _kept_sound(self, state: Floats) -> Floats:
        least = LEAST_SHARE_OF_AMBIENT * self.instrument.p_ambient_abs_pa
        return np.stack([np.maximum(state[0], least), np.clip(state[1], *T_RANGE_K), np.maximum(state[2], least)])


def _inverse(hessian: Floats) -> Floats:
    """Inverse of a positive matrix whose rows are in very different units."""
    scale = 1.0 / np.sqrt(np.diag(hessian))
    return np.asarray(np.linalg.inv(hessian * scale[:, None] * scale[None, :]) * scale[:, None] * scale[None, :])


def _readings(course: Course, unknowns: Floats, instrument: Instrument) -> tuple[Floats, Floats]:
    """What the transducers should read, block by block, the cylinder's before the closed regulated one's; and by the unknowns."""
    u = unknowns
    parts: list[Floats] = []
    derivatives: list[Floats] = []
    for pressure, by, tied in (
        (course.cylinder_mean_pa, course.cylinder_by, u[Q.TIE]),
        (course.regulated_mean_pa, course.regulated_by, 0.0),
    ):
        gauge = pressure - u[Q.P_AMBIENT]
        x = gauge / instrument.range_pa
        slope = 1.0 + u[Q.GAIN] + tied
        parts.append(gauge * slope + 4.0 * x * (1.0 - x) * u[Q.BOW])
        out = by * slope
        out[:, Q.P_AMBIENT] -= slope
        out[:, Q.GAIN] += gauge
        if not derivatives:
            out[:, Q.TIE] += gauge
        out[:, Q.BOW] += 4.0 * x * (1.0 - x)
        derivatives.append(out)
    return np.concatenate(parts), np.concatenate(derivatives)


def _bounded(step: Floats, unknowns: Floats) -> Floats:
    """A step no longer than the linearisation may be trusted for."""
    longest = np.full(len(Q), np.inf)
    longest[Q.LEAK] = max(0.5 * abs(unknowns[Q.LEAK]), 1e-7)
    longest[Q.EXPONENT] = 0.3
    longest[Q.LN_VOLUME], longest[Q.LN_WALL], longest[Q.LN_DEAD] = 0.3, 1.0, 0.3
    longest[Q.STIR], longest[Q.WALL_EXPONENT] = 1.0, 0.5
    longest[Q.T_WALL] = longest[Q.T_SUPPLY] = longest[Q.T_START] = 30.0
    longest[Q.P_AMBIENT] = longest[Q.P_START] = longest[Q.P_SHUT] = 20_000.0
    share = float(np.max(np.abs(step) / longest))
    return step / max(share, 1.0)
