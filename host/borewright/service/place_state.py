"""What the bench knows of the places of an engine while a leak is being traced: what is fitted to them, and oil in a cylinder."""

from __future__ import annotations

from dataclasses import dataclass, replace

from borewright.core.samples import SampleColumns

__all__ = ["TURNS_WITH_OIL", "Oil", "PlaceReading"]

TURNS_WITH_OIL = 2.0  # by hand with the hole open: spreads the oil and throws out what is too much


@dataclass(frozen=True, slots=True)
class PlaceReading:
    """What the gauge at a place showed with air on."""

    place: str
    gauge_pa: float


@dataclass(frozen=True, slots=True)
class Oil:
    """Oil in a cylinder, and between which counts the crank has been since with the hole open. Counts hold for one boot.

    >>> import numpy as np
    >>> def seen(*counts):
    ...     n = len(counts)
    ...     of = np.array(counts)
    ...     return SampleColumns(np.arange(n), np.arange(n), of, np.zeros((2, n), np.uint16), np.zeros(n, np.uint16), 1000)
    >>> oil = Oil(1, 3e-6).followed(seen(0, 400), boot_id=7).followed(seen(400, 800), boot_id=7)
    >>> oil.turns(400), oil.followed(seen(0), boot_id=8).turns(400)
    (2.0, 0.0)
    """

    cylinder: int
    volume_m3: float
    boot_id: int | None = None
    low_count: int = 0
    high_count: int = 0

    def followed(self, columns: SampleColumns, boot_id: int | None) -> Oil:
        """After these samples with the hole open. After a restart of the device nobody knows what was turned: it begins anew."""
        low, high = int(columns.crank_count.min()), int(columns.crank_count.max())
        if self.boot_id is None or boot_id != self.boot_id:
            return replace(self, boot_id=boot_id, low_count=low, high_count=high)
        if self.low_count <= low and high <= self.high_count:
            return self
        return replace(self, low_count=min(low, self.low_count), high_count=max(high, self.high_count))

    def turns(self, counts_per_rev: int) -> float:
        """Whole and part turns with the hole open."""
        return (self.high_count - self.low_count) / counts_per_rev
