"""A check valve left in the adapter, as a squeeze shows it: what the piston drives into the hose, or draws out of it, stays so.

No cylinder does that. Where the piston goes down, the air in it takes more room and the pressure falls, however tight it is; and in
one cycle every cylinder stands open to the room, or goes through a TDC where it is squeezed back to where it began. So it needs no
model of the engine, and holds for a hose in any hole.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf
from typing import Literal

__all__ = ["HeldKind", "HeldWatch"]

HeldKind = Literal["held_up", "held_down"]

# After its peak the pressure of a cylinder falls with the room that its air has. A leak makes the peak come up to some 25° before
# TDC, so 120° after it the piston is at least 95° past TDC and has gone down by more than half: what is left is less than 0.45 of
# the peak even where the hose is far larger than the cylinder.
_ON_DEG = 120.0
_STAYED = 0.6  # of the peak
_FELL = 0.5
_LEAST_UP_PA = 10_000.0
_LEAST_DOWN_PA = 1_500.0  # below what was read at vent; the air of a closed hose would have to cool by 4 K
_DOWN_DEG = 450.0  # over a turn, and 45° on both sides of the TDC in it
_SIGMAS = 4.0


@dataclass(frozen=True, slots=True)
class HeldWatch:
    """Follows the pressure in the closed hose, sector by sector. Immutable: `add` gives the next one.

    kind: held_up, air came out of the cylinder and none goes back; held_down, air goes into it and none comes back. fell: a peak
    was seen to fall as that of a cylinder does.

    >>> course = [(0.0, 9e4), (40.0, 8.5e4), (80.0, 8.3e4), (120.0, 8.2e4)]
    >>> watch = HeldWatch()
    >>> for at_deg, p_gauge_pa in course:
    ...     watch = watch.add(at_deg - 6.0, at_deg + 6.0, p_gauge_pa, 100.0)
    >>> watch.kind, watch.fell
    ('held_up', False)
    """

    kind: HeldKind | None = None
    fell: bool = False
    top_pa: float = -inf
    top_deg: float = 0.0
    down_deg: tuple[float, float] | None = None  # from where to where the crank went with suction in the hose all the time

    def add(self, low_deg: float, high_deg: float, p_gauge_pa: float, u_pa: float) -> HeldWatch:
        """The watch after a sector of crank travel. p_gauge_pa: its mean, u_pa: the standard uncertainty of that by noise."""
        if self.kind is not None:
            return self
        return self._up(0.5 * (low_deg + high_deg), p_gauge_pa, u_pa)._down(low_deg, high_deg, p_gauge_pa, u_pa)

    def _up(self, at_deg: float, p_gauge_pa: float, u_pa: float) -> HeldWatch:
        if p_gauge_pa > self.top_pa:
            return replace(self, top_pa=p_gauge_pa, top_deg=at_deg)
        clear = self.top_pa > _LEAST_UP_PA + _SIGMAS * u_pa
        if p_gauge_pa < _FELL * self.top_pa or not clear:
            return replace(self, fell=self.fell or clear, top_pa=p_gauge_pa, top_deg=at_deg)
        stays = p_gauge_pa > _STAYED * self.top_pa and abs(at_deg - self.top_deg) >= _ON_DEG
        return replace(self, kind="held_up") if stays else self

    def _down(self, low_deg: float, high_deg: float, p_gauge_pa: float, u_pa: float) -> HeldWatch:
        if p_gauge_pa > -_LEAST_DOWN_PA - _SIGMAS * u_pa:
            return replace(self, down_deg=None)
        before = self.down_deg or (low_deg, high_deg)
        span = (min(low_deg, before[0]), max(high_deg, before[1]))
        return replace(self, down_deg=span, kind="held_down" if span[1] - span[0] >= _DOWN_DEG else self.kind)

    def broken_off(self) -> HeldWatch:
        """The watch after samples are missing or the vent was open: what was seen before says nothing of what comes."""
        return replace(self, top_pa=-inf, down_deg=None)

    @property
    def pending(self) -> bool:
        """True while a pressure has risen that has not been seen to fall yet; once one has, the next need not be waited for."""
        return self.kind is None and not self.fell and self.top_pa > _LEAST_UP_PA
