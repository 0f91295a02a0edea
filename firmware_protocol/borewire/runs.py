"""A run of sample blocks that are alike, still as octets: checked, but not yet made into messages.

Making a message of each block costs more than all the rest of decoding. `borewire.samples.run_columns` makes columns of a whole run
at once; going through a run makes the messages.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from struct import Struct
from typing import Final

from borewire.framing import checksum
from borewire.messages import SampleBlock

__all__ = ["BlockRun"]

PLACES: Final = Struct("<2xHII")  # of a frame: sequence, device tick, sample index


@dataclass(frozen=True, slots=True)
class BlockRun:
    """Sample blocks that came one after the other, alike in flags, number of samples and number of channels; at least one.

    frames: of each block one octet without meaning, the type octet, the body and the checksum, which has been found right. Going
    through it gives a SampleBlock for each.

    >>> from borewire.codec import Decoder, encode
    >>> from borewire.messages import BlockFlags
    >>> block = SampleBlock(7, 1000, 20, BlockFlags(0), 1, 1, bytes(6))
    >>> (run,) = Decoder("host").feed_runs(encode(block) + encode(block))
    >>> len(run), list(run) == [block, block], run.places()
    (2, True, [(7, 1000, 20), (7, 1000, 20)])
    """

    frames: tuple[bytes, ...]

    @classmethod
    def of(cls, block: SampleBlock) -> BlockRun:
        """A run of one. Raises ValueError when a field does not fit its place on the wire."""
        content = bytes((block.TYPE,)) + block.encode_body()
        return cls((b"\x00" + content + checksum(content).to_bytes(2, "little"),))

    def __len__(self) -> int:
        return len(self.frames)

    def __iter__(self) -> Iterator[SampleBlock]:
        return (SampleBlock.decode_body(frame[2:-2]) for frame in self.frames)

    @property
    def flags(self) -> int:
        """The flags of every block."""
        return self.frames[0][12] | self.frames[0][13] << 8

    @property
    def sample_count(self) -> int:
        """How many samples each block has."""
        return self.frames[0][14]

    @property
    def channel_count(self) -> int:
        """How many channels each sample has."""
        return self.frames[0][15]

    def places(self) -> list[tuple[int, int, int]]:
        """Sequence, device tick and sample index of each block, as they came, not unwrapped."""
        return [PLACES.unpack_from(frame) for frame in self.frames]
