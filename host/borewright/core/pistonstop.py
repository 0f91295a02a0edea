"""True TDC by piston stop: the crank is turned by hand against a soft stop from both sides, and TDC lies half way between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import sqrt
from typing import Literal

import numpy as np

from borewright.core.limits import Limits
from borewright.core.rig import TrueTdc

__all__ = ["WARNINGS", "PistonStop", "StopContact", "true_tdc_count"]

Side = Literal["before", "after"]
Step = Literal["contacts", "remove_stop", "done"]

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


def _apart(before_count: float, after_count: float, counts_per_rev: int, running_sign: int) -> float:
    """Counts from the contact before TDC to the one after it, in the running direction, modulo a turn."""
    return (running_sign * (after_count - before_count)) % counts_per_rev


def true_tdc_count(
    stop_contacts: Sequence[tuple[float, float]], counts_per_rev: int, running_sign: Literal[1, -1] = 1
) -> tuple[float, float]:
    """TDC by piston stop: (count modulo one turn, its standard uncertainty in counts).

    stop_contacts: pairs (count before TDC, count after TDC), each modulo any number of turns. TDC of a pair lies half way from the
    first to the second in the running direction. The result is the mean of the pairs; its uncertainty is the larger of what their
    scatter says and the resolution of one count on each side. Raises ValueError when there is no pair or counts_per_rev is below 4.

    >>> true_tdc_count([(1400, 40), (1402, 42)], 1440)
    (1.0, 1.0)
    """
    if counts_per_rev < 4:
        raise ValueError(f"counts_per_rev: {counts_per_rev} is too few; an encoder gives at least 4 counts a turn")
    if not stop_contacts:
        raise ValueError("stop_contacts: at least one pair of contacts is needed")
    middles = [
        before + running_sign * _apart(before, after, counts_per_rev, running_sign) / 2.0 for before, after in stop_contacts
    ]
    # a circular mean, so that pairs on both sides of the count's wrap do not average to the opposite side
    around = [(middle - middles[0] + counts_per_rev / 2.0) % counts_per_rev - counts_per_rev / 2.0 for middle in middles]
    tdc = (middles[0] + float(np.mean(around))) % counts_per_rev
    scatter = float(np.std(around, ddof=1)) / sqrt(len(around)) if len(around) > 1 else 0.0
    resolution = sqrt(2.0) / 2.0 / sqrt(12.0)
    return tdc, max(scatter, resolution)


@dataclass(frozen=True, slots=True)
class PistonStop:
    """The procedure, immutable: contacts are taken in turn from both sides, then the stop comes out, then TDC is known.

    backlash_deg: what the person states of the play between crank and encoder, peak to peak.

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
        apart_deg = _apart(before, after, self.counts_per_rev, self.running_sign) / self.counts_per_rev * 360.0
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
        return PistonStop(self.cylinder, self.counts_per_rev, self.running_sign, self.backlash_deg, self.limits)

    @property
    def pairs(self) -> tuple[tuple[float, float], ...]:
        """The complete pairs so far: (count before TDC, count after TDC)."""
        return _pairs(self.contacts)

    @property
    def spread_deg(self) -> float:
        """Between the lowest and the highest mid-point of the pairs, in degrees; 0 with fewer than two."""
        if len(self.pairs) < 2:
            return 0.0
        first = true_tdc_count(self.pairs[:1], self.counts_per_rev, self.running_sign)[0]
        half = self.counts_per_rev / 2.0
        offsets = [
            (true_tdc_count([pair], self.counts_per_rev, self.running_sign)[0] - first + half) % self.counts_per_rev - half
            for pair in self.pairs
        ]
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

        The standard uncertainty joins the scatter of the pairs, the resolution and the stated backlash (half of it to either side,
        rectangular).
        """
        if not self.enough:
            return self.prompt
        if not self.stop_removed:
            return "the piston stop has not been confirmed as removed; take it out of the cylinder and say so"
        count, u_count = true_tdc_count(self.pairs, self.counts_per_rev, self.running_sign)
        u_deg = sqrt((u_count / self.counts_per_rev * 360.0) ** 2 + (self.backlash_deg / 2.0) ** 2 / 3.0)
        return TrueTdc(
            counts_after_index=(count - index_count) % self.counts_per_rev,
            reference_cylinder=self.cylinder,
            u_deg=u_deg,
            method="piston_stop",
            spread_deg=self.spread_deg,
            backlash_deg=self.backlash_deg,
        )
