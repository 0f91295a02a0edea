"""The simulated rig as a port whose time goes by the clock, a whole number of times as fast or not: for people who work at it."""

from __future__ import annotations

from collections.abc import Callable

from boresim.any_rig import AnyRig
from boresim.endpoint import SimEndpoint

__all__ = ["Pace", "PacedEndpoint"]

LONGEST_READ_S = 0.015  # of the clock
SLICE_S = 0.064  # of virtual time: after so much at the latest the host is heard again
CATCHES_UP_S = 0.25  # of virtual time: what is lost beyond it (the computer slept) is let go


class Pace:
    """How the time of a rig goes: `speed` virtual seconds for each second of `clock`."""

    def __init__(self, rig: AnyRig, speed: float, clock: Callable[[], float]) -> None:
        self._rig = rig
        self._clock = clock
        self._seen_s = clock()
        self._behind_s = 0.0
        self.speed = speed

    def catch_up(self, longest_s: float = SLICE_S, most_behind_s: float = CATCHES_UP_S) -> None:
        """Let so much virtual time pass as the clock says, longest_s of it at most; what is left is for the next time."""
        now_s = self._clock()
        self._behind_s = min(self._behind_s + max(0.0, now_s - self._seen_s) * self.speed, most_behind_s)
        self._seen_s = now_s
        passes_s = min(self._behind_s, longest_s)
        self._behind_s -= passes_s
        self._rig.advance(passes_s)

    def begin_again(self) -> None:
        """What has passed by the clock up to now does not count."""
        self._seen_s, self._behind_s = self._clock(), 0.0


class PacedEndpoint:
    """A port to a rig that is paced. timeout: seconds of the clock that `read` waits at most, never over 15 ms."""

    def __init__(self, rig: AnyRig, pace: Pace, clock: Callable[[], float], wait: Callable[[float], None]) -> None:
        self._port = SimEndpoint(rig, timeout=0.0)
        self._pace = pace
        self._clock = clock
        self._wait = wait
        self.timeout: float | None = LONGEST_READ_S

    @property
    def is_open(self) -> bool:
        """Whether it has not been closed."""
        return self._port.is_open

    def monotonic(self) -> float:
        """The rig's virtual time."""
        return self._port.monotonic()

    def read(self, size: int, /) -> bytes:
        """What has come, at most `size` octets; waits while nothing has. Raises OSError when it is closed or the cable pulled."""
        longest_s = LONGEST_READ_S if self.timeout is None else min(self.timeout, LONGEST_READ_S)
        until_s = self._clock() + longest_s
        while True:
            self._pace.catch_up()
            data = self._port.read(size)
            left_s = until_s - self._clock()
            if data or left_s <= 0.0:
                return data
            self._wait(left_s)  # in one piece: to wake more often costs more than it brings

    def write(self, data: bytes, /) -> int:
        """Hand octets to the device. Raises OSError when the port is closed or the cable pulled."""
        return self._port.write(data)

    def close(self) -> None:
        """Close the port; the rig goes on."""
        self._port.close()
