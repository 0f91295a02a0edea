"""The encoder's wires: from where the crank was at some moments to the edges of A, B and index in between."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import floor

import numpy as np
import numpy.typing as npt

from avr_rig.child import Pin, PinEvent

__all__ = ["Encoder", "levels"]

# A leads B while the count rises
_LEVELS = np.array(((0, 1, 1, 0), (0, 0, 1, 1)))

INDEX_FROM = 0.125
INDEX_TO = 0.875
"""Where in its count the index pulse begins and ends: it is gated by A and B and follows them, from either side."""


def levels(count: int) -> tuple[int, int]:
    """A and B at a count.

    >>> [levels(count) for count in range(4)], levels(-1)
    ([(0, 0), (1, 0), (1, 1), (0, 1)], (0, 1))
    """
    return int(_LEVELS[0, count & 3]), int(_LEVELS[1, count & 3])


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
        found = [*self._of_quadrature(way), *self._of_index(way, INDEX_FROM), *self._of_index(way, INDEX_TO)]
        found.sort(key=lambda edge: edge[0])
        last = every_cycles * len(places) - 1
        return [PinEvent(min(int(at * every_cycles), last), pin, level) for at, pin, level in found]

    @staticmethod
    def _of_quadrature(way: npt.NDArray[np.float64]) -> Iterable[tuple[float, int, int]]:
        """The edges of A and B: when, in parts of the way, on which wire, its level."""
        counts = np.floor(way).astype(np.int64)
        counted = np.diff(counts)
        at = np.flatnonzero(counted)
        if not len(at):
            return ()
        edges = np.abs(counted[at])
        at = np.repeat(at, edges)
        number = np.arange(len(at)) - np.repeat(np.cumsum(edges) - edges, edges)
        up = counted[at] > 0
        # the border under the count that is entered going up, or left going down
        border = counts[at] + np.where(up, number + 1, -number)
        when = at + (border - way[at]) / (way[at + 1] - way[at])
        wire = border & 1 ^ 1  # 0 to 1 and 2 to 3 are edges of A
        level = _LEVELS[wire, np.where(up, border, border - 1) & 3]
        return zip(when.tolist(), wire.tolist(), level.tolist(), strict=True)

    def _of_index(self, way: npt.NDArray[np.float64], border: float) -> list[tuple[float, int, int]]:
        """The same where the pulse begins, or where it ends."""
        origin = self._index_count + border
        turns = np.floor((way - origin) / self._counts_per_rev)
        found = []
        for at in np.flatnonzero(np.diff(turns)).tolist():
            start, end, first, last = float(way[at]), float(way[at + 1]), int(turns[at]), int(turns[at + 1])
            for turn in range(first + 1, last + 1) if last > first else range(first, last, -1):
                place = origin + turn * self._counts_per_rev
                entered = (last > first) == (border == INDEX_FROM)
                found.append((at + (place - start) / (end - start), int(Pin.INDEX), int(entered)))
        return found
