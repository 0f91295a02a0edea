"""Frames: checksum, the XOR that makes zeros rare, COBS. Octets in, octets out.

A frame on the line is 0x00, the COBS form of every payload octet XOR 0xF5, 0x00. The payload is the type octet, the body and the
CRC-16/IBM-3740 of both, little-endian. At most 253 octets of payload, so that COBS never needs the code 0xFF.
"""

from __future__ import annotations

from binascii import crc_hqx
from typing import Final

from borewire.bad import BadReason, FrameError

__all__ = [
    "DELIMITER",
    "MAX_BODY",
    "MAX_PAYLOAD",
    "MAX_STUFFED",
    "MIN_STUFFED",
    "checked_payload",
    "checksum",
    "frame_of",
    "payload_of",
    "stuff",
    "unstuff",
    "without_xor",
]

MAX_PAYLOAD: Final = 253
MAX_BODY: Final = MAX_PAYLOAD - 3
MAX_STUFFED: Final = MAX_PAYLOAD + 1
MIN_PAYLOAD: Final = 3
MIN_STUFFED: Final = MIN_PAYLOAD + 1

DELIMITER: Final = b"\xf5"  # the zero between two frames, when the XOR has been taken off everything

_XOR: Final = bytes(octet ^ 0xF5 for octet in range(256))
_CODE_ONE: Final = bytes((1 ^ 0xF5,))


def checksum(octets: bytes) -> int:
    """CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, not reflected, no final XOR.

    >>> hex(checksum(b"123456789"))
    '0x29b1'
    """
    return crc_hqx(octets, 0xFFFF)


def stuff(octets: bytes) -> bytes:
    """The COBS form of at most 253 octets: no zero in it. Raises ValueError when there are more.

    >>> stuff(bytes([0x11, 0x00, 0x22])).hex()
    '02110222'
    """
    if len(octets) > MAX_PAYLOAD:
        raise ValueError(f"a payload of {len(octets)} octets does not fit into a frame, which takes at most {MAX_PAYLOAD}")
    return b"".join([bytes((len(run) + 1,)) + run for run in octets.split(b"\x00")])


def unstuff(stuffed: bytes) -> bytes:
    """The octets behind a COBS form that holds no zero. Raises FrameError when a code is 0xFF or points past the end.

    >>> unstuff(bytes.fromhex("02110222")).hex()
    '110022'
    """
    octets = _unstuffed(stuffed.translate(_XOR))
    if octets is None:
        raise FrameError(BadReason.STUFFING)
    return octets.translate(_XOR)


def _unstuffed(piece: bytes) -> bytes | None:
    """The payload behind a COBS form, both already without the XOR; None when a code is 0xFF or points past the end."""
    end = len(piece)
    payload = bytearray(piece)
    at = 0
    while at < end:
        code = piece[at] ^ 0xF5
        if code == 1:  # zeros that follow each other are stepped over at once
            at_next = end - len(piece[at:].lstrip(_CODE_ONE))
            payload[at:at_next] = DELIMITER * (at_next - at)
            at = at_next
        else:
            payload[at] = 0xF5
            at += code
            if at > end or code == 0xFF:
                return None
    return bytes(payload[1:])


def frame_of(type_number: int, body: bytes) -> bytes:
    """The whole frame of a message, with a 0x00 before and after. Raises ValueError when the body is longer than 250 octets.

    >>> frame_of(0x09, b"").hex(" ")
    '00 04 fc 2c 85 00'
    """
    content = bytes((type_number,)) + body
    return b"\x00" + stuff((content + crc_hqx(content, 0xFFFF).to_bytes(2, "little")).translate(_XOR)) + b"\x00"


def payload_of(stuffed: bytes) -> bytes:
    """The type octet and the body out of what stood between two zeros. Raises FrameError when the frame is bad.

    >>> payload_of(bytes.fromhex("04fc2c85")).hex()
    '09'
    """
    found = checked_payload(stuffed.translate(_XOR))
    if isinstance(found, BadReason):
        raise FrameError(found)
    return found[:-2]


def without_xor(octets: bytes) -> bytes:
    """Octets of the line with the XOR taken off, or put back; a zero of the line becomes DELIMITER and nothing else does."""
    return octets.translate(_XOR)


def checked_payload(piece: bytes) -> bytes | BadReason:
    """Type octet, body and checksum out of a piece between two delimiters, the XOR taken off; or what is wrong with it.

    Nothing is raised, because noise is full of what is wrong and raising is slow.
    """
    length = len(piece)
    if length < MIN_STUFFED:
        return BadReason.TOO_SHORT
    if length > MAX_STUFFED:
        return BadReason.TOO_LONG
    # nearly every frame is one single COBS run, because the XOR makes zeros rare
    payload = piece[1:] if piece[0] ^ 0xF5 == length else _unstuffed(piece)
    if payload is None:
        return BadReason.STUFFING
    if crc_hqx(payload[:-2], 0xFFFF) != payload[-2] | payload[-1] << 8:
        return BadReason.CHECKSUM
    return payload
