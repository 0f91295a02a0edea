"""How far a person has come in finding true TDC without a piston stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.service.acts import BeginTdcWay

__all__ = ["TdcWay"]

DIAL_GAUGE_PAIRS = 2


@dataclass(frozen=True, slots=True)
class TdcWay:
    """The procedure so far. act: as it was begun. counts: of the crank at each reading. cleared: gauge or pin is out of the way.

    >>> way = TdcWay(BeginTdcWay("timing_mark", 1, 0.0))
    >>> way.prompt, way.step
    ('Turn the crank by hand in the running direction until the timing mark stands at its pointer.', 'readings')
    >>> TdcWay(way.act, counts=(4,)).step
    'done'
    """

    act: BeginTdcWay
    counts: tuple[int, ...] = ()
    cleared: bool = False

    @property
    def step(self) -> Literal["readings", "clear", "done"]:
        """What comes next."""
        needed = 2 * DIAL_GAUGE_PAIRS if self.act.method == "dial_gauge" else 1
        if len(self.counts) < needed:
            return "readings"
        return "done" if self.cleared or self.act.method == "timing_mark" else "clear"

    @property
    def prompt(self) -> str:
        """What the person is asked to do now, in one sentence."""
        if self.step == "clear":
            what = "dial gauge off the cylinder" if self.act.method == "dial_gauge" else "locking pin out"
            return f"Take the {what} and say so; the crank must not be turned on before."
        match self.act.method:
            case "timing_mark":
                return "Turn the crank by hand in the running direction until the timing mark stands at its pointer."
            case "locking_pin":
                return "Turn the crank by hand in the running direction until the locking pin goes in."
        drop = f"{self.act.figure * 1e3:g} mm below the top"
        if len(self.counts) % 2:
            return f"Turn on in the running direction, over the top, until the dial gauge shows {drop} again."
        again = "Turn back half a turn, then up again" if self.counts else "Turn the crank by hand"
        return f"{again} in the running direction until the dial gauge shows {drop}, before the top."

    @property
    def in_the_way(self) -> bool:
        """Whether something holds the crank or stands in the cylinder that must be out before air."""
        return bool(self.counts) and not self.cleared and self.act.method != "timing_mark"
