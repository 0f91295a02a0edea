"""Small tools for finding where a curve changes its course: running means, runs, corners, the misfit of every first part."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats

__all__ = ["find_corner", "prefix_misfit", "running_mean", "runs"]

Range = tuple[int, int]


def running_mean(values: Floats, width: int) -> Floats:
    """Centred mean over about `width` values, shorter at the ends."""
    half = width // 2
    sums = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(values.shape[0])
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, values.shape[0])
    return np.asarray((sums[high] - sums[low]) / (high - low))


def runs(mask: npt.NDArray[np.bool_], bridge: int) -> list[Range]:
    """Ranges in which the mask holds; gaps of up to `bridge` blocks are bridged."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    found: list[Range] = []
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if found and start - found[-1][1] <= bridge:
            found[-1] = (found[-1][0], stop)
        else:
            found.append((start, stop))
    return found


def find_corner(values: Floats, start: int, tilted: bool = False) -> int:
    """Where a level (or, tilted, a line) turns into a fall: the corner of the best pair of lines through the values."""
    n = len(values)
    if n < 5:
        return start + max(n - 1, 0)
    x = np.arange(n, dtype=np.float64)
    corners = np.arange(1 if tilted else 0, n - 1, dtype=np.float64)
    ramp = np.maximum(x[None, :] - corners[:, None], 0.0)
    rest = ramp - ramp.mean(axis=1, keepdims=True)
    if tilted:
        along = x - x.mean()
        rest -= (rest @ along / (along @ along))[:, None] * along[None, :]
    power = np.maximum((rest**2).sum(axis=1), 1e-12)
    slope = rest @ values / power
    best = np.argmax(np.where(slope < 0.0, slope**2 * power, -1.0))
    return start + int(corners[best])


def prefix_misfit(basis: Floats, y: Floats, weight: Floats) -> Floats:
    """misfit[i], shape (n + 1,): the weighted sum of squares that the best combination of the basis (k, n) leaves over y[:i]."""
    k, n = basis.shape
    scaled, target = basis * np.sqrt(weight), y * np.sqrt(weight)
    gram = np.zeros((n + 1, k, k))
    gram[1:] = np.cumsum(scaled.T[:, :, None] * scaled.T[:, None, :], axis=0)
    moment = np.zeros((n + 1, k))
    moment[1:] = np.cumsum(scaled.T * target[:, None], axis=0)
    power = np.concatenate([[0.0], np.cumsum(target**2)])
    ridge = 1e-9 * np.trace(gram[-1]) / n * np.eye(k)
    solved = np.linalg.solve(gram + ridge, moment[:, :, None])[:, :, 0]
    return np.asarray(np.maximum(power - np.sum(solved * moment, axis=1), 0.0))
