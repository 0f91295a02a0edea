"""Seeded numbers by position: the same position gives the same number, in whatever batches they are asked for."""

from __future__ import annotations

from hashlib import sha256
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

__all__ = ["PositionNoise", "seeded_unit"]

BLOCK = 4096
_TABLE_BITS = 12


def seeded_unit(seed: int, what: str) -> float:
    """A number from 0 to under 1 that belongs to a seed and a purpose.

    >>> seeded_unit(7, "zero") == seeded_unit(7, "zero") != seeded_unit(7, "span")
    True
    """
    return int.from_bytes(sha256(f"{seed}:{what}".encode()).digest()[:7], "big") / 2.0**56


class PositionNoise:
    """Normal noise of unit variance by sample position.

    A counter-based mix of 64 bits looks up two entries of a table of normal quantiles; their sum over √2 is fine-grained and
    bounded by about ±5. The table comes from exact arithmetic on the platform's math library, not from numpy's vector functions.
    """

    def __init__(self, seed: int, what: str) -> None:
        self._key = np.uint64(int.from_bytes(sha256(f"{seed}:{what}".encode()).digest()[:8], "big"))
        count = 1 << _TABLE_BITS
        normal = NormalDist()
        half = [normal.inv_cdf((count + number + 0.5) / (2.0 * count)) for number in range(count)]
        table = np.array([-value for value in reversed(half)] + half)
        self._table = table / np.sqrt(2.0 * np.mean(table * table))
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
            bits = np.arange(block * BLOCK, (block + 1) * BLOCK, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15) + self._key
            bits = (bits ^ (bits >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
            bits = (bits ^ (bits >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
            bits ^= bits >> np.uint64(31)
            mask = np.uint64((1 << (_TABLE_BITS + 1)) - 1)
            first, second = (bits >> np.uint64(8)) & mask, (bits >> np.uint64(40)) & mask
            self._values = self._table[first.astype(np.intp)] + self._table[second.astype(np.intp)]
            self._block = block
        return self._values
