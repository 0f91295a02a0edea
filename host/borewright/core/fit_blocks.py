"""The samples of a capture as block means on a grid that widens with time, with the covariance of their noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats

__all__ = ["Blocks", "Grid", "ar1_block_covariance", "block_edges", "make_blocks"]


@dataclass(frozen=True, slots=True)
class Grid:
    """How wide blocks are: the first, the widest, and by what factor each is wider than the one before."""

    first_s: float = 0.004
    widest_s: float = 0.25
    widens_by: float = 1.13


@dataclass(frozen=True, slots=True)
class Blocks:
    """Consecutive blocks of samples. The first `driven` of them end while the supply valve may still be open.

    edges: sample numbers, shape (n + 1,); edge_s: their times. p_regulated_pa, p_cylinder_pa: block means, shape (n,), zeros of the
    vented baseline taken off.
    """

    edges: npt.NDArray[np.intp]
    edge_s: Floats
    p_regulated_pa: Floats
    p_cylinder_pa: Floats
    driven: int

    @property
    def width_s(self) -> Floats:
        """Length of each block in s."""
        return np.diff(self.edge_s)

    @property
    def samples(self) -> npt.NDArray[np.intp]:
        """Number of samples in each block."""
        return np.diff(self.edges)


def block_edges(start: int, stop: int, period_s: float, grid: Grid) -> npt.NDArray[np.intp]:
    """Edges of blocks over the samples start to stop: narrow where things begin, up to a quarter of a second later on.

    >>> block_edges(0, 60, 0.001, Grid()).tolist()
    [0, 4, 9, 14, 20, 27, 34, 42, 51, 60]
    """
    edges = [start]
    width_s = grid.first_s
    while edges[-1] < stop:
        edges.append(edges[-1] + max(1, round(width_s / period_s)))
        width_s = min(width_s * grid.widens_by, grid.widest_s)
    if len(edges) > 2 and stop - edges[-2] < 0.6 * (edges[-1] - edges[-2]):
        edges.pop()
    edges[-1] = stop
    return np.array(edges, dtype=np.intp)


def make_blocks(
    t_s: Floats, p_regulated_pa: Floats, p_cylinder_pa: Floats, parts: list[npt.NDArray[np.intp]], driven_parts: int
) -> Blocks:
    """Block means over the joined edges of the parts, each beginning where the one before ends."""
    edges = np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
    period = float(t_s[edges[-1] - 1] - t_s[edges[0]]) / max(int(edges[-1] - edges[0]) - 1, 1)
    edge_s = np.append(t_s[edges[:-1]], t_s[edges[-1] - 1] + period) - 0.5 * period
    counts = np.diff(edges)

    def means(values: Floats) -> Floats:
        sums: Floats = np.add.reduceat(values[: edges[-1]], edges[:-1])
        return sums / counts

    driven = sum(len(part) - 1 for part in parts[:driven_parts])
    return Blocks(edges, edge_s, means(p_regulated_pa), means(p_cylinder_pa), driven)


def ar1_block_covariance(edges: npt.NDArray[np.intp], sigma: float, phi: float) -> Floats:
    """Covariance of the means of consecutive blocks of noise with standard deviation sigma and correlation phi to the next sample.

    edges: shape (n + 1,), sample numbers. phi from 0 (white) to under 1. Exact sums of φ^|i − j|.

    >>> ar1_block_covariance(np.array([0, 1, 3]), 2.0, 0.5).round(6).tolist()
    [[4.0, 1.5], [1.5, 3.0]]
    """
    n = np.diff(edges).astype(np.float64)
    if phi <= 0.0:
        return np.diag(sigma**2 / n)
    sums = (1.0 - phi**n) / (1.0 - phi)
    inside = (n * (1.0 + phi) - 2.0 * phi * sums) / (1.0 - phi)
    gap = np.maximum(edges[None, :-1] - edges[1:, None] + 1.0, 1.0)
    later = phi**gap * sums[:, None] * sums[None, :]
    whole = np.triu(later, 1)
    whole = whole + whole.T + np.diag(inside)
    return np.asarray(sigma**2 * whole / (n[:, None] * n[None, :]))
