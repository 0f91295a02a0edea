"""One fit of a whole capture: fill, steady part and decay against the equations of core.fit_plant, errors of the rig included.

What is fitted are block means of both pressures. What is asked for (leak area, its pressure dependence, trapped volume) has no
prior; what is known with an uncertainty (restrictor, zeros, tie, span, non-linearity, ambient pressure, temperatures, dead volume)
is fitted as a random effect about what the instrument states, so that the result carries it. The noise of p_regulated goes through
the equations into what the cylinder should read, and counts there. Gauss–Newton, one banded LU each round.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from borewright.core.autocorrelation import noise_of
from borewright.core.capture import CaptureResult, CaptureUnusable
from borewright.core.fit_blocks import Blocks, ar1_block_covariance, block_edges, make_blocks
from borewright.core.fit_course import Course, Drive, drive_of, follow
from borewright.core.fit_plant import Plant, Q
from borewright.core.flow import AIR_GAS_CONSTANT, Floats
from borewright.core.instrument import Instrument

__all__ = ["Fitted", "Record", "fit_record", "record_of"]

AFTER_OPENING_S = 0.04  # valves travel and the vent may still be closing; the fit begins behind it with a free state
AROUND_SHUT_S = 0.03
LEAST_CLOSED_S = 0.05
END_SHARE, END_PA = 0.03, 5_000.0  # below these the decay says more of the zero than of the leak
ROUNDS = 30

# standard deviations of priors that come from no instrument: wide enough to be no more than a hint
PRIOR_EXPONENT = (0.05, 0.4)
PRIOR_WALL_W_K, PRIOR_LN_WALL = 0.4, 1.2
PRIOR_STIR = (0.5, 0.8)
PRIOR_WALL_EXPONENT = (0.4, 0.4)
NOT_FOLLOWED = "The pressures do not follow those of a leaking volume; look at the raw curves."
PRIOR_STRETCH = (3e-8, 2e-8)  # share of the hose's volume for each Pa: a reinforced hose grows by some tenths of a percent for each bar
PRIOR_CURVE = (0.02, 0.03)  # leaks with exponents of their own, added up, bend upwards
PRIOR_NEAR_ONE = (0.0, 0.3)
U_T_START_K = 8.0
U_P_START_PA = 20_000.0


@dataclass(frozen=True, slots=True)
class Record:
    """What of a capture is fitted: the blocks, the covariance of the noise of both channels' block means, and the settled pair."""

    blocks: Blocks
    cov_regulated: Floats
    cov_cylinder: Floats
    zeroed_s: float  # middle of the vented baseline
    settled: slice  # blocks of the steady part
    p_cylinder_gauge_pa: float
    leak_area_m2: float


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
    rounds: int
    residual_pa: Floats
    predicted_sd_pa: Floats


def record_of(t_s: Floats, p_regulated_pa: Floats, p_cylinder_pa: Floats, result: CaptureResult) -> Record:
    """Blocks and noise of a capture whose phases are known. Pressures gauge, zeros of the vented baseline taken off."""
    phases = result.phases
    period = float(np.median(np.diff(t_s)))

    def samples(seconds: float) -> int:
        return max(1, round(seconds / period))

    start = phases.fill[0] + samples(AFTER_OPENING_S)
    shut = phases.steady[1]
    if shut - start < samples(0.5):
        raise CaptureUnusable("The air was on for too short a time for a fit; keep it on until the reading is steady.")
    parts = [block_edges(start, shut - samples(AROUND_SHUT_S), period)]
    driven_parts = 1
    if phases.isolated is not None:
        closed = phases.isolated[0] + samples(AROUND_SHUT_S)
        end = phases.isolated[1] - samples(AROUND_SHUT_S)
        width = max(samples(0.004), (closed - shut) // 20)
        low = max(END_PA, END_SHARE * result.p_cylinder_gauge_pa)
        smooth = _block_floor(p_cylinder_pa[closed:end], samples(0.02))
        under = np.flatnonzero(smooth < low)
        if under.size:
            end = min(end, closed + int(under[0]) * samples(0.02))
        if end - closed >= samples(LEAST_CLOSED_S):
            parts.append(np.append(np.arange(shut - samples(AROUND_SHUT_S), closed - width // 2, width), closed))
            parts.append(block_edges(closed, end, period))
            driven_parts = 2
    blocks = make_blocks(t_s, p_regulated_pa, p_cylinder_pa, parts, driven_parts)
    steady = slice(*result.steady_read)
    vented = slice(*phases.baseline)
    noises = []
    for pressure in (p_regulated_pa, p_cylinder_pa):
        window = pressure[steady] if steady.stop - steady.start >= 1000 else pressure[vented]
        at = np.linspace(-1.0, 1.0, window.shape[0])
        noises.append(noise_of(window - np.polynomial.Polynomial.fit(at, window, 2)(at)))
    covariances = [
        ar1_block_covariance(blocks.edges, noise.sigma, max(noise.phi, 0.0))
        + np.diag(noise.white**2 / blocks.samples)
        + float(noise.mean_variance(vented.stop - vented.start))  # of the zero, which all blocks share
        for noise in noises
    ]
    inside = np.flatnonzero((blocks.edges[:-1] >= steady.start) & (blocks.edges[1:] <= steady.stop))
    inside = inside[inside < blocks.driven]
    settled = slice(int(inside[0]), int(inside[-1]) + 1) if inside.size else slice(blocks.driven - 3, blocks.driven)
    return Record(
        blocks,
        covariances[0],
        covariances[1],
        float(np.mean(t_s[vented])),
        settled,
        result.p_cylinder_gauge_pa,
        result.leak_area_m2,
    )


def _block_floor(values: Floats, width: int) -> Floats:
    whole = len(values) // width * width
    return np.asarray(values[:whole].reshape(-1, width).mean(axis=1))


def _priors(record: Record, instrument: Instrument) -> tuple[Floats, Floats]:
    """Means and standard deviations (inf: none) of all unknowns; the means are where the search begins."""
    mean, sd = np.zeros(len(Q)), np.full(len(Q), np.inf)

    def known(q: Q, value: float, standard: float) -> None:
        mean[q], sd[q] = value, standard

    blocks = record.blocks
    colder = instrument.t_cylinder_k - instrument.t_supply_k
    mean[Q.LEAK] = record.leak_area_m2
    known(Q.EXPONENT, *PRIOR_EXPONENT)
    known(Q.CURVE, *PRIOR_CURVE)
    known(Q.NEAR_ONE, *PRIOR_NEAR_ONE)
    volume_m3 = _volume_guess_m3(record, instrument)
    mean[Q.LN_VOLUME] = np.log(volume_m3)
    known(Q.LN_WALL, float(np.log(PRIOR_WALL_W_K)), PRIOR_LN_WALL)
    known(Q.STIR, *PRIOR_STIR)
    known(Q.WALL_EXPONENT, *PRIOR_WALL_EXPONENT)
    # the hose takes its part of the heat exchange, and it is at room temperature: some half of its part of the volume
    hose = 0.5 * min(instrument.hose_volume_m3 / volume_m3, 1.0)
    known(Q.T_WALL, instrument.t_cylinder_k - hose * colder, float(np.hypot(max(instrument.u_t_cylinder_k, 0.01), 0.5 * hose * colder)))
    known(Q.T_SUPPLY, instrument.t_supply_k, max(instrument.u_t_supply_k, 0.01))
    known(Q.LN_RESTRICTOR, 0.0, max(instrument.restrictor.u_relative, 1e-5))
    ratio = instrument.restrictor.critical_ratio
    known(Q.CRITICAL_RATIO, 0.5 if ratio is None else ratio, max(instrument.restrictor.u_critical_ratio, 1e-5))
    known(Q.P_AMBIENT, instrument.p_ambient_abs_pa, max(instrument.u_p_ambient_pa, 1.0))
    known(Q.LN_DEAD, 0.0, max(instrument.u_dead_volume, 1e-4))
    known(Q.STRETCH, *(share * instrument.hose_volume_m3 for share in PRIOR_STRETCH))
    known(Q.TIE, 0.0, max(instrument.u_tie, 1e-6))
    known(Q.GAIN, 0.0, max(instrument.u_gain, 1e-6))
    known(Q.BOW, 0.0, max(instrument.bow_pa / np.sqrt(3.0), 0.1))
    first = float(np.mean(blocks.p_cylinder_pa[:2])) + instrument.p_ambient_abs_pa
    ambient = instrument.p_ambient_abs_pa
    warm = 1.4 * instrument.t_supply_k
    known(Q.P_START, first, U_P_START_PA)
    known(Q.T_START, max(first, ambient) / (ambient / instrument.t_supply_k + max(first - ambient, 0.0) / warm), U_T_START_K)
    at_shut = blocks.p_regulated_pa[min(blocks.driven, len(blocks.p_regulated_pa) - 1)] + ambient
    known(Q.P_SHUT, float(at_shut), U_P_START_PA)
    return mean, sd


def _first_course(record: Record, drive: Drive, instrument: Instrument) -> Floats:
    """Where the search begins: what was measured, with the pressure falling over the restrictor everywhere.

    Noise that turns the flow round, or makes the difference several times too large, leads Newton's method astray: the flow goes
    with the root of the difference. Too small a difference does no harm.
    """
    blocks, d = record.blocks, record.blocks.driven
    middle_s = 0.5 * (blocks.edge_s[:-1] + blocks.edge_s[1:])
    at_s = np.append(blocks.edge_s[:1], np.stack([blocks.edge_s[:-1] + blocks.width_s / 3.0, blocks.edge_s[1:]], axis=1).ravel())
    p = np.maximum(np.interp(at_s, middle_s, blocks.p_cylinder_pa), 0.0) + instrument.p_ambient_abs_pa
    p_regulated = np.interp(at_s, blocks.edge_s[: d + 1], drive.edge)
    settled = max(float(np.mean((blocks.p_regulated_pa - blocks.p_cylinder_pa)[record.settled])), 100.0)
    high = (p_regulated > 0.8 * np.max(drive.edge)) & (at_s < blocks.edge_s[d])
    p[high] = np.minimum(p[high], p_regulated[high] - 0.5 * settled)
    p_regulated[2 * d :] = p[2 * d :] + 0.02 * settled
    return np.stack([p, np.full(len(p), instrument.t_supply_k), p_regulated])


def _volume_guess_m3(record: Record, instrument: Instrument) -> float:
    """From the mass that went in until the cylinder had 80 % of its pressure, as if it had kept the temperature of the supply."""
    blocks, ambient, t_k = record.blocks, instrument.p_ambient_abs_pa, instrument.t_supply_k
    up, down = blocks.p_regulated_pa + ambient, np.maximum(blocks.p_cylinder_pa + ambient, 0.5 * ambient)
    stop = max(2, int(np.argmax(blocks.p_cylinder_pa[: blocks.driven] >= 0.8 * record.p_cylinder_gauge_pa)) + 1)
    inflow = instrument.restrictor.mass_flow_kg_s(np.maximum(up[:stop], 0.5 * ambient), down[:stop], t_k)
    leak = replace(instrument.restrictor, area_m2=max(record.leak_area_m2, 1e-12), critical_ratio=None)
    outflow = leak.mass_flow_kg_s(down[:stop], ambient, t_k)
    mass = float(np.sum((inflow - outflow) * blocks.width_s[:stop]))
    rise = float(blocks.p_cylinder_pa[stop - 1] - blocks.p_cylinder_pa[0])
    return float(np.clip(AIR_GAS_CONSTANT * t_k * mass / max(rise, 1e3), 5e-6, 5e-3))


def _converter_covariance(levels: Floats, instrument: Instrument, sigma_pa: float) -> Floats:
    """What the converter adds and no averaging takes away: its non-linearity, and its steps where the noise does not blur them."""
    step = instrument.resolution_pa
    blur = sigma_pa / step if step > 0.0 else np.inf
    steps = step**2 / 12.0 * np.exp(-4.0 * np.pi**2 * blur**2)
    apart = np.abs(levels[:, None] - levels[None, :])
    bend = instrument.converter_pa**2 / 3.0
    covariance = bend * np.exp(-apart / max(16.0 * step, 1.0)) if bend > 0.0 else np.zeros_like(apart)
    return np.asarray(covariance + (steps * np.exp(-apart / (0.5 * step)) if steps > 0.0 else 0.0))


def fit_record(record: Record, instrument: Instrument) -> Fitted:
    """Fit it. Raises CaptureUnusable when the equations cannot follow the data."""
    from scipy.linalg import cho_factor, cho_solve

    blocks, d = record.blocks, record.blocks.driven
    prior, sd = _priors(record, instrument)
    plant = Plant(instrument.restrictor, instrument.dead_volume_m3, record.p_cylinder_gauge_pa)
    unknowns = prior.copy()
    drive = drive_of(blocks, unknowns, instrument.range_pa)
    state = _first_course(record, drive, instrument)
    free = np.isinf(sd)
    precision = np.where(free, 0.0, 1.0 / np.where(free, 1.0, sd) ** 2)
    levels_r, levels_c = blocks.p_regulated_pa, blocks.p_cylinder_pa
    sigma_r, sigma_c = (float(np.sqrt(np.max(np.diag(c) * blocks.samples))) for c in (record.cov_regulated, record.cov_cylinder))
    converter_regulated = _converter_covariance(levels_r, instrument, sigma_r)
    converter_cylinder = _converter_covariance(levels_c, instrument, sigma_c)
    drift = _drift_covariance(blocks, record.zeroed_s, instrument)
    measured = np.concatenate([blocks.p_cylinder_pa, blocks.p_regulated_pa[d:]])
    step = np.zeros(len(Q))
    covariance = np.eye(len(Q))
    rounds = 0
    for rounds in range(1, ROUNDS + 1):
        drive = drive_of(blocks, unknowns, instrument.range_pa)
        course = follow(blocks, plant, unknowns, state, drive)
        expected, by = _readings(course, unknowns, instrument)
        residual = measured - expected
        through = np.concatenate([course.cylinder_by_drive, course.regulated_by_drive])
        noise = _through(through, record.cov_regulated, record.cov_cylinder)
        converter = _through(through, converter_regulated, converter_cylinder)
        zeros = _through(through, drift, drift)
        factor = cho_factor(noise + converter + zeros, lower=True, check_finite=False)
        weighted = cho_solve(factor, by, check_finite=False)
        hessian = by.T @ weighted + np.diag(precision)
        scale = 1.0 / np.sqrt(np.diag(hessian))
        covariance = np.linalg.inv(hessian * scale[:, None] * scale[None, :]) * scale[:, None] * scale[None, :]
        gradient = weighted.T @ residual - precision * (unknowns - prior)
        last, step = step, _bounded(covariance @ gradient, unknowns)
        # back and forth over a bend of the equations (flow that turns, or chokes): halfway is nearer
        share = 0.5 if float(step @ hessian @ last) < 0.0 else 1.0
        unknowns = unknowns + share * step
        state = state + share * (course.state - state + np.einsum("nsq,q->sn", course.state_by, step))
        state[0] = np.maximum(state[0], 0.3 * instrument.p_ambient_abs_pa)
        state[1] = np.clip(state[1], 150.0, 600.0)
        if not np.all(np.isfinite(unknowns)):
            raise CaptureUnusable(NOT_FOLLOWED)
        if np.max(np.abs(step) / np.sqrt(np.diag(covariance))) < 0.02 and course.defect_pa < 20.0:
            break
    else:
        raise CaptureUnusable(NOT_FOLLOWED)
    left = residual - by @ step
    chi2 = float(left @ cho_solve(factor, left, check_finite=False)) + float(np.sum(precision * (unknowns - prior) ** 2))
    gain = covariance @ weighted.T
    return Fitted(
        plant,
        unknowns,
        covariance,
        sd,
        gain @ noise @ gain.T,
        gain @ converter @ gain.T,
        gain @ zeros @ gain.T,
        chi2,
        len(measured) - int(free.sum()),
        rounds,
        left,
        np.sqrt(np.diag(noise + converter + zeros)),
    )


def _drift_covariance(blocks: Blocks, zeroed_s: float, instrument: Instrument) -> Floats:
    """Covariance of what a zero has drifted since it was read at vent.

    A smooth wander, normal with a covariance of Gaussian shape, of such a size that its change has the stated variance after
    zero_drift_s, goes with the square of the time before that and is hardly more later.
    """
    variance, length_s = 2.0 / 3.0 * instrument.u_zero_pa**2, instrument.zero_drift_s / np.sqrt(3.0)
    at = np.append(0.5 * (blocks.edge_s[:-1] + blocks.edge_s[1:]), zeroed_s)
    alike = variance * np.exp(-0.5 * ((at[:, None] - at[None, :]) / length_s) ** 2)
    return np.asarray(alike[:-1, :-1] - alike[:-1, -1:] - alike[-1:, :-1] + alike[-1, -1])


def _through(through: Floats, of_regulated: Floats, of_cylinder: Floats) -> Floats:
    """Covariance of the residuals: errors of the driving blocks through the equations, errors of the fitted blocks as they are.

    through: (m, d), how the fitted readings answer to the driving ones.
    """
    (m, d), n = through.shape, of_cylinder.shape[0]
    way = np.concatenate([-through, np.eye(m)[:, n:]], axis=1)
    covariance = way @ of_regulated @ way.T
    covariance[:n, :n] += of_cylinder
    return np.asarray(covariance)


def _readings(course: Course, unknowns: Floats, instrument: Instrument) -> tuple[Floats, Floats]:
    """What the transducers should read, block by block: the cylinder's, then the regulated one's while closed; and by the unknowns."""
    u = unknowns
    parts, derivatives = [], []
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
    share = float(np.max(np.abs(step) / longest))
    return step / max(share, 1.0)
