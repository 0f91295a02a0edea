"""The crank of the built-in rig, to be dragged with the mouse and turned with keys, and its pistons as they stand."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from borewright.app.builtin.crank_model import CrankPicture, Slot, crank_picture, pointer_deg
from borewright.app.builtin.operator_model import STEADY_WORDS, CrankDrag, CrankKey, crank_key_words, crank_text
from borewright.app.desk import Desk
from borewright.app.theme.look import figure_font, qcolor
from borewright.simrig.rig_view import BuiltInFacts, BuiltInView

__all__ = ["CrankView"]

_KEYS: dict[int, CrankKey] = {
    Qt.Key.Key_Left: "left",
    Qt.Key.Key_Right: "right",
    Qt.Key.Key_PageUp: "page_up",
    Qt.Key.Key_PageDown: "page_down",
}
_TICKS_DEG = range(0, 360, 30)


class CrankView(QWidget):
    """Draws the crank and the pistons. told: words for the person at the rig, from mouse and keys."""

    told = Signal(str)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._view: BuiltInView | None = None
        self._facts: BuiltInFacts | None = None
        self._drag: CrankDrag | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setCursor(Qt.CursorShape.OpenHandCursor)
        self.setAccessibleName("Crank of the built-in rig")
        self.setToolTip(
            "Drag the handle round, clockwise in running direction. Keys: left and right 1°, with Shift 10°, with Ctrl 90°; "
            "Page Up and Page Down a turn; S turns steadily, X takes the hand off."
        )
        desk.look_changed.connect(self.update)

    def sizeHint(self) -> QSize:
        """Wide enough for a few cylinders, and as high as the letters ask for."""
        line = self._line_px()
        return QSize(round(20 * line), round(11.5 * line))

    def minimumSizeHint(self) -> QSize:
        """The same height; the width can be less."""
        return QSize(round(12 * self._line_px()), self.sizeHint().height())

    def show_view(self, view: BuiltInView, facts: BuiltInFacts) -> None:
        """Show how crank and pistons stand now."""
        if view == self._view and facts is self._facts:
            return
        moved = self._view is None or _drawn(self._view) != _drawn(view)
        self._view, self._facts = view, facts
        if moved:
            self.setAccessibleDescription(crank_text(view, facts))
            self.update()

    def picture(self) -> CrankPicture | None:
        """Where everything is drawn now."""
        return None if self._view is None else crank_picture(self._view, self.width(), self.height(), self._line_px())

    # ------------------------------------------------------------------ mouse and keys

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """The hand takes the crank."""
        picture = self.picture()
        if event.button() is Qt.MouseButton.LeftButton and picture is not None:
            self._drag = CrankDrag(pointer_deg(picture, event.position().x(), event.position().y()))
            self.setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """The crank follows the hand."""
        picture = self.picture()
        if self._drag is None or picture is None:
            return
        words = self._drag.move(pointer_deg(picture, event.position().x(), event.position().y()))
        if words is not None:
            self.told.emit(words)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """The hand lets go; the crank comes to rest where it was led to."""
        if event.button() is Qt.MouseButton.LeftButton:
            self._drag = None
            self.setCursor(Qt.CursorShape.OpenHandCursor)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Turn by a key."""
        key = _KEYS.get(event.key())
        held = event.modifiers()
        if key is not None:
            shift, ctrl = bool(held & Qt.KeyboardModifier.ShiftModifier), bool(held & Qt.KeyboardModifier.ControlModifier)
            self.told.emit(crank_key_words(key, shift=shift, ctrl=ctrl))
        elif event.key() == Qt.Key.Key_S and not event.isAutoRepeat():
            self.told.emit(STEADY_WORDS)
        elif event.key() == Qt.Key.Key_X:
            self.told.emit("crank stop")
        else:
            super().keyPressEvent(event)

    # ------------------------------------------------------------------ drawing

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw it."""
        del event
        picture = self.picture()
        if picture is None or self._view is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(self._letters())
        self._draw_crank(painter, picture)
        for slot in picture.slots:
            self._draw_slot(painter, slot)
        if self.hasFocus():
            painter.setPen(QPen(qcolor(self._desk.palette.accent), 2.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(1, 1, -1, -1), 4, 4)
        painter.end()

    def _draw_crank(self, painter: QPainter, picture: CrankPicture) -> None:
        palette, line = self._desk.palette, self._line_px()
        centre = QPointF(picture.x, picture.y)
        painter.setPen(QPen(qcolor(palette.ink_soft), 2.0))
        painter.setBrush(qcolor(palette.raised))
        painter.drawEllipse(centre, picture.radius, picture.radius)
        painter.save()
        painter.translate(centre)
        for tick in _TICKS_DEG:
            painter.drawLine(QPointF(0.0, -picture.radius), QPointF(0.0, -picture.radius * (0.82 if tick % 90 == 0 else 0.9)))
            painter.rotate(30.0)
        painter.restore()
        tip = picture.y - picture.radius - 2.0
        painter.setBrush(qcolor(palette.ink))
        painter.setPen(Qt.PenStyle.NoPen)
        half = 0.35 * line
        painter.drawPolygon(
            QPolygonF(
                [QPointF(picture.x, tip), QPointF(picture.x - half, tip - half * 1.6), QPointF(picture.x + half, tip - half * 1.6)]
            )
        )
        mark = QPointF(picture.mark_x, picture.mark_y)
        painter.setPen(_thick(palette.accent, 0.4 * line, Qt.PenCapStyle.RoundCap))
        painter.drawLine(centre, mark)
        painter.setPen(QPen(qcolor(palette.panel), 2.0))
        painter.setBrush(qcolor(palette.accent))
        painter.drawEllipse(mark, 0.55 * line, 0.55 * line)
        painter.drawEllipse(centre, 0.35 * line, 0.35 * line)
        if self._facts is not None:
            painter.setPen(qcolor(palette.ink_soft))
            above = QRectF(0.0, 0.0, 2.0 * picture.x, tip - half * 1.6)
            painter.drawText(
                above, Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignBottom, f"TDC {self._facts.firing_order[0]}"
            )

    def _draw_slot(self, painter: QPainter, slot: Slot) -> None:
        palette, line = self._desk.palette, self._line_px()
        bore = QRectF(slot.x, slot.y, slot.width, slot.height)
        painter.setPen(QPen(qcolor(palette.ink_soft), 2.0))
        painter.setBrush(qcolor(palette.panel))
        painter.drawRect(bore)
        painter.setPen(QPen(qcolor(palette.ink), 1.5))
        painter.setBrush(qcolor(palette.raised))
        painter.drawRect(
            QRectF(slot.x + 2, slot.piston_y, slot.width - 4, min(slot.piston_height, slot.y + slot.height - slot.piston_y - 2))
        )
        for ring in (0.18, 0.36):
            at = slot.piston_y + ring * slot.piston_height
            painter.drawLine(QPointF(slot.x + 2, at), QPointF(slot.x + slot.width - 2, at))
        middle = slot.x + slot.width / 2.0
        if slot.hose:
            painter.setPen(_thick(palette.cylinder, 0.45 * line, Qt.PenCapStyle.FlatCap))
            painter.drawLine(QPointF(middle, line * 1.15), QPointF(middle, slot.y + 2))
            self._write(painter, middle, 0.0, "hose", palette.cylinder)
        if slot.stop:
            painter.setPen(_thick(palette.ink, 0.3 * line, Qt.PenCapStyle.FlatCap))
            painter.drawLine(QPointF(middle, line * 1.15), QPointF(middle, slot.y + 0.2 * slot.height))
            self._write(painter, middle, 0.0, "stop", palette.ink)
        self._write(painter, middle, slot.y + slot.height + 0.1 * line, str(slot.cylinder), palette.ink)

    def _write(self, painter: QPainter, middle: float, top: float, text: str, colour: str) -> None:
        painter.setPen(qcolor(colour))
        painter.drawText(
            QRectF(middle - 60, top, 120, 1.3 * self._line_px()), Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop, text
        )

    def _letters(self) -> QFont:
        return figure_font(self.fontInfo().pixelSize() * 0.95, bold=True)

    def _line_px(self) -> float:
        return float(QFontMetricsF(self.font()).height())


def _drawn(view: BuiltInView) -> tuple[object, ...]:
    return round(view.crank_deg, 1), view.hose_at, view.piston_stop_in, view.turning


def _thick(colour: str, width: float, cap: Qt.PenCapStyle) -> QPen:
    return QPen(qcolor(colour), width, Qt.PenStyle.SolidLine, cap)
