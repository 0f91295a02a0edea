"""Where the station finds a rig: at a port, or built into the program."""

from __future__ import annotations

from typing import Protocol

from borewright.link import Endpoint, open_link

__all__ = ["PortSource", "Source"]


class Source(Protocol):
    """Where a rig is to be had. All of it is called in the station's thread only."""

    @property
    def name(self) -> str:
        """For the person: the port, or what the built-in rig is called."""
        ...

    def open(self) -> Endpoint:
        """A fresh endpoint to the rig. Raises LinkError when it is not to be had now; the station asks again."""
        ...

    def view(self) -> object | None:
        """What can be seen at the rig, frozen: Snapshot.rig. None for a real one, which the person sees for themselves."""
        ...

    def do(self, words: str) -> str:
        """Do at the rig what these words of its person say: "ok …", or "no: …" with the reason."""
        ...


class PortSource:
    """A rig at a port: a name, a pseudo-terminal, or socket://HOST:PORT.

    >>> PortSource("/dev/ttyACM0").do("supply open")
    'no: supply open has to be done at the rig itself'
    """

    def __init__(self, url: str) -> None:
        self.name = url

    def open(self) -> Endpoint:
        """Open the port. Raises LinkError."""
        return open_link(self.name)

    def view(self) -> object | None:
        """Nothing: the person stands before it."""
        return None

    def do(self, words: str) -> str:
        """Nothing can be done from here at a real rig."""
        return f"no: {words} has to be done at the rig itself"
