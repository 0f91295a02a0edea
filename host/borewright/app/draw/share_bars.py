"""Leak shares on the screen: a bar for each place with its interval, beside it the figures."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from borewright.app.draw.share_bars_model import ShareRow
from borewright.app.theme.look import pattern_brush, qcolor
from borewright.app.theme.palette import Palette

__all__ = ["ShareBars"]

GAP_PX = 10.0
LEAST_BAR_PX = 90.0
SCALE = (0, 25, 50, 75, 100)


class ShareBars(QWidget):
    """A bar goes from 0 to the share; a bracket over it spans its 95 % interval. The rest is hatched, the decided one marked."""

    def __init__(self, palette: Palette, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._palette = palette
        self._rows: tuple[ShareRow, ...] = ()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("shares of the leak")

    def show_rows(self, rows: Sequence[ShareRow]) -> None:
        """Draw these."""
        self._rows = tuple(rows)
        self.setAccessibleDescription("; ".join(row.spoken for row in self._rows))
        self.setVisible(bool(self._rows))
        self.updateGeometry()
        self.update()

    def show_palette(self, palette: Palette) -> None:
        """Draw in these colours."""
        self._palette = palette
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        """A row is a line and a half high; in a narrow page the figures stand under the names."""
        per_row = self._row_px()
        return QSize(360, round(per_row * len(self._rows) + self._metrics(bold=False).height() + 8.0) if self._rows else 0)

    def minimumSizeHint(self) -> QSize:
        """All rows are always there."""
        return QSize(240, self.sizeHint().height())

    def _row_px(self) -> float:
        return 2.0 * self._metrics(bold=False).height() + 6.0

    def _metrics(self, *, bold: bool) -> QFontMetricsF:
        font = self.font()
        font.setBold(bold)
        return QFontMetricsF(font)

    def paintEvent(self, event: QPaintEvent) -> None:
        """All rows, and the scale under them."""
        del event
        if not self._rows:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        bold, plain = self._metrics(bold=True), self._metrics(bold=False)
        wide = [bold.horizontalAdvance(_name(row)) for row in self._rows] + [
            plain.horizontalAdvance(row.words) for row in self._rows
        ]
        names = max(wide)
        left = min(names + GAP_PX, max(self.width() - LEAST_BAR_PX - 24.0, 60.0))
        right = self.width() - 18.0
        tall = self._row_px()
        self._scale(painter, left, right, tall * len(self._rows))
        for k, row in enumerate(self._rows):
            self._row(painter, row, QRectF(left, k * tall, right - left, tall))
        painter.end()

    def _row(self, painter: QPainter, row: ShareRow, where: QRectF) -> None:
        p = self._palette
        font = self.font()
        font.setBold(True)
        painter.setFont(font)
        painter.setPen(qcolor(p.ink))
        line = self._metrics(bold=True)
        painter.drawText(QPointF(2.0, where.top() + line.ascent() + 2.0), _name(row))
        font.setBold(False)
        painter.setFont(font)
        painter.setPen(qcolor(p.ink))
        painter.drawText(QPointF(2.0, where.top() + line.height() + line.ascent() + 2.0), row.words)

        def at(percent: float) -> float:
            return where.left() + where.width() * min(max(percent, 0.0), 100.0) / 100.0

        bar = QRectF(
            where.left(), where.top() + 0.2 * where.height(), max(at(row.percent) - where.left(), 1.0), 0.46 * where.height()
        )
        painter.setPen(QPen(qcolor(p.ink), 1.2))
        painter.setBrush(pattern_brush(2 if row.main else 0 if row.rest else 1, p))
        painter.drawRect(bar)
        y = where.top() + 0.8 * where.height()
        painter.setPen(QPen(qcolor(p.ink), 2.0))
        painter.drawLine(QPointF(at(row.low), y), QPointF(at(row.high), y))
        for end in (row.low, row.high):
            painter.drawLine(QPointF(at(end), y - 4.0), QPointF(at(end), y + 4.0))

    def _scale(self, painter: QPainter, left: float, right: float, bottom: float) -> None:
        p = self._palette
        metrics = self._metrics(bold=False)
        for percent in SCALE:
            x = left + (right - left) * percent / 100.0
            painter.setPen(QPen(qcolor(p.line), 1.0, Qt.PenStyle.SolidLine if percent in (0, 100) else Qt.PenStyle.DotLine))
            painter.drawLine(QPointF(x, 0.0), QPointF(x, bottom))
            text = f"{percent} %" if percent == SCALE[-1] else f"{percent}"
            if percent in (0, 50, 100) or right - left > 260.0:
                painter.setPen(qcolor(p.ink_soft))
                wide = metrics.horizontalAdvance(text)
                painter.drawText(QPointF(min(x - wide / 2.0, self.width() - wide), bottom + metrics.ascent() + 4.0), text)


def _name(row: ShareRow) -> str:
    return f"▶ {row.name}" if row.main else row.name
