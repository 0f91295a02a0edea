"""The page: its size, the pen that draws on it, and pieces put under each other until a page is full."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from reportlab.pdfgen.canvas import Canvas

from borewright.report.text import BOLD, PLAIN, as_seen, clean, width_of

__all__ = [
    "ACCENT",
    "FAINT",
    "GREY",
    "INK",
    "MM",
    "PAGES",
    "WASH",
    "Page",
    "PageName",
    "Pen",
    "Piece",
    "paginate",
]

MM = 72.0 / 25.4
# one dark hue for the eye; every meaning is carried by words, line styles and weight, so that a grey print says the same
INK, GREY, FAINT, WASH, ACCENT = "#161a1d", "#5b6268", "#b9bfc4", "#f2f4f5", "#16404f"
PageName = Literal["A4", "letter"]
Align = Literal["left", "right", "middle"]


@dataclass(frozen=True, slots=True)
class Page:
    """A size of paper with its margins, in points."""

    width: float
    height: float
    side: float = 18.0 * MM
    top: float = 15.0 * MM
    bottom: float = 17.0 * MM

    @property
    def column(self) -> float:
        """Width between the margins."""
        return self.width - 2.0 * self.side

    @property
    def room(self) -> float:
        """Height between the margins."""
        return self.height - self.top - self.bottom


PAGES: dict[PageName, Page] = {"A4": Page(210.0 * MM, 297.0 * MM), "letter": Page(612.0, 792.0)}


@dataclass(slots=True)
class Pen:
    """Draws with x from the left margin and y downwards from the top of what is drawn."""

    canvas: Canvas
    left: float
    top: float

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = 8.0,
        *,
        bold: bool = False,
        colour: str = INK,
        align: Align = "left",
    ) -> None:
        """A line of text, y at its base line."""
        said, font = as_seen(clean(words)), BOLD if bold else PLAIN
        if not said:
            return
        if align != "left":
            x -= width_of(said, font, size) * (1.0 if align == "right" else 0.5)
        self.canvas.setFillColor(colour)
        self.canvas.setFont(font, size)
        self.canvas.drawString(self.left + x, self.top - y, said)

    def line(self, x1: float, y1: float, x2: float, y2: float, weight: float = 0.5, colour: str = FAINT) -> None:
        """A straight line."""
        self.canvas.setStrokeColor(colour)
        self.canvas.setLineWidth(weight)
        self.canvas.line(self.left + x1, self.top - y1, self.left + x2, self.top - y2)

    def box(self, x: float, y: float, width: float, height: float, fill: str | None = WASH, edge: str | None = None) -> None:
        """A rectangle, y at its upper edge."""
        if fill is not None:
            self.canvas.setFillColor(fill)
        if edge is not None:
            self.canvas.setStrokeColor(edge)
            self.canvas.setLineWidth(0.7)
        shown = (int(edge is not None), int(fill is not None))
        self.canvas.rect(self.left + x, self.top - y - height, width, height, stroke=shown[0], fill=shown[1])

    def curve(self, points: Sequence[tuple[float, float]], weight: float, colour: str, dashes: Sequence[float] = ()) -> None:
        """A line through the points; those that would fall onto the one before are left out."""
        if len(points) < 2:
            return
        path = self.canvas.beginPath()
        x_before, y_before = points[0]
        path.moveTo(self.left + x_before, self.top - y_before)
        for x, y in points[1:-1]:
            if abs(x - x_before) + abs(y - y_before) >= 0.6:
                path.lineTo(self.left + x, self.top - y)
                x_before, y_before = x, y
        path.lineTo(self.left + points[-1][0], self.top - points[-1][1])
        self.canvas.saveState()
        self.canvas.setStrokeColor(colour)
        self.canvas.setLineWidth(weight)
        self.canvas.setLineJoin(1)
        self.canvas.setDash(list(dashes))
        self.canvas.drawPath(path, stroke=1, fill=0)
        self.canvas.restoreState()

    def moved(self, x: float, y: float) -> Pen:
        """A pen whose zero lies there."""
        return Pen(self.canvas, self.left + x, self.top - y)


@dataclass(frozen=True, slots=True)
class Piece:
    """Something of a height that is not divided. before: white above it, but at the top of a page. keep: not parted from the next.

    again: drawn above it where it begins a page, like the headings of a table.
    """

    height: float
    draw: Callable[[Pen], None] = field(repr=False)
    before: float = 0.0
    keep: bool = False
    again: Piece | None = None


def paginate(pieces: Iterable[Piece], room: float) -> list[list[tuple[float, Piece]]]:
    """The pieces of each page, with how far from its top they begin.

    >>> one = Piece(40.0, print)
    >>> [[at for at, _ in page] for page in paginate([one, one, one], 100.0)]
    [[0.0, 40.0], [0.0]]
    """
    pages: list[list[tuple[float, Piece]]] = [[]]
    at = 0.0
    for group in _groups(pieces):
        whole = sum(piece.before + piece.height for piece in group)
        if pages[-1] and at + whole > room and whole - group[0].before <= room:
            pages.append([])
            at = 0.0
        for piece in group:
            if pages[-1] and at + piece.before + piece.height > room:
                pages.append([])
                at = 0.0
            if pages[-1]:
                at += piece.before
            elif piece.again is not None:
                pages[-1].append((0.0, piece.again))
                at = piece.again.height
            pages[-1].append((at, piece))
            at += piece.height
    return pages


def _groups(pieces: Iterable[Piece]) -> Iterable[list[Piece]]:
    group: list[Piece] = []
    for piece in pieces:
        group.append(piece)
        if not piece.keep:
            yield group
            group = []
    if group:
        yield group
