"""The simulated rig as a port: the part of a serial port that a host uses, in virtual time and without any thread.

OSError
└── SimPortError    the port is closed, or its cable was pulled
"""

from __future__ import annotations

from boresim.any_rig import AnyRig

__all__ = ["SimEndpoint", "SimPortError"]

SLICE_S = 0.032  # as long as the batches that the rig works in


class SimPortError(OSError):
    """The simulated port is closed, or its cable was pulled."""


class SimEndpoint:
    """A port to a simulated rig. Virtual time passes only while `read` waits.

    timeout: for how many virtual seconds `read` waits at most. `monotonic` is the clock that belongs to this port.

    >>> from boresim.rig import SimRig
    >>> from boresim.scenario import load_scenario
    >>> port = SimEndpoint(SimRig(load_scenario("hillclimb-before")), timeout=0.01)
    >>> len(port.read(4096)) > 0, port.monotonic()
    (True, 0.0)
    >>> port.read(4096), port.monotonic()
    (b'', 0.01)
    """

    def __init__(self, rig: AnyRig, timeout: float = 0.02) -> None:
        self.rig = rig
        self.is_open = True
        self._timeout = 0.0
        self._ready = b""
        self.timeout = timeout

    @property
    def timeout(self) -> float:
        """Virtual seconds that `read` waits at most. Setting it to less than 0 or to nothing raises ValueError."""
        return self._timeout

    @timeout.setter
    def timeout(self, timeout_s: float | None) -> None:
        # waiting for ever would be an endless loop here: nothing but this call moves the time on
        if timeout_s is None or not timeout_s >= 0.0:
            raise ValueError(f"timeout must be a number of seconds from 0 on, not {timeout_s}; say how long to wait")
        self._timeout = timeout_s

    def monotonic(self) -> float:
        """Virtual seconds since the rig was made."""
        return self.rig.now_s

    def read(self, size: int = 1) -> bytes:
        """What is there, at most `size` octets; when nothing is, virtual time passes until something comes or the timeout is over.

        Raises SimPortError when the port is closed or the cable pulled.
        """
        self._check()
        left_s = self._timeout
        self._ready = self._ready or self.rig.transmit()
        while not self._ready and left_s > 0.0:
            slice_s = min(SLICE_S, left_s)
            left_s -= slice_s
            self.rig.advance(slice_s)
            self._check()
            self._ready = self.rig.transmit()
        given, self._ready = self._ready[:size], self._ready[size:]
        return given

    def write(self, data: bytes) -> int:
        """Hand octets to the device; they arrive at once. Raises SimPortError when the port is closed or the cable pulled."""
        self._check()
        self.rig.receive(bytes(data))
        return len(data)

    def close(self) -> None:
        """Close the port; the rig goes on."""
        self.is_open = False

    def _check(self) -> None:
        if not self.is_open:
            raise SimPortError("the port is closed; open it again")
        if not self.rig.plugged:
            raise SimPortError("the rig does not answer any more; check its cable and open the port again")
