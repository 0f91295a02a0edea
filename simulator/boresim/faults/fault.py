"""One row of the fault table: what goes wrong, when, where it is played, and what person and record must then show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from boresim.rig import SimRig

__all__ = ["Fault", "Level", "Moment", "Outcome"]


class Level(StrEnum):
    """Where something is wrong: in engine, air and crank; in the electronics; on the cable; in what the device says."""

    PHYSICAL = "physical"
    ELECTRICAL = "electrical"
    LINE = "line"
    PROTOCOL = "protocol"


class Moment(StrEnum):
    """When a fault begins, as the rig itself sees it: its valves are all that is looked at."""

    START = "start"
    """There from the beginning."""
    SQUEEZE = "squeeze"
    """The vent has closed with the supply shut, for the first time."""
    PUFF = "puff"
    """The supply opens for the first time."""
    FULL = "full"
    """The supply opens for the second time: full pressure. On a rig with hand valves there is no puff, so the first time."""
    DECAY = "decay"
    """The supply has shut with the vent closed, after full pressure."""
    VENT = "vent"
    """The vent is open again after full pressure, the supply shut."""


class Outcome(StrEnum):
    """What the record must hold of the test that a fault falls into."""

    NONE = "none"
    """No test is begun: refused before any air, nothing but the refusal."""
    VOID = "void"
    """Kept, void, with the reason."""
    MARKED = "marked"
    """A number with a mark or a contradiction that names the trouble."""
    NUMBER = "number"
    """A number that needs no mark: it lies within its expanded uncertainty of the truth."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that can go wrong.

    name: kebab-case. what: one sentence. after_s: virtual seconds from the moment to its begin. begin and end: what is done to the
    rig, at a scan that does not depend on how time is cut. scenario, seed, cylinder: where the table plays it. sees: a regular
    expression that must be found in what the person is told. record: one that must be found in the reason, the refusal or the
    marks; empty for Outcome.NUMBER.
    """

    name: str
    level: Level
    what: str
    moment: Moment
    after_s: float
    begin: Callable[[SimRig], None]
    end: Callable[[SimRig], None]
    scenario: str
    seed: int
    cylinder: int
    sees: str
    outcome: Outcome
    record: str
