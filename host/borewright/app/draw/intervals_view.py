"""The chart of a comparison: a row for each cylinder, both stages as intervals on one axis, the verdict in words beside it."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainter, QPen
from PySide6.QtWidgets import QWidget

from borewright.app.draw.chart_view import ChartView, draw_interval, draw_legend, text_in
from borewright.app.draw.intervals_model import IntervalRow, IntervalsDrawn
from borewright.app.theme.look import qcolor
from borewright.app.theme.palette import Palette

__all__ = ["IntervalsView"]


class IntervalsView(ChartView[IntervalsDrawn]):
    """Draws an IntervalsDrawn."""

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(name, parent)
        self.setMinimumWidth(320)

    def height_needed(self, width: int) -> int:  # noqa: ARG002
        """A line for title and legend, one for the axis, two and a half for each cylinder."""
        rows = 0 if self.drawn is None else len(self.drawn.rows)
        return round(self.letters.height() * (2.6 + 2.5 * rows + 1.6))

    def draw(self, painter: QPainter, drawn: IntervalsDrawn, palette: Palette) -> None:
        """Title, legend, axis, rows."""
        line = float(self.letters.height())
        painter.setPen(qcolor(palette.ink))
        bold = painter.font()
        bold.setBold(True)
        plain = painter.font()
        painter.setFont(bold)
        title = painter.fontMetrics().horizontalAdvance(drawn.title)
        text_in(painter, QRectF(0.0, 0.0, self.width(), 1.6 * line), drawn.title)
        painter.setFont(plain)
        draw_legend(painter, palette, QPointF(title + 2.0 * line, 0.8 * line), ("before", "after"), line=False)
        left, words_wide = self._left(), self._words_wide(drawn)
        plot = QRectF(left, 2.2 * line, max(60.0, self.width() - left - words_wide - line), 2.5 * line * len(drawn.rows))
        self._axis(painter, drawn, palette, plot)
        for number, row in enumerate(drawn.rows):
            self._row(painter, drawn, row, palette, QRectF(plot.left(), plot.top() + 2.5 * line * number, plot.width(), 2.5 * line))

    def _left(self) -> float:
        return self.letters.horizontalAdvance("cylinder 88") + 0.6 * self.letters.height()

    def _words_wide(self, drawn: IntervalsDrawn) -> float:
        texts = [text for row in drawn.rows for text in (row.verdict, row.change)]
        return max((float(self.letters.horizontalAdvance(text)) for text in texts), default=0.0) + 4.0

    def _axis(self, painter: QPainter, drawn: IntervalsDrawn, palette: Palette, plot: QRectF) -> None:
        line = float(self.letters.height())
        for value, text in drawn.axis.marks:
            x = plot.left() + drawn.axis.share(value) * plot.width()
            painter.setPen(QPen(qcolor(palette.line), 1.0))
            painter.drawLine(QPointF(x, plot.top()), QPointF(x, plot.bottom()))
            painter.setPen(qcolor(palette.ink))
            wide = self.letters.horizontalAdvance(text) + 6.0
            text_in(painter, QRectF(x - wide / 2.0, plot.bottom() + 0.1 * line, wide, 1.2 * line), text, "centre")

    def _row(self, painter: QPainter, drawn: IntervalsDrawn, row: IntervalRow, palette: Palette, box: QRectF) -> None:
        line = float(self.letters.height())
        painter.setPen(QPen(qcolor(palette.line), 1.0))
        painter.drawLine(QPointF(0.0, box.top()), QPointF(self.width(), box.top()))
        painter.setPen(qcolor(palette.ink))
        text_in(painter, QRectF(0.0, box.top(), box.left(), box.height()), f"cylinder {row.cylinder}")
        beside = QRectF(box.right() + line * 0.8, box.top(), self.width() - box.right() - line * 0.8, box.height() / 2.0)
        text_in(painter, beside.adjusted(0.0, 0.15 * line, 0.0, 0.15 * line), row.verdict)
        painter.setPen(qcolor(palette.ink_soft))
        text_in(painter, beside.translated(0.0, box.height() / 2.0 - 0.15 * line), row.change)
        for side, interval, share in (("before", row.before, 0.32), ("after", row.after, 0.7)):
            if interval is None:
                continue
            y = box.top() + share * box.height()
            at = [
                QPointF(box.left() + drawn.axis.share(value) * box.width(), y)
                for value in (interval.low, interval.value, interval.high)
            ]
            draw_interval(painter, "before" if side == "before" else "after", palette, at, line * 0.55)
