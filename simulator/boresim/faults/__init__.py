"""What can go wrong with the rig, row by row, and the board that plays it at one simulated rig.

>>> from boresim.rig import SimRig
>>> from boresim.scenario import load_scenario
>>> rig = SimRig(load_scenario("hillclimb-before"))
>>> rig.faults.begin("leak-step"); rig.faults.active
('leak-step',)
"""

from __future__ import annotations

from boresim.faults.electrical import ELECTRICAL
from boresim.faults.fault import Fault, Level, Moment, Outcome
from boresim.faults.line import LINE
from boresim.faults.physical import PHYSICAL
from boresim.faults.protocol import PROTOCOL

__all__ = ["FAULTS", "Fault", "Level", "Moment", "Outcome", "fault_named"]

FAULTS: tuple[Fault, ...] = (*PHYSICAL, *ELECTRICAL, *LINE, *PROTOCOL)
_BY_NAME = {fault.name: fault for fault in FAULTS}


def fault_named(name: str) -> Fault:
    """The row of that name. Raises ValueError when there is none."""
    if name not in _BY_NAME:
        raise ValueError(f"there is no fault {name!r}; choose from {', '.join(_BY_NAME)}")
    return _BY_NAME[name]
