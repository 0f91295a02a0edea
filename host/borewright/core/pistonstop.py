"""True TDC by piston stop: the crank is turned by hand against a soft stop from both sides, and TDC lies half way between.

With an offset piston pin it lies a little beside that; the engine's geometry says how far, and it is taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import sqrt
from typing import Literal

import numpy as np

from borewright.core.crank import contacts_apart_count, stop_middle_late_deg, true_tdc_count
from borewright.core.engine import Engine
from borewright.core.limits import Limits
from borewright.core.rig import TrueTdc

__all__ = ["WARNINGS", "PistonStop", "StopContact"]

Side = Literal["before", "after"]
Step = Literal["contacts", "remove_stop", "done"]

CORRECTION_U_SHARE = 0.1  # of the correction for an offset pin: tolerances, wear, a rounded figure in the engine file (practice)

WARNINGS: tuple[str, ...] = (
    "Use a stop with a soft end and turn by hand only, never with the starter; a hard stop or force damages the piston.",
    "Take out all plugs, and make sure that ignition, fuel and starter are disabled.",
    "On a four-stroke one contact lies near overlap, where the valves are open: make sure that the stop clears them.",
)


@dataclass(frozen=True, slots=True)
class StopContact:
    """The piston rests against the stop at this count. before: having turned in the running direction; after: against it."""

    count: float
    side: Side


def _pairs(contacts: Sequence[StopContact]) -> tuple[tuple[float, float], ...]:
    before = [contact.count for contact in contacts if contact.side == "before"]
    after = [contact.count for contact in contacts if contact.side == "after"]
    return tuple(zip(before, after, strict=False))


@dataclass(frozen=True, slots=True)
class PistonStop:
    """The procedure, immutable: contacts are taken in turn from both sides, then the stop comes out, then TDC is known.

    backlash_deg: what the person states of the play between crank and encoder, peak to peak. engine: for its pin offset; None takes
    the pin as central.

    >>> stop = PistonStop(cylinder=1, counts_per_rev=1440)
    >>> for count, side in ((1350, "before"), (95, "after"), (1351, "before"), (96, "after")):
    ...     stop = stop.take(count, side)
    >>> stop.step
    'remove_stop'
    >>> stop.stop_out().result(index_count=200).counts_after_index
    1243.0
    """

    cylinder: int
    counts_per_rev: int
    running_sign: Literal[1, -1] = 1
    backlash_deg: float = 0.0
    limits: Limits = field(default_factory=Limits)
    engine: Engine | None = None
    contacts: tuple[StopContact, ...] = ()
    refused: str | None = None
    stop_removed: bool = False

    def take(self, count: float, side: Side) -> PistonStop:
        """Take a contact. When it cannot be right nothing is taken, and `refused` says why in one sentence."""
        why = self._why_not(count, side)
        if why is not None:
            return replace(self, refused=why)
        return replace(self, contacts=(*self.contacts, StopContact(count, side)), refused=None, stop_removed=False)

    def _why_not(self, count: float, side: Side) -> str | None:
        if self.contacts and self.contacts[-1].side == side:
            other = "against the running direction" if side == "before" else "in the running direction"
            return f"this side was touched last; turn the crank {other}, all the way round, to touch the stop from the other side"
        if not self.contacts:
            return None
        opposite = self.contacts[-1].count
        before, after = (count, opposite) if side == "before" else (opposite, count)
        apart_deg = contacts_apart_count(before, after, self.counts_per_rev, self.running_sign) / self.counts_per_rev * 360.0
        low, high = self.limits.contacts_apart_min_deg, self.limits.contacts_apart_max_deg
        if apart_deg > 360.0 - high:
            return (
                f"the contacts are {apart_deg:.0f} degrees apart in the running direction; "
                "the sides seem to be mixed up, or the running direction is set wrong: begin again"
            )
        if apart_deg < low:
            return f"the contacts are only {apart_deg:.1f} degrees apart, {low:.0f} are needed; set the stop deeper, begin again"
        if apart_deg > high:
            return f"the contacts are {apart_deg:.0f} degrees apart, {high:.0f} at most may be; set the stop less deep, begin again"
        return None

    def stop_out(self) -> PistonStop:
        """The person confirms that the stop is out of the cylinder. Only then can the crank be turned through TDC."""
        return replace(self, stop_removed=True, refused=None)

    def again(self) -> PistonStop:
        """Begin again with the same cylinder."""
        return PistonStop(self.cylinder, self.counts_per_rev, self.running_sign, self.backlash_deg, self.limits, self.engine)

    @property
    def pairs(self) -> tuple[tuple[float, float], ...]:
        """The complete pairs so far: (count before TDC, count after TDC)."""
        return _pairs(self.contacts)

    @property
    def middles_late_deg(self) -> tuple[float, ...]:
        """How far after true TDC the mid-point of each pair lies, by the engine's geometry; 0 for a central pin."""
        if self.engine is None or self.engine.pin_offset_m == 0.0:
            return (0.0,) * len(self.pairs)
        apart = [contacts_apart_count(before, after, self.counts_per_rev, self.running_sign) for before, after in self.pairs]
        apart_deg = np.array(apart) / self.counts_per_rev * 360.0
        late = stop_middle_late_deg(apart_deg, self.engine.stroke_m, self.engine.rod_m, self.engine.pin_offset_m)
        return tuple(float(value) for value in late)

    @property
    def spread_deg(self) -> float:
        """Between the lowest and the highest TDC of the pairs, in degrees; 0 with fewer than two."""
        if len(self.pairs) < 2:
            return 0.0
        each = [
            true_tdc_count([pair], self.counts_per_rev, self.running_sign, late)[0]
            for pair, late in zip(self.pairs, self.middles_late_deg, strict=True)
        ]
        half = self.counts_per_rev / 2.0
        offsets = [(count - each[0] + half) % self.counts_per_rev - half for count in each]
        return (max(offsets) - min(offsets)) / self.counts_per_rev * 360.0

    @property
    def enough(self) -> bool:
        """True when there are enough pairs and their mid-points agree."""
        return len(self.pairs) >= self.limits.stop_pairs and self.spread_deg <= self.limits.stop_spread_deg

    @property
    def step(self) -> Step:
        """What comes next."""
        if not self.enough:
            return "contacts"
        return "done" if self.stop_removed else "remove_stop"

    @property
    def prompt(self) -> str:
        """What the person is asked to do now, in one sentence."""
        if self.step == "done":
            return "True TDC is known."
        if self.step == "remove_stop":
            return "Take the piston stop out of the cylinder and say so; the crank must not be turned on before."
        if len(self.pairs) >= self.limits.stop_pairs:
            return (
                f"The pairs differ by {self.spread_deg:.2f} degrees, at most {self.limits.stop_spread_deg:.2f} are allowed: "
                "see that the stop sits firm, touch both sides again, or begin again."
            )
        if not self.contacts or self.contacts[-1].side == "after":
            return "Turn the crank by hand in the running direction until the piston touches the stop, and hold it there."
        return "Turn the crank by hand against the running direction, all the way round, until the piston touches the stop again."

    def result(self, index_count: int) -> TrueTdc | str:
        """True TDC relative to the index pulse that passed at index_count, or one sentence that says what is missing.

        The standard uncertainty joins the scatter of the pairs, the resolution, the stated backlash (half of it to either side,
        rectangular) and a tenth of the correction for an offset pin.
        """
        if not self.enough:
            return self.prompt
        if not self.stop_removed:
            return "the piston stop has not been confirmed as removed; take it out of the cylinder and say so"
        late = self.middles_late_deg
        count, u_count = true_tdc_count(self.pairs, self.counts_per_rev, self.running_sign, late)
        u_correction_deg = CORRECTION_U_SHARE * float(np.mean(late))
        u_deg = sqrt((u_count / self.counts_per_rev * 360.0) ** 2 + (self.backlash_deg / 2.0) ** 2 / 3.0 + u_correction_deg**2)
        return TrueTdc(
            counts_after_index=(count - index_count) % self.counts_per_rev,
            reference_cylinder=self.cylinder,
            u_deg=u_deg,
            method="piston_stop",
            spread_deg=self.spread_deg,
            backlash_deg=self.backlash_deg,
        )
