"""Least squares of what cannot be negative."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["not_negative"]


def not_negative(rows: npt.NDArray[np.float64], values: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], float]:
    """The x of which none is negative that brings rows[m, n] · x nearest to values[m], and how far off it stays.

    Lawson and Hanson's way, by scipy. Raises RuntimeError where it does not come to an end.

    >>> x, off = not_negative(np.array([[1.0, 0.0], [1.0, 1.0]]), np.array([2.0, 1.0]))
    >>> x.round(6).tolist(), round(off, 3)
    ([1.5, 0.0], 0.707)
    """
    from scipy.optimize import nnls  # noqa: PLC0415 -- heavy: over a second to load

    solution, rest = nnls(rows, values)
    return np.asarray(solution, dtype=np.float64), float(rest)
