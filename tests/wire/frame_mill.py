"""Draws messages and octets of the line at random: whole frames of every message, frames changed in many ways, garbage."""

from __future__ import annotations

import random
import struct
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import borewire.messages as wire
from borewire.codec import encode
from borewire.framing import MAX_BODY, frame_of, payload_of
from borewire.messages import TYPES_TO_DEVICE, TYPES_TO_HOST, Message
from borewire.table import Field, parse_table

Side = Literal["device", "host"]

_TABLE = parse_table(
    tomllib.loads((Path(__file__).resolve().parents[2] / "firmware_protocol" / "messages.toml").read_text("utf-8"))
)
_BITS = {"u8": 8, "u16": 16, "u32": 32, "i8": 8, "i16": 16, "i32": 32}
_LETTERS = "a7 .\x00\x7f\u0080é\u07ff\u0800€\ud7ff\ue000\uffff\U00010000𝄞\U0010ffff"
_UTF8_OCTETS = bytes.fromhex("7f80858f909fa0bfc0c1c2dfe0e1edeef0f1f4f5ff")
_SIDES: tuple[Side, Side] = ("device", "host")
_TYPES = {"device": tuple(TYPES_TO_DEVICE), "host": tuple(TYPES_TO_HOST)}


class Mill:
    """All that it gives depends on the seed alone."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)
        self._rows = {row.type: (getattr(wire, row.name), [self._drawer(field) for field in row.fields]) for row in _TABLE.messages}
        self._changes: tuple[Callable[[bytes], bytes], ...] = (
            bytes,
            bytes,
            self._flip_bits,
            self._flip_bits,
            self._set_octets,
            self._drop,
            self._insert,
            self._double,
            self._cut,
            self._begin_late,
            self._swap,
            self._two,
            self._body_changed,
            self._body_changed,
            self._body_changed,
            self._body_changed_at_the_start,
            self._body_of_other_type,
            self._garbage,
            self._too_long,
        )

    def message(self, side: Side) -> Message:
        """A message that can be sent to that side."""
        kind, drawers = self._rows[self._random.choice(_TYPES[side])]
        if kind is wire.SampleBlock:
            return self._sample_block()
        message: Message = kind(*[draw() for draw in drawers])
        return message

    def spoilt_message(self, side: Side) -> Message:
        """The same, but one field of it may hold a number that its place has room for and the table does not allow."""
        message = self.message(side)
        row = next(row for row in _TABLE.messages if row.type == message.TYPE)
        values = {field.name: getattr(message, field.name) for field in row.fields}
        numbers = [field for field in row.fields if field.type in ("u8", "u16") or _TABLE.words_named(field.type) is not None]
        if numbers:
            field = self._random.choice(numbers)
            words = _TABLE.words_named(field.type)
            values[field.name] = self._random.getrandbits(_BITS[words.base if words is not None else field.type])
        spoilt: Message = type(message)(**values)
        return spoilt

    def case(self) -> tuple[Side, bytes]:
        """A side and octets that come to it: mostly one frame, changed or not."""
        side = self._random.choice(_SIDES)
        frame = encode(self.message(side if self._random.random() < 0.95 else self._random.choice(_SIDES)))
        return side, self._random.choice(self._changes)(frame)

    def content(self) -> tuple[Side, bytes]:
        """A side and the type number and body of a message to it, changed or not."""
        side = self._random.choice(_SIDES)
        return side, payload_of(self._body_changed(encode(self.message(side)))[1:-1])

    def _drawer(self, field: Field) -> Callable[[], Any]:
        draw = self._random
        words = _TABLE.words_named(field.type)
        if words is not None:
            kind = getattr(wire, words.name)
            mask = sum(1 << bit for _, bit in words.members)
            members = list(kind)
            return (lambda: kind(draw.getrandbits(32) & mask)) if words.is_flags else (lambda: draw.choice(members))
        if field.type == "f32":
            return self._finite
        if field.type == "text":
            return lambda: self._text(field.max_length or 0)
        if field.type in ("octets", "rest"):
            return lambda: draw.randbytes(self._length(field.max_length or 0))
        bits = _BITS[field.type]
        low = 0 if field.type.startswith("u") else -(1 << bits - 1)
        low, high = max(low, field.minimum or low), low + (1 << bits) - 1
        high = high if field.maximum is None else field.maximum
        edges = [value for value in (low, low + 1, 0, 1, 0xF5, 0xF5F5, 0xF5F5F5F5, high - 1, high) if low <= value <= high]
        return lambda: draw.choice(edges) if draw.random() < 0.5 else draw.randint(low, high)

    def _length(self, longest: int) -> int:
        return self._random.choice((0, 1, longest - 1, longest, self._random.randint(0, longest)))

    def _finite(self) -> float:
        while True:
            bits = self._random.getrandbits(32)
            if bits & 0x7F800000 != 0x7F800000:
                value: float = struct.unpack("<f", bits.to_bytes(4, "little"))[0]
                return value

    def _text(self, longest: int) -> str:
        text = "".join(self._random.choices(_LETTERS, k=self._length(longest)))
        while len(text.encode()) > longest:
            text = text[: len(text) // 2]
        return text

    def _sample_block(self) -> Message:
        sequence, tick, index, flags = (draw() for draw in self._rows[wire.SampleBlock.TYPE][1][:4])
        while True:
            samples, channels = self._random.randint(1, 39), self._random.randint(1, 40)
            if 14 + samples * (4 + 2 * channels) <= MAX_BODY:
                octets = self._random.randbytes(samples * (4 + 2 * channels))
                return wire.SampleBlock(sequence, tick, index, flags, samples, channels, octets)

    # ---- ways in which a line or a stranger's codec changes a frame ----

    def _at(self, frame: bytes) -> int:
        return self._random.randrange(len(frame))

    def _flip_bits(self, frame: bytes) -> bytes:
        changed = bytearray(frame)
        for _ in range(self._random.choice((1, 1, 2, 3))):
            changed[self._at(frame)] ^= 1 << self._random.randrange(8)
        return bytes(changed)

    def _set_octets(self, frame: bytes) -> bytes:
        changed = bytearray(frame)
        for _ in range(self._random.choice((1, 1, 2, 5))):
            changed[self._at(frame)] = self._random.choice((0, 1, 0xF5, 0xFE, 0xFF, self._random.randrange(256)))
        return bytes(changed)

    def _drop(self, frame: bytes) -> bytes:
        at = self._at(frame)
        return frame[:at] + frame[at + self._random.choice((1, 1, 2, 8)) :]

    def _insert(self, frame: bytes) -> bytes:
        at = self._at(frame)
        return frame[:at] + self._random.choice((b"\0", b"\xf5", self._random.randbytes(self._random.randint(1, 4)))) + frame[at:]

    def _double(self, frame: bytes) -> bytes:
        at = self._at(frame)
        end = at + self._random.choice((1, 1, 2, 8))
        return frame[:end] + frame[at:]

    def _cut(self, frame: bytes) -> bytes:
        return frame[: self._at(frame)] + b"\0"

    def _begin_late(self, frame: bytes) -> bytes:
        return frame[self._at(frame) :] + frame[self._random.randrange(2) :]

    def _swap(self, frame: bytes) -> bytes:
        at = self._random.randrange(len(frame) - 1)
        return frame[:at] + frame[at + 1 : at + 2] + frame[at : at + 1] + frame[at + 2 :]

    def _two(self, frame: bytes) -> bytes:
        return frame[:-1] + encode(self.message(self._random.choice(_SIDES)))

    def _body_changed(self, frame: bytes) -> bytes:
        """A frame with a good checksum whose body is not as the table says, or is by luck."""
        number, *octets = payload_of(frame[1:-1])
        body = bytearray(octets)
        for _ in range(self._random.choice((1, 1, 1, 2, 4))):
            kind = self._random.randrange(5) if body else 4
            at = self._random.randrange(len(body)) if body else 0
            if kind == 0:
                body[at] = self._random.randrange(256)
            elif kind == 1:
                body[at] = self._random.choice(_UTF8_OCTETS)
            elif kind == 2:
                body[at] ^= 1 << self._random.randrange(8)
            elif kind == 3:
                del body[at : at + self._random.choice((1, 1, 4))]
            else:
                body[at:at] = self._random.randbytes(1)
        return frame_of(number, bytes(body[:MAX_BODY]))

    def _body_changed_at_the_start(self, frame: bytes) -> bytes:
        """The same without the first zero: when its body is bad it is a cut frame."""
        return self._body_changed(frame)[1:] + frame

    def _body_of_other_type(self, frame: bytes) -> bytes:
        return frame_of(self._random.randrange(256), payload_of(frame[1:-1])[1:])

    def _garbage(self, frame: bytes) -> bytes:
        few = bytes(self._random.choices(b"\0\0\1\2\4\xf5\xff", k=self._random.randint(1, 24)))
        return self._random.choice((few, self._random.randbytes(self._random.randint(1, 24)))) + frame

    def _too_long(self, frame: bytes) -> bytes:
        octets = bytes(self._random.choices(range(1, 256), k=self._random.choice((250, 253, 254, 255, 256, 300, 600))))
        return frame[: self._random.randrange(2)] + octets + self._random.choice((b"\0", b"", frame))
