"""What is wrong with one simulated rig now, and what is going to be.

A fault begins at a scan: at the one at which it is told to, or at the first one after_s behind its moment. Moments are seen in the
valves, which change only at scans; so the rig's octets do not depend on how time is cut.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf
from typing import TYPE_CHECKING

from boresim.faults import Fault, Moment, fault_named
from boresim.scenario import Scenario

if TYPE_CHECKING:
    from boresim.rig import SimRig

__all__ = ["FaultBoard"]


@dataclass(slots=True)
class _Armed:
    """A fault that waits for its moment, and what the valves have done since it was armed."""

    fault: Fault
    moment: Moment
    after_s: float
    supply_was_open: bool
    vent_was_open: bool
    openings: int = 0
    due_s: float = inf

    def look(self, supply_open: bool, vent_open: bool, hand_valves: bool) -> bool:
        """Takes in how the valves stand now. True when this is the moment."""
        opens, closes = supply_open and not self.supply_was_open, self.vent_was_open and not vent_open
        shuts = self.supply_was_open and not supply_open
        vents = vent_open and not self.vent_was_open
        self.supply_was_open, self.vent_was_open = supply_open, vent_open
        self.openings += opens
        full = self.openings >= (1 if hand_valves else 2)
        match self.moment:
            case Moment.START:
                return True
            case Moment.SQUEEZE:
                return closes and not supply_open and not self.openings
            case Moment.PUFF:
                return opens
            case Moment.FULL:
                return opens and full
            case Moment.DECAY:
                return full and shuts and not vent_open
            case Moment.VENT:
                return full and (vents or shuts) and vent_open and not supply_open


@dataclass(slots=True)
class _Again:
    """What a fault that is on does again and again."""

    period_s: float
    act: Callable[[], None]
    due_s: float


@dataclass(slots=True)
class _On:
    """What belongs to a fault that has begun."""

    fault: Fault
    again: list[_Again] = field(default_factory=list)


class FaultBoard:
    """The faults of one rig. The rig calls `look` at a scan whenever `waiting` is true, and at the latest at `due_s`."""

    def __init__(self, rig: SimRig) -> None:
        self._rig = rig
        self._on: dict[str, _On] = {}
        self._armed: dict[str, _Armed] = {}
        self._changes: dict[str, Callable[[Scenario], Scenario]] = {}
        self.waiting = False
        """Whether anything waits for a moment or a time."""
        self.due_s: float | None = None
        """Virtual time of the next thing of which the time is known."""

    @property
    def active(self) -> tuple[str, ...]:
        """The names of the faults that are on, in the order in which they began."""
        return tuple(self._on)

    @property
    def armed(self) -> tuple[str, ...]:
        """The names of the faults that wait for their moments."""
        return tuple(self._armed)

    def begin(self, name: str) -> None:
        """It goes wrong now. Raises ValueError for a name that no fault has, or that is on, or where it cannot be."""
        fault = fault_named(name)
        if name in self._on:
            raise ValueError(f"the fault {name} is on already; end it first")
        self._armed.pop(name, None)
        self._on[name] = _On(fault)
        try:
            fault.begin(self._rig)
        except ValueError:
            del self._on[name]
            raise
        finally:
            self._plan()

    def end(self, name: str) -> None:
        """All is well again with that; a fault that was only armed will not come. Raises ValueError for one that is neither."""
        fault = fault_named(name)
        if self._armed.pop(name, None) is None and name not in self._on:
            raise ValueError(f"the fault {name} is not on")
        if self._on.pop(name, None) is not None:
            fault.end(self._rig)
        self._plan()

    def arm(self, name: str, at: Moment | None = None, after_s: float | None = None) -> None:
        """It goes wrong at its moment, or at another one; moments count from now on. Raises ValueError as begin."""
        fault = fault_named(name)
        if name in self._on:
            raise ValueError(f"the fault {name} is on already; end it first")
        plant = self._rig.plant
        self._armed[name] = _Armed(
            fault, at or fault.moment, fault.after_s if after_s is None else after_s, plant.supply_open, plant.vent_open
        )
        self._plan()

    def look(self, now_s: float) -> None:
        """See what the valves have done, and do what is due. now_s: virtual time of the scan."""
        plant = self._rig.plant
        for name, armed in list(self._armed.items()):
            if armed.look(plant.supply_open, plant.vent_open, plant.hand_valves) and armed.due_s == inf:
                armed.due_s = now_s + armed.after_s
            if armed.due_s <= now_s:
                self.begin(name)
        for on in list(self._on.values()):
            for again in on.again:
                while again.due_s <= now_s:
                    again.due_s += again.period_s
                    again.act()
        self._plan()

    def _plan(self) -> None:
        due = [armed.due_s for armed in self._armed.values() if armed.due_s < inf]
        due += [again.due_s for on in self._on.values() for again in on.again]
        self.due_s = min(due, default=None)
        self.waiting = bool(self._armed) or bool(due)

    # ------------------------------------------------------------------ what rows do

    def again(self, name: str, period_s: float, act: Callable[[], None]) -> None:
        """A fault that is being begun does this each period_s, until it ends."""
        self._on[name].again.append(_Again(period_s, act, self._rig.scan_s + period_s))
        self._plan()

    def alter(self, name: str, change: Callable[[Scenario], Scenario]) -> None:
        """The plant becomes that of a changed scenario, from now on, until put_right. Changes of several faults add up."""
        self._changes[name] = change
        self._become()

    def put_right(self, name: str) -> None:
        """A change is undone."""
        del self._changes[name]
        self._become()

    def _become(self) -> None:
        scenario = self._rig.scenario
        for change in self._changes.values():
            scenario = change(scenario)
        self._rig.become(scenario)
