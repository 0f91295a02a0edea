"""What can go wrong with the electronics: transducers, converter, encoder, clock."""

from __future__ import annotations

from boresim.faults.fault import Fault

__all__ = ["ELECTRICAL"]

ELECTRICAL: tuple[Fault, ...] = ()
