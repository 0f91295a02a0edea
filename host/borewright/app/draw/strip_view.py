"""The strip of cylinders: one place each in firing order, to be read at a glance and chosen by a click or Tab and Enter."""

from __future__ import annotations

from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QLineF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetricsF, QKeyEvent, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QAbstractButton, QSizePolicy, QWidget

from borewright.app.draw.fitted import draw_fitted, fitted_font, shortened
from borewright.app.draw.strip_model import StripModel, StripPlace, band_fill
from borewright.app.plain_label import plain_tip
from borewright.app.theme.look import figure_font, pattern_brush, qcolor

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["PlaceButton", "StripView"]

LEAST_WIDTH, HEIGHT, GAP = 118.0, 112.0, 6.0  # at 100 %
LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter


class PlaceButton(QAbstractButton):
    """One cylinder's place."""

    def __init__(self, desk: Desk, parent: QWidget) -> None:
        super().__init__(parent)
        self._desk = desk
        self._place = StripPlace(0)
        self._strip = StripModel()
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)

    @property
    def place(self) -> StripPlace:
        """What is shown."""
        return self._place

    def show_place(self, place: StripPlace, strip: StripModel) -> None:
        """Show this place of that strip."""
        self._place, self._strip = place, strip
        self.setAccessibleName(f"Cylinder {place.cylinder}")
        self.setAccessibleDescription(place.sentence)
        self.setToolTip(plain_tip(place.sentence))
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter chooses; Space is the air key's and goes on to it."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            event.ignore()

    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        """As above."""
        event.ignore()

    # ------------------------------------------------------------------ painting

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 -- Qt's name
        """Number, leakage, its interval, the band by words and pattern, and what else is to be known."""
        u, palette, place = self._desk.settings.scale_percent / 100.0, self._desk.palette, self._place
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        edge = 3.0 * u if place.chosen else 1.0
        painter.setPen(QPen(qcolor(palette.accent if place.chosen else palette.line), edge))
        painter.setBrush(qcolor(palette.panel))
        frame = QRectF(self.rect()).adjusted(edge / 2.0, edge / 2.0, -edge / 2.0, -edge / 2.0)
        painter.drawRoundedRect(frame, 4.0 * u, 4.0 * u)
        if self.hasFocus():
            painter.setPen(QPen(qcolor(palette.ink), 1.0, Qt.PenStyle.DashLine))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(frame.adjusted(3.0 * u, 3.0 * u, -3.0 * u, -3.0 * u))
        inner = QRectF(self.rect()).adjusted(8.0 * u, 7.0 * u, -8.0 * u, -6.0 * u)
        top = QRectF(inner.left(), inner.top(), inner.width(), 34.0 * u)
        self._paint_number(painter, QRectF(top.left(), top.top() + 3.0 * u, 28.0 * u, 28.0 * u), u)
        self._paint_figure(painter, top.adjusted(34.0 * u, 0.0, 0.0, 0.0), u)
        words = QRectF(inner.left(), top.bottom() + 1.0 * u, inner.width(), 29.0 * u)
        why = place.band or place.void
        draw_fitted(painter, words, why, qcolor(palette.ink), bold=False, lines=2, most_px=12.5 * u, align=LEFT)
        self._paint_scale(painter, QRectF(inner.left(), words.bottom() + 3.0 * u, inner.width(), 15.0 * u), u)
        self._paint_remark(painter, QRectF(inner.left(), inner.bottom() - 14.0 * u, inner.width(), 14.0 * u), u)
        painter.end()

    def _paint_number(self, painter: QPainter, box: QRectF, u: float) -> None:
        """As on the ring: in a square where it is chosen, else in a circle."""
        palette, chosen = self._desk.palette, self._place.chosen
        painter.setPen(QPen(qcolor(palette.ink), 1.2 * u))
        painter.setBrush(qcolor(palette.accent if chosen else palette.panel))
        if chosen:
            painter.drawRect(box)
        else:
            painter.drawEllipse(box)
        ink = qcolor(palette.on_accent if chosen else palette.ink)
        draw_fitted(painter, box.adjusted(3.0 * u, 3.0 * u, -3.0 * u, -3.0 * u), str(self._place.cylinder), ink)

    def _paint_figure(self, painter: QPainter, box: QRectF, u: float) -> None:
        palette, place = self._desk.palette, self._place
        if place.leakage_percent is None:
            ink, words = (palette.ink, "void") if place.void else (palette.ink_soft, "not tested")
            draw_fitted(painter, box, words, qcolor(ink), bold=bool(place.void), most_px=19.0 * u, align=LEFT)
            return
        room = QRectF(box.left(), box.top(), box.width() * 0.64, box.height())
        font = fitted_font(place.figure, room, most_px=28.0 * u)
        draw_fitted(painter, room, place.figure, qcolor(palette.ink), most_px=28.0 * u, align=LEFT)
        taken = QFontMetricsF(font).horizontalAdvance(place.figure) + 6.0 * u
        beside = box.adjusted(taken, 4.0 * u, 0.0, 0.0)
        lines = 1 if place.expanded_percent is not None else 2
        draw_fitted(
            painter, beside, place.interval, qcolor(palette.ink_soft), bold=False, lines=lines, most_px=15.0 * u, align=LEFT
        )

    def _paint_scale(self, painter: QPainter, box: QRectF, u: float) -> None:
        """The bands by their patterns, on them the interval; the same scale in every place, so that they can be compared."""
        palette, place, strip = self._desk.palette, self._place, self._strip
        ends = [0.0, *strip.limits_percent, strip.scale_percent]
        bar = QRectF(box.left(), box.top() + 6.0 * u, box.width(), box.height() - 6.0 * u)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
        painter.setPen(QPen(qcolor(palette.ink_soft), 1.0))
        tested = place.leakage_percent is not None
        for rank, (low, high) in enumerate(pairwise(ends)):
            left, right = (bar.left() + bar.width() * end / strip.scale_percent for end in (low, high))
            stretch = QRectF(left, bar.top(), right - left, bar.height())
            painter.setBrush(pattern_brush(band_fill(rank, strip.bands), palette) if tested else Qt.BrushStyle.NoBrush)
            painter.drawRect(stretch)
        if place.leakage_percent is None:
            return
        per = bar.width() / strip.scale_percent
        at = bar.left() + per * min(max(place.leakage_percent, 0.0), strip.scale_percent)
        half = per * (place.expanded_percent or 0.0)
        low_x, high_x = max(bar.left(), at - half), min(bar.right(), at + half)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for colour, width in ((palette.panel, 4.6 * u), (palette.ink, 2.2 * u)):  # edged, so that it stands out from any fill
            painter.setPen(QPen(qcolor(colour), width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap))
            painter.drawLine(QLineF(at, box.top(), at, bar.bottom() + 1.0 * u))
            if place.expanded_percent is not None:
                level = box.top() + 2.5 * u
                painter.drawLine(QLineF(low_x, level, high_x, level))
                for end in (low_x, high_x):
                    painter.drawLine(QLineF(end, box.top(), end, level + 2.5 * u))

    def _paint_remark(self, painter: QPainter, box: QRectF, u: float) -> None:
        palette, remark = self._desk.palette, self._place.remark
        font = figure_font(11.5 * u, bold=bool(self._place.void))
        painter.setFont(font)
        painter.setPen(qcolor(palette.caution if self._place.void or self._place.marks else palette.ink_soft))
        painter.drawText(box, int(LEFT), shortened(remark, font, box.width()))


class StripView(QWidget):
    """One place per cylinder. chosen: the number of the one that was clicked. Where they do not fit side by side there are rows."""

    chosen = Signal(int)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._model = StripModel()
        self._buttons: list[PlaceButton] = []
        self.setAccessibleName("Cylinders")
        self.setAccessibleDescription(self._model.sentence)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        desk.look_changed.connect(self._place_buttons)

    @property
    def model(self) -> StripModel:
        """What is shown."""
        return self._model

    @property
    def buttons(self) -> list[PlaceButton]:
        """The places, in firing order."""
        return list(self._buttons)

    def set_model(self, model: StripModel) -> None:
        """Show this. Nothing is done where nothing has changed."""
        if model == self._model:
            return
        several = len(model.places) != len(self._model.places)
        self._model = model
        self.setAccessibleDescription(model.sentence)
        while len(self._buttons) > len(model.places):
            self._buttons.pop().deleteLater()
        while len(self._buttons) < len(model.places):
            button = PlaceButton(self._desk, self)
            button.clicked.connect(partial(self._clicked, button))
            button.show()
            self._buttons.append(button)
        for button, place in zip(self._buttons, model.places, strict=True):
            button.show_place(place, model)
        if several:
            self._place_buttons()

    def _clicked(self, button: PlaceButton, *_: object) -> None:
        self.chosen.emit(button.place.cylinder)

    # ------------------------------------------------------------------ where the places stand

    @property
    def _scale(self) -> float:
        return self._desk.settings.scale_percent / 100.0

    def _rows(self, width: float) -> int:
        u, count = self._scale, len(self._model.places)
        fit = max(1, int((width + GAP * u) / ((LEAST_WIDTH + GAP) * u)))
        return -(-count // fit) if count else 0

    def _place_buttons(self) -> None:
        u, rows, count = self._scale, self._rows(self.width()), len(self._buttons)
        self.setFixedHeight(round(max(1, rows) * (HEIGHT + GAP) * u - GAP * u))
        if not rows:
            return
        columns = -(-count // rows)
        width = (self.width() - (columns - 1) * GAP * u) / columns
        for i, button in enumerate(self._buttons):
            row, column = divmod(i, columns)
            left, right = (round(edge * (width + GAP * u)) for edge in (column, column + 1))
            button.setGeometry(left, round(row * (HEIGHT + GAP) * u), round(right - left - GAP * u), round(HEIGHT * u))
            button.update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """More or fewer rows."""
        super().resizeEvent(event)
        self._place_buttons()

    def sizeHint(self) -> QSize:
        """All in one row where there is room."""
        u = self._scale
        return QSize(round(max(1, len(self._model.places)) * (LEAST_WIDTH + GAP) * u), round(HEIGHT * u))

    def minimumSizeHint(self) -> QSize:
        """One column."""
        return QSize(round(LEAST_WIDTH * self._scale), round(HEIGHT * self._scale))

    def changeEvent(self, event: QEvent) -> None:
        """Another size of everything."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.StyleChange:
            self._place_buttons()
