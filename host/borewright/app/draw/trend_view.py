"""One engine over its jobs: a panel for each cylinder, the jobs from left to right, each with its interval."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from borewright.app.draw.chart_view import ChartView, draw_interval, text_in
from borewright.app.draw.curves_view import panels_across
from borewright.app.draw.trend_model import TrendDrawn, TrendPanel
from borewright.app.theme.look import qcolor
from borewright.app.theme.palette import Palette

__all__ = ["TrendView"]

_KEY = "since the first job: ▼ better, ▲ worse, = no shown difference"


class TrendView(ChartView[TrendDrawn]):
    """Draws a TrendDrawn."""

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(name, parent)
        self.setMinimumWidth(320)

    def height_needed(self, width: int) -> int:
        """Title, key, the list of jobs, and as many rows of panels as it takes."""
        if self.drawn is None:
            return 0
        panels = len(self.drawn.panels)
        across = panels_across(width, self.letters.height(), panels) if panels else 1
        return round(self.letters.height() * (self._above(self.drawn) + 12.5 * -(-panels // across)))

    def _above(self, drawn: TrendDrawn) -> float:
        return 3.2 + 1.3 * len(drawn.jobs)

    def draw(self, painter: QPainter, drawn: TrendDrawn, palette: Palette) -> None:
        """Title, which number is which job, panels."""
        line = float(self.letters.height())
        painter.setPen(qcolor(palette.ink))
        plain, bold = painter.font(), painter.font()
        bold.setBold(True)
        painter.setFont(bold)
        text_in(painter, QRectF(0.0, 0.0, self.width(), 1.4 * line), drawn.title)
        painter.setFont(plain)
        text_in(painter, QRectF(0.0, 1.4 * line, self.width(), 1.4 * line), _KEY)
        for number, (name, day) in enumerate(drawn.jobs):
            box = QRectF(0.0, (2.8 + 1.3 * number) * line, self.width(), 1.3 * line)
            text_in(painter, box, f"{number + 1}: {day}  {name}")
        across = panels_across(self.width(), line, len(drawn.panels)) if drawn.panels else 1
        each = self.width() / across
        for number, panel in enumerate(drawn.panels):
            top = (self._above(drawn) + 12.5 * (number // across)) * line
            self._panel(painter, drawn, panel, palette, QRectF(number % across * each, top, each, 12.0 * line))

    def _panel(self, painter: QPainter, drawn: TrendDrawn, panel: TrendPanel, palette: Palette, at: QRectF) -> None:
        line = float(self.letters.height())
        left = max(self.letters.horizontalAdvance(text) for _, text in drawn.axis.marks) + 0.6 * line
        plot = at.adjusted(left, 2.7 * line, -1.2 * line, -1.6 * line)
        painter.fillRect(plot, qcolor(palette.panel))
        for value, text in drawn.axis.marks:
            y = plot.bottom() - drawn.axis.share(value) * plot.height()
            painter.setPen(QPen(qcolor(palette.line), 1.0))
            painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))
            painter.setPen(qcolor(palette.ink))
            text_in(painter, QRectF(at.left(), y - line / 2.0, left - 0.4 * line, line), text, "right")
        each = plot.width() / max(1, len(drawn.jobs))
        for number in range(len(drawn.jobs)):
            x = plot.left() + (number + 0.5) * each
            text_in(painter, QRectF(x - each / 2.0, plot.bottom() + 0.1 * line, each, 1.2 * line), str(number + 1), "centre")
        levels = [(spot, plot.left() + (spot.at + 0.5) * each) for spot in panel.spots]
        painter.setPen(QPen(qcolor(palette.ink_soft), 1.0))
        middles = [
            QPointF(x, plot.bottom() - drawn.axis.share(spot.level.value) * plot.height())
            for spot, x in levels
            if spot.level is not None
        ]
        painter.drawPolyline(QPolygonF(middles))
        for spot, x in levels:
            if spot.level is not None:
                ends = [
                    QPointF(x, plot.bottom() - drawn.axis.share(value) * plot.height())
                    for value in (spot.level.low, spot.level.value, spot.level.high)
                ]
                draw_interval(painter, "after", palette, ends, line * 0.5)
            painter.setPen(qcolor(palette.ink))
            text_in(painter, QRectF(x - each / 2.0, plot.top() - 1.4 * line, each, 1.4 * line), spot.symbol, "centre")
        text_in(
            painter, QRectF(at.left(), at.top(), plot.left() - at.left() + 6.0 * line, 1.4 * line), f"cylinder {panel.cylinder}"
        )
