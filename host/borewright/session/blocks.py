"""Sample blocks become sample columns: counters unwrapped, gaps flagged, stale repeats dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from borewire.messages import SampleBlock
from borewire.samples import sample_columns

from borewright.core.samples import SampleColumns, SampleFlags
from borewright.session.clock import unwrap
from borewright.session.news import Gap

__all__ = ["BlockTrack"]


@dataclass(frozen=True, slots=True)
class BlockTrack:
    """Where the stream stands: the last block's unwrapped sequence, tick and sample index.

    `take` turns blocks into columns and returns the track after them.
    """

    tick_rate_hz: int
    rate_hz: int
    sequence: int | None = None
    tick: int | None = None
    index: int | None = None

    def take(self, blocks: Sequence[SampleBlock]) -> tuple[BlockTrack, SampleColumns | None, tuple[Gap, ...]]:
        """The columns of the blocks (None when none is new) and the gaps before them.

        A block that repeats an earlier one is dropped; a block after missing ones has GAP_BEFORE set on its first sample.
        """
        track = self
        kept: list[SampleBlock] = []
        gap_at: list[int] = []
        gaps: list[Gap] = []
        ticks: list[int] = []
        indices: list[int] = []
        for block in blocks:
            sequence = unwrap(block.sequence, 16, track.sequence)
            tick = unwrap(block.device_tick, 32, track.tick)
            index = unwrap(block.sample_index, 32, track.index)
            if track.sequence is not None:
                if sequence <= track.sequence:
                    continue
                if sequence > track.sequence + 1:
                    gaps.append(Gap(tick, sequence - track.sequence - 1))
                    gap_at.append(len(kept))
            if kept and block.channel_count != kept[0].channel_count:
                continue
            kept.append(block)
            ticks.append(tick)
            indices.append(index)
            track = replace(track, sequence=sequence, tick=tick, index=index)
        if not kept:
            return track, None, tuple(gaps)
        return track, self._columns(kept, ticks, indices, gap_at), tuple(gaps)

    def _columns(self, blocks: list[SampleBlock], ticks: list[int], indices: list[int], gap_at: list[int]) -> SampleColumns:
        crank_count, raw = sample_columns(blocks)
        counts = np.array([block.sample_count for block in blocks])
        starts = np.cumsum(counts) - counts
        within = np.arange(int(counts.sum())) - np.repeat(starts, counts)
        flags = np.zeros(len(within), np.uint16)
        flags[starts] = [int(block.flags) for block in blocks]
        # what a block says of its first sample holds for the others too, except that something is missing before it
        lasting = np.repeat(flags[starts], counts) & ~np.uint16(SampleFlags.DROPPED_BEFORE)
        flags |= lasting
        flags[starts[gap_at]] |= np.uint16(SampleFlags.GAP_BEFORE)
        return SampleColumns(
            np.repeat(np.array(ticks, np.int64), counts) + within * self.tick_rate_hz // self.rate_hz,
            np.repeat(np.array(indices, np.int64), counts) + within,
            crank_count,
            raw,
            flags,
            self.tick_rate_hz,
        )
