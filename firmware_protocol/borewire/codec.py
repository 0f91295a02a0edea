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

from binascii import crc_hqx
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from borewire.bad import BadReason, FrameError
from borewire.framing import DELIMITER, MAX_STUFFED, checked_payload, frame_of, without_xor
from borewire.messages import TYPES_TO_DEVICE, TYPES_TO_HOST, Message, SampleBlock
from borewire.runs import BlockRun

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
        self._tail = b""  # without its XOR
        self._started = False
        self._skipping = False
        self._bad_run = 0
        self.counters = Counters()

    def feed(self, data: bytes) -> list[Received]:
        """The events that these octets complete, in their order."""
        events: list[Received] = []
        for event in self.feed_runs(data):
            if isinstance(event, BlockRun):
                events.extend(event)
            else:
                events.append(event)
        return events

    def feed_runs(self, data: bytes) -> list[Received | BlockRun]:
        """As feed, with sample blocks that are alike and follow each other in one event, not yet made into messages.

        The pieces in which octets come may cut a run in two; the blocks in it are the same.
        """
        events: list[Received | BlockRun] = []
        pieces = (self._tail + without_xor(data)).split(DELIMITER)
        self._tail = pieces.pop()
        if pieces:
            if self._skipping:
                self.counters.bytes_discarded += len(pieces[0])
                self._skipping = False
                pieces[0] = b""
            elif not self._started and pieces[0]:  # alone, so that it is known to be the first
                self._take((pieces[0],), events)
                pieces[0] = b""
            self._started = True
            self._take(filter(None, pieces), events)
        if self._skipping:
            self.counters.bytes_discarded += len(self._tail)
            self._tail = b""
        elif len(self._tail) > MAX_STUFFED:
            # nothing that follows can make this a frame: say so now and keep nothing of it
            self._bad(BadReason.TOO_LONG, self._tail, events)
            self._tail = b""
            self._skipping = True
        return events

    def _take(self, pieces: Iterable[bytes], events: list[Received | BlockRun]) -> None:
        """Make events of what stood between delimiters."""
        run: list[bytes] = []
        length, code, shape = -1, -1, b""  # of the blocks in the run
        for piece in pieces:
            # the next block like those before it: by far the most frequent case, so it stands first and in one line
            if (
                len(piece) == length
                and piece[0] == code
                and piece[1] == SampleBlock.TYPE
                and piece[12:16] == shape
                and crc_hqx(piece[1:-2], 0xFFFF) == piece[-2] | piece[-1] << 8
            ):
                run.append(piece)
                continue
            found = checked_payload(piece)
            if isinstance(found, BadReason):
                if run:
                    self._close(run, events)
                self._bad(found, piece, events)
                continue
            if len(found) + 1 == length and found[0] == SampleBlock.TYPE and found[11:15] == shape:
                run.append(piece[:1] + found)  # zeros in it made it more than one COBS run
                continue
            if run:
                self._close(run, events)
            event = self._message(found)
            if isinstance(event, SampleBlock):
                run = [piece[:1] + found]
                length, shape = len(found) + 1, found[11:15]
                code = length ^ 0xF5
            elif isinstance(event, BadReason):
                self._bad(event, piece, events)
            else:
                events.append(event)
                self.counters.frames_good += not isinstance(event, UnknownMessage)
                self._bad_run = 0
        if run:
            self._close(run, events)

    def _close(self, run: list[bytes], events: list[Received | BlockRun]) -> None:
        """The run is over: make an event of what is in it, and empty it."""
        events.append(BlockRun(tuple(run)))
        self.counters.frames_good += len(run)
        self._bad_run = 0
        run.clear()

    def _message(self, payload: bytes) -> Received | BadReason:
        decode = self._decoders.get(payload[0])
        if decode is None:
            self.counters.frames_unknown += 1
            return UnknownMessage(payload[0], payload[1:-2])
        try:
            return decode(payload[1:-2])
        except FrameError as error:
            return error.reason

    def _bad(self, reason: BadReason, piece: bytes, events: list[Received | BlockRun]) -> None:
        self.counters.bytes_discarded += len(piece)
        if not self._started:
            self._started = True
            events.append(BadFrame(BadReason.RESYNC, without_xor(piece[:KEPT_OCTETS])))
            return
        self.counters.frames_bad += 1
        self._bad_run += 1
        if self._bad_run <= RUN_EVENTS:
            events.append(BadFrame(reason, without_xor(piece[:KEPT_OCTETS])))
