"""Curves as lines on the page: for each cylinder how it fills and how it bleeds down, before and after in one picture.

All cylinders have the same scales, so that they can be held against each other. Before is a dashed thin line, after a full thick one,
and each bears its name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from math import ceil, floor, log10

from borewright.report.model import Chart, Course
from borewright.report.sheet import ACCENT, FAINT, GREY, INK, MM, Pen, Piece
from borewright.report.text import PLAIN, fitted, width_of

__all__ = ["chart_pieces", "ticks"]

PLOT_HIGH = 27.0 * MM
TOP, FOOT = 15.0, 13.0
TICK = 6.4


@dataclass(frozen=True, slots=True)
class _Scales:
    fill_s: float
    decay_s: float
    pressure: float


def ticks(end: float, about: int) -> tuple[float, ...]:
    """Round numbers from 0 to at most end, about so many of them. end above 0.

    >>> ticks(84.0, 4), ticks(0.55, 3)
    ((0.0, 20.0, 40.0, 60.0, 80.0), (0.0, 0.2, 0.4))
    """
    rough = end / about
    power = 10.0 ** floor(log10(rough))
    step = min((power * part for part in (1.0, 2.0, 5.0, 10.0)), key=lambda size: abs(size - rough))
    return tuple(round(number * step, 9) for number in range(floor(end / step + 1e-9) + 1))


def chart_pieces(charts: Sequence[Chart], unit: str, width: float) -> Iterator[Piece]:
    """The pictures, two beside each other, three where there are more than four cylinders."""
    beside = 1 if len(charts) == 1 else 2 if len(charts) <= 4 else 3
    gap = 7.0 * MM if beside < 3 else 5.0 * MM
    wide = (width - gap * (beside - 1)) / beside
    courses = [course for chart in charts for course in (*chart.fills, *chart.decays)]
    scales = _Scales(
        max((course.t_s[-1] for chart in charts for course in chart.fills), default=1.0) or 1.0,
        max((course.t_s[-1] for chart in charts for course in chart.decays), default=1.0) or 1.0,
        1.06 * max((max(course.pressure) for course in courses), default=1.0) or 1.0,
    )
    for first in count(0, beside):
        row = charts[first : first + beside]
        if not row:
            return

        def draw(pen: Pen, row: Sequence[Chart] = row) -> None:
            for number, chart in enumerate(row):
                _picture(pen.moved(number * (wide + gap), 0.0), chart, scales, unit, wide)

        yield Piece(TOP + PLOT_HIGH + FOOT, draw, before=6.0 if first else 0.0)


def _picture(pen: Pen, chart: Chart, scales: _Scales, unit: str, wide: float) -> None:
    name = f"Cylinder {chart.cylinder}"
    pen.text(0.0, 8.5, name, 8.2, bold=True)
    after = width_of(name, PLAIN, 8.2) + 12.0
    pen.text(after, 8.5, fitted(chart.words, PLAIN, TICK, wide - after), TICK, colour=GREY)
    left = 15.0
    split = left + 0.30 * (wide - left) + 9.0
    levels = ticks(scales.pressure, 4)
    for level in levels:
        y = TOP + PLOT_HIGH * (1.0 - level / scales.pressure)
        pen.text(left - 3.0, y + 2.2, f"{level:g}", TICK, colour=GREY, align="right")
    _plot(pen, chart.fills, scales.fill_s, scales.pressure, left, split - 9.0, levels, "fills", 2)
    _plot(pen, chart.decays, scales.decay_s, scales.pressure, split, wide, levels, "bleeds down, supply shut", 4)
    pen.text(0.0, TOP + PLOT_HIGH + 9.0, unit, TICK, colour=GREY)


def _plot(
    pen: Pen,
    courses: Sequence[Course],
    end_s: float,
    top: float,
    left: float,
    right: float,
    levels: Sequence[float],
    name: str,
    about: int,
) -> None:
    def place(t_s: float, pressure: float) -> tuple[float, float]:
        return left + (right - left) * t_s / end_s, TOP + PLOT_HIGH * (1.0 - pressure / top)

    for level in levels:
        y = place(0.0, level)[1]
        pen.line(left, y, right, y, 0.7 if level == 0.0 else 0.3, GREY if level == 0.0 else FAINT)
    steps = ticks(end_s, about)
    for step in steps:
        x = place(step, 0.0)[0]
        pen.line(x, TOP + PLOT_HIGH, x, TOP + PLOT_HIGH + 2.0, 0.5, GREY)
        last = step == steps[-1]
        pen.text(x, TOP + PLOT_HIGH + 9.0, f"{step:g}" + (" s" if last else ""), TICK, colour=GREY, align="middle")
    for course in courses:
        points = [place(t, p) for t, p in zip(course.t_s, course.pressure, strict=True) if t <= end_s]
        if course.later:
            pen.curve(points, 1.25, ACCENT)
        else:
            pen.curve(points, 0.9, INK, (2.6, 1.7))
    pen.text(right, TOP + 1.5, name, TICK, colour=GREY, align="right")
    if about > 2:
        _name_lines(pen, courses, end_s, place)


def _name_lines(pen: Pen, courses: Sequence[Course], end_s: float, place: Callable[[float, float], tuple[float, float]]) -> None:
    """The stage beside each line, where two of them are farthest apart: over the upper one, under the lower one."""
    if not courses:
        return
    at_s = _widest_s(courses, end_s)
    ranked = sorted(courses, key=lambda course: -_at(course, at_s))
    for number, course in enumerate(ranked):
        x, y = place(at_s, _at(course, at_s))
        if number == 0:
            pen.text(x + 4.0, y - 2.0, course.stage, TICK + 0.4, bold=course.later, colour=ACCENT if course.later else INK)
        else:
            shown = ACCENT if course.later else INK
            pen.text(x - 4.0, y + 6.5, course.stage, TICK + 0.4, bold=course.later, colour=shown, align="right")


def _widest_s(courses: Sequence[Course], end_s: float) -> float:
    shortest = min((course.t_s[-1] for course in courses), default=end_s)
    tried = [end_s * part / 40.0 for part in range(5, 25) if end_s * part / 40.0 <= shortest] or [shortest / 2.0]
    if len(courses) < 2:
        return tried[ceil(len(tried) / 2) - 1]
    return max(tried, key=lambda t_s: abs(_at(courses[0], t_s) - _at(courses[-1], t_s)))


def _at(course: Course, t_s: float) -> float:
    """The pressure at a time, between points."""
    for (t0, p0), (t1, p1) in zip(
        zip(course.t_s, course.pressure, strict=True), zip(course.t_s[1:], course.pressure[1:], strict=True), strict=False
    ):
        if t1 >= t_s:
            return p0 if t1 == t0 else p0 + (p1 - p0) * (t_s - t0) / (t1 - t0)
    return course.pressure[-1]
