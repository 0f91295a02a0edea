"""What can go wrong with the messages of the device."""

from __future__ import annotations

from boresim.faults.fault import Fault

__all__ = ["PROTOCOL"]

PROTOCOL: tuple[Fault, ...] = ()
