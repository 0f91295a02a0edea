"""What the chart of a trend shows: a panel for each cylinder, its jobs from left to right with their intervals. Without Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.app.draw.chart_model import SYMBOLS, Axis, Interval, area_scale, axis_of, interval_words
from borewright.service.report_numbers import Shown, listed

if TYPE_CHECKING:
    from datetime import tzinfo

    from borewright.core.compare import Difference, Quantity
    from borewright.service.trending import EngineTrend, TrendPoint

__all__ = ["TrendDrawn", "TrendPanel", "TrendSpot", "trend_drawn"]


@dataclass(frozen=True, slots=True)
class TrendSpot:
    """One cylinder in one job. at: place of the job from the left. symbol: of the change since the first job, "" where none."""

    at: int
    level: Interval | None
    symbol: str
    words: str


@dataclass(frozen=True, slots=True)
class TrendPanel:
    """One cylinder."""

    cylinder: int
    spots: tuple[TrendSpot, ...]

    @property
    def words(self) -> str:
        """The panel in words."""
        return f"cylinder {self.cylinder}: " + ", ".join(spot.words for spot in self.spots)


@dataclass(frozen=True, slots=True)
class TrendDrawn:
    """The chart. jobs: what each is called, (name and stage, day), oldest first; axis: of the quantity."""

    title: str
    unit: str
    jobs: tuple[tuple[str, str], ...]
    panels: tuple[TrendPanel, ...]
    axis: Axis
    notes: tuple[str, ...]

    @property
    def words(self) -> str:
        """The chart in words."""
        return f"{self.title}. " + "; ".join(panel.words for panel in self.panels)


def trend_drawn(found: EngineTrend, quantity: Quantity, area_unit: str = "mm²", zone: tzinfo | None = None) -> TrendDrawn:
    """The chart of a trend in one quantity. zone: for the days, None for that of this computer."""
    unit = area_unit if quantity == "leak area" else "%"
    scale = area_scale(area_unit) if quantity == "leak area" else 1.0
    shown = Shown(zone=zone)
    at = {job.id: place for place, job in enumerate(found.jobs)}
    names = tuple((f"{job.name}, {job.stage}", shown.date(job.created_at_unix_s)) for job in found.jobs)
    by_cylinder: dict[int, list[TrendSpot]] = {}
    for point in found.points:
        place = at[point.job.id]
        by_cylinder.setdefault(point.cylinder, []).append(_spot(point, quantity, place, names[place][0], scale, unit))
    panels = tuple(TrendPanel(cylinder, tuple(spots)) for cylinder, spots in sorted(by_cylinder.items()))
    highest = max((spot.level.high for panel in panels for spot in panel.spots if spot.level is not None), default=1.0)
    return TrendDrawn(f"{quantity}, {unit}", unit, names, panels, axis_of(0.0, max(highest, 1e-9), 4), _notes(found, at))


def _notes(found: EngineTrend, at: Mapping[int, int]) -> tuple[str, ...]:
    """What has to be known of the points; what is so of several is said once. Jobs by their number from the left, from 1."""
    said: dict[str, dict[int, list[int]]] = {}
    for point in found.points:
        for words in (*point.notes, *point.marks):
            said.setdefault(words, {}).setdefault(point.cylinder, []).append(at[point.job.id] + 1)
    return tuple(
        f"{words} ({'; '.join(f'cylinder {cylinder} in job {listed(list(map(str, jobs)))}' for cylinder, jobs in of_it.items())})"
        for words, of_it in said.items()
    )


def _spot(point: TrendPoint, quantity: Quantity, place: int, name: str, scale: float, unit: str) -> TrendSpot:
    level = point.area_mm2 if quantity == "leak area" else point.leakage_percent
    interval = None if level is None else Interval(level[0] * scale, level[1] * scale)
    said = [f"{name} {interval_words(interval, unit)}", *_changed(point.since_first, "since the first")]
    return TrendSpot(place, interval, "" if point.since_first is None else SYMBOLS[point.since_first.verdict], " ".join(said))


def _changed(difference: Difference | None, since: str) -> list[str]:
    return [] if difference is None else [f"({difference.verdict} {since})"]
