"""One figure to be read from across the shop: as large as there is room for, with its caption, its unit and words below."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from borewright.app.theme.look import BASE_PX, figure_font, qcolor

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["BigFigure"]

_UNIT_SHARE = 0.42  # of the figure's height
_GAP = 0.12
_LEAST_PX = 18.0
_DIGIT = re.compile(r"\d")


class BigFigure(QWidget):
    """A figure that is never cut: where room is short, it gets smaller. most_px: its greatest height; weight: of its room.

    air: it is drawn on the colour of PRESSURISED. Its words are told to a screen reader too.
    """

    def __init__(self, desk: Desk, caption: str, *, most_px: float = 120.0, least_px: float = 30.0, centred: bool = False) -> None:
        super().__init__()
        self._desk = desk
        self._caption, self._figure, self._unit, self._below = caption, "–", "", ""
        self._most_px, self._least_px, self._centred = most_px, least_px, centred
        self._air = False
        self._fit: tuple[tuple[object, ...], float] = ((), 0.0)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(f"{caption}: not known")
        desk.look_changed.connect(self.update)

    def show_figure(self, figure: str, unit: str = "", below: str = "", *, caption: str | None = None, air: bool = False) -> None:
        """Show this; repaints only where something differs."""
        shown = (figure, unit, below, self._caption if caption is None else caption, air)
        if shown == (self._figure, self._unit, self._below, self._caption, self._air):
            return
        self._figure, self._unit, self._below, self._caption, self._air = shown
        self.setAccessibleName(" ".join(part for part in (f"{self._caption}:", figure, unit, below) if part))
        self.update()

    @property
    def words(self) -> str:
        """All that it shows, as one line."""
        return self.accessibleName()

    def sizeHint(self) -> QSize:
        """Room for the figure at its least height, with its caption."""
        return self.minimumSizeHint()

    def minimumSizeHint(self) -> QSize:
        """As sizeHint."""
        small = self._small_px()
        least = self._least_px * self._desk.settings.scale_percent / 100.0
        lines = (1 if self._caption else 0) + (1 if self._below else 0)
        width = QFontMetricsF(figure_font(least)).horizontalAdvance("00000") + small
        return QSize(round(width), round(least * 1.05 + lines * small * 1.3))

    def _small_px(self) -> float:
        return BASE_PX * self._desk.settings.scale_percent / 100.0

    def paintEvent(self, event: QPaintEvent) -> None:
        """Caption, figure with unit, words below."""
        del event
        palette, small = self._desk.palette, self._small_px()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.TextAntialiasing)
        room = QRectF(self.rect())
        if self._air:
            painter.fillRect(room, qcolor(palette.air))
            room.adjust(small * 0.5, 0.0, -small * 0.5, 0.0)
        ink, soft = (palette.on_air, palette.on_air) if self._air else (palette.ink, palette.ink_soft)
        flags = Qt.AlignmentFlag.AlignHCenter if self._centred else Qt.AlignmentFlag.AlignLeft
        painter.setFont(figure_font(small, bold=False))
        painter.setPen(qcolor(soft))
        if self._caption:
            painter.drawText(QRectF(room.left(), room.top(), room.width(), small * 1.3), flags, self._caption)
            room.setTop(room.top() + small * 1.25)
        if self._below:
            painter.drawText(QRectF(room.left(), room.bottom() - small * 1.35, room.width(), small * 1.35), flags, self._below)
            room.setBottom(room.bottom() - small * 1.35)
        px = self._fitting_px(room)
        figure_width, unit_width = self._widths(px)
        painter.setPen(qcolor(ink))
        left = room.left() + ((room.width() - figure_width - unit_width) / 2.0 if self._centred else 0.0)
        metrics = QFontMetricsF(figure_font(px))
        base = room.center().y() + (metrics.capHeight()) / 2.0
        painter.setFont(figure_font(px))
        painter.drawText(round(left), round(base), self._figure)
        if self._unit:
            painter.setFont(figure_font(px * _UNIT_SHARE))
            painter.drawText(round(left + figure_width + px * _GAP), round(base), self._unit)
        painter.end()

    def _widths(self, px: float) -> tuple[float, float]:
        """Of the figure and of the unit with the gap before it, at this height."""
        digits = _DIGIT.sub("0", self._figure)
        figure = QFontMetricsF(figure_font(px)).horizontalAdvance(digits)
        if not self._unit:
            return figure, 0.0
        return figure, px * _GAP + QFontMetricsF(figure_font(px * _UNIT_SHARE)).horizontalAdvance(self._unit)

    def _fitting_px(self, room: QRectF) -> float:
        """The greatest height at which figure and unit fit; the same while only the digits change, so that nothing jumps."""
        most = self._most_px * self._desk.settings.scale_percent / 100.0
        key = (_DIGIT.sub("0", self._figure), self._unit, round(room.width()), round(room.height()), most)
        if key == self._fit[0]:
            return self._fit[1]
        px = min(most, room.height() * 1.15)  # the letters' box is higher than a digit
        width = sum(self._widths(px))
        if width > room.width() > 0.0:
            px *= room.width() / width
        px = max(_LEAST_PX, px)
        self._fit = (key, px)
        return px
