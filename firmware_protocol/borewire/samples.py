"""Sample blocks to columns."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from borewire.messages import SampleBlock

__all__ = ["sample_columns"]


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
    layout = np.dtype([("crank_count", "<i4"), ("raw", "<u2", (channels,))])
    rows = np.frombuffer(b"".join([block.samples for block in blocks]), layout)
    return rows["crank_count"].astype(np.int64), np.array(rows["raw"].T, np.uint16, order="C")
