"""The two pressures for drawing: their lowest and highest in each bin of time, kept as samples arrive.

What a screen draws is then as much work at 10 kHz as at 1 kHz, and as much after hours as after ten minutes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.samples import SampleColumns
from borewright.service.state import BenchState

__all__ = ["Trace", "TraceView"]

FINE_PER_S = 20
FINE_S = 1.0 / FINE_PER_S
FINE_BINS = 1200  # 60 s
JOINED = 10  # fine bins in one of the older ones
OLD_BINS = 1080  # the 540 s before
MISSING_FINE_BINS = 4  # without a sample; so long no stream that a rig gives leaves out by itself

Bins = npt.NDArray[np.int64]
Envelope = npt.NDArray[np.float32]  # [4, n]: regulated low and high, cylinder low and high


@dataclass(frozen=True, slots=True, eq=False)
class TraceView:
    """The lowest and highest pressure in each bin of device time, oldest first; all arrays as long as each other, read-only.

    t_s: middles of the bins. A bin of NaN pressures stands where samples are missing. newest_s: device time of the newest sample,
    0 before the first. The last 60 s are in bins of 50 ms, what is older in bins of 0.5 s, up to 600 s.
    """

    t_s: npt.NDArray[np.float64]
    regulated_low_pa: npt.NDArray[np.float32]
    regulated_high_pa: npt.NDArray[np.float32]
    cylinder_low_pa: npt.NDArray[np.float32]
    cylinder_high_pa: npt.NDArray[np.float32]
    newest_s: float

    def span(self, seconds: float) -> TraceView:
        """The last so many seconds, without copying."""
        part = slice(int(np.searchsorted(self.t_s, self.newest_s - seconds)), None)
        return TraceView(
            self.t_s[part],
            self.regulated_low_pa[part],
            self.regulated_high_pa[part],
            self.cylinder_low_pa[part],
            self.cylinder_high_pa[part],
            self.newest_s,
        )


class _Row:
    """Bins of one length, the newest `most` of them, in arrays that are filled up and then moved to their beginning."""

    def __init__(self, most: int, missing: int) -> None:
        self._most = most
        self._missing = missing
        self._bins: Bins = np.zeros(2 * most + 2 * JOINED, np.int64)
        self._envelope: Envelope = np.zeros((4, len(self._bins)), np.float32)
        self._begin = self._end = 0

    def __len__(self) -> int:
        return self._end - self._begin

    @property
    def bins(self) -> Bins:
        return self._bins[self._begin : self._end]

    @property
    def envelope(self) -> Envelope:
        return self._envelope[:, self._begin : self._end]

    @property
    def over(self) -> int:
        """How many bins there are more than are to be kept."""
        return max(0, len(self) - self._most)

    def clear(self) -> None:
        self._begin = self._end = 0

    def drop(self, count: int) -> None:
        """Leave out the oldest."""
        self._begin += count

    def add(self, bins: Bins, envelope: Envelope) -> None:
        """Bins in order, of which the first may be the newest that is there."""
        if len(self) and bins[0] == self._bins[self._end - 1]:
            newest = self._envelope[:, self._end - 1]
            newest[0::2] = np.fmin(newest[0::2], envelope[0::2, 0])
            newest[1::2] = np.fmax(newest[1::2], envelope[1::2, 0])
            bins, envelope = bins[1:], envelope[:, 1:]
        elif len(self) and bins[0] - self._bins[self._end - 1] > self._missing:
            self._append(self._bins[self._end - 1 : self._end] + 1, np.full((4, 1), np.nan, np.float32))
        for start in range(0, len(bins), self._most):  # after a pause of the computer there can be more than there is room for
            part = slice(start, start + self._most)
            self._append(bins[part], envelope[:, part])

    def _append(self, bins: Bins, envelope: Envelope) -> None:
        if self._end + len(bins) > len(self._bins):
            kept = slice(max(self._begin, self._end - self._most), self._end)
            count = kept.stop - kept.start
            self._bins[:count] = self._bins[kept]
            self._envelope[:, :count] = self._envelope[:, kept]
            self._begin, self._end = 0, count
        self._bins[self._end : self._end + len(bins)] = bins
        self._envelope[:, self._end : self._end + len(bins)] = envelope
        self._end += len(bins)


class Trace:
    """The envelope in the making. Lives in the thread that reads; only its views go elsewhere.

    >>> trace = Trace()
    >>> trace.add(np.arange(100) / 1000.0, np.arange(100.0), np.zeros(100))
    >>> view = trace.view()
    >>> view.t_s.round(3).tolist(), view.regulated_low_pa.tolist(), view.regulated_high_pa.tolist(), view.newest_s
    ([0.025, 0.075], [0.0, 50.0], [49.0, 99.0], 0.099)
    """

    def __init__(self) -> None:
        self._fine = _Row(FINE_BINS, MISSING_FINE_BINS)
        self._old = _Row(OLD_BINS, 1)
        self._newest_s = 0.0
        self._last: SampleColumns | None = None
        self._view: TraceView | None = None

    def follow(self, state: BenchState) -> bool:
        """Take in the samples of the state that are new since the last time; whether there were any."""
        transducers, parts = state.transducers, []
        for part in reversed(state.recent):
            if part is self._last:
                break
            parts.append(part)
        if not parts or transducers is None:
            return False
        self._last = parts[0]
        columns = SampleColumns.join(parts[::-1]) if len(parts) > 1 else parts[0]
        self.add(columns.t_s, *transducers.gauge_pa(columns))
        return True

    def add(
        self, t_s: npt.NDArray[np.float64], regulated_pa: npt.NDArray[np.float64], cylinder_pa: npt.NDArray[np.float64]
    ) -> None:
        """Samples in order of time. Where the device's clock began anew, so does the trace."""
        if len(t_s) == 0:
            return
        if t_s[0] < self._newest_s:
            self._fine.clear()
            self._old.clear()
        bins = np.floor(t_s * FINE_PER_S).astype(np.int64)
        starts = np.concatenate(([0], np.flatnonzero(np.diff(bins)) + 1))
        envelope = np.empty((4, len(starts)), np.float32)
        for row, pressure in ((0, regulated_pa), (2, cylinder_pa)):
            envelope[row] = np.minimum.reduceat(pressure, starts)
            envelope[row + 1] = np.maximum.reduceat(pressure, starts)
        self._fine.add(bins[starts], envelope)
        self._newest_s = float(t_s[-1])
        self._grow_old()
        self._view = None

    def view(self) -> TraceView:
        """As it is now; the same object until samples have come."""
        if self._view is None:
            t_s = np.concatenate(((self._old.bins + 0.5) * (FINE_S * JOINED), (self._fine.bins + 0.5) * FINE_S))
            envelope = np.concatenate((self._old.envelope, self._fine.envelope), axis=1)
            t_s.flags.writeable = envelope.flags.writeable = False
            self._view = TraceView(t_s, envelope[0], envelope[1], envelope[2], envelope[3], self._newest_s)
        return self._view

    def _grow_old(self) -> None:
        """Join what is older than a minute. Bins that belong together are joined together, so a few more may stand there."""
        while self._fine.over:
            bins, envelope = self._fine.bins, self._fine.envelope
            old = bins[0] // JOINED
            count = int(np.searchsorted(bins, (old + 1) * JOINED))
            joined = np.empty((4, 1), np.float32)
            joined[0::2, 0] = np.fmin.reduce(envelope[0::2, :count], axis=1)
            joined[1::2, 0] = np.fmax.reduce(envelope[1::2, :count], axis=1)
            self._old.add(np.array([old]), joined)
            self._fine.drop(count)
        self._old.drop(self._old.over)
