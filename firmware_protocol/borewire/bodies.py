"""Small parts of bodies that the generated message classes share."""

from __future__ import annotations

from borewire.bad import BadReason, FrameError

__all__ = ["octets_at", "put_octets", "text_of"]


def octets_at(body: bytes, at: int, max_length: int) -> bytes:
    """The octets of a length-prefixed field that starts at `at`. Raises FrameError when they are too many or run past the end.

    >>> octets_at(bytes([2, 65, 66]), 0, 8)
    b'AB'
    """
    if at >= len(body):
        raise FrameError(BadReason.LENGTH)
    length = body[at]
    if length > max_length:
        raise FrameError(BadReason.VALUE)
    if at + 1 + length > len(body):
        raise FrameError(BadReason.LENGTH)
    return body[at + 1 : at + 1 + length]


def text_of(octets: bytes) -> str:
    """UTF-8 text. Raises FrameError when the octets are not UTF-8.

    >>> text_of(b"rig 7")
    'rig 7'
    """
    try:
        text = octets.decode("utf-8")
    except UnicodeDecodeError:
        raise FrameError(BadReason.TEXT) from None
    return text


def put_octets(octets: bytes, max_length: int, where: str) -> bytes:
    """A length-prefixed field. Raises ValueError, naming `where`, when there are too many octets.

    >>> put_octets(b"AB", 8, "EchoRequest.octets")
    b'\\x02AB'
    """
    if len(octets) > max_length:
        raise ValueError(f"{where}: {len(octets)} octets, but at most {max_length} are allowed")
    return bytes((len(octets),)) + octets
