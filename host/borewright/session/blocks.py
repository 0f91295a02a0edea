"""Sample blocks become sample columns: counters unwrapped, gaps flagged, stale repeats dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from borewire.runs import BlockRun
from borewire.samples import run_columns

from borewright.core.samples import SampleColumns, SampleFlags
from borewright.session.clock import unwrap
from borewright.session.news import Gap

__all__ = ["BlockTrack"]


@dataclass(frozen=True, slots=True)
class BlockTrack:
    """Where the stream stands: the last block's unwrapped sequence, tick and sample index.

    `take` turns runs of blocks into columns and returns the track after them.
    """

    tick_rate_hz: int
    rate_hz: int
    sequence: int | None = None
    tick: int | None = None
    index: int | None = None

    def take(self, runs: Sequence[BlockRun]) -> tuple[BlockTrack, SampleColumns | None, tuple[Gap, ...]]:
        """The columns of all blocks of the runs (None when none is new) and the gaps before them.

        A block that repeats an earlier one is dropped; a block after missing ones has GAP_BEFORE set on its first sample.
        """
        last, tick, index = self.sequence, self.tick, self.index
        parts: list[SampleColumns] = []
        gaps: list[Gap] = []
        for run in runs:
            if parts and run.channel_count != parts[0].raw.shape[0]:
                continue
            kept: list[int] = []
            gap_at: list[int] = []
            ticks: list[int] = []
            indices: list[int] = []
            for at, (wrapped_sequence, wrapped_tick, wrapped_index) in enumerate(run.places()):
                sequence = unwrap(wrapped_sequence, 16, last)
                if last is not None and sequence <= last:
                    continue
                tick, index = unwrap(wrapped_tick, 32, tick), unwrap(wrapped_index, 32, index)
                if last is not None and sequence > last + 1:
                    gaps.append(Gap(tick, sequence - last - 1))
                    gap_at.append(len(kept))
                last = sequence
                kept.append(at)
                ticks.append(tick)
                indices.append(index)
            if kept:
                new = run if len(kept) == len(run) else BlockRun(tuple(run.frames[at] for at in kept))
                parts.append(self._columns(new, ticks, indices, gap_at))
        track = replace(self, sequence=last, tick=tick, index=index)
        if not parts:
            return track, None, tuple(gaps)
        return track, parts[0] if len(parts) == 1 else SampleColumns.join(parts), tuple(gaps)

    def _columns(self, run: BlockRun, ticks: list[int], indices: list[int], gap_at: list[int]) -> SampleColumns:
        """The columns of a run; ticks, indices: of the first sample of each of its blocks."""
        crank_count, raw = run_columns(run)
        within, within_ticks = _within(run.sample_count, self.tick_rate_hz, self.rate_hz)
        # what a block says of its first sample holds for the others too, except that something is missing before it
        flags = np.full((len(run), run.sample_count), run.flags & ~SampleFlags.DROPPED_BEFORE, np.uint16)
        flags[:, 0] = run.flags
        if gap_at:
            flags[gap_at, 0] |= np.uint16(SampleFlags.GAP_BEFORE)
        return SampleColumns(
            (np.array(ticks, np.int64)[:, None] + within_ticks).reshape(-1),
            (np.array(indices, np.int64)[:, None] + within).reshape(-1),
            crank_count.astype(np.int64),
            np.array(raw, np.uint16, order="C"),
            flags.reshape(-1),
            self.tick_rate_hz,
        )


@lru_cache(maxsize=16)
def _within(samples: int, tick_rate_hz: int, rate_hz: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Numbers and device ticks of a block's samples after its first."""
    number = np.arange(samples, dtype=np.int64)
    return number, number * tick_rate_hz // rate_hz
