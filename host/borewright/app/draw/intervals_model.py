"""What the chart of a comparison shows: for each cylinder both stages with their intervals, and the verdict. Without Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.app.draw.chart_model import Axis, Interval, area_scale, axis_of, interval_words, verdict_words

if TYPE_CHECKING:
    from borewright.core.compare import Difference, Quantity
    from borewright.service.comparing import CylinderComparison, JobComparison

__all__ = ["IntervalRow", "IntervalsDrawn", "comparison_notes", "comparison_rows", "intervals_of"]

HEADINGS = ("cylinder", "leak area {unit}", "after", "change", "leakage %", "after", "change", "verdict")


@dataclass(frozen=True, slots=True)
class IntervalRow:
    """One cylinder. before, after: None where there is nothing to compare. verdict: of this quantity, in words, with a symbol."""

    cylinder: int
    before: Interval | None
    after: Interval | None
    change: str
    verdict: str
    called: str | None

    @property
    def words(self) -> str:
        """The row in words, for whoever cannot see it."""
        return f"cylinder {self.cylinder}: {self.verdict}" + (f", {self.change}" if self.change else "")


@dataclass(frozen=True, slots=True)
class IntervalsDrawn:
    """The chart of one quantity."""

    title: str
    unit: str
    rows: tuple[IntervalRow, ...]
    axis: Axis

    @property
    def words(self) -> str:
        """The chart in words."""
        return f"{self.title}. " + "; ".join(row.words for row in self.rows)


def intervals_of(found: JobComparison, quantity: Quantity, area_unit: str = "mm²", most_marks: int = 5) -> IntervalsDrawn:
    """The chart of a comparison in one quantity; area_unit: in which leak areas are shown."""
    unit = area_unit if quantity == "leak area" else "%"
    scale = area_scale(area_unit) if quantity == "leak area" else 1.0
    rows = tuple(_row(one, one.area if quantity == "leak area" else one.leakage, scale, unit) for one in found.cylinders)
    highest = max((side.high for row in rows for side in (row.before, row.after) if side is not None), default=1.0)
    return IntervalsDrawn(f"{quantity}, {unit}", unit, rows, axis_of(0.0, max(highest, 1e-9), most_marks))


def _row(one: CylinderComparison, difference: Difference | None, scale: float, unit: str) -> IntervalRow:
    if difference is None:
        return IntervalRow(one.cylinder, None, None, "", verdict_words(None), None)
    before, after, change = _sides(difference, scale)
    words = f"{interval_words(change, unit, plus=True)} {unit}"
    return IntervalRow(one.cylinder, before, after, words, verdict_words(difference.verdict), difference.verdict)


def _sides(difference: Difference, scale: float) -> tuple[Interval, Interval, Interval]:
    """Before, after and the change."""
    return (
        Interval(difference.before * scale, difference.expanded_before * scale),
        Interval(difference.after * scale, difference.expanded_after * scale),
        Interval(difference.change * scale, difference.expanded * scale),
    )


def comparison_rows(found: JobComparison, area_unit: str = "mm²") -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """The comparison as a table: headings, and a row of texts for each cylinder."""
    scale = area_scale(area_unit)
    rows = []
    for one in found.cylinders:
        cells = [str(one.cylinder)]
        for difference, of_unit, unit in ((one.area, scale, area_unit), (one.leakage, 1.0, "%")):
            sides = (None, None, None) if difference is None else _sides(difference, of_unit)
            cells += [interval_words(side, unit, plus=place == 2) for place, side in enumerate(sides)]
        rows.append((*cells, verdict_words(one.verdict)))
    return tuple(heading.format(unit=area_unit) for heading in HEADINGS), tuple(rows)


def comparison_notes(found: JobComparison) -> tuple[str, ...]:
    """What has to be known of the comparison, a line each; what is so of several cylinders is said once."""
    said: dict[str, list[int]] = {}
    for one in found.cylinders:
        apart = one.area is not None and one.leakage is not None and one.area.verdict != one.leakage.verdict
        alone = [f"its leakage alone shows: {one.leakage.verdict}"] if apart and one.leakage is not None else []
        for words in (*([one.refused] if one.refused else []), *alone, *one.converted, *one.marks):
            said.setdefault(words.removeprefix(f"cylinder {one.cylinder} "), []).append(one.cylinder)
    return tuple(
        f"cylinder{'s' if len(cylinders) > 1 else ''} {', '.join(map(str, cylinders))}: {words}"
        for words, cylinders in said.items()
    )
