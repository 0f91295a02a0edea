"""The piston stop, painted: the piston against it before and after TDC, the crank as it stands, and the middle between both."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from borewright.app.draw.fitted import draw_fitted
from borewright.app.draw.stop_model import Linkage, StopModel, linkage
from borewright.app.theme.look import qcolor

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["StopView"]

PISTON_UP, PISTON_DOWN = 0.55, 0.45  # of the throw, above and under the pin
MARK_OUT = 1.42  # of the throw: where the contacts' marks end
STOP_WIDE = 0.22
HEAD = 0.35
LEAST_LETTERS_PX, LABEL_LETTERS = 17.0, 5.2
LEAST_WIDTH_PX, LEAST_HEIGHT_PX = 210, 230


class StopView(QWidget):
    """Paints one model. Two thin pistons stand where the contacts are, the filled one where the crank stands."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._model: StopModel | None = None
        self.setAccessibleName("Picture of the piston stop")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(LEAST_WIDTH_PX, LEAST_HEIGHT_PX)
        desk.look_changed.connect(self.update)

    def sizeHint(self) -> QSize:
        """As large as it reads well."""
        return QSize(330, 430)

    def show_model(self, model: StopModel) -> None:
        """Paint this from now on."""
        if model == self._model:
            return
        self._model = model
        self.setAccessibleDescription(_described(model))
        self.update()

    @property
    def model(self) -> StopModel | None:
        """What is painted."""
        return self._model

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint it."""
        del event
        if self._model is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        _Drawing(self, self._desk, self._model, painter).draw()
        painter.end()


class _Drawing:
    """One painting: the throw is one unit long, y goes up, the crank's centre is the origin."""

    def __init__(self, view: QWidget, desk: Desk, model: StopModel, painter: QPainter) -> None:
        self.p, self.m, self.painter = desk.palette, model, painter
        throw = model.stroke_m / 2.0
        self.bore = model.bore_m / throw
        self.top = sqrt((model.rod_m / throw + 1.0) ** 2 - (model.pin_offset_m / throw) ** 2) + PISTON_UP
        high, low = self.top + HEAD + 0.3, -MARK_OUT - 0.15
        wide = max(2.0 * MARK_OUT + 1.3, self.bore + 1.4)
        self.scale = min(view.width() / wide, view.height() / (high - low))
        self.origin = QPointF(view.width() / 2.0, high * self.scale + (view.height() - (high - low) * self.scale) / 2.0)
        self.letters = max(LEAST_LETTERS_PX, 0.26 * self.scale)  # height of a line, so that it can be read at any size

    def at(self, x: float, y: float) -> QPointF:
        return QPointF(self.origin.x() + x * self.scale, self.origin.y() - y * self.scale)

    def box(self, left: float, top: float, width: float, height: float) -> QRectF:
        return QRectF(self.at(left, top), self.at(left + width, top - height))

    def pen(self, colour: str, width: float = 2.0, *, dashed: bool = False) -> None:
        pen = QPen(qcolor(colour), width)
        if dashed:
            pen.setStyle(Qt.PenStyle.DashLine)
        self.painter.setPen(pen)

    def link(self, crank_deg: float) -> Linkage:
        return linkage(crank_deg, self.m.stroke_m, self.m.rod_m, self.m.pin_offset_m)

    # ------------------------------------------------------------------ the parts

    def draw(self) -> None:
        before, after = (self.link(at_deg) for at_deg in self.m.contacts_at_deg)
        self._cylinder(before)
        self._crank_circle()
        self._ghost(before, self.p.regulated)
        self._ghost(after, self.p.cylinder)
        self._live(self.link(self.m.crank_deg))
        if self.m.stop_in:
            self._stop(before)
        self._mark(self.m.contacts_at_deg[0], self.p.regulated, "before", self.m.before_taken)
        self._mark(self.m.contacts_at_deg[1], self.p.cylinder, "after", self.m.after_taken)
        self._middle()

    def _cylinder(self, contact: Linkage) -> None:
        x, half = contact.piston_x, self.bore / 2.0 + 0.03
        self.pen(self.p.ink_soft, 3.0)
        bottom = self.top - 2.0 - PISTON_UP - PISTON_DOWN
        self.painter.drawLine(self.at(x - half, self.top + HEAD * 0.6), self.at(x - half, bottom))
        self.painter.drawLine(self.at(x + half, self.top + HEAD * 0.6), self.at(x + half, bottom))
        self.painter.drawLine(self.at(x - half, self.top + HEAD * 0.6), self.at(x + half, self.top + HEAD * 0.6))

    def _crank_circle(self) -> None:
        self.pen(self.p.line, 1.5)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawEllipse(self.at(0.0, 0.0), self.scale, self.scale)

    def _piston_box(self, link: Linkage) -> QRectF:
        return self.box(link.piston_x - self.bore / 2.0, link.piston_y + PISTON_UP, self.bore, PISTON_UP + PISTON_DOWN)

    def _ghost(self, link: Linkage, colour: str) -> None:
        """Where the drive is at a contact: both have the piston at the same height, and the rod on either side."""
        self.pen(colour, 1.6, dashed=not self.m.known)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawRect(self._piston_box(link))
        self.painter.drawLine(self.at(link.piston_x, link.piston_y), self.at(link.pin_x, link.pin_y))
        self.painter.drawLine(self.at(0.0, 0.0), self.at(link.pin_x, link.pin_y))

    def _live(self, link: Linkage) -> None:
        fill = QColor(qcolor(self.p.raised, 0.85))
        self.pen(self.p.ink, 2.4, dashed=not self.m.crank_known)
        self.painter.setBrush(fill)
        self.painter.drawRect(self._piston_box(link))
        self.painter.drawLine(self.at(link.piston_x, link.piston_y), self.at(link.pin_x, link.pin_y))
        self.painter.drawLine(self.at(0.0, 0.0), self.at(link.pin_x, link.pin_y))
        self.painter.setBrush(qcolor(self.p.ink))
        for x, y in ((0.0, 0.0), (link.pin_x, link.pin_y), (link.piston_x, link.piston_y)):
            self.painter.drawEllipse(self.at(x, y), 0.07 * self.scale, 0.07 * self.scale)

    def _stop(self, contact: Linkage) -> None:
        """From the plug hole down to the height at which the piston touches, with a soft end."""
        bottom, above = contact.piston_y + PISTON_UP, self.top + HEAD
        self.pen(self.p.ink, 1.6)
        self.painter.setBrush(qcolor(self.p.caution))
        left = contact.piston_x - STOP_WIDE / 2.0
        self.painter.drawRect(self.box(left, above, STOP_WIDE, above - bottom - 0.1))
        self.painter.setBrush(qcolor(self.p.panel))
        self.painter.drawRoundedRect(self.box(left - 0.03, bottom + 0.12, STOP_WIDE + 0.06, 0.12), 4.0, 4.0)
        self.painter.setBrush(qcolor(self.p.caution))
        self.painter.drawRect(self.box(left - 0.1, above + 0.18, STOP_WIDE + 0.2, 0.18))

    def _mark(self, at_deg: float, colour: str, side: str, taken: int) -> None:
        """A contact on the degree circle, with how often it was touched."""
        link = self.link(at_deg)
        self.pen(colour, 2.5, dashed=not self.m.known)
        self.painter.drawLine(self.at(link.pin_x, link.pin_y), self.at(link.pin_x * 1.15, link.pin_y * 1.15))
        done = "✓" * min(taken, 4) + "·" * max(0, self.m.pairs_needed - taken)
        words = (f"{at_deg:+.1f}°" if self.m.known else side, f"{side} {done}" if self.m.known else done)
        right = side == "after"
        align = (Qt.AlignmentFlag.AlignLeft if right else Qt.AlignmentFlag.AlignRight) | Qt.AlignmentFlag.AlignVCenter
        corner = self.at(1.2 * link.pin_x, 1.2 * link.pin_y)
        width = self.letters * LABEL_LETTERS
        for line, text in enumerate(words):
            left = corner.x() + 4.0 if right else corner.x() - 4.0 - width
            box = QRectF(left, corner.y() + (line - 1) * self.letters, width, self.letters)
            draw_fitted(self.painter, box, text, qcolor(colour), bold=line == 0, align=align)

    def _middle(self) -> None:
        """TDC, half way between the contacts, and the way round."""
        top = self.link(0.0)
        self.pen(self.p.accent, 2.0, dashed=True)
        self.painter.drawLine(self.at(0.0, 0.0), self.at(top.pin_x * 1.3, top.pin_y * 1.3))
        if self.m.known:
            above = self.at(top.pin_x * 1.32, top.pin_y * 1.32)
            box = QRectF(above.x() - 2.0 * self.letters, above.y() - self.letters, 4.0 * self.letters, self.letters)
            draw_fitted(self.painter, box, "TDC", qcolor(self.p.accent))
        self.pen(self.p.ink_soft, 2.0)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        round_box = self.box(-0.45, 0.45, 0.9, 0.9)
        self.painter.drawArc(round_box, -40 * 16, -100 * 16)
        tip = self.at(-0.45 * 0.766, -0.45 * 0.643)
        self.painter.setBrush(qcolor(self.p.ink_soft))
        size = 0.09 * self.scale
        self.painter.drawPolygon(
            QPolygonF([tip + QPointF(-size, -size), tip + QPointF(size, -size * 0.6), tip + QPointF(-size * 0.4, size)])
        )


def _described(model: StopModel) -> str:
    if not model.known:
        return model.words
    before, after = model.contacts_at_deg
    return f"the piston touches {before:+.1f}° and {after:+.1f}° from TDC. {model.words}"
