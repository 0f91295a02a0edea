"""The decays of two stages over each other: a panel for each cylinder, before dashed, after solid, all to one scale."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from borewright.app.draw.chart_view import ChartView, draw_legend, side_pen, text_in
from borewright.app.draw.curves_model import CurvePanel, CurvesDrawn
from borewright.app.theme.look import qcolor
from borewright.app.theme.palette import Palette

__all__ = ["CurvesView", "panels_across"]


def panels_across(width: float, line: float, panels: int) -> int:
    """How many panels lie beside each other: as many as are at least 18 letters' heights wide.

    >>> panels_across(900.0, 18.0, 4), panels_across(300.0, 18.0, 4), panels_across(3000.0, 18.0, 4)
    (2, 1, 4)
    """
    return max(1, min(panels, int(width / (18.0 * line))))


class CurvesView(ChartView[CurvesDrawn]):
    """Draws a CurvesDrawn."""

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(name, parent)
        self.setMinimumWidth(320)

    def height_needed(self, width: int) -> int:
        """A line for the legend, and as many rows of panels as it takes."""
        panels = 0 if self.drawn is None else len(self.drawn.panels)
        across = panels_across(width, self.letters.height(), panels) if panels else 1
        return round(self.letters.height() * (2.0 + 11.5 * -(-panels // across)))

    def draw(self, painter: QPainter, drawn: CurvesDrawn, palette: Palette) -> None:
        """Legend and panels."""
        line = float(self.letters.height())
        painter.setPen(qcolor(palette.ink))
        title = f"cylinder pressure, {drawn.unit}, over seconds from the shut to the vent"
        text_in(painter, QRectF(0.0, 0.0, self.width(), 1.6 * line), title)
        wide = self.letters.horizontalAdvance(title)
        draw_legend(painter, palette, QPointF(wide + 2.0 * line, 0.8 * line), ("before", "after"), line=True)
        across = panels_across(self.width(), line, len(drawn.panels)) if drawn.panels else 1
        each = self.width() / across
        for number, panel in enumerate(drawn.panels):
            at = QRectF(number % across * each, 2.0 * line + 11.5 * line * (number // across), each, 11.0 * line)
            self._panel(painter, drawn, panel, palette, at)

    def _panel(self, painter: QPainter, drawn: CurvesDrawn, panel: CurvePanel, palette: Palette, at: QRectF) -> None:
        line = float(self.letters.height())
        left = max(self.letters.horizontalAdvance(text) for _, text in drawn.pressure.marks) + 0.6 * line
        plot = at.adjusted(left, 0.4 * line, -1.2 * line, -1.8 * line)
        painter.fillRect(plot, qcolor(palette.panel))
        for value, text in drawn.pressure.marks:
            y = plot.bottom() - drawn.pressure.share(value) * plot.height()
            painter.setPen(QPen(qcolor(palette.line), 1.0))
            painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))
            painter.setPen(qcolor(palette.ink))
            text_in(painter, QRectF(at.left(), y - line / 2.0, left - 0.4 * line, line), text, "right")
        for value, text in drawn.seconds.marks:
            x = plot.left() + drawn.seconds.share(value) * plot.width()
            painter.setPen(QPen(qcolor(palette.line), 1.0))
            painter.drawLine(QPointF(x, plot.bottom()), QPointF(x, plot.bottom() + 0.2 * line))
            painter.setPen(qcolor(palette.ink))
            wide = self.letters.horizontalAdvance(text) + 6.0
            text_in(painter, QRectF(x - wide / 2.0, plot.bottom() + 0.2 * line, wide, 1.2 * line), text, "centre")
        if panel.before:
            self._curve(painter, drawn, panel.before, plot, side_pen("before", palette, line / 9.0))
        if panel.after:
            self._curve(painter, drawn, panel.after, plot, side_pen("after", palette, line / 9.0))
        painter.setPen(qcolor(palette.ink))
        words = f"cylinder {panel.cylinder}" + ("" if panel.before or panel.after else ": no decay")
        text_in(painter, QRectF(plot.left(), plot.top() + 0.2 * line, plot.width() - 0.4 * line, 1.3 * line), words, "right")

    def _curve(
        self, painter: QPainter, drawn: CurvesDrawn, points: tuple[tuple[float, float], ...], plot: QRectF, pen: QPen
    ) -> None:
        painter.setPen(pen)
        painter.drawPolyline(
            QPolygonF(
                [
                    QPointF(
                        plot.left() + drawn.seconds.share(t_s) * plot.width(),
                        plot.bottom() - drawn.pressure.share(p) * plot.height(),
                    )
                    for t_s, p in points
                ]
            )
        )
