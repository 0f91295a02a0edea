"""Wire logs: what went over the line, with its time, so that it can be played back through the whole host or read in words.

A log is text, one record a line, so that a cut end costs one record and a person can read it:

    borewire-log 1 protocol 1.0 schema 1A2B3C4D
    < 0.012345678 0004fc2c8500
    > 0.020000000 0004fc...

The first line says the log's own version and the sender's protocol and schema. `<` is to the host, `>` to the device; then
seconds of a monotonic clock; then the octets as they came in one read or went out in one write, in hex.

    ValueError
    └── WireLogError    one sentence: what is wrong with the log, and in which line
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from enum import Enum, Flag
from typing import Final, Literal, TextIO

from borewire.codec import BadFrame, Received, UnknownMessage
from borewire.messages import PROTOCOL_MAJOR, PROTOCOL_MINOR, SCHEMA_FINGERPRINT

__all__ = ["Direction", "WireLogError", "WireLogWriter", "WireRecord", "read_wire_log", "words"]

Direction = Literal["to_host", "to_device"]

VERSION: Final = 1
_MARKS: Final[dict[Direction, str]] = {"to_host": "<", "to_device": ">"}
_DIRECTIONS: Final[dict[str, Direction]] = {"<": "to_host", ">": "to_device"}
_HEAD: Final = re.compile(r"borewire-log (\d+) .*\n", re.ASCII)
_RECORD: Final = re.compile(r"([<>]) (\d+\.\d{9}) ((?:[0-9a-f]{2})+)\n", re.ASCII)


class WireLogError(ValueError):
    """A file that is no wire log, or one with a damaged line before its end."""


@dataclass(frozen=True, slots=True)
class WireRecord:
    """Octets that went one way at one moment. t_s: seconds of the recorder's monotonic clock, from an origin of its own."""

    direction: Direction
    t_s: float
    data: bytes


class WireLogWriter:
    """Writes a log to an open text file; whoever opened the file closes it.

    >>> from io import StringIO
    >>> file = StringIO()
    >>> log = WireLogWriter(file)
    >>> log.write("to_device", 1.5, bytes.fromhex("0004fc2c8500"))
    >>> file.getvalue().splitlines()[1]
    '> 1.500000000 0004fc2c8500'
    """

    def __init__(self, file: TextIO) -> None:
        self._file = file
        file.write(f"borewire-log {VERSION} protocol {PROTOCOL_MAJOR}.{PROTOCOL_MINOR} schema {SCHEMA_FINGERPRINT:08X}\n")

    def write(self, direction: Direction, t_s: float, data: bytes) -> None:
        """Adds one record; no octets, no record. Raises ValueError when t_s is negative, and what the file raises."""
        if t_s < 0:
            raise ValueError(f"t_s: {t_s} is negative; a monotonic clock starts at 0 or later")
        if data:
            self._file.write(f"{_MARKS[direction]} {t_s:.9f} {data.hex()}\n")


def read_wire_log(file: TextIO) -> Iterator[WireRecord]:
    """The records of a log in their order. A last line that was cut off by a crash is left out.

    Raises WireLogError for a file that is no log, a log of a newer version, or a damaged line before the end.

    >>> from io import StringIO
    >>> text = "borewire-log 1 protocol 1.0 schema 00000000\\n< 0.250000000 00\\n< 0.3000"
    >>> list(read_wire_log(StringIO(text)))
    [WireRecord(direction='to_host', t_s=0.25, data=b'\\x00')]
    """
    head = _HEAD.fullmatch(_line(file))
    if head is None:
        raise WireLogError("this is not a wire log: its first line is another; choose a file that wire record has written")
    if int(head[1]) != VERSION:
        raise WireLogError(f"the log has version {head[1]} and this program reads version {VERSION}; use a program that is as new")
    number = 1
    while line := _line(file):
        number += 1
        record = _RECORD.fullmatch(line)
        if record is not None:
            yield WireRecord(_DIRECTIONS[record[1]], float(record[2]), bytes.fromhex(record[3]))
        elif line.endswith("\n"):
            raise WireLogError(f"line {number} of the log is damaged; cut the log off before it to use what is good")


def _line(file: TextIO) -> str:
    try:
        return file.readline()
    except UnicodeDecodeError:
        raise WireLogError("this is not a wire log: it is not text; choose a file that wire record has written") from None


def words(received: Received) -> str:
    """One line of plain words for whatever a decoder hands out.

    >>> from borewire.messages import AirEvent, AirState, Cause
    >>> words(AirEvent(5, AirState.VENTED, Cause.HOST_SILENT, 3, -12))
    'AirEvent device_tick=5 air=vented cause=host_silent opening_id=3 crank_count=-12'
    """
    if isinstance(received, BadFrame):
        return f"bad frame: {received.reason.value}: {received.octets.hex(' ')}"
    if isinstance(received, UnknownMessage):
        return f"unknown message 0x{received.type:02x} of {len(received.body)} octets: {received.body.hex(' ')}"
    parts = [f"{field.name}={_value_words(getattr(received, field.name))}" for field in fields(received)]
    return " ".join([type(received).__name__, *parts])


def _value_words(value: object) -> str:
    match value:
        case Flag():
            return "+".join(str(member.name).lower() for member in value) or "none"
        case Enum():
            return value.name.lower()
        case bytes():
            return value.hex() or "none"
        case str():
            return repr(value)
        case float():
            return f"{value:.9g}"
        case _:
            return str(value)
