"""Draws the firing diagram: a row for each cylinder in the firing order, the crank's angle as a line through all of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from borewright.app.draw.firing_model import FiringDiagram, FiringRow, in_words
from borewright.app.draw.slider_crank_view import turn_of_key
from borewright.app.theme.look import pattern_brush, qcolor

if TYPE_CHECKING:
    from borewright.app.theme.palette import Palette

__all__ = ["FiringView"]


class FiringView(QWidget):
    """turned: the crank is to stand at so many degrees of the cycle; picked: a cylinder."""

    turned = Signal(float)
    picked = Signal(int)

    def __init__(self, palette: Palette, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._palette = palette
        self._diagram: FiringDiagram | None = None
        self._crank_deg = 0.0
        self._cylinder = 0
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Minimum)
        self.setAccessibleName("Firing diagram")
        self.setToolTip(
            "Drag the line, or use the keys: ← → one degree (with Shift a tenth), Page up and down ten, ↑ ↓ the cylinder."
        )

    def sizeHint(self) -> QSize:
        """As tall as its rows."""
        return QSize(480, self._height())

    def minimumSizeHint(self) -> QSize:
        """As tall as its rows."""
        return QSize(260, self._height())

    def show_diagram(self, diagram: FiringDiagram | None, cylinder: int, crank_deg: float) -> None:
        """Draw this; None: there is no engine to draw. cylinder: the one that is marked. crank_deg: in the cycle."""
        if diagram != self._diagram:
            self._diagram = diagram
            self.setAccessibleDescription("" if diagram is None else in_words(diagram))
            self.updateGeometry()
        self._cylinder = cylinder
        self._crank_deg = crank_deg
        self.update()

    def show_palette(self, palette: Palette) -> None:
        """Other colours and sizes."""
        self._palette = palette
        self.updateGeometry()
        self.update()

    # ------------------------------------------------------------ the hand

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Keys turn the crank and choose the cylinder."""
        step = turn_of_key(event)
        if self._diagram is None:
            super().keyPressEvent(event)
        elif step is not None:
            self.turned.emit(self._crank_deg + step)
        elif event.key() == Qt.Key.Key_Home:
            self.turned.emit(0.0)
        elif event.key() in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            order = [row.cylinder for row in self._diagram.rows]
            at = order.index(self._cylinder) if self._cylinder in order else 0
            self.picked.emit(order[(at + (1 if event.key() == Qt.Key.Key_Down else -1)) % len(order)])
        else:
            super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """A row chooses its cylinder, and the line comes to the hand."""
        if self._diagram is None or event.button() != Qt.MouseButton.LeftButton:
            return
        at = int((event.position().y() - self._line()) // self._row_px())
        if 0 <= at < len(self._diagram.rows):
            self.picked.emit(self._diagram.rows[at].cylinder)
        self._drag(event.position().x())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """The line follows."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._drag(event.position().x())

    def _drag(self, x: float) -> None:
        if self._diagram is None:
            return
        left, width = self._across()
        if x >= left:
            self.turned.emit(min(max((x - left) / width, 0.0), 1.0) * self._diagram.cycle_deg)

    # ------------------------------------------------------------ where things are

    def _line(self) -> float:
        return self.fontMetrics().height() * 1.15

    def _row_px(self) -> float:
        return self._line() * 1.75

    def _height(self) -> int:
        rows = 3 if self._diagram is None else len(self._diagram.rows)
        return round(self._line() * 2.3 + rows * self._row_px())

    def _across(self) -> tuple[float, float]:
        """Where the cycle begins, and how wide it is."""
        left = float(self.fontMetrics().horizontalAdvance("24 ")) + 12.0
        return left, max(20.0, self.width() - left - 14.0)

    # ------------------------------------------------------------ the drawing

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Everything anew."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), qcolor(self._palette.panel))
        if self._diagram is None:
            painter.setPen(qcolor(self._palette.ink_soft))
            words = "The firing diagram comes once nothing is wrong with the engine."
            painter.drawText(self.rect().adjusted(12, 8, -12, -8), Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, words)
        else:
            self._draw_degrees(painter, self._diagram)
            for at, row in enumerate(self._diagram.rows):
                self._draw_row(painter, self._diagram, row, self._line() + at * self._row_px())
            self._draw_crank_line(painter, self._diagram)
        if self.hasFocus():
            painter.setPen(QPen(qcolor(self._palette.accent), 3.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(self.rect()).adjusted(1.5, 1.5, -1.5, -1.5))
        painter.end()

    def _draw_degrees(self, painter: QPainter, diagram: FiringDiagram) -> None:
        left, width = self._across()
        foot = self._line() + len(diagram.rows) * self._row_px()
        metrics = painter.fontMetrics()
        step = 90 if width / (diagram.cycle_deg / 90.0) > 1.3 * metrics.horizontalAdvance("720°") else 180
        for degrees in range(0, round(diagram.cycle_deg) + 1, step):
            x = left + width * degrees / diagram.cycle_deg
            painter.setPen(QPen(qcolor(self._palette.line), 1.0))
            painter.drawLine(QPointF(x, self._line() * 0.8), QPointF(x, foot + 3.0))
            painter.setPen(qcolor(self._palette.ink_soft))
            words = f"{degrees}°"
            wide = metrics.horizontalAdvance(words)
            painter.drawText(QPointF(min(x - wide / 2.0, self.width() - wide - 2.0), foot + metrics.ascent() + 4.0), words)

    def _draw_row(self, painter: QPainter, diagram: FiringDiagram, row: FiringRow, top: float) -> None:
        palette = self._palette
        left, width = self._across()
        per_deg = width / diagram.cycle_deg
        high = self._line() * 1.15
        metrics = painter.fontMetrics()
        own = row.cylinder == self._cylinder
        painter.setPen(qcolor(palette.ink))
        font = painter.font()
        font.setBold(own)
        painter.setFont(font)
        label = QRectF(2.0, top, left - 6.0, high)
        painter.drawText(label, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, str(row.cylinder))
        if own:
            painter.setPen(QPen(qcolor(palette.accent), 2.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(label.adjusted(1.0, 0.0, 2.0, 0.0), 3.0, 3.0)
        for span in row.phases:
            box = QRectF(left + span.start_deg * per_deg, top, (span.end_deg - span.start_deg) * per_deg, high)
            painter.setPen(QPen(qcolor(palette.ink_soft), 1.0))
            painter.setBrush(pattern_brush(span.pattern, palette))
            painter.drawRect(box)
            self._name(painter, span.what, span.pattern, box)
        font.setBold(False)
        painter.setFont(font)
        for lane, what in enumerate(("exhaust", "intake", "transfer")):
            y = top + high + 2.0 + (3.0 if lane else 0.0) * metrics.height() / 16.0
            colour = qcolor(palette.third if lane else palette.cylinder)
            style = Qt.PenStyle.DashLine if lane else Qt.PenStyle.SolidLine
            painter.setPen(QPen(colour, 2.0, style, Qt.PenCapStyle.FlatCap))
            for span in row.open:
                if span.what == what:
                    painter.drawLine(QPointF(left + span.start_deg * per_deg, y), QPointF(left + span.end_deg * per_deg, y))
        self._draw_tdc(painter, left + row.tdc_deg * per_deg, top, high, filled=True)
        if row.overlap_deg is not None:
            self._draw_tdc(painter, left + row.overlap_deg * per_deg, top, high, filled=False)

    def _name(self, painter: QPainter, what: str, pattern: int, box: QRectF) -> None:
        """The phase's name on a plain ground, whole, its first letters, or nothing where it does not fit."""
        metrics = painter.fontMetrics()
        words = next((word for word in (what, what[:4], what[:1]) if metrics.horizontalAdvance(word) + 10.0 <= box.width()), "")
        if not words:
            return
        wide = metrics.horizontalAdvance(words) + 6.0
        ground = QRectF(box.center().x() - wide / 2.0, box.top() + 1.5, wide, box.height() - 3.0)
        at = min(max(pattern, 0), 3)
        painter.fillRect(ground, qcolor(self._palette.bands[at]))
        painter.setPen(qcolor(self._palette.on_bands[at]))
        painter.drawText(ground, Qt.AlignmentFlag.AlignCenter, words)

    def _draw_tdc(self, painter: QPainter, x: float, top: float, high: float, *, filled: bool) -> None:
        """A wedge that points down at the TDC: filled for compression, hollow for overlap."""
        size = 0.36 * high
        wedge = QPolygonF([QPointF(x - size, top - size * 0.7), QPointF(x + size, top - size * 0.7), QPointF(x, top + size * 0.8)])
        painter.setPen(QPen(qcolor(self._palette.ink), 2.0 if filled else 1.5))
        if filled:
            painter.drawLine(QPointF(x, top), QPointF(x, top + high))
        painter.setBrush(qcolor(self._palette.ink if filled else self._palette.panel))
        painter.drawPolygon(wedge)

    def _draw_crank_line(self, painter: QPainter, diagram: FiringDiagram) -> None:
        left, width = self._across()
        x = left + width * (self._crank_deg % diagram.cycle_deg) / diagram.cycle_deg
        foot = self._line() + len(diagram.rows) * self._row_px()
        painter.setPen(QPen(qcolor(self._palette.accent), 3.0))
        painter.drawLine(QPointF(x, 2.0), QPointF(x, foot))
