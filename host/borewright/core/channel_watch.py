"""What the raw words of the two pressure channels have done in the last seconds: a running summary, without keeping the samples."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from borewright.core.samples import SampleColumns

__all__ = ["ChannelLook", "ChannelWatch"]

KEPT_S = 1.0


@dataclass(frozen=True, slots=True)
class ChannelLook:
    """One channel over a time: number of samples, mean and standard deviation of its raw words, the lowest and the highest."""

    samples: int
    mean: float
    deviation: float
    lowest: int
    highest: int


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Some consecutive samples."""

    first_s: float
    last_s: float
    samples: int
    sums: tuple[float, float]
    squares: tuple[float, float]
    lowest: tuple[int, int]
    highest: tuple[int, int]
    low_count: int
    high_count: int


@dataclass(frozen=True, slots=True)
class ChannelWatch:
    """The last second of both channels, regulated first, and of the crank. Immutable: `add` gives the next one.

    >>> n = np.arange(1200)
    >>> raw = np.stack([410 + n % 3, np.full(1200, 410)]).astype(np.uint16)
    >>> watch = ChannelWatch((0, 1)).add(SampleColumns(n * 1000, n, n * 0, raw, np.zeros(1200, np.uint16), 1_000_000))
    >>> [round(look.deviation, 2) for look in watch.looks], watch.span_s, watch.crank_moved_count
    ([0.82, 0.0], 1.199, 0)
    """

    channels: tuple[int, int]
    stretches: tuple[_Stretch, ...] = ()

    def add(self, columns: SampleColumns) -> ChannelWatch:
        """The watch after these samples (any number, also none)."""
        if len(columns) == 0:
            return self
        new = _stretch(columns, self.channels)
        oldest_s = new.last_s - KEPT_S
        kept = tuple(old for old in self.stretches if old.last_s >= oldest_s)
        return replace(self, stretches=(*kept, new))

    @property
    def span_s(self) -> float:
        """From the first sample that is summed up to the last."""
        return self.stretches[-1].last_s - self.stretches[0].first_s if self.stretches else 0.0

    @property
    def crank_moved_count(self) -> int:
        """Counts between the lowest and the highest place of the crank in that time."""
        if not self.stretches:
            return 0
        return max(one.high_count for one in self.stretches) - min(one.low_count for one in self.stretches)

    @property
    def looks(self) -> tuple[ChannelLook, ChannelLook]:
        """Both channels over the last second or a little more. Raises ValueError while nothing has been seen."""
        if not self.stretches:
            raise ValueError("no samples have been seen yet")
        return self._look(0), self._look(1)

    def _look(self, which: int) -> ChannelLook:
        samples = sum(one.samples for one in self.stretches)
        mean = sum(one.sums[which] for one in self.stretches) / samples
        square = sum(one.squares[which] for one in self.stretches) / samples
        return ChannelLook(
            samples,
            mean,
            sqrt(max(0.0, square - mean * mean)),
            min(one.lowest[which] for one in self.stretches),
            max(one.highest[which] for one in self.stretches),
        )


def _stretch(columns: SampleColumns, channels: tuple[int, int]) -> _Stretch:
    raw = columns.raw[list(channels)]
    words = raw.astype(np.float64)
    low, high = raw.min(axis=1).tolist(), raw.max(axis=1).tolist()
    sums, squares = words.sum(axis=1).tolist(), np.einsum("ij,ij->i", words, words).tolist()
    counts = columns.crank_count
    return _Stretch(
        float(columns.tick[0]) / columns.tick_rate_hz,
        float(columns.tick[-1]) / columns.tick_rate_hz,
        len(columns),
        (sums[0], sums[1]),
        (squares[0], squares[1]),
        (low[0], low[1]),
        (high[0], high[1]),
        int(counts.min()),
        int(counts.max()),
    )
