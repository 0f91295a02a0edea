"""What the chart of the decays shows: a panel for each cylinder, both stages from the shut on, all to one scale. Without Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.app.draw.chart_model import Axis, axis_of, pressure_scale
from borewright.service.overlaying import decay_points

if TYPE_CHECKING:
    from borewright.service.overlaying import Overlaid

__all__ = ["CurvePanel", "CurvesDrawn", "curves_of"]

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class CurvePanel:
    """One cylinder: (seconds from the shut, cylinder pressure) of both stages; empty where a stage has no decay."""

    cylinder: int
    before: Points
    after: Points

    @property
    def words(self) -> str:
        """What is to be seen, in words: when each is down to half of what it was at the shut."""
        said = [f"{side} {_half_words(points)}" for side, points in (("before", self.before), ("after", self.after)) if points]
        return f"cylinder {self.cylinder}: {', '.join(said) if said else 'no decay was recorded'}"


@dataclass(frozen=True, slots=True)
class CurvesDrawn:
    """All cylinders."""

    panels: tuple[CurvePanel, ...]
    unit: str
    seconds: Axis
    pressure: Axis

    @property
    def words(self) -> str:
        """The chart in words."""
        return f"cylinder pressure in {self.unit} after the shut. " + "; ".join(panel.words for panel in self.panels)


def curves_of(curves: Sequence[Overlaid], unit: str = "psi") -> CurvesDrawn:
    """The chart of these curves; unit: of gauge pressure."""
    scale = pressure_scale(unit)

    def scaled(points: Sequence[tuple[float, float]]) -> Points:
        return tuple((t_s, pa * scale) for t_s, pa in points)

    panels = tuple(CurvePanel(one.cylinder, scaled(decay_points(one.before)), scaled(decay_points(one.after))) for one in curves)
    points = [point for panel in panels for point in (*panel.before, *panel.after)]
    longest_s = max((t_s for t_s, _ in points), default=1.0)
    highest = max((p for _, p in points), default=1.0)
    return CurvesDrawn(panels, unit, axis_of(0.0, longest_s, 5), axis_of(0.0, highest, 4))


def _half_words(points: Points) -> str:
    """When the pressure is first at half of what it was at the shut.

    >>> _half_words(((0.0, 80.0), (1.0, 60.0), (2.5, 39.0)))
    'half after 2.5 s'
    """
    half = points[0][1] / 2.0
    at_s = next((t_s for t_s, p in points if p <= half), None)
    return f"over half still after {points[-1][0]:.1f} s" if at_s is None else f"half after {at_s:.1f} s"
