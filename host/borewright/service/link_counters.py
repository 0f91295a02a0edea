"""What went over the link: counted here, and by the device."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from borewire.codec import BadFrame, Received
from borewire.messages import Status
from borewire.runs import BlockRun

__all__ = ["LinkCount", "LinkCounters"]

DEVICE_COUNTERS = ("frames_received", "frames_bad", "frames_unknown", "commands_refused", "samples_dropped")


@dataclass(frozen=True, slots=True)
class LinkCounters:
    """What went over the link since it was opened.

    octets: that came. bad_frames: of these, frames that could not be used. lost_blocks: blocks of samples that never came. device:
    the counters that the device itself keeps, by name, as it last said.
    """

    octets: int = 0
    bad_frames: int = 0
    lost_blocks: int = 0
    device: tuple[tuple[str, int], ...] = ()


class LinkCount:
    """The counters in the making.

    >>> count = LinkCount()
    >>> count.lost_blocks += 2
    >>> count.counters(octets=77)
    LinkCounters(octets=77, bad_frames=0, lost_blocks=2, device=())
    """

    def __init__(self) -> None:
        self.lost_blocks = 0
        self._bad_frames = 0
        self._status: Status | None = None

    def take(self, received: Iterable[Received | BlockRun]) -> None:
        """What the decoder made of some octets."""
        for item in received:
            if isinstance(item, BadFrame):
                self._bad_frames += 1
            elif isinstance(item, Status):
                self._status = item

    def counters(self, octets: int) -> LinkCounters:
        """As they stand."""
        status = self._status
        device = () if status is None else tuple((name, int(getattr(status, name))) for name in DEVICE_COUNTERS)
        return LinkCounters(octets, self._bad_frames, self.lost_blocks, device)
