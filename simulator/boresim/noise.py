"""Seeded numbers by position: the same position gives the same number, in whatever batches they are asked for."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from math import sqrt
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

__all__ = ["PositionNoise", "ZeroWander", "seeded_normal", "seeded_unit"]

BLOCK = 4096
AR1_LEAD = 1024
"""Samples before a block at which its AR(1) begins: the neighbours of a seam then agree to φ^1024."""

KNOT_S = 10.0
_TABLE_BITS = 12
_NORMAL = NormalDist()


def seeded_unit(seed: int, what: str) -> float:
    """A number from 0 to under 1 that belongs to a seed and a purpose.

    >>> seeded_unit(7, "zero") == seeded_unit(7, "zero") != seeded_unit(7, "span")
    True
    """
    return int.from_bytes(sha256(f"{seed}:{what}".encode()).digest()[:7], "big") / 2.0**56


def seeded_normal(seed: int, what: str) -> float:
    """A number of the standard normal distribution that belongs to a seed and a purpose.

    >>> seeded_normal(7, "tie") == seeded_normal(7, "tie") != seeded_normal(8, "tie")
    True
    """
    return _NORMAL.inv_cdf(min(max(seeded_unit(seed, what), 2.0**-57), 1.0 - 2.0**-53))


class ZeroWander:
    """How a zero wanders, unit by unit: straight between seeded knots of unit variance, KNOT_S apart.

    Over all moments, its change from one to another has the variance 2·u² − u³ when they are u·KNOT_S apart, up to u = 1, and 4/3
    from u = 2 on: unit variance from a zeroing to a reading KNOT_S later, and little more however long it takes.
    """

    def __init__(self, seed: int, what: str) -> None:
        self._seed, self._what = seed, what

    def line(self, stretch: int) -> tuple[float, float]:
        """The line value = first + second · τ on one stretch, τ counted from the knot before it in units of KNOT_S."""
        before, after = (seeded_normal(self._seed, f"{self._what} {knot}") for knot in (stretch, stretch + 1))
        return before, after - before


@cache
def _quantiles() -> npt.NDArray[np.float64]:
    """Normal quantiles at even steps of probability, of such a size that the sum of two has unit variance."""
    count = 1 << _TABLE_BITS
    half = [_NORMAL.inv_cdf((count + number + 0.5) / (2.0 * count)) for number in range(count)]
    table = np.array([-value for value in reversed(half)] + half)
    return np.asarray(table / np.sqrt(2.0 * np.mean(table * table)))


class PositionNoise:
    """Normal noise of unit variance by sample position; AR(1) when ar1, the correlation of neighbours, is above 0.

    A counter-based mix of 64 bits looks up two entries of a table of normal quantiles; their sum over √2 is fine-grained and
    bounded by about ±5. The table comes from exact arithmetic on the platform's math library, not from numpy's vector functions.
    """

    def __init__(self, seed: int, what: str, ar1: float = 0.0) -> None:
        self._ar1 = ar1
        self._key = np.uint64(int.from_bytes(sha256(f"{seed}:{what}".encode()).digest()[:8], "big"))
        self._table = _quantiles()
        self._block = -1
        self._values = np.zeros(0)

    def at(self, position: int, count: int) -> npt.NDArray[np.float64]:
        """The noise of count samples from a position on, float64[count]."""
        parts = []
        while count > 0:
            block, offset = divmod(position, BLOCK)
            part = self._of_block(block)[offset : offset + count]
            parts.append(part)
            position += len(part)
            count -= len(part)
        return parts[0] if len(parts) == 1 else np.concatenate(parts or [np.zeros(0)])

    def _of_block(self, block: int) -> npt.NDArray[np.float64]:
        if block != self._block:
            first = block * BLOCK
            self._values = self._correlated(first) if self._ar1 else self._white(first, first + BLOCK)
            self._block = block
        return self._values

    def _white(self, start: int, stop: int) -> npt.NDArray[np.float64]:
        bits = np.arange(start, stop, dtype=np.int64).astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15) + self._key
        bits = (bits ^ (bits >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        bits = (bits ^ (bits >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        bits ^= bits >> np.uint64(31)
        mask = np.uint64((1 << (_TABLE_BITS + 1)) - 1)
        first, second = (bits >> np.uint64(8)) & mask, (bits >> np.uint64(40)) & mask
        return np.asarray(self._table[first.astype(np.intp)] + self._table[second.astype(np.intp)])

    def _correlated(self, start: int) -> npt.NDArray[np.float64]:
        white = self._white(start - AR1_LEAD, start + BLOCK).tolist()
        kept, new, value = self._ar1, sqrt(1.0 - self._ar1**2), white[0]
        values = []
        for number in white:
            value = kept * value + new * number
            values.append(value)
        return np.array(values[AR1_LEAD:])
