"""The course of a capture: one linear system for the whole trajectory and all its sensitivities.

Radau IIA of two stages on the blocks: order 3, and what is stiff dies out at once, as the last difference between dead volume and
cylinder does. The course is the state at the first edge and then, for each block, at a third of it and at its end. All blocks are
linearised together about the last course, which needs not fulfil the equations yet; one banded LU gives the correction of the
course and how it answers to every unknown and to every measured block of p_regulated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from borewright.core.fit_blocks import Blocks
from borewright.core.fit_plant import PHYSICAL, Plant, Q, derivatives
from borewright.core.flow import Floats

__all__ = ["Course", "Drive", "drive_of", "follow"]

_WEIGHTS = ((5.0 / 12.0, -1.0 / 12.0), (0.75, 0.25))
_BELOW, _ABOVE = 8, 5


@dataclass(frozen=True, slots=True)
class Drive:
    """The absolute regulated pressure at the edges (d + 1) and in the mean (d) of the driven blocks.

    by_block: how the values at the edges follow from the blocks, (d + 1, d). by_unknown: how a block's true pressure answers to the
    unknowns, (d, len(Q)).
    """

    edge: Floats
    block: Floats
    by_block: Floats
    by_unknown: Floats


@dataclass(frozen=True, slots=True)
class Course:
    """The course that the linear system gives, (3, 2n + 1), and what the blocks should read.

    *_mean_pa: absolute block means of p_cylinder (n) and p_regulated of the closed blocks (c). state_by (2n + 1, 3, len(Q)),
    cylinder_by, regulated_by (..., len(Q)): their changes by the unknowns; cylinder_by_drive, regulated_by_drive (..., d): by the
    driven blocks of p_regulated. defect_pa: how far p_cylinder of the last course was from this one.
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
    gauge = (measured - 4.0 * x * (1.0 - x) * unknowns[Q.BOW]) / (1.0 + unknowns[Q.GAIN])
    by = np.zeros((d, len(Q)))
    by[:, Q.BOW], by[:, Q.GAIN], by[:, Q.P_AMBIENT] = -4.0 * x * (1.0 - x), -gauge, 1.0
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


def follow(blocks: Blocks, plant: Plant, unknowns: Floats, course: Floats, drive: Drive) -> Course:
    """One step from `course`, (3, 2n + 1), towards the one that fulfils the equations."""
    from scipy.linalg import solve_banded  # noqa: PLC0415 -- heavy

    h, d = blocks.width_s, blocks.driven
    n, q = len(h), len(Q)
    physical = len(PHYSICAL)
    rate, by_state, by_unknown = derivatives(plant, course[:, 1:], unknowns)
    start, third, end = course[:, 0:-1:2], course[:, 1::2], course[:, 2::2]
    unit = np.eye(3)[:, :, None]
    # two equations for each interval: what the state at one third and at the end has to be
    defect = np.empty((2, 3, n))
    to_third, to_end = np.empty((2, 3, 3, n)), np.empty((2, 3, 3, n))
    to_unknown = np.zeros((2, 3, q, n))
    for equation, (of_third, of_end) in enumerate(_WEIGHTS):
        reached = third if equation == 0 else end
        defect[equation] = reached - start - h * (of_third * rate[:, 0::2] + of_end * rate[:, 1::2])
        to_third[equation] = (unit if equation == 0 else 0.0) - h * of_third * by_state[:, :, 0::2]
        to_end[equation] = (unit if equation == 1 else 0.0) - h * of_end * by_state[:, :, 1::2]
        to_unknown[equation, :, :physical] = -h * (of_third * by_unknown[:, :, 0::2] + of_end * by_unknown[:, :, 1::2])
    to_start = np.broadcast_to(-unit, (2, 3, 3, n)).copy()
    # while driven, p_regulated is the drive's: at the end of an interval, and such that the mean over it is the block's own
    to_start[:, 2, :, :d] = to_third[:, 2, :, :d] = to_end[:, 2, :, :d] = 0.0
    to_unknown[:, 2, :, :d] = 0.0
    to_third[0, 2, 2, :d] = to_end[1, 2, 2, :d] = 1.0
    to_end[0, 2, 2, :d] = 1.0 / 3.0
    defect[0, 2, :d] = third[2, :d] + end[2, :d] / 3.0 - drive.block * 4.0 / 3.0
    to_unknown[0, 2, :, :d] = -4.0 / 3.0 * drive.by_unknown.T
    edge_by_unknown = drive.by_block @ drive.by_unknown
    defect[1, 2, :d] = end[2, :d] - np.append(drive.edge[1:d], unknowns[Q.P_SHUT])
    to_unknown[1, 2, :, : d - 1] = -edge_by_unknown[1:d].T
    to_unknown[1, 2, Q.P_SHUT, d - 1] = -1.0

    size = 6 * n + 3
    band = np.zeros((_BELOW + 1 + _ABOVE, size))  # entry (i, j) of the system stands at (_ABOVE + i − j, j)
    band[_ABOVE, :3] = 1.0
    first = 6 * np.arange(n)
    for equation in range(2):
        for i in range(3):
            row = first + 3 + 3 * equation + i
            for offset, part in ((0, to_start), (3, to_third), (6, to_end)):
                for j in range(3):
                    column = first + offset + j
                    band[_ABOVE + row - column, column] = part[equation, i, j]
    right_side = np.zeros((size, 1 + q + d))
    right_side[:3, 0] = unknowns[Q.P_START] - course[0, 0], unknowns[Q.T_START] - course[1, 0], drive.edge[0] - course[2, 0]
    right_side[0, 1 + Q.P_START] = right_side[1, 1 + Q.T_START] = 1.0
    right_side[2, 1 : 1 + q] = edge_by_unknown[0]
    right_side[2, 1 + q :] = drive.by_block[0]
    inner = right_side[3:].reshape(n, 2, 3, -1)
    inner[:, :, :, 0] = -defect.transpose(2, 0, 1)
    inner[:, :, :, 1 : 1 + q] = -to_unknown.transpose(3, 0, 1, 2)
    own = np.arange(d)
    inner[own, 0, 2, 1 + q + own] = 4.0 / 3.0
    inner[: d - 1, 1, 2, 1 + q :] = drive.by_block[1:d]
    solved = solve_banded((_BELOW, _ABOVE), band, right_side, overwrite_ab=True, overwrite_b=True, check_finite=False)
    change = solved.reshape(2 * n + 1, 3, -1)

    moved = course + change[:, :, 0].T
    mean = 0.75 * moved[:, 1::2] + 0.25 * moved[:, 2::2]
    mean_by = 0.75 * change[1::2, :, 1:] + 0.25 * change[2::2, :, 1:]
    return Course(
        state=moved,
        cylinder_mean_pa=mean[0],
        regulated_mean_pa=mean[2, d:],
        state_by=change[:, :, 1 : 1 + q],
        cylinder_by=mean_by[:, 0, :q],
        regulated_by=mean_by[d:, 2, :q],
        cylinder_by_drive=mean_by[:, 0, q:],
        regulated_by_drive=mean_by[d:, 2, q:],
        defect_pa=float(np.max(np.abs(change[:, 0, 0]))),
    )
