"""The device's sample stream: scans become samples, samples become blocks."""

from __future__ import annotations

import struct
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from borewire.framing import frame_of
from borewire.messages import BlockFlags, SampleBlock

from boresim.interlock import Scans

__all__ = ["MAX_BLOCK_SIZE", "STREAMED_CHANNELS", "Block", "SampleStream", "scans_in_a_sample"]

STREAMED_CHANNELS = 2
# a decoded frame has at most 253 octets: type, 14 of fields, the samples, checksum
MAX_BLOCK_SIZE = (253 - 1 - 14 - 2) // (4 + 2 * STREAMED_CHANNELS)

_SAMPLE = np.dtype([("crank_count", "<i4"), ("raw", "<u2", (STREAMED_CHANNELS,))])
_SAMPLE_OCTETS = _SAMPLE.itemsize
ROOM = 64  # samples
_BEFORE_SAMPLES = struct.Struct("<HIIHBB")


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


class Block(NamedTuple):
    """A SampleBlock before it is one: most are sent, and nothing is asked of them."""

    sequence: int
    device_tick: int
    sample_index: int
    flags: int
    sample_count: int
    samples: bytes

    def frame(self) -> bytes:
        """The frame on the wire.

        >>> from borewire.codec import encode
        >>> block = Block(7, 5000, 16, 3, 1, bytes(8))
        >>> block.frame() == encode(block.message())
        True
        """
        sequence, tick, index, flags, count, samples = self
        return frame_of(SampleBlock.TYPE, _BEFORE_SAMPLES.pack(sequence, tick, index, flags, count, STREAMED_CHANNELS) + samples)

    def message(self) -> SampleBlock:
        """The same as a message."""
        sequence, tick, index, flags, count, samples = self
        return SampleBlock(sequence, tick, index, BlockFlags(flags), count, STREAMED_CHANNELS, samples)


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
        self._make_room(ROOM)
        self._begun = (0, 0, 0)  # tick, sample index and flags of the block's first sample, once there is one

    def take(self, scans: Scans, flags_at: Callable[[int], int]) -> list[tuple[int, Block]]:
        """The blocks that these scans complete, each with the scan that completes it. flags_at: what is true at a scan."""
        every, size, scan_count = self._scans_in_a_sample, self.block_size, len(scans)
        first = self._scans_to_sample - 1
        count = len(range(first, scan_count, every))
        self._scans_to_sample += count * every - scan_count
        if not count:
            return []
        octets = self._packed(scans.crank_count[first::every], scans.raw[:, first::every], count)
        blocks: list[tuple[int, Block]] = []
        waiting = len(self._octets) // _SAMPLE_OCTETS
        start = 0
        while start < count:
            if not waiting:
                at = first + start * every
                tick = scans.first_tick + at * scans.step_ticks
                self._begun = tick & 0xFFFFFFFF, (self._samples + start) & 0xFFFFFFFF, flags_at(at)
            stop = start + size - waiting
            if stop > count:
                self._octets += octets[start * _SAMPLE_OCTETS :]
                break
            samples_of_block = self._octets + octets[start * _SAMPLE_OCTETS : stop * _SAMPLE_OCTETS]
            blocks.append((first + (stop - 1) * every, Block(self.sequence, *self._begun, size, samples_of_block)))
            self.sequence = (self.sequence + 1) & 0xFFFF
            self._octets, waiting, start = b"", 0, stop
        self._samples += count
        return blocks

    def _packed(self, crank_count: npt.NDArray[np.int64], raw: npt.NDArray[np.uint16], count: int) -> bytes:
        """The samples as they are on the wire."""
        if count > len(self._room) or self._counts_in_room.base is not self._room:  # in a copy the fields are not the room's own
            self._make_room(count)
        self._counts_in_room[:count] = crank_count
        self._raw_in_room[:, :count] = raw
        return self._room[:count].tobytes()

    def _make_room(self, count: int) -> None:
        """Where samples are laid out; it is kept, because to find the fields of a new one takes its time."""
        self._room = np.empty(count, _SAMPLE)
        self._counts_in_room, self._raw_in_room = self._room["crank_count"], self._room["raw"].T
