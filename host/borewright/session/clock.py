"""The one place where device ticks and other wrapping counters are unwrapped."""

from __future__ import annotations

__all__ = ["unwrap"]


def unwrap(wrapped: int, bits: int, near: int | None) -> int:
    """The whole number whose low bits are `wrapped` and that lies nearest to `near`.

    wrapped: what came over the wire, 0 to 2**bits − 1. near: the last unwrapped value; None for the first, which is taken as it is.

    >>> unwrap(5, 32, 4294967290), unwrap(4294967290, 32, 4294967301), unwrap(7, 16, None)
    (4294967301, 4294967290, 7)
    """
    if near is None:
        return wrapped
    turn = 1 << bits
    difference = (wrapped - near) % turn
    if difference >= turn // 2:
        difference -= turn
    return near + difference
