"""What the host needs of anything that bytes go through."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

__all__ = ["Endpoint"]


@runtime_checkable
class Endpoint(Protocol):
    """A byte stream to a rig: a serial port, a socket, the simulated rig, a wire log that is played back.

    timeout: the longest that read waits, in seconds of monotonic(). The far end's silence is an empty read; its end is an OSError
    or a LinkError, raised by read and write alike.
    """

    timeout: float | None

    def read(self, size: int, /) -> bytes:
        """At most size bytes; fewer, or none, when the timeout is over."""
        ...

    def write(self, data: bytes, /) -> int | None:
        """Send the bytes."""
        ...

    def close(self) -> None:
        """End it. Closing twice does nothing."""
        ...

    def monotonic(self) -> float:
        """The clock that the host's own times are taken from, in seconds: real for real ports, virtual for the simulated rig."""
        ...
