"""The table of results: a line for each cylinder at each stage, figures set under each other at the decimal sign."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from borewright.report.model import Change, Quantity, Report, Result
from borewright.report.sheet import FAINT, GREY, INK, MM, Pen, Piece
from borewright.report.text import BOLD, PLAIN, clean, fitted, width_of, wrapped

__all__ = ["results_table"]

SIZE, LEADING = 8.2, 10.4
HEADING, SUB = 7.2, 6.8
PAD = 2.2


@dataclass(frozen=True, slots=True)
class _Columns:
    """Left edges in points."""

    stage: float
    leakage: float
    psi: float
    kpa: float
    area: float
    volume: float
    band: float
    change: float
    end: float


def _columns(report: Report, aligned: Sequence[_Align], width: float) -> _Columns:
    """Each column as wide as what stands in it; band takes what is left."""
    rows = report.results
    gap = 4.2 * MM
    stage = 9.0 * MM
    leakage = stage + max(width_of(f"{clean(row.stage)} {clean(row.letters)}"[:16], PLAIN, SIZE) for row in rows) + gap
    psi = leakage + max(aligned[0].end, 22.0) + gap
    kpa = psi + max(width_of(row.pair_psi or "–", PLAIN, SIZE) for row in rows) + gap
    area = kpa + max(width_of(row.pair_kpa or "–", PLAIN, SIZE) for row in rows) + gap
    volume = area + max(aligned[1].end, 38.0) + gap
    band = volume + max(aligned[2].end, 34.0) + gap
    said = [words for change in report.changes for words in (change.verdict, *change.changes)]
    wide = max((width_of(clean(words), PLAIN, SIZE) for words in said), default=0.0) + 1.0
    change = width - min(max(wide, 29.0 * MM), 36.0 * MM)
    return _Columns(stage, leakage, psi, kpa, area, volume, band, change if report.changes else width, width)


@dataclass(frozen=True, slots=True)
class _Align:
    """Where the parts of a column of quantities lie from its left edge: decimal sign, ± sign, second decimal sign."""

    point: float
    sign: float
    second: float
    end: float

    def draw(self, pen: Pen, x: float, y: float, shown: Quantity, bold: bool = False) -> None:
        _at_point(pen, x + self.point, y, shown.value, bold)
        if shown.expanded:
            pen.text(x + self.sign, y, "±", SIZE, colour=GREY)
            _at_point(pen, x + self.second, y, shown.expanded, False)


def _at_point(pen: Pen, x: float, y: float, number: str, bold: bool) -> None:
    """The number in one piece, so that it is read as one, with its decimal sign there."""
    whole, _, _ = number.partition(".")
    pen.text(x - width_of(whole, BOLD if bold else PLAIN, SIZE), y, number, SIZE, bold=bold)


def _align(quantities: Sequence[Quantity]) -> _Align:
    values = [_parts(one.value) for one in quantities if one.value]
    spreads = [_parts(one.expanded) for one in quantities if one.expanded]
    point = max((whole for whole, _ in values), default=0.0)
    sign = point + max((rest for _, rest in values), default=0.0) + 3.0
    second = sign + width_of("± ", PLAIN, SIZE) + max((whole for whole, _ in spreads), default=0.0)
    return _Align(point, sign, second, second + max((rest for _, rest in spreads), default=0.0))


def _parts(number: str) -> tuple[float, float]:
    """How wide a number is before its decimal sign, and from there on."""
    whole, point, rest = number.partition(".")
    return width_of(whole, BOLD, SIZE), width_of(point + rest, BOLD, SIZE)


def results_table(report: Report, width: float) -> Iterator[Piece]:
    """The table with its headings; a cylinder's lines stay together."""
    if not report.results:
        return
    with_change = bool(report.changes)
    aligned = (
        _align([row.leakage for row in report.results]),
        _align([row.area for row in report.results]),
        _align([row.volume for row in report.results]),
    )
    columns = _columns(report, aligned, width)
    top = _headings(report, columns, with_change)
    yield top
    changes = {change.cylinder: change for change in report.changes}
    for cylinder in dict.fromkeys(row.cylinder for row in report.results):
        rows = [row for row in report.results if row.cylinder == cylinder]
        yield _lines(cylinder, rows, changes.get(cylinder), columns, aligned, top)


def _headings(report: Report, at: _Columns, with_change: bool) -> Piece:
    area, volume = report.units
    named = [
        (0.0, "cyl.", ""),
        (at.stage, "stage", ""),
        (at.leakage, "leakage", "% ± U"),
        (at.psi, "pair", "psi"),
        (at.kpa, "", "kPa"),
        (at.area, "leak area", f"{area} ± U"),
        (at.volume, "trapped", f"{volume} ± U"),
        (at.band, "band", ""),
    ]
    if with_change:
        named.append((at.change, "change", "after − before, ± U"))

    def draw(pen: Pen) -> None:
        for x, name, unit in named:
            pen.text(x, 9.5, name, HEADING, bold=True)
            pen.text(x, 18.0, unit, SUB, colour=GREY)
        pen.line(0.0, 21.5, at.end, 21.5, 0.5, INK)

    return Piece(22.0, draw, before=2.0, keep=True)


def _lines(
    cylinder: int,
    rows: Sequence[Result],
    change: Change | None,
    at: _Columns,
    aligned: Sequence[_Align],
    top: Piece,
) -> Piece:
    band_wide = at.change - at.band - (3.0 if change is not None or at.change < at.end else 0.0)
    bands = [wrapped(row.band, PLAIN, SIZE - 0.6, band_wide, 4) if row.band else () for row in rows]
    notes = [wrapped(row.nothing, PLAIN, SIZE - 0.6, at.change - at.leakage - 4.0, 4) if row.nothing else () for row in rows]
    heights = [LEADING * max(1, len(band), len(note)) for band, note in zip(bands, notes, strict=True)]
    said: list[tuple[str, bool]] = []
    if change is not None:
        wide = at.end - at.change
        shown = bool(change.changes) and change.verdict != "no shown difference"
        said += [(line, shown) for line in wrapped(change.verdict, BOLD if shown else PLAIN, SIZE, wide, 2)]
        said += [(line, False) for words in change.changes for line in wrapped(words, PLAIN, SIZE - 0.4, wide, 2)]
    height = max(sum(heights), LEADING * len(said)) + 2.0 * PAD

    def draw(pen: Pen) -> None:
        pen.text(0.0, PAD + 9.2, str(cylinder), 11.0, bold=True)
        y = PAD
        for row, band, note, tall in zip(rows, bands, notes, heights, strict=True):
            _line(pen, y + 8.2, row, at, aligned)
            for number, line in enumerate(note):
                pen.text(at.leakage, y + 8.2 + LEADING * number, line, SIZE - 0.6, colour=GREY)
            for number, line in enumerate(band):
                pen.text(at.band, y + 8.2 + LEADING * number, line, SIZE - 0.6)
            y += tall
        for number, (line, bold) in enumerate(said):
            pen.text(at.change, PAD + 8.2 + LEADING * number, line, SIZE if number == 0 else SIZE - 0.4, bold=bold)
        pen.line(0.0, height, at.end, height, 0.4, FAINT)

    return Piece(height, draw, again=top)


def _line(pen: Pen, y: float, row: Result, at: _Columns, aligned: Sequence[_Align]) -> None:
    room = at.leakage - at.stage - 3.0
    pen.text(at.stage, y, fitted(row.stage, PLAIN, SIZE, room), SIZE)
    if row.letters:
        after = width_of(row.stage, PLAIN, SIZE) + 1.5
        pen.text(at.stage + after, y - 2.6, fitted(row.letters, PLAIN, 5.6, max(room - after + 2.0, 6.0)), 5.6, colour=INK)
    if row.nothing:
        return
    aligned[0].draw(pen, at.leakage, y, row.leakage, bold=True)
    pen.text(at.psi, y, row.pair_psi or "–", SIZE)
    pen.text(at.kpa, y, row.pair_kpa or "–", SIZE)
    for align, x, shown in ((aligned[1], at.area, row.area), (aligned[2], at.volume, row.volume)):
        if shown.value:
            align.draw(pen, x, y, shown)
        else:
            pen.text(x, y, "–", SIZE)
