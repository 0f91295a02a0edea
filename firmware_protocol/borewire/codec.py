"""Messages to octets and octets to messages, without I/O, clock or thread.

>>> from borewire.messages import HostAlive
>>> decoder = Decoder("device")
>>> good, bad, again = decoder.feed(encode(HostAlive()) + b"noise" + encode(HostAlive()))
>>> good == again == HostAlive(), bad.octets, bad.reason.value
(True, b'noise', 'a COBS code that is 0xFF or points past the end')
>>> decoder.counters
Counters(frames_good=2, frames_bad=1, frames_unknown=0, bytes_discarded=5)
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from borewire.bad import BadReason, FrameError
from borewire.framing import MAX_STUFFED, MIN_STUFFED, frame_of, payload_of
from borewire.messages import TYPES_TO_DEVICE, TYPES_TO_HOST, Message

__all__ = ["BadFrame", "BadReason", "Counters", "Decoder", "FrameError", "Received", "UnknownMessage", "encode"]

FIRST_TYPE_TO_HOST: Final = 0x80
KEPT_OCTETS: Final = 32
RUN_EVENTS: Final = 16


@dataclass(frozen=True, slots=True)
class BadFrame:
    """What stood between two zeros was no good frame; `octets` are its first 32 octets as they came."""

    reason: BadReason
    octets: bytes


@dataclass(frozen=True, slots=True)
class UnknownMessage:
    """A good frame whose type number this side does not know (a newer minor version): skipped and counted."""

    type: int
    body: bytes

    @property
    def for_host(self) -> bool:
        """Whether a frame of this number goes to the host, of whatever version it is."""
        return self.type >= FIRST_TYPE_TO_HOST


Received: TypeAlias = Message | BadFrame | UnknownMessage


@dataclass(slots=True)
class Counters:
    """What a decoder has seen: whole frames by kind, and octets of bad frames thrown away."""

    frames_good: int = 0
    frames_bad: int = 0
    frames_unknown: int = 0
    bytes_discarded: int = 0


def encode(message: Message) -> bytes:
    """The whole frame of a message. Raises ValueError when a field does not fit its place on the wire.

    >>> from borewire.messages import HostAlive
    >>> encode(HostAlive()).hex(" ")
    '00 04 fc 2c 85 00'
    """
    return frame_of(message.TYPE, message.encode_body())


class Decoder:
    """Turns octets, in whatever pieces they come, into messages and bad-frame events. Never raises on any octets.

    receives says whose ear this is: "host" knows the messages to the host, "device" those to the device. The events depend on the
    octets alone, not on how they were cut into pieces, and an event comes with the octet that decides it. What stands before the
    first zero after the start, when it is no good frame, is one RESYNC event and not counted as bad: listening began in its
    midst. Of bad frames that follow each other without a good one between, the first 16 are events and the others only counted,
    so that noise cannot flood the receiver. At most 254 octets are kept between calls.
    """

    def __init__(self, receives: Literal["host", "device"]) -> None:
        types: Mapping[int, type[Message]] = TYPES_TO_HOST if receives == "host" else TYPES_TO_DEVICE
        self._decoders: dict[int, Callable[[bytes], Message]] = {number: kind.decode_body for number, kind in types.items()}
        self._tail = b""
        self._started = False
        self._skipping = False
        self._bad_run = 0
        self.counters = Counters()

    def feed(self, data: bytes) -> list[Received]:
        """The events that these octets complete, in their order."""
        events: list[Received] = []
        pieces = (self._tail + data).split(b"\x00")
        self._tail = pieces.pop()
        for piece in pieces:
            if self._skipping:
                self.counters.bytes_discarded += len(piece)
                self._skipping = False
            elif piece:
                self._take(piece, events)
            self._started = True
        if self._skipping:
            self.counters.bytes_discarded += len(self._tail)
            self._tail = b""
        elif len(self._tail) > MAX_STUFFED:
            # nothing that follows can make this a frame: say so now and keep nothing of it
            self._bad(BadReason.TOO_LONG, self._tail, events)
            self._tail = b""
            self._skipping = True
        return events

    def _take(self, piece: bytes, events: list[Received]) -> None:
        if len(piece) < MIN_STUFFED:  # also found by payload_of, but noise is full of these and raising is slow
            self._bad(BadReason.TOO_SHORT, piece, events)
            return
        try:
            content = payload_of(piece)
            decode = self._decoders.get(content[0])
            if decode is None:
                self.counters.frames_unknown += 1
                events.append(UnknownMessage(content[0], content[1:]))
            else:
                events.append(decode(content[1:]))
                self.counters.frames_good += 1
            self._bad_run = 0
        except FrameError as error:
            self._bad(error.reason, piece, events)

    def _bad(self, reason: BadReason, piece: bytes, events: list[Received]) -> None:
        self.counters.bytes_discarded += len(piece)
        if not self._started:
            self._started = True
            events.append(BadFrame(BadReason.RESYNC, piece[:KEPT_OCTETS]))
            return
        self.counters.frames_bad += 1
        self._bad_run += 1
        if self._bad_run <= RUN_EVENTS:
            events.append(BadFrame(reason, piece[:KEPT_OCTETS]))
