"""What can be wrong with a frame, and the one error of the decoding side.

    Exception
    └── FrameError(reason)    a frame or a body that is not exactly as the message table says

`borewire.codec.Decoder` catches it and hands out a `BadFrame` event; a caller of `decode_body` sees the error itself.
"""

from __future__ import annotations

from enum import Enum

__all__ = ["BadReason", "FrameError"]


class BadReason(Enum):
    """Why a frame was thrown away."""

    RESYNC = "cut at the start of listening"
    TOO_LONG = "more octets than a frame may have"
    TOO_SHORT = "fewer octets than a type and a checksum"
    STUFFING = "a COBS code that is 0xFF or points past the end"
    CHECKSUM = "the checksum does not match"
    LENGTH = "the body is not as long as its message says"
    VALUE = "a value that its field does not allow"
    RESERVED = "a reserved flag bit is set"
    TEXT = "text that is not UTF-8"


class FrameError(Exception):
    """A frame or body is not exactly as the message table says; `reason` tells how."""

    def __init__(self, reason: BadReason) -> None:
        super().__init__(reason.value)
        self.reason = reason
