"""What the crank does: where it is, whether it stands still, how it came there, and whether index pulses and counts agree."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from borewright.core.samples import SampleColumns, SampleFlags

__all__ = ["Approach", "CrankTracker"]

_BROKEN = int(SampleFlags.GAP_BEFORE | SampleFlags.DROPPED_BEFORE)
_REVERSALS_KEPT = 64


@dataclass(frozen=True, slots=True)
class Approach:
    """How the crank came to where it is, seen from one target.

    running: the last movement was in the running direction. overshot_deg: how far beyond the target it had been before it came
    back (0: not at all). backed_deg: how far it was then turned back before it came up again.
    """

    running: bool
    overshot_deg: float = 0.0
    backed_deg: float = 0.0

    def good(self, recovery_deg: float = 180.0) -> bool:
        """True when the target was reached in the running direction, and after an overshoot by backing recovery_deg at least.

        >>> Approach(True).good(), Approach(True, 4.0, 30.0).good(), Approach(True, 4.0, 190.0).good()
        (True, False, True)
        """
        return self.running and (self.overshot_deg <= 0.0 or self.backed_deg >= recovery_deg)


@dataclass(frozen=True, slots=True)
class _Span:
    """A stretch of samples: its ticks and the counts it touched."""

    first_tick: int
    last_tick: int
    low_count: int
    high_count: int
    first_count: int


@dataclass(frozen=True, slots=True)
class CrankTracker:
    """The crank's movement from sample columns. Immutable: `add` and `index` give the next one.

    Counts are the device's; running_sign is +1 where they rise in the running direction. All times are device time.

    >>> tracker = CrankTracker(counts_per_rev=1440)
    >>> tracker.last_count is None, tracker.still(1.0, 1)
    (True, False)
    """

    counts_per_rev: int
    running_sign: Literal[1, -1] = 1
    window_s: float = 1.0
    index_tolerance_count: int = 2
    last_count: int | None = None
    last_tick: int | None = None
    tick_rate_hz: int = 1
    spans: tuple[_Span, ...] = ()
    direction: int = 0  # of the last leg, in the running sense: +1, −1, 0 not moved yet
    extreme: int = 0  # farthest point of the last leg, in running counts
    peaks: tuple[tuple[int, int], ...] = ()  # (reversal point, lowest point since), in running counts, falling
    index_count: int | None = None  # count at the latest index pulse
    index_pulses: int = 0
    whole_turns: int = 0  # index spacings of whole turns that were right
    index_spacing_ok: bool | None = None  # None: no whole turn between two pulses yet
    index_faults: int = 0
    farthest: tuple[int, int] | None = None  # lowest and highest count since power-up, until the first index pulse

    # ------------------------------------------------------------------ what comes in

    def add(self, columns: SampleColumns) -> CrankTracker:
        """The tracker after these samples (any number, also none)."""
        n = len(columns)
        if n == 0:
            return self
        counts = columns.crank_count
        first_tick, last_tick = int(columns.tick[0]), int(columns.tick[-1])
        first, last = int(counts[0]), int(counts[-1])
        low, high = int(counts.min()), int(counts.max())
        broken = bool(np.bitwise_or.reduce(columns.flags) & _BROKEN)
        kept = () if broken else self.spans
        oldest = last_tick - round(self.window_s * columns.tick_rate_hz)
        start = next((i for i, span in enumerate(kept) if span.last_tick >= oldest), len(kept))
        span = _Span(first_tick, last_tick, low, high, first)
        tracker = replace(
            self,
            last_count=last,
            last_tick=last_tick,
            tick_rate_hz=columns.tick_rate_hz,
            spans=(*kept[max(0, start - 1) :], span),
            extreme=self.running_sign * first if self.last_count is None else self.extreme,
        )
        if self.index_count is None and (self.farthest is None or not self.farthest[0] <= low <= high <= self.farthest[1]):
            before = self.farthest or (low, high)
            tracker = replace(tracker, farthest=(min(low, before[0]), max(high, before[1])))
        return tracker if low == high == self.last_count else tracker._walk(counts)

    def _walk(self, counts: npt.NDArray[np.int64]) -> CrankTracker:
        """Follow the legs of the movement. A turn back counts from 0.3 degrees on, so that a trembling hand is no reversal."""
        path = self.running_sign * counts
        steps = np.diff(path)
        turning = path[np.concatenate(([True], np.sign(steps[1:]) != np.sign(steps[:-1]), [True]))] if len(path) > 2 else path
        slack = self._slack_count
        direction, extreme, peaks = self.direction, self.extreme, self.peaks
        for x in (int(value) for value in turning):
            if direction == 0:
                if abs(x - extreme) >= slack:
                    direction = 1 if x > extreme else -1
                    if direction == -1:
                        peaks = ((extreme, x),)  # where it stood at first counts as the place it was turned back from
                    extreme = x
            elif direction * (x - extreme) >= 0:
                extreme = x
            elif direction * (extreme - x) >= slack:
                if direction == 1:
                    peaks = _reversed_at(peaks, extreme)
                direction, extreme = -direction, x
            if direction == -1 and peaks and x < peaks[-1][1]:
                peaks = tuple((peak, min(low, x)) for peak, low in peaks)
        return replace(self, direction=direction, extreme=extreme, peaks=peaks)

    @property
    def _slack_count(self) -> int:
        return max(2, round(0.3 * self.counts_per_rev / 360.0))

    def index(self, crank_count: int) -> CrankTracker:
        """The tracker after an index pulse at this count.

        The pulse may come at the same place again (turned back over it) or whole turns away; anything else means lost counts or a
        disturbed index, and index_spacing_ok stays False until a whole turn is right again.
        """
        if self.index_count is None:
            return replace(self, index_count=crank_count, index_pulses=1)
        spacing = crank_count - self.index_count
        turns = round(spacing / self.counts_per_rev)
        right = abs(spacing - turns * self.counts_per_rev) <= self.index_tolerance_count
        seen = replace(self, index_count=crank_count, index_pulses=self.index_pulses + 1)
        if not right:
            return replace(seen, index_spacing_ok=False, index_faults=self.index_faults + 1, whole_turns=0)
        if turns == 0:
            return seen
        return replace(seen, index_spacing_ok=True, whole_turns=self.whole_turns + 1)

    def unwatched(self) -> CrankTracker:
        """The tracker after a time in which nobody watched: the counts went on, but whether it stood still is not known."""
        return replace(self, spans=())

    def restarted(self) -> CrankTracker:
        """Nothing is known any more: the device was reset and its count began anew."""
        return CrankTracker(self.counts_per_rev, self.running_sign, self.window_s, self.index_tolerance_count)

    # ------------------------------------------------------------------ what is known

    @property
    def index_missed(self) -> bool:
        """True when the crank is more than a turn and a quarter from the latest index pulse: another one should have come.

        So too when it went so far without any since power-up. The quarter allows for a pulse that is told a little after the
        samples around it.
        """
        if self.index_count is None:
            return self.farthest is not None and self.farthest[1] - self.farthest[0] > 1.25 * self.counts_per_rev
        if self.last_count is None:
            return False
        return abs(self.last_count - self.index_count) > 1.25 * self.counts_per_rev

    @property
    def observed_s(self) -> float:
        """For how long the crank has been seen without a gap, at most a little more than window_s."""
        if not self.spans:
            return 0.0
        return (self.spans[-1].last_tick - self.spans[0].first_tick) / self.tick_rate_hz

    @property
    def moved_count(self) -> int:
        """Counts between the lowest and the highest place in the last window_s (or a few samples more)."""
        if not self.spans:
            return 0
        return max(span.high_count for span in self.spans) - min(span.low_count for span in self.spans)

    def still(self, still_s: float, still_count: int) -> bool:
        """True when the crank was watched for still_s and moved still_count at most. still_s is at most window_s."""
        return self.observed_s >= still_s * 0.999 and self.moved_count <= still_count

    @property
    def speed_deg_s(self) -> float:
        """Mean speed over about the last 0.2 s, in degrees a second, positive in the running direction."""
        if len(self.spans) < 2 or self.last_count is None or self.last_tick is None:
            return 0.0
        since = next(span for span in reversed(self.spans) if self._ago_s(span) >= 0.2 or span is self.spans[0])
        elapsed_s = self._ago_s(since)
        if elapsed_s <= 0.0:
            return 0.0
        return self.running_sign * (self.last_count - since.first_count) / self.counts_per_rev * 360.0 / elapsed_s

    def _ago_s(self, span: _Span) -> float:
        return ((self.last_tick or 0) - span.first_tick) / self.tick_rate_hz

    def approach(self, target_count: float, window_deg: float) -> Approach:
        """How the crank came here, seen from target_count: a stop inside ±window_deg of the target is no overshoot."""
        target = self.running_sign * target_count
        running = self.direction == 1
        for peak, low in reversed(self.peaks):
            over_deg = (peak - target) / self.counts_per_rev * 360.0
            if over_deg > window_deg:
                return Approach(running, over_deg, (peak - low) / self.counts_per_rev * 360.0)
        return Approach(running)


def _reversed_at(peaks: tuple[tuple[int, int], ...], peak: int) -> tuple[tuple[int, int], ...]:
    """Remember a reversal. Earlier and lower ones are covered by it; of very many the two oldest are merged to the stricter one."""
    kept = (*(entry for entry in peaks if entry[0] > peak), (peak, peak))
    if len(kept) > _REVERSALS_KEPT:
        kept = ((kept[0][0], kept[1][1]), *kept[2:])
    return kept
