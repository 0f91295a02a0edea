"""What the rows of more than one level are made of."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from boresim.faults.fault import Fault, Level, Moment, Outcome

if TYPE_CHECKING:
    from boresim.rig import SimRig

__all__ = ["MISSING", "Act", "of_octets", "passed"]

Act = Callable[["SimRig"], None]

MISSING = "samples are missing while air was on"


def passed(_rig: SimRig) -> None:
    """The end of what is over as soon as it has happened."""


def of_octets(
    level: Level,
    name: str,
    what: str,
    moment: Moment,
    acts: tuple[Act, Act],
    outcome: Outcome,
    sees: str = "",
    record: str = "",
    *,
    after_s: float = 0.0,
) -> Fault:
    """A row of the cable or of what the device says; they are played in cylinder 1 of one scenario. acts: its begin and its end."""
    begin, end = acts
    return Fault(name, level, what, moment, after_s, begin, end, "hillclimb-before", 1907, 1, sees, outcome, record)
