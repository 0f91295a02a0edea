"""What every simulated rig can do, whoever is its device: the simulator's own or a firmware that runs beside it."""

from __future__ import annotations

from typing import Protocol

from boresim.operator import Operator, Panel
from boresim.plant import Plant
from boresim.scenario import Scenario

__all__ = ["AnyRig"]


class AnyRig(Panel, Protocol):
    """A rig with its engine and its person in virtual time. Its cable is receive and transmit; advance lets time pass."""

    @property
    def scenario(self) -> Scenario:
        """What it was made from."""

    @property
    def plant(self) -> Plant:
        """Air and crank as they are now."""

    @property
    def operator(self) -> Operator:
        """The person at the rig."""

    @property
    def plugged(self) -> bool:
        """Whether the cable is in."""

    @property
    def powered(self) -> bool:
        """Whether the device has power."""

    @property
    def hold_pressed(self) -> bool:
        """Whether the hold-to-run switch is pressed."""

    @property
    def now_s(self) -> float:
        """Virtual seconds since the rig was made."""

    def advance(self, dt_s: float) -> None:
        """Let virtual time pass. Raises ValueError for a negative or endless time."""

    def receive(self, data: bytes) -> None:
        """Octets from the host; lost while the cable is out or the power off."""

    def transmit(self) -> bytes:
        """The octets for the host since the last call."""
