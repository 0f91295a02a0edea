"""The course of a capture: one linear system for the whole trajectory and all its sensitivities.

Hermite–Simpson collocation on the blocks' edges: between two edges the state is a cubic, and the equations hold in the mean by
Simpson's rule. All intervals are linearised together about the last course, which needs not fulfil the equations yet; one banded
LU gives the correction of the course and how it answers to every unknown and to every measured block of p_regulated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from borewright.core.fit_blocks import Blocks
from borewright.core.fit_plant import PHYSICAL, Plant, Q, derivatives
from borewright.core.flow import Floats

__all__ = ["Course", "Drive", "drive_of", "follow"]


@dataclass(frozen=True, slots=True)
class Drive:
    """The absolute regulated pressure at the edges (d + 1) and in the middle (d) of the driven blocks.

    by_block: how the values at the edges follow from the blocks, (d + 1, d). by_unknown: how a block's true pressure answers to the
    unknowns, (d, len(Q)).
    """

    edge: Floats
    block: Floats
    by_block: Floats
    by_unknown: Floats


@dataclass(frozen=True, slots=True)
class Course:
    """The course that the linear system gives: state at the edges (3, n + 1) and what the blocks should read.

    *_mean_pa: absolute block means of p_cylinder (n) and p_regulated of the closed blocks (c). state_by, cylinder_by, regulated_by:
    their changes by the unknowns, (..., len(Q)), and cylinder_by_drive, regulated_by_drive by the driven blocks of p_regulated
    (..., d). defect_pa: how far the last course was from fulfilling the equations.
    """

    state: Floats
    cylinder_mean_pa: Floats
    regulated_mean_pa: Floats
    state_by: Floats
    cylinder_by: Floats
    regulated_by: Floats
    cylinder_by_drive: Floats
    regulated_by_drive: Floats
    defect_pa: float


def drive_of(blocks: Blocks, unknowns: Floats, range_pa: float) -> Drive:
    """The true regulated pressure while the supply is open: what was measured, less the errors that the unknowns state."""
    d = blocks.driven
    measured = blocks.p_regulated_pa[:d]
    x = measured / range_pa
    gauge = (measured - unknowns[Q.ZERO_REGULATED] - 4.0 * x * (1.0 - x) * unknowns[Q.BOW]) / (1.0 + unknowns[Q.GAIN])
    by = np.zeros((d, len(Q)))
    by[:, Q.ZERO_REGULATED], by[:, Q.BOW] = -1.0, -4.0 * x * (1.0 - x)
    by[:, Q.GAIN], by[:, Q.P_AMBIENT] = -gauge, 1.0
    width = blocks.width_s[:d]
    to_edge = np.zeros((d + 1, d))
    inner = np.arange(1, d)
    share = width[:-1] / (width[:-1] + width[1:])  # the value at an edge lies nearer to that of the shorter block
    to_edge[inner, inner - 1], to_edge[inner, inner] = 1.0 - share, share
    for end, near, next_ in ((0, 0, 1), (d, d - 1, d - 2)):
        reach = width[near] / (width[near] + width[next_])
        to_edge[end, near], to_edge[end, next_] = 1.0 + reach, -reach
    block = gauge + unknowns[Q.P_AMBIENT]
    return Drive(to_edge @ block, block, to_edge, by)


def follow(blocks: Blocks, plant: Plant, unknowns: Floats, state: Floats, drive: Drive) -> Course:
    """One step from the course `state`, (3, n + 1), towards the one that fulfils the equations."""
    from scipy.linalg import solve_banded

    h, d = blocks.width_s, blocks.driven
    n, q = len(h), len(Q)
    physical = len(PHYSICAL)
    edge_rate, edge_by, edge_by_q = derivatives(plant, state, unknowns)
    left, right = state[:, :-1], state[:, 1:]
    middle = 0.5 * (left + right) + h / 8.0 * (edge_rate[:, :-1] - edge_rate[:, 1:])
    # d middle / d left, right: (3, 3, n); by the unknowns (3, q, n)
    unit = np.eye(3)[:, :, None]
    middle_by_left = 0.5 * unit + h / 8.0 * edge_by[:, :, :-1]
    middle_by_right = 0.5 * unit - h / 8.0 * edge_by[:, :, 1:]
    middle_by_q = np.zeros((3, q, n))
    middle_by_q[:, :physical] = h / 8.0 * (edge_by_q[:, :, :-1] - edge_by_q[:, :, 1:])
    # while driven, the middle of p_regulated is what makes Simpson's mean of the block the block's own
    middle[2, :d] = 1.5 * drive.block - 0.25 * (left[2, :d] + right[2, :d])
    middle_by_left[2, :, :d] = middle_by_right[2, :, :d] = 0.0
    middle_by_left[2, 2, :d] = middle_by_right[2, 2, :d] = -0.25
    middle_by_q[2, :, :d] = 1.5 * drive.by_unknown.T

    rate, by, by_q = derivatives(plant, middle, unknowns)
    by_middle = by.copy()
    to_left = -unit - h / 6.0 * (edge_by[:, :, :-1] + 4.0 * np.einsum("ijn,jkn->ikn", by_middle, middle_by_left))
    to_right = unit - h / 6.0 * (edge_by[:, :, 1:] + 4.0 * np.einsum("ijn,jkn->ikn", by_middle, middle_by_right))
    to_q = -h / 6.0 * 4.0 * np.einsum("ijn,jkn->ikn", by_middle, middle_by_q)
    to_q[:, :physical] -= h / 6.0 * (edge_by_q[:, :, :-1] + 4.0 * by_q + edge_by_q[:, :, 1:])
    defect = right - left - h / 6.0 * (edge_rate[:, :-1] + 4.0 * rate + edge_rate[:, 1:])
    to_drive = -h / 6.0 * 4.0 * by_middle[:, 2] * 1.5  # (3, n), by the block's own p_regulated while driven
    # while driven, p_regulated at the right edge is the drive's; at the last driven edge it is where the closed body begins
    to_left[2, :, :d] = to_right[2, :, :d] = 0.0
    to_right[2, 2, :d] = 1.0
    to_q[2, :, :d], to_drive[2] = 0.0, 0.0
    edge_by_unknown = drive.by_block @ drive.by_unknown
    defect[2, : d - 1] = right[2, : d - 1] - drive.edge[1:d]
    to_q[2, :, : d - 1] = -edge_by_unknown[1:d].T
    defect[2, d - 1] = right[2, d - 1] - unknowns[Q.P_SHUT]
    to_q[2, Q.P_SHUT, d - 1] = -1.0

    size = 3 * (n + 1)
    band = np.zeros((8, size))  # five below, two above the diagonal; entry (i, j) stands at (2 + i − j, j)
    band[2, :3] = 1.0
    rows = 3 * np.arange(1, n + 1)
    for i in range(3):
        for j in range(3):
            band[2 + 3 + i - j, rows - 3 + j] = to_left[i, j]
            band[2 + i - j, rows + j] = to_right[i, j]
    right_side = np.zeros((n + 1, 3, 1 + q + d))
    right_side[0, 0, 0], right_side[0, 0, 1 + Q.P_START] = unknowns[Q.P_START] - state[0, 0], 1.0
    right_side[0, 1, 0], right_side[0, 1, 1 + Q.T_START] = unknowns[Q.T_START] - state[1, 0], 1.0
    right_side[0, 2, 0] = drive.edge[0] - state[2, 0]
    right_side[0, 2, 1 : 1 + q] = edge_by_unknown[0]
    right_side[0, 2, 1 + q :] = drive.by_block[0]
    right_side[1:, :, 0] = -defect.T
    right_side[1:, :, 1 : 1 + q] = -to_q.transpose(2, 0, 1)
    own = np.arange(d)
    right_side[1 + own, :2, 1 + q + own] -= to_drive[:2, :d].T
    right_side[1:d, 2, 1 + q :] += drive.by_block[1:d]
    solved = solve_banded((5, 2), band, right_side.reshape(size, -1), overwrite_ab=True, overwrite_b=True, check_finite=False)
    solved = solved.reshape(n + 1, 3, -1)

    moved = state + solved[:, :, 0].T
    change = solved[:, :, 0].T
    middle_moved = middle + np.einsum("ijn,jn->in", middle_by_left, change[:, :-1])
    middle_moved += np.einsum("ijn,jn->in", middle_by_right, change[:, 1:])
    by_all = solved[:, :, 1:]
    middle_all = np.einsum("ijn,njm->nim", middle_by_left, by_all[:-1]) + np.einsum("ijn,njm->nim", middle_by_right, by_all[1:])
    middle_all[:, :, :q] += middle_by_q.transpose(2, 0, 1)
    middle_all[own, 2, q + own] += 1.5
    mean = (moved[:, :-1] + 4.0 * middle_moved + moved[:, 1:]) / 6.0
    mean_by = (by_all[:-1] + 4.0 * middle_all + by_all[1:]) / 6.0
    return Course(
        state=moved,
        cylinder_mean_pa=mean[0],
        regulated_mean_pa=mean[2, d:],
        state_by=by_all[:, :, :q],
        cylinder_by=mean_by[:, 0, :q],
        regulated_by=mean_by[d:, 2, :q],
        cylinder_by_drive=mean_by[:, 0, q:],
        regulated_by_drive=mean_by[d:, 2, q:],
        defect_pa=float(np.max(np.abs(solved[:, 0, 0]))),
    )
