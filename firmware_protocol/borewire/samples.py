"""Sample blocks to columns."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from borewire.messages import SampleBlock
from borewire.runs import BlockRun

__all__ = ["run_columns", "sample_columns"]

FRAME_HEAD = 16  # octets of a frame of a run before its samples
FRAME_END = 2  # the checksum after them


def run_columns(run: BlockRun) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.uint16]]:
    """The crank counts, int32[n], and the raw words, uint16[channels, n], of all blocks of a run; looked at, not copied.

    >>> from borewire.codec import Decoder, encode
    >>> from borewire.messages import BlockFlags
    >>> block = SampleBlock(0, 0, 0, BlockFlags(0), 2, 1, bytes.fromhex("ffffffff0a00" "010000000b00"))
    >>> (run,) = Decoder("host").feed_runs(encode(block) * 2)
    >>> counts, raw = run_columns(run)
    >>> counts.tolist(), raw.tolist()
    ([-1, 1, -1, 1], [[10, 11, 10, 11]])
    """
    octets = len(run.frames[0])
    samples = octets - FRAME_HEAD - FRAME_END
    frames = np.frombuffer(b"".join(run.frames), np.uint8).reshape(-1, octets)
    rows = np.ascontiguousarray(frames[:, FRAME_HEAD : FRAME_HEAD + samples]).reshape(-1).view(_row(run.channel_count))
    return rows["crank_count"], rows["raw"].T


@lru_cache(maxsize=16)
def _row(channels: int) -> np.dtype[np.void]:
    return np.dtype([("crank_count", "<i4"), ("raw", "<u2", (channels,))])


def sample_columns(blocks: Sequence[SampleBlock]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.uint16]]:
    """The crank counts, int64[n], and the raw words, uint16[channels, n], of blocks in the order given.

    Raises ValueError when there is no block or the blocks differ in their number of channels.

    >>> from borewire.messages import BlockFlags
    >>> block = SampleBlock(0, 0, 0, BlockFlags(0), 2, 1, bytes.fromhex("ffffffff0a00" "010000000b00"))
    >>> counts, raw = sample_columns([block])
    >>> counts.tolist(), raw.tolist()
    ([-1, 1], [[10, 11]])
    """
    if not blocks:
        raise ValueError("blocks: there is none, so the number of channels is not known")
    channels = blocks[0].channel_count
    if any(block.channel_count != channels for block in blocks):
        raise ValueError("blocks: they differ in their number of channels; make columns of each run apart")
    rows = np.frombuffer(b"".join([block.samples for block in blocks]), _row(channels))
    return rows["crank_count"].astype(np.int64), np.array(rows["raw"].T, np.uint16, order="C")
