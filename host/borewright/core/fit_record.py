"""What of a capture is fitted: block means of fill, steady part and decay, with the covariance of their noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from borewright.core.autocorrelation import noise_of
from borewright.core.capture import CaptureResult, CaptureUnusable
from borewright.core.fit_blocks import Blocks, Grid, ar1_block_covariance, block_edges, make_blocks
from borewright.core.flow import Floats

__all__ = ["AROUND_SHUT_BY_HAND_S", "AROUND_SHUT_S", "Record", "record_of"]

AFTER_OPENING_S = 0.04  # valves travel and the vent may still be closing; the fit begins behind it with a free state
AROUND_SHUT_S = 0.03  # a solenoid valve travels, and so long before the vent is seen to open the decay is left alone
AROUND_SHUT_BY_HAND_S = 0.3  # a hand valve does, unseen: the last of its way hardly shows in the pressures
LEAST_CLOSED_S = 0.05
DEFAULT_GRID = Grid()
END_SHARE, END_PA = 0.03, 5_000.0  # below these the decay says more of the zero than of the leak


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


def record_of(
    t_s: Floats,
    p_regulated_pa: Floats,
    p_cylinder_pa: Floats,
    result: CaptureResult,
    around_shut_s: float = AROUND_SHUT_S,
    grid: Grid = DEFAULT_GRID,
) -> Record:
    """Blocks and noise of a capture whose phases are known. Pressures gauge, zeros of the vented baseline taken off.

    around_shut_s: for how long after the shut the supply valve may still be closing; until then p_regulated drives as measured.
    """
    phases = result.phases
    period = float(np.median(np.diff(t_s)))

    def samples(seconds: float) -> int:
        return max(1, round(seconds / period))

    start = phases.fill[0] + samples(AFTER_OPENING_S)
    shut = phases.steady[1]
    if shut - start < samples(0.5):
        raise CaptureUnusable("The air was on for too short a time for a fit; keep it on until the reading is steady.")
    parts = [block_edges(start, shut - samples(around_shut_s), period, grid)]
    driven_parts = 1
    if phases.isolated is not None:
        closed = phases.isolated[0] + samples(around_shut_s)
        end = phases.isolated[1] - samples(around_shut_s)
        width = max(samples(0.004), (closed - shut) // 20)
        low = max(END_PA, END_SHARE * result.p_cylinder_gauge_pa)
        smooth = _block_floor(p_cylinder_pa[closed:end], samples(0.02))
        under = np.flatnonzero(smooth < low)
        if under.size:
            end = min(end, closed + int(under[0]) * samples(0.02))
        if end - closed >= samples(LEAST_CLOSED_S):
            parts.append(np.append(np.arange(shut - samples(around_shut_s), closed - width // 2, width), closed))
            parts.append(block_edges(closed, end, period, grid))
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
