"""The encoder's wires: from where the crank was at some moments to the edges of A, B and index in between."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor

import numpy as np
import numpy.typing as npt

from avr_rig.child import Pin, PinEvent

__all__ = ["Encoder", "levels"]

# A leads B while the count rises
_A = (0, 1, 1, 0)
_B = (0, 0, 1, 1)

INDEX_FROM = 0.125
INDEX_TO = 0.875
"""Where in its count the index pulse begins and ends: it is gated by A and B and follows them, from either side."""


def levels(count: int) -> tuple[int, int]:
    """A and B at a count.

    >>> [levels(count) for count in range(4)], levels(-1)
    ([(0, 0), (1, 0), (1, 1), (0, 1)], (0, 1))
    """
    return _A[count & 3], _B[count & 3]


class Encoder:
    """An encoder of counts_per_rev whose index pulse lies in the count index_count and a whole number of turns away from it.

    place is where the crank was last. Places are in counts, unwrapped, with their fraction: between two whole ones lies one count.
    Between two moments the crank is taken to turn evenly.

    >>> encoder = Encoder(4096, 2, place=0.5)
    >>> [tuple(event) for event in encoder.edges([0.5, 2.0625], 4000)]
    [(5280, 0, 1), (7840, 1, 1)]
    >>> [tuple(event) for event in encoder.edges([2.5625], 4000)]
    [(500, 2, 1)]
    """

    def __init__(self, counts_per_rev: int, index_count: int, place: float) -> None:
        self._counts_per_rev = counts_per_rev
        self._index_count = index_count
        self.place = place

    def standing(self) -> list[PinEvent]:
        """The levels of all three wires where the crank was last, as changes at once."""
        a, b = levels(floor(self.place))
        offset = (self.place - self._index_count) % self._counts_per_rev
        return [
            PinEvent(0, Pin.ENCODER_A, a),
            PinEvent(0, Pin.ENCODER_B, b),
            PinEvent(0, Pin.INDEX, int(INDEX_FROM <= offset < INDEX_TO)),
        ]

    def edges(self, places: Sequence[float] | npt.NDArray[np.float64], every_cycles: int) -> list[PinEvent]:
        """All edges on the way from where the crank was last to these places, which it reaches every_cycles after one another.

        Offsets are counted from the place where it was last.
        """
        way = np.concatenate(([self.place], places))
        self.place = float(way[-1])
        found: list[tuple[float, int, int]] = []
        for at in np.flatnonzero(np.diff(way)).tolist():
            start, end = float(way[at]), float(way[at + 1])
            found += ((at + part, pin, level) for part, pin, level in self._between(start, end))
        last = every_cycles * len(places) - 1
        return [PinEvent(min(int(part * every_cycles), last), pin, level) for part, pin, level in found]

    def _between(self, start: float, end: float) -> list[tuple[float, int, int]]:
        """The edges on an even way: part of the way, wire, level; in their order."""
        found = [
            *self._of_quadrature(start, end),
            *self._of_index(start, end, INDEX_FROM, rising=end > start),
            *self._of_index(start, end, INDEX_TO, rising=end < start),
        ]
        found.sort(key=lambda edge: edge[0])
        return found

    @staticmethod
    def _of_quadrature(start: float, end: float) -> list[tuple[float, int, int]]:
        first, last = floor(start), floor(end)
        up = last > first
        found = []
        # the border under the count that is entered going up, or left going down
        for border in range(first + 1, last + 1) if up else range(first, last, -1):
            before, after = levels(border - 1 if up else border), levels(border if up else border - 1)
            wire = Pin.ENCODER_A if before[0] != after[0] else Pin.ENCODER_B
            found.append(((border - start) / (end - start), int(wire), after[wire]))
        return found

    def _of_index(self, start: float, end: float, border: float, *, rising: bool) -> list[tuple[float, int, int]]:
        per_rev, origin = self._counts_per_rev, self._index_count + border
        low, high = (start, end) if end > start else (end, start)
        # as with the counts: a border belongs to what lies above it
        turns = range(ceil((low - origin) / per_rev), ceil((high - origin) / per_rev) + 1)
        crossed = [origin + turn * per_rev for turn in turns if low < origin + turn * per_rev <= high]
        return [((place - start) / (end - start), int(Pin.INDEX), int(rising)) for place in crossed]
