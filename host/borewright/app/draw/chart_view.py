"""What the charts of the Jobs page draw alike: the mark and the line of a stage, told apart by form as well as by colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Generic, Literal, TypeVar

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from borewright.app.theme.look import qcolor
from borewright.app.theme.palette import Palette

__all__ = ["ChartView", "Side", "draw_interval", "draw_legend", "side_colour", "side_pen"]

Side = Literal["before", "after"]
Drawn = TypeVar("Drawn")
_ALIGN = {"left": Qt.AlignmentFlag.AlignLeft, "right": Qt.AlignmentFlag.AlignRight, "centre": Qt.AlignmentFlag.AlignHCenter}


def side_colour(side: Side, palette: Palette) -> QColor:
    """The colour of a stage."""
    return qcolor(palette.cylinder if side == "before" else palette.regulated)


def side_pen(side: Side, palette: Palette, wide: float) -> QPen:
    """The line of a stage, so many pixels wide: before is dashed, after is solid."""
    pen = QPen(side_colour(side, palette), wide)
    pen.setStyle(Qt.PenStyle.DashLine if side == "before" else Qt.PenStyle.SolidLine)
    return pen


def draw_interval(painter: QPainter, side: Side, palette: Palette, at: Sequence[QPointF], size: float) -> None:
    """A value between the ends of its interval, lying or standing: before is an open ring, after is a full square.

    at: where the lower end, the value and the upper end lie.
    """
    low, middle, high = at
    colour = side_colour(side, palette)
    painter.setPen(QPen(colour, max(1.5, size / 6.0)))
    painter.drawLine(low, high)
    lying = abs(high.y() - low.y()) < abs(high.x() - low.x())
    across = QPointF(0.0, size / 2.0) if lying else QPointF(size / 2.0, 0.0)
    for end in (low, high):
        painter.drawLine(end - across, end + across)
    half = 0.36 * size  # smaller than the ends are long, so that a narrow interval is still seen
    mark = QRectF(middle.x() - half, middle.y() - half, 2.0 * half, 2.0 * half)
    if side == "before":
        painter.setBrush(qcolor(palette.panel))
        painter.drawEllipse(mark)
    else:
        painter.setBrush(QBrush(colour))
        painter.drawRect(mark)
    painter.setBrush(Qt.BrushStyle.NoBrush)


def draw_legend(painter: QPainter, palette: Palette, at: QPointF, words: tuple[str, str], line: bool) -> float:
    """Which mark (or line) is which stage, from a point at half the height of the letters on; how wide it came out."""
    metrics = painter.fontMetrics()
    size, x = metrics.height() * 0.55, at.x()
    sides: tuple[Side, Side] = ("before", "after")
    for side, text in zip(sides, words, strict=True):
        left, right = QPointF(x, at.y()), QPointF(x + metrics.height() * 1.8, at.y())
        if line:
            painter.setPen(side_pen(side, palette, metrics.height() / 9.0))
            painter.drawLine(left, right)
        else:
            draw_interval(painter, side, palette, (left, (left + right) / 2.0, right), size)
        painter.setPen(qcolor(palette.ink))
        painter.drawText(QPointF(right.x() + size, at.y() + metrics.ascent() / 2.0 - metrics.descent() / 2.0), text)
        x = right.x() + size + metrics.horizontalAdvance(text) + 2.0 * size
    return x - at.x()


class ChartView(QWidget, Generic[Drawn]):
    """A chart of what a model says; it is as high as its content needs at the width that it has."""

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.drawn: Drawn | None = None
        self.palette_used: Palette | None = None
        self.setAccessibleName(name)
        self.setMinimumWidth(200)
        policy = self.sizePolicy()
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def show_drawn(self, drawn: Drawn | None, palette: Palette, words: str) -> None:
        """Show this, in these colours; words: the same for whoever cannot see it."""
        self.drawn, self.palette_used = drawn, palette
        self.setAccessibleDescription(words)
        self.fit_height()
        self.update()

    def height_needed(self, width: int) -> int:
        """How high the content comes at a width."""
        raise NotImplementedError

    def draw(self, painter: QPainter, drawn: Drawn, palette: Palette) -> None:
        """Draw the content."""
        raise NotImplementedError

    def fit_height(self) -> None:
        """Take the height that is needed at this width."""
        self.setMinimumHeight(self.height_needed(self.width()) if self.drawn is not None else 0)
        self.updateGeometry()

    def resizeEvent(self, event: object) -> None:  # noqa: ARG002 -- Qt's name
        """Another width may need another height."""
        if self.drawn is not None and self.minimumHeight() != self.height_needed(self.width()):
            self.fit_height()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 -- Qt's name
        """Draw what is to be shown."""
        if self.drawn is None or self.palette_used is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(self.font())
        self.draw(painter, self.drawn, self.palette_used)
        painter.end()

    @property
    def letters(self) -> QFontMetrics:
        """How large the letters are."""
        return self.fontMetrics()


def text_in(painter: QPainter, box: QRectF, text: str, align: Literal["left", "right", "centre"] = "left") -> None:
    """A line of text in a box, in the middle of its height; cut with an ellipsis where it is too long."""
    fitted = painter.fontMetrics().elidedText(text, Qt.TextElideMode.ElideRight, int(box.width()) + 1)
    painter.drawText(box, _ALIGN[align] | Qt.AlignmentFlag.AlignVCenter, fitted)
