"""The date in virtual time, for a record that is made faster than the days go by."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["VirtualClock"]


class VirtualClock:
    """Seconds since 1970: the date of the beginning, and what has passed at the rig since then.

    >>> clock = VirtualClock(1.8e9)
    >>> clock.follow(lambda: 12.5)
    >>> clock() - 1.8e9
    0.0
    """

    def __init__(self, unix_s: float) -> None:
        self._unix_s = unix_s
        self._monotonic: Callable[[], float] = lambda: 0.0
        self._began_s = 0.0

    def follow(self, monotonic: Callable[[], float]) -> None:
        """From now on go with this rig's time; what it shows now is the present moment."""
        self._unix_s, self._monotonic, self._began_s = self(), monotonic, monotonic()

    def go_to(self, unix_s: float) -> None:
        """It is another day, later or earlier."""
        self._unix_s += unix_s - self()

    def __call__(self) -> float:
        """Now."""
        return self._unix_s + self._monotonic() - self._began_s
