"""Curves as lines on the page: for each cylinder how it fills and how it bleeds down, before and after in one picture.

All cylinders have the same scales, so that they can be held against each other. Before is a dashed thin line, after a full thick
one, and each bears its name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import floor, log10

from borewright.report.model import Chart, Course
from borewright.report.sheet import ACCENT, FAINT, GREY, INK, MM, Pen, Piece
from borewright.report.text import BOLD, PLAIN, fitted, width_of

__all__ = ["beside_of", "chart_pieces", "ticks"]

TOP, FOOT = 22.0, 13.0
WHOLE = 4  # so many pictures are not parted by the end of a page
NARROW = 60.0 * MM  # under this width the words have a line of their own
TICK = 6.4


@dataclass(frozen=True, slots=True)
class _Scales:
    """What is the same in all pictures: the ends of the axes, and where in points a plot begins and how high it is."""

    top: float
    high: float
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
    steps = (power * part for part in (1.0, 2.0, 5.0, 10.0) if power * part <= end * (1.0 + 1e-9))
    step = min(steps, key=lambda size: abs(size - rough))
    return tuple(round(number * step, 9) for number in range(floor(end / step + 1e-9) + 1))


def beside_of(count: int, *, tight: bool) -> int:
    """How many pictures stand beside each other."""
    return min(count, 4 if tight else 2 if count <= 4 else 3)


def chart_pieces(charts: Sequence[Chart], unit: str, width: float, high: float, *, tight: bool = False) -> Iterator[Piece]:
    """The pictures in rows that stay together where they can. high: of a plot, in points. tight: more of them in a row."""
    beside = beside_of(len(charts), tight=tight)
    gap = (7.0 if beside < 3 else 4.5) * MM
    wide = (width - gap * (beside - 1)) / max(beside, 1)
    courses = [course for chart in charts for course in (*chart.fills, *chart.decays)]
    scales = _Scales(
        TOP + (8.5 if wide < NARROW else 0.0),
        high,
        max((course.t_s[-1] for chart in charts for course in chart.fills), default=1.0) or 1.0,
        max((course.t_s[-1] for chart in charts for course in chart.decays), default=1.0) or 1.0,
        1.06 * max((max(course.pressure) for course in courses), default=1.0) or 1.0,
    )
    for first in range(0, len(charts), max(beside, 1)):
        row = charts[first : first + beside]

        def draw(pen: Pen, row: Sequence[Chart] = row) -> None:
            for number, chart in enumerate(row):
                _picture(pen.moved(number * (wide + gap), 0.0), chart, scales, unit, wide)

        keep = len(charts) <= WHOLE and first + beside < len(charts)
        yield Piece(scales.top + high + FOOT, draw, before=6.0 if first else 0.0, keep=keep)


def _picture(pen: Pen, chart: Chart, scales: _Scales, unit: str, wide: float) -> None:
    name = f"Cylinder {chart.cylinder}"
    pen.text(0.0, 8.5, name, 8.2, bold=True)
    left = 15.0
    split = left + 0.30 * (wide - left) + 9.0
    narrow = wide < NARROW
    if narrow:
        pen.text(0.0, 17.0, fitted(chart.words, PLAIN, 6.0, wide), 6.0, colour=GREY)
    else:
        after = width_of(name, BOLD, 8.2) + 7.0
        pen.text(after, 8.5, fitted(chart.words, PLAIN, TICK, wide - after), TICK, colour=GREY)
    for level in ticks(scales.pressure, 4):
        y = scales.top + scales.high * (1.0 - level / scales.pressure)
        pen.text(left - 3.0, y + 2.2, f"{level:g}", TICK, colour=GREY, align="right")
    _plot(pen, chart.fills, scales, scales.fill_s, (left, split - 9.0), "fills", 1 if narrow else 2)
    named = _plot(pen, chart.decays, scales, scales.decay_s, (split, wide), "bleeds down", 2 if narrow else 4)
    _name_lines(pen, chart.decays, scales, named)
    pen.text(0.0, scales.top + scales.high + 9.0, unit, TICK, colour=GREY)


Place = Callable[[float, float], tuple[float, float]]  # seconds and pressure to where it lies


def _plot(
    pen: Pen, courses: Sequence[Course], scales: _Scales, end_s: float, sides: tuple[float, float], name: str, about: int
) -> Place:
    left, right = sides

    def place(t_s: float, pressure: float) -> tuple[float, float]:
        return left + (right - left) * t_s / end_s, scales.top + scales.high * (1.0 - pressure / scales.pressure)

    pen.text(left, scales.top - 4.0, name, TICK, colour=GREY)
    for level in ticks(scales.pressure, 4):
        y = place(0.0, level)[1]
        pen.line(left, y, right, y, 0.7 if level == 0.0 else 0.3, GREY if level == 0.0 else FAINT)
    steps = ticks(end_s, about)
    bottom = scales.top + scales.high
    for step in steps:
        x = place(step, 0.0)[0]
        pen.line(x, bottom, x, bottom + 2.0, 0.5, GREY)
        said = f"{step:g} s" if step == steps[-1] else f"{step:g}"
        pen.text(min(x, right - 0.5 * width_of(said, PLAIN, TICK)), bottom + 9.0, said, TICK, colour=GREY, align="middle")
    for course in courses:
        points = [place(t, p) for t, p in zip(course.t_s, course.pressure, strict=True) if t <= end_s]
        if course.later:
            pen.curve(points, 1.25, ACCENT)
        else:
            pen.curve(points, 0.9, INK, (2.6, 1.7))
    return place


def _name_lines(pen: Pen, courses: Sequence[Course], scales: _Scales, place: Place) -> None:
    """The stage beside each line, where two of them are farthest apart: over the upper one, under the lower one."""
    if not courses:
        return
    at_s = _widest_s(courses, scales)
    for number, course in enumerate(sorted(courses, key=lambda course: -_at(course, at_s))):
        x, y = place(at_s, _at(course, at_s))
        colour, size = (ACCENT if course.later else INK), TICK + 0.4
        if number == 0:
            pen.text(x + 4.0, y - 2.5, course.stage, size, bold=course.later, colour=colour)
        else:
            wide = width_of(course.stage, BOLD, size)
            first, bottom = place(0.0, 0.0)
            if x - 6.0 - wide >= first:
                right, under = x - 4.0, y + 6.0
            else:  # a steep line has room where it ends, a slow one under its beginning
                end, under = place(course.t_s[-1], 0.0)[0] + 4.0 + wide, bottom - 3.0
                right = end if end <= place(scales.decay_s, 0.0)[0] else first + 2.0 + wide
            pen.text(right, under, course.stage, size, bold=course.later, colour=colour, align="right")


def _widest_s(courses: Sequence[Course], scales: _Scales) -> float:
    """Where the lines are farthest apart, not at their ends and not where there is no room under the lower one."""
    shortest = min(course.t_s[-1] for course in courses)
    tried = [scales.decay_s * part / 40.0 for part in range(4, 25)]
    tried = [t_s for t_s in tried if t_s <= shortest and min(_at(one, t_s) for one in courses) > 0.2 * scales.pressure]
    if not tried:
        return shortest / 2.0
    if len(courses) < 2:
        return tried[len(tried) // 2]
    return max(tried, key=lambda t_s: abs(_at(courses[0], t_s) - _at(courses[-1], t_s)))


def _at(course: Course, t_s: float) -> float:
    """The pressure at a time, between points."""
    for (t0, p0), (t1, p1) in zip(
        zip(course.t_s, course.pressure, strict=True), zip(course.t_s[1:], course.pressure[1:], strict=True), strict=False
    ):
        if t1 >= t_s:
            return p0 if t1 == t0 else p0 + (p1 - p0) * (t_s - t0) / (t1 - t0)
    return course.pressure[-1]
