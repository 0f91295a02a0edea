"""The device's sample stream: scans become samples, samples become blocks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from borewire.messages import BlockFlags, SampleBlock

from boresim.interlock import Scans

__all__ = ["MAX_BLOCK_SIZE", "STREAMED_CHANNELS", "SampleStream", "scans_in_a_sample"]

STREAMED_CHANNELS = 2
# a decoded frame has at most 253 octets: type, 14 of fields, the samples, checksum
MAX_BLOCK_SIZE = (253 - 1 - 14 - 2) // (4 + 2 * STREAMED_CHANNELS)

_SAMPLE = np.dtype([("crank_count", "<i4"), ("raw", "<u2", (STREAMED_CHANNELS,))])


def scans_in_a_sample(sample_ticks: int, longest_scan_ticks: int) -> int:
    """How many scans the device makes for each sample, so that it looks often enough however slow the stream is.

    sample_ticks: ticks between samples. longest_scan_ticks: most ticks between scans. The result divides sample_ticks.

    >>> scans_in_a_sample(1000, 1000), scans_in_a_sample(15625, 1000), scans_in_a_sample(100, 1000)
    (1, 25, 1)
    """
    number = -(-sample_ticks // longest_scan_ticks)
    while sample_ticks % number:
        number += 1
    return number


@dataclass(slots=True)
class _Begun:
    tick: int
    sample_index: int
    flags: BlockFlags


class SampleStream:
    """The stream from one StreamStart to the next. rate_hz: samples a second. block_size: samples in a block.

    longest_scan_ticks: most ticks between two looks at the inputs. `sequence` numbers the next block; blocks are numbered from
    power-up on, so pass on the last stream's.
    """

    def __init__(self, rate_hz: int, block_size: int, tick_rate_hz: int, longest_scan_ticks: int, sequence: int) -> None:
        self.rate_hz = rate_hz
        self.block_size = block_size
        self.sequence = sequence
        sample_ticks = tick_rate_hz // rate_hz
        self._scans_in_a_sample = scans_in_a_sample(sample_ticks, longest_scan_ticks)
        self.scan_ticks = sample_ticks // self._scans_in_a_sample
        self._scans_to_sample = self._scans_in_a_sample
        self._samples = 0
        self._octets = b""
        self._begun: _Begun | None = None

    def take(self, scans: Scans, flags_at: Callable[[int], BlockFlags]) -> list[tuple[int, SampleBlock]]:
        """The blocks that these scans complete, each with the scan that completes it. flags_at: what is true at a scan."""
        first = self._scans_to_sample - 1
        taken = range(first, len(scans), self._scans_in_a_sample)
        self._scans_to_sample += len(taken) * self._scans_in_a_sample - len(scans)
        if not taken:
            return []
        samples = np.empty(len(taken), _SAMPLE)
        samples["crank_count"] = scans.crank_count[first :: self._scans_in_a_sample]
        samples["raw"] = scans.raw[:, first :: self._scans_in_a_sample].T
        octets = samples.tobytes()
        blocks: list[tuple[int, SampleBlock]] = []
        start = 0
        while start < len(taken):
            if self._begun is None:
                at = taken[start]
                self._begun = _Begun(scans.first_tick + at * scans.step_ticks, self._samples + start, flags_at(at))
            missing = self.block_size - len(self._octets) // _SAMPLE.itemsize
            stop = min(len(taken), start + missing)
            self._octets += octets[start * _SAMPLE.itemsize : stop * _SAMPLE.itemsize]
            if stop - start == missing:
                blocks.append((taken[stop - 1], self._block(self._begun)))
                self._begun = None
                self._octets = b""
            start = stop
        self._samples += len(taken)
        return blocks

    def _block(self, begun: _Begun) -> SampleBlock:
        block = SampleBlock(
            sequence=self.sequence,
            device_tick=begun.tick & 0xFFFFFFFF,
            sample_index=begun.sample_index & 0xFFFFFFFF,
            flags=begun.flags,
            sample_count=self.block_size,
            channel_count=STREAMED_CHANNELS,
            samples=self._octets,
        )
        self.sequence = (self.sequence + 1) & 0xFFFF
        return block
