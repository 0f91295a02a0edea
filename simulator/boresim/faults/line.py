"""What can go wrong with the cable."""

from __future__ import annotations

from boresim.faults.fault import Fault

__all__ = ["LINE"]

LINE: tuple[Fault, ...] = ()
