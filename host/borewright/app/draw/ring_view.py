"""The cycle ring, painted: a degree wheel of the whole cycle that stands with the TDC that is worked towards at its top.

All lengths are hundredths of the smaller side of the widget, so that the picture is the same at every size.
"""

from __future__ import annotations

from math import cos, pi, radians, sin
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QPainter, QPainterPath, QPaintEvent, QPen, QPixmap, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from borewright.app.draw.fitted import draw_fitted
from borewright.app.draw.ring_model import FINE_DEG, RingMark, RingModel, fine_share, spread_apart
from borewright.app.theme.look import qcolor

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["RingView", "label_places", "middle_boxes", "overlap_box"]

OUTER, INNER = 49.0, 38.0  # of the band with the cylinders' numbers
ARROW_AT = 34.6
ARC_OUTER, ARC_INNER, ARC_LEAST_DEG, ARC_HALF_DEG = 32.4, 26.0, 24.0, 76.0  # of the arc that opens
MIDDLE = 24.6
LABEL_AT, LABEL_MOST = 43.5, 4.9
CHOSEN_LARGER = 1.12
TICK_DEG = 30.0
LEAST_SIDE_PX = 220


def _round(radius: float) -> QRectF:
    return QRectF(-radius, -radius, 2.0 * radius, 2.0 * radius)


def _at(radius: float, picture_deg: float) -> QPointF:
    return QPointF(radius * sin(radians(picture_deg)), -radius * cos(radians(picture_deg)))


def _strip(inner: float, outer: float, from_deg: float, to_deg: float) -> QPainterPath:
    """A stretch of a ring between two picture angles."""
    path = QPainterPath()
    path.arcMoveTo(_round(outer), 90.0 - from_deg)
    path.arcTo(_round(outer), 90.0 - from_deg, from_deg - to_deg)
    path.arcTo(_round(inner), 90.0 - to_deg, to_deg - from_deg)
    path.closeSubpath()
    return path


def label_places(model: RingModel) -> tuple[float, list[float]]:
    """Half the width of a number's label, and where on the ring each label stands, in degrees clockwise from the top.

    Labels never touch: many cylinders get smaller ones, and those that fire close to each other are moved apart.
    """
    count = max(1, len(model.marks))
    half = LABEL_MOST if count < 3 else min(LABEL_MOST, LABEL_AT * sin(pi / count) / (CHOSEN_LARGER * 1.25))
    apart_deg = 2.0 * half * CHOSEN_LARGER * 1.2 / LABEL_AT * 180.0 / pi
    return half, spread_apart([model.on_ring_deg(mark.at_deg) for mark in model.marks], apart_deg)


def middle_boxes(u: float, with_figure: bool) -> tuple[QRectF, QRectF, QRectF]:
    """The boxes of what stands in the middle: above the figure, the figure, below it; u: a hundredth of the widget's side."""
    if with_figure:
        above, figure, below = (35.6, -16.8, 7.4), (44.0, -9.4, 19.0), (31.6, 9.2, 9.6)
    else:
        above, figure, below = (40.0, -13.0, 16.0), (0.0, 0.0, 0.0), (36.0, 4.0, 12.0)
    boxes = [QRectF(-width / 2.0 * u, top * u, width * u, height * u) for width, top, height in (above, figure, below)]
    return boxes[0], boxes[1], boxes[2]


def overlap_box(u: float) -> QRectF:
    """The box of the words at overlap TDC: between the middle and the arrows."""
    return QRectF(-11.5 * u, 25.4 * u, 23.0 * u, 4.8 * u)


class RingView(QWidget):
    """Paints a RingModel. Its accessible description says the same in a sentence."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._model = RingModel()
        self._wheel: QPixmap | None = None  # what stays while the crank turns
        self.setMinimumSize(LEAST_SIDE_PX, LEAST_SIDE_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("Cycle ring")
        self.setAccessibleDescription(self._model.sentence)
        desk.look_changed.connect(self._repaint_all)

    def sizeHint(self) -> QSize:
        """Large enough to be read from two metres."""
        return QSize(440, 440)

    @property
    def model(self) -> RingModel:
        """What is shown."""
        return self._model

    def set_model(self, model: RingModel) -> None:
        """Show this. Nothing is painted where nothing has changed."""
        if model == self._model:
            return
        before, self._model = self._model, model
        still = ("cycle_deg", "clockwise", "marks", "top_deg", "overlap_of")
        if any(getattr(before, name) != getattr(model, name) for name in still):
            self._wheel = None
        if model.sentence != before.sentence:
            self.setAccessibleDescription(model.sentence)
        self.update()

    def _repaint_all(self) -> None:
        self._wheel = None
        self.update()

    def changeEvent(self, event: QEvent) -> None:
        """Letters may be others now."""
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.StyleChange):
            self._wheel = None
        super().changeEvent(event)

    # ------------------------------------------------------------------ painting

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 -- Qt's name
        """The wheel as it was kept, and on it what moves."""
        ratio = self.devicePixelRatioF()
        wheel = self._wheel
        if wheel is None or wheel.size() != self.size() * ratio or wheel.devicePixelRatio() != ratio:
            wheel = QPixmap(self.size() * ratio)
            wheel.setDevicePixelRatio(ratio)
            wheel.fill(Qt.GlobalColor.transparent)
            on_wheel = QPainter(wheel)
            self._prepare(on_wheel)
            self._paint_wheel(on_wheel)
            on_wheel.end()
            self._wheel = wheel
        painter = QPainter(self)
        painter.drawPixmap(0, 0, wheel)
        self._prepare(painter)
        self._paint_arrows(painter)
        painter.setOpacity(1.0 - self._model.opening)  # the open arc shows it better
        for pointer_deg in self._model.pointers_deg:
            self._paint_pointer(painter, self._model.on_ring_deg(pointer_deg))
        painter.setOpacity(1.0)
        self._paint_middle(painter)
        if self._model.opening > 0.0:
            self._paint_arc(painter, self._model.opening)
        painter.end()

    def _prepare(self, painter: QPainter) -> None:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.translate(self.width() / 2.0, self.height() / 2.0)

    @property
    def _u(self) -> float:
        return min(self.width(), self.height()) / 100.0

    def _pen(self, colour: str, width: float, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
        return QPen(qcolor(colour), max(1.0, width * self._u), style, Qt.PenCapStyle.FlatCap)

    def _paint_wheel(self, painter: QPainter) -> None:
        u, palette, model = self._u, self._desk.palette, self._model
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(qcolor(palette.panel))
        painter.drawEllipse(_round((INNER + 1.0) * u))
        painter.setPen(self._pen(palette.line, 0.3))
        painter.setBrush(qcolor(palette.raised))
        painter.drawPath(_strip(INNER * u, OUTER * u, 0.0, 359.99))
        painter.setPen(self._pen(palette.ink_soft, 0.25))
        for i in range(round(model.cycle_deg / TICK_DEG)):
            picture_deg = i * TICK_DEG / model.cycle_deg * 360.0
            painter.drawLine(_at(INNER * u, picture_deg), _at((INNER + (2.6 if i % 6 == 0 else 1.3)) * u, picture_deg))
        half, places = label_places(model)
        self._paint_chevrons(painter, places, half)
        for mark, place in zip(model.marks, places, strict=True):
            self._paint_mark(painter, mark, place, half)
        if model.overlap_of is not None:
            self._paint_overlap(painter)

    def _paint_mark(self, painter: QPainter, mark: RingMark, place_deg: float, half: float) -> None:
        """A line at the TDC itself, and the number: in a square where it is chosen, else in a circle."""
        u, palette = self._u, self._desk.palette
        true_deg = self._model.on_ring_deg(mark.at_deg)
        painter.setPen(self._pen(palette.accent if mark.chosen else palette.ink, 0.9 if mark.chosen else 0.6))
        painter.drawLine(_at((INNER - 1.2) * u, true_deg), _at((INNER + 1.4) * u, true_deg))
        painter.drawLine(_at((INNER + 1.2) * u, true_deg), _at(LABEL_AT * u, place_deg))
        centre, side = _at(LABEL_AT * u, place_deg), half * u * (CHOSEN_LARGER if mark.chosen else 0.96)
        box = QRectF(centre.x() - side, centre.y() - side, 2.0 * side, 2.0 * side)
        painter.setBrush(qcolor(palette.accent if mark.chosen else palette.panel))
        painter.setPen(self._pen(palette.ink, 0.35))
        if mark.chosen:
            painter.drawRect(box)
        else:
            painter.drawEllipse(box)
        inset = 0.32 * side
        inner = box.adjusted(inset, inset * 0.6, -inset, -inset * 0.6)
        draw_fitted(painter, inner, str(mark.cylinder), qcolor(palette.on_accent if mark.chosen else palette.ink))

    def _paint_chevrons(self, painter: QPainter, places: list[float], half: float) -> None:
        """Half way between labels, where there is room: which way round the engine runs."""
        u, model = self._u, self._model
        angles = sorted(place % 360.0 for place in places) or [0.0]
        painter.setPen(self._pen(self._desk.palette.ink_soft, 0.5))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for angle, after in zip(angles, [*angles[1:], angles[0] + 360.0], strict=True):
            if (after - angle) / 180.0 * pi * LABEL_AT < 4.0 * half + 4.0:
                continue
            middle, tip = (angle + after) / 2.0, 1.6 if model.clockwise else -1.6
            back = middle - tip
            painter.drawPolyline(
                [_at((LABEL_AT + 1.8) * u, back), _at(LABEL_AT * u, middle + tip * 0.4), _at((LABEL_AT - 1.8) * u, back)]
            )

    def _paint_overlap(self, painter: QPainter) -> None:
        """Opposite the top: the other TDC of the chosen cylinder, at which its valves stand open."""
        u, palette = self._u, self._desk.palette
        painter.setPen(self._pen(palette.ink_soft, 0.5))
        painter.setBrush(qcolor(palette.panel))
        painter.drawPolygon(
            QPolygonF([_at((INNER - 0.2) * u, 180.0), _at((INNER - 3.0) * u, 177.5), _at((INNER - 3.0) * u, 182.5)])
        )
        draw_fitted(painter, overlap_box(u), "overlap TDC", qcolor(palette.ink_soft), bold=False)

    def _paint_pointer(self, painter: QPainter, picture_deg: float) -> None:
        """Where the crank stands: solid where it is known, hollow and crossed by ? where it may as well stand elsewhere."""
        u, palette, sure = self._u, self._desk.palette, len(self._model.pointers_deg) == 1
        tip, foot = _at((INNER - 0.2) * u, picture_deg), 4.6 if sure else 5.2
        sides = [_at((INNER - foot) * u, picture_deg + side) for side in (5.2, -5.2)]
        painter.setPen(self._pen(palette.ink, 0.5))
        painter.setBrush(qcolor(palette.ink) if sure else qcolor(palette.panel))
        painter.drawPolygon(QPolygonF([tip, *sides]))
        if not sure:
            behind = -1.0 if self._model.clockwise else 1.0  # an arrow goes the other way
            centre = _at((INNER - 3.4) * u, picture_deg + behind * 9.0)
            box = QRectF(centre.x() - 3.0 * u, centre.y() - 3.0 * u, 6.0 * u, 6.0 * u)
            draw_fitted(painter, box, "?", qcolor(palette.ink))

    def _paint_arrows(self, painter: QPainter) -> None:
        model = self._model
        if model.turn_deg is None or model.opening >= 1.0:
            return
        sweep_deg = model.turn_deg / model.cycle_deg * 360.0 * (1.0 if model.clockwise else -1.0)
        sweep_deg = max(-330.0, min(330.0, sweep_deg))
        painter.setOpacity(1.0 - model.opening)
        if not model.pointers_deg:  # nobody knows from where, but the way is known
            way = 1.0 if sweep_deg > 0.0 else -1.0
            self._paint_arrow(painter, -40.0 * way, 80.0 * way, ARROW_AT)
        for pointer_deg in model.pointers_deg:
            start = model.on_ring_deg(pointer_deg)
            self._paint_arrow(painter, start, sweep_deg, ARROW_AT)
        painter.setOpacity(1.0)

    def _paint_arrow(self, painter: QPainter, from_deg: float, sweep_deg: float, radius: float, width: float = 1.8) -> None:
        """An arrow along the ring; its head is as large as the way allows."""
        u, way = self._u, 1.0 if sweep_deg > 0.0 else -1.0
        head_deg = min(abs(sweep_deg), 3.4 * width / radius * 90.0 / pi * 2.0)
        body_deg = sweep_deg - way * head_deg
        colour = qcolor(self._desk.palette.accent)
        painter.setPen(QPen(colour, width * u, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawArc(_round(radius * u), round((90.0 - from_deg) * 16), round(-body_deg * 16))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        base, half = from_deg + body_deg, width * 1.35
        painter.drawPolygon(
            QPolygonF([_at((radius + half) * u, base), _at(radius * u, from_deg + sweep_deg), _at((radius - half) * u, base)])
        )

    def _paint_middle(self, painter: QPainter) -> None:
        u, palette, saying = self._u, self._desk.palette, self._model.saying
        ink, soft = qcolor(palette.ink), qcolor(palette.ink_soft)
        if saying.mood == "pressurised":
            painter.setPen(self._pen(palette.ink, 0.6))
            painter.setBrush(qcolor(palette.air))
            painter.drawEllipse(_round(MIDDLE * u))
            ink = soft = qcolor(palette.on_air)
        elif saying.mood in ("ready", "armed", "at_tdc"):
            painter.setPen(self._pen(palette.accent, 1.0 if saying.mood == "at_tdc" else 1.8))
            painter.setBrush(qcolor(palette.panel))
            painter.drawEllipse(_round(MIDDLE * u))
        above, figure, below = middle_boxes(u, bool(saying.figure))
        draw_fitted(painter, above, saying.above, ink, lines=1 if saying.figure else 2)
        draw_fitted(painter, figure, saying.figure, ink)
        draw_fitted(painter, below, saying.below, soft, bold=False, lines=2)

    # ------------------------------------------------------------------ the arc that opens

    def _paint_arc(self, painter: QPainter, opening: float) -> None:
        """The last degrees to TDC, wide: where the crank may stand, where it stands, and the way there."""
        u, palette, model = self._u, self._desk.palette, self._model
        off_deg = model.off_deg if model.off_deg is not None else 0.0
        half_deg = ARC_LEAST_DEG + (ARC_HALF_DEG - ARC_LEAST_DEG) * opening
        painter.setOpacity(opening)
        sign = 1.0 if model.clockwise else -1.0

        def angle(fine_deg: float) -> float:
            return sign * half_deg * fine_share(fine_deg)

        painter.setPen(self._pen(palette.ink_soft, 0.3))
        painter.setBrush(qcolor(palette.panel))
        painter.drawPath(_strip(ARC_INNER * u, ARC_OUTER * u, -half_deg, half_deg))
        if model.window_deg is not None and model.window_deg > 0.0:
            self._paint_window(painter, angle(-model.window_deg), angle(model.window_deg))
        painter.setPen(self._pen(palette.ink, 0.4))
        for fine_deg in (-10.0, -5.0, 5.0, 10.0):
            painter.drawLine(_at((ARC_OUTER - 1.6) * u, angle(fine_deg)), _at(ARC_OUTER * u, angle(fine_deg)))
        painter.setPen(self._pen(palette.ink, 0.7))
        painter.drawLine(_at(ARC_INNER * u, 0.0), _at((INNER - 1.2) * u, 0.0))  # up to the mark on the wheel
        if model.turn_deg is not None and not model.inside:
            goal = 0.0 if abs(model.turn_deg + off_deg) < 1e-6 else FINE_DEG * (1.0 if model.turn_deg > 0.0 else -1.0)
            sweep = angle(goal) - angle(off_deg)
            if abs(sweep) > 1.0:
                self._paint_arrow(painter, angle(off_deg), sweep, (ARC_INNER + ARC_OUTER) / 2.0, 1.4)
        self._paint_fine_pointer(painter, angle(off_deg))

    def _paint_window(self, painter: QPainter, low_deg: float, high_deg: float) -> None:
        """Hatched while the crank is outside, full and framed once it is inside."""
        u, palette, inside = self._u, self._desk.palette, self._model.inside
        low_deg, high_deg = min(low_deg, high_deg), max(low_deg, high_deg)
        colour = qcolor(palette.accent)
        stretch = _strip(ARC_INNER * u, ARC_OUTER * u, low_deg, high_deg)
        painter.setPen(self._pen(palette.accent, 0.9 if inside else 0.6))
        painter.setBrush(colour if inside else QBrush(colour, Qt.BrushStyle.BDiagPattern))
        painter.drawPath(stretch)
        for edge in (low_deg, high_deg):
            painter.drawLine(_at((ARC_INNER - 0.8) * u, edge), _at((ARC_OUTER + 1.4) * u, edge))
        painter.save()
        painter.rotate(high_deg + 8.5)
        box = QRectF(-6.0 * u, -(ARC_OUTER + 5.2) * u, 12.0 * u, 4.2 * u)
        draw_fitted(painter, box, f"±{self._model.window_deg:.1f}°", qcolor(palette.ink_soft), bold=False)
        painter.restore()

    def _paint_fine_pointer(self, painter: QPainter, picture_deg: float) -> None:
        """A wedge right across the arc, outlined so that it stands out from the window behind it."""
        u, palette = self._u, self._desk.palette
        tip, foot = _at((ARC_OUTER + 1.6) * u, picture_deg), (ARC_INNER - 1.0) * u
        painter.setPen(
            QPen(qcolor(palette.panel), max(1.0, 0.7 * u), Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap, Qt.PenJoinStyle.MiterJoin)
        )
        painter.setBrush(qcolor(palette.ink))
        painter.drawPolygon(QPolygonF([tip, _at(foot, picture_deg + 6.0), _at(foot, picture_deg - 6.0)]))
        painter.setOpacity(1.0)
