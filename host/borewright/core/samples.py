"""Sample columns: what came from the rig, in raw counts, with nothing lost silently."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntFlag

import numpy as np
import numpy.typing as npt

__all__ = ["SampleColumns", "SampleFlags"]


class SampleFlags(IntFlag):
    """What was true of a sample. The low seven bits are those of the wire's BlockFlags."""

    SUPPLY_OPEN = 1 << 0
    VENT_OPEN = 1 << 1
    HOLD_PRESSED = 1 << 2
    SATURATED = 1 << 3
    DROPPED_BEFORE = 1 << 4
    INDEX_SEEN = 1 << 5
    CAM_HIGH = 1 << 6
    GAP_BEFORE = 1 << 8  # set by the session: blocks are missing before this one


@dataclass(frozen=True, slots=True, eq=False)
class SampleColumns:
    """Consecutive samples as columns of equal length n.

    tick: device ticks, unwrapped, int64[n]. index: sample number since the stream started, unwrapped, int64[n].
    crank_count: encoder counts, int64[n]. raw: raw words, uint16[channels, n], channels in the order of the wire.
    flags: SampleFlags, uint16[n]. tick_rate_hz: ticks in a second.
    """

    tick: npt.NDArray[np.int64]
    index: npt.NDArray[np.int64]
    crank_count: npt.NDArray[np.int64]
    raw: npt.NDArray[np.uint16]
    flags: npt.NDArray[np.uint16]
    tick_rate_hz: int

    def __len__(self) -> int:
        return int(self.tick.shape[0])

    @property
    def t_s(self) -> npt.NDArray[np.float64]:
        """Device time of each sample in seconds, float64[n]."""
        return self.tick / float(self.tick_rate_hz)

    @property
    def supply_driven(self) -> bool:
        """Whether the device has opened the supply in these samples; a person's hand on a valve is not seen in the flags."""
        return bool(np.any(self.flags & int(SampleFlags.SUPPLY_OPEN)))

    @staticmethod
    def empty(channels: int, tick_rate_hz: int) -> SampleColumns:
        """No samples.

        >>> len(SampleColumns.empty(2, 1_000_000))
        0
        """
        none = np.zeros(0, dtype=np.int64)
        return SampleColumns(none, none, none, np.zeros((channels, 0), np.uint16), np.zeros(0, np.uint16), tick_rate_hz)

    @staticmethod
    def join(parts: Sequence[SampleColumns]) -> SampleColumns:
        """The parts one after the other. Raises ValueError when there are none or when their clocks or channels differ."""
        if not parts:
            raise ValueError("parts: nothing to join")
        if len({(part.tick_rate_hz, part.raw.shape[0]) for part in parts}) != 1:
            raise ValueError("parts: different clocks or channels cannot be joined")
        return SampleColumns(
            np.concatenate([part.tick for part in parts]),
            np.concatenate([part.index for part in parts]),
            np.concatenate([part.crank_count for part in parts]),
            np.concatenate([part.raw for part in parts], axis=1),
            np.concatenate([part.flags for part in parts]),
            parts[0].tick_rate_hz,
        )

    def between(self, start: int, stop: int) -> SampleColumns:
        """The samples at positions start to stop − 1, without copying."""
        part = slice(start, stop)
        return SampleColumns(
            self.tick[part], self.index[part], self.crank_count[part], self.raw[:, part], self.flags[part], self.tick_rate_hz
        )
