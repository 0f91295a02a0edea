"""The decays of two jobs over each other: for each cylinder the latest test of both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from borewright.core.plain import to_plain
from borewright.service.comparing import decay_curves

if TYPE_CHECKING:
    from borewright.service.comparing import Curve, JobComparison
    from borewright.store import Store

__all__ = ["Overlaid", "decay_points", "overlaid"]


@dataclass(frozen=True, slots=True)
class Overlaid:
    """The latest test of a cylinder in each job; None where it has no curve."""

    cylinder: int
    before: Curve | None
    after: Curve | None

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {"cylinder": self.cylinder, "before": to_plain(self.before), "after": to_plain(self.after)}


def overlaid(store: Store, found: JobComparison) -> list[Overlaid]:
    """The curves of the latest tests of all cylinders that have one. Raises StoreError where the record cannot be read."""
    drawn = [
        Overlaid(
            one.cylinder,
            *(decay_curves(store, tests[-1]) if tests else None for tests in (one.tests_before, one.tests_after)),
        )
        for one in found.cylinders
    ]
    return [one for one in drawn if one.before is not None or one.after is not None]


def decay_points(curve: Curve | None) -> list[tuple[float, float]]:
    """Seconds from the shut and the cylinder's gauge pressure in Pa, not under nothing; none where there is no decay.

    >>> from borewright.service.comparing import Curve
    >>> decay_points(Curve((0.0, 1.0, 3.0), (0.0, 5e5, -20.0), (0.0, 5e5, 0.0), 1.0))
    [(0.0, 500000.0), (2.0, 0.0)]
    """
    if curve is None or curve.shut_s is None:
        return []
    pairs = zip(curve.t_s, curve.p_cylinder_gauge_pa, strict=True)
    return [(t_s - curve.shut_s, max(pa, 0.0)) for t_s, pa in pairs if t_s >= curve.shut_s]
