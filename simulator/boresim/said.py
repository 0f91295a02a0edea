"""What can be wrong with what a device says and understands: its messages are changed, held back or added to on their way.

Rewriting depends on the messages alone, which do not depend on how time is cut, so neither do the octets.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from borewire.codec import Decoder, Received, encode
from borewire.messages import ToHost

__all__ = ["Rewrite", "Said", "Understood"]

Rewrite = Callable[[ToHost], Iterable[ToHost | bytes]]
"""A message in; what goes out instead, messages or whole frames as octets."""

Understood = Callable[[Received], Iterable[Received]]
"""What was heard in; what is understood instead."""


class Said:
    """What is wrong with a device's words, by the name of the fault. While both are empty nobody asks it anything.

    >>> from borewire.messages import AirEvent, AirState, Cause
    >>> said = Said()
    >>> said.out["twice"] = lambda message: (message, message)
    >>> frame = encode(AirEvent(7, AirState.VENTED, Cause.POWER_UP, 0, 0))
    >>> said.rewritten(frame) == frame + frame
    True
    """

    def __init__(self) -> None:
        self.out: dict[str, Rewrite] = {}
        self.into: dict[str, Understood] = {}

    def rewritten(self, frame: bytes) -> bytes:
        """What goes out instead of one whole frame."""
        said: list[ToHost | bytes] = [message for message in Decoder("host").feed(b"\x00" + frame) if isinstance(message, ToHost)]
        for rewrite in self.out.values():
            said = [new for one in said for new in ((one,) if isinstance(one, bytes) else rewrite(one))]
        return b"".join(one if isinstance(one, bytes) else encode(one) for one in said)

    def understood(self, heard: Iterable[Received]) -> list[Received]:
        """What the device takes from what its decoder gave."""
        taken = list(heard)
        for understand in self.into.values():
            taken = [new for one in taken for new in understand(one)]
        return taken
