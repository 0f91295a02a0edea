"""What can go wrong with engine, air and crank."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from boresim.faults.fault import Fault, Level, Moment, Outcome
from boresim.scenario import Leak, Scenario

if TYPE_CHECKING:
    from boresim.rig import SimRig

__all__ = ["PHYSICAL"]

LEAK_STEP_M2 = 0.4e-6


def _leak(scenario: Scenario, cylinder: int, place: str, area_m2: float) -> Scenario:
    """One more way out of a cylinder."""
    new = Leak(place, area_m2, 0.0, 0.0, 1.0, None)
    return replace(scenario, leaks={**scenario.leaks, cylinder: (*scenario.leaks[cylinder], new)})


def _hose_cylinder(rig: SimRig) -> int:
    hose = rig.plant.hose_at
    return hose if isinstance(hose, int) else rig.scenario.engine.firing_order[0]


def _leak_opens(rig: SimRig) -> None:
    cylinder = _hose_cylinder(rig)
    rig.faults.alter("leak-step", lambda scenario: _leak(scenario, cylinder, "exhaust", LEAK_STEP_M2))


PHYSICAL: tuple[Fault, ...] = (
    Fault(
        name="leak-step",
        level=Level.PHYSICAL,
        what="A leak opens at the exhaust valve while the pressure stands.",
        moment=Moment.FULL,
        after_s=2.0,
        begin=_leak_opens,
        end=lambda rig: rig.faults.put_right("leak-step"),
        scenario="hillclimb-before",
        seed=1907,
        cylinder=1,
        sees="do not follow those of a leaking volume",
        outcome=Outcome.MARKED,
        record="do not follow those of a leaking volume",
    ),
)
