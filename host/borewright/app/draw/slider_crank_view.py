"""Draws the slider-crank of one cylinder to scale; its crank is dragged, or turned with keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from borewright.app.draw.slider_crank_model import SliderCrank, angle_of_pin_deg, scale_bar
from borewright.app.theme.look import pattern_brush, qcolor

if TYPE_CHECKING:
    from borewright.app.theme.palette import Palette

__all__ = ["SliderCrankView", "turn_of_key"]

_MARGIN_PX: Final = 8.0
_STEPS: Final = {
    Qt.Key.Key_Right: 1.0,
    Qt.Key.Key_Left: -1.0,
    Qt.Key.Key_PageUp: 10.0,
    Qt.Key.Key_PageDown: -10.0,
}


def turn_of_key(event: QKeyEvent) -> float | None:
    """How far a key turns the crank, in degrees in running direction; None where it does not turn it. With Shift: a tenth."""
    step = _STEPS.get(Qt.Key(event.key()))
    return None if step is None else step * (0.1 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1.0)


class SliderCrankView(QWidget):
    """turned: the crank is to stand at so many degrees after the cylinder's TDC."""

    turned = Signal(float)

    def __init__(self, palette: Palette, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._palette = palette
        self._unit = "mm"
        self._drawn: SliderCrank | None = None
        self._dragging = False
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("Slider-crank to scale")
        self.setToolTip(
            "Drag the crank, or turn it with the keys: ← → one degree (with Shift a tenth), Page up and down ten, Home TDC. "
            "Drawn to scale but for the piston's height, which no engine file states."
        )
        self.setCursor(Qt.CursorShape.OpenHandCursor)

    def sizeHint(self) -> QSize:
        """Wide enough to see the rod's tilt."""
        return QSize(220, 225)

    def minimumSizeHint(self) -> QSize:
        """Smaller says nothing."""
        return QSize(150, 200)

    def show_drawn(self, drawn: SliderCrank | None, unit: str) -> None:
        """Draw this; None: there is no engine to draw. unit: of the scale bar, mm or in."""
        self._drawn = drawn
        self._unit = unit
        self.update()

    def show_palette(self, palette: Palette) -> None:
        """Other colours."""
        self._palette = palette
        self.update()

    # ------------------------------------------------------------ the hand

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Keys turn the crank."""
        if self._drawn is None:
            super().keyPressEvent(event)
            return
        step = turn_of_key(event)
        if step is not None:
            self.turned.emit(self._drawn.after_tdc_deg + step)
        elif event.key() == Qt.Key.Key_Home:
            self.turned.emit(0.0)
        else:
            super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of the crank."""
        if event.button() == Qt.MouseButton.LeftButton and self._drawn is not None:
            self._dragging = True
            self._drag(event.position())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """The crank follows."""
        if self._dragging:
            self._drag(event.position())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go."""
        if event.button() == Qt.MouseButton.LeftButton:
            self._dragging = False

    def _drag(self, at: QPointF) -> None:
        if self._drawn is None:
            return
        scale, centre = self._place(self._drawn)
        x, y = (at.x() - centre.x()) / scale, (centre.y() - at.y()) / scale
        if x or y:
            self.turned.emit(angle_of_pin_deg(self._drawn, x, y, self._drawn.after_tdc_deg))

    # ------------------------------------------------------------ the drawing

    def _place(self, drawn: SliderCrank) -> tuple[float, QPointF]:
        """Pixels of a metre, and where the centre of the crank is."""
        left, bottom, right, top = drawn.bounds_m
        line = float(self.fontMetrics().height())
        height = self.height() - 2.0 * _MARGIN_PX - 1.6 * line  # the scale bar is under it
        width = self.width() - 2.0 * _MARGIN_PX
        scale = max(1e-6, min(width / (right - left), height / (top - bottom)))
        spare = height - scale * (top - bottom)
        return scale, QPointF(self.width() / 2.0, _MARGIN_PX + spare / 2.0 + scale * top)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Everything anew: it is a few dozen lines."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), qcolor(self._palette.panel))
        if self._drawn is None:
            painter.setPen(qcolor(self._palette.ink_soft))
            words = "The drawing comes once nothing is wrong with the engine."
            painter.drawText(self.rect().adjusted(12, 12, -12, -12), Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, words)
        else:
            scale, centre = self._place(self._drawn)
            self._draw_cylinder(painter, self._drawn, scale, centre)
            self._draw_crank(painter, self._drawn, scale, centre)
            self._draw_scale_bar(painter, scale)
        if self.hasFocus():
            painter.setPen(QPen(qcolor(self._palette.accent), 3.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(self.rect()).adjusted(1.5, 1.5, -1.5, -1.5))
        painter.end()

    def _draw_cylinder(self, painter: QPainter, drawn: SliderCrank, scale: float, centre: QPointF) -> None:
        palette = self._palette
        half = drawn.bore_m / 2.0

        def box(left_m: float, top_m: float, right_m: float, bottom_m: float) -> QRectF:
            return QRectF(
                QPointF(centre.x() + left_m * scale, centre.y() - top_m * scale),
                QPointF(centre.x() + right_m * scale, centre.y() - bottom_m * scale),
            )

        wall = max(0.06 * drawn.bore_m, 3.0 / scale)
        bottom = drawn.crown_bottom_y_m - 0.45 * drawn.bore_m
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(qcolor(palette.bands[0]))  # the room over the piston
        painter.drawRect(box(-half, drawn.head_y_m, half, drawn.crown_y_m))
        painter.setBrush(qcolor(palette.line))
        painter.drawRect(box(-half - wall, drawn.head_y_m + wall, -half, bottom))
        painter.drawRect(box(half, drawn.head_y_m + wall, half + wall, bottom))
        painter.drawRect(box(-half - wall, drawn.head_y_m + 1.6 * wall, half + wall, drawn.head_y_m))
        painter.setPen(QPen(qcolor(palette.ink_soft), 1.0, Qt.PenStyle.DashLine))
        for y_m in (drawn.crown_top_y_m, drawn.crown_bottom_y_m):
            y = centre.y() - y_m * scale
            painter.drawLine(
                QPointF(centre.x() - (half + 1.6 * wall) * scale, y), QPointF(centre.x() + (half + 1.6 * wall) * scale, y)
            )
        painter.setPen(QPen(qcolor(palette.line), 1.0, Qt.PenStyle.DashDotLine))
        painter.drawLine(QPointF(centre.x(), centre.y() - (drawn.head_y_m + 2.0 * wall) * scale), centre)
        painter.setPen(QPen(qcolor(palette.ink), 2.0))
        painter.setBrush(pattern_brush(2, palette))
        painter.drawRect(box(-half, drawn.crown_y_m, half, drawn.skirt_y_m))
        self._name_dead_centres(painter, drawn, scale, centre, half + 1.6 * wall)

    def _name_dead_centres(self, painter: QPainter, drawn: SliderCrank, scale: float, centre: QPointF, side_m: float) -> None:
        """TDC and BDC beside their lines, where there is room."""
        painter.setPen(qcolor(self._palette.ink))
        metrics = painter.fontMetrics()
        x = centre.x() + side_m * scale + 3.0
        if x + metrics.horizontalAdvance("TDC") > self.width():
            return
        for words, y_m in (("TDC", drawn.crown_top_y_m), ("BDC", drawn.crown_bottom_y_m)):
            painter.drawText(QPointF(x, centre.y() - y_m * scale + metrics.ascent() / 2.0 - 1.0), words)

    def _draw_crank(self, painter: QPainter, drawn: SliderCrank, scale: float, centre: QPointF) -> None:
        palette = self._palette
        pin = QPointF(centre.x() + drawn.crank_pin_m[0] * scale, centre.y() - drawn.crank_pin_m[1] * scale)
        gudgeon = QPointF(centre.x() + drawn.piston_pin_m[0] * scale, centre.y() - drawn.piston_pin_m[1] * scale)
        throw = drawn.throw_m * scale
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(qcolor(palette.line), 1.0, Qt.PenStyle.DotLine))
        painter.drawEllipse(centre, throw, throw)
        self._draw_way(painter, drawn, centre, throw)
        web = max(3.0, 0.22 * throw)
        painter.setPen(QPen(qcolor(palette.ink_soft), 2.0 * web, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
        painter.drawLine(centre, pin)
        rod_px = max(3.0, 0.09 * drawn.bore_m * scale)
        painter.setPen(QPen(qcolor(palette.ink), rod_px + 2.0, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
        painter.drawLine(pin, gudgeon)
        painter.setPen(QPen(qcolor(palette.raised), max(1.0, rod_px - 1.0), Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
        painter.drawLine(pin, gudgeon)
        painter.setPen(QPen(qcolor(palette.ink), 2.0))
        painter.setBrush(qcolor(palette.panel))
        for at, radius in ((centre, 0.9 * web), (gudgeon, max(3.0, 0.8 * rod_px))):
            painter.drawEllipse(at, radius, radius)
        painter.setBrush(qcolor(palette.accent))  # what is taken hold of
        painter.drawEllipse(pin, 0.85 * web, 0.85 * web)

    def _draw_way(self, painter: QPainter, drawn: SliderCrank, centre: QPointF, throw: float) -> None:
        """An arrow at the lower right: the way the crank turns."""
        radius = 1.16 * throw
        box = QRectF(centre.x() - radius, centre.y() - radius, 2.0 * radius, 2.0 * radius)
        painter.setPen(QPen(qcolor(self._palette.accent), 2.0))
        painter.drawArc(box, -75 * 16, 60 * 16)
        # the arc goes from the right (-15°) to nearly below (-75°); clockwise ends below
        tip_deg, towards = (-75.0, 1.0) if drawn.sign > 0 else (-15.0, -1.0)
        tip = QPolygonF()
        painter.save()
        painter.translate(centre)
        painter.rotate(-tip_deg)
        painter.translate(radius, 0.0)
        size = max(5.0, 0.14 * throw)
        for x, y in ((0.0, towards * size), (-0.6 * size, -towards * 0.4 * size), (0.6 * size, -towards * 0.4 * size)):
            tip.append(QPointF(x, y))
        painter.setBrush(qcolor(self._palette.accent))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.drawPolygon(tip)
        painter.restore()

    def _draw_scale_bar(self, painter: QPainter, scale: float) -> None:
        length_m, words = scale_bar(0.4 * self.width() / scale, self._unit)
        metrics = painter.fontMetrics()
        y = self.height() - _MARGIN_PX - 2.0
        left, right = _MARGIN_PX, _MARGIN_PX + length_m * scale
        painter.setPen(QPen(qcolor(self._palette.ink), 2.0))
        painter.drawLine(QPointF(left, y), QPointF(right, y))
        for x in (left, right):
            painter.drawLine(QPointF(x, y - 5.0), QPointF(x, y))
        painter.drawText(QPointF(right + 6.0, y - metrics.descent() + 2.0), words)
