"""Curves painted straight onto a plot, in pixels of its box: a quarter of what items of the plot's own cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from pyqtgraph.functions import arrayToQPolygonF
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QGraphicsItem, QGraphicsObject, QStyleOptionGraphicsItem, QWidget

__all__ = ["Line", "TraceLines"]


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """One curve in pixels. Not a number breaks it. marks: where its signs sit; name: what stands at name_at, after a sign."""

    colour: QColor
    round_sign: bool
    x: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    y: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    marks: Sequence[tuple[float, float]] = ()
    name: str = ""
    name_at: QPointF | None = None


class TraceLines(QGraphicsObject):
    """Paints shaded stretches, curves with their signs, and their names."""

    def __init__(self, parent: QGraphicsItem) -> None:
        super().__init__(parent)
        self._size = QRectF()
        self._lines: Sequence[Line] = ()
        self._shaded: Sequence[QRectF] = ()
        self._shade = self._ground = QColor()
        self._font = QFont()
        self._sign_px = 8.0

    def dress(self, font: QFont, sign_px: float, shade: QColor, ground: QColor) -> None:
        """Letters of the names, size of the signs, and the colours beside those of the lines."""
        self._font, self._sign_px, self._shade, self._ground = font, sign_px, shade, ground
        self.update()

    def show_lines(self, size: QRectF, lines: Sequence[Line], shaded: Sequence[QRectF]) -> None:
        """Paint these from now on."""
        if size != self._size:
            self.prepareGeometryChange()
            self._size = size
        self._lines, self._shaded = lines, shaded
        self.update()

    @property
    def lines(self) -> Sequence[Line]:
        """What is painted."""
        return self._lines

    @property
    def shaded(self) -> Sequence[QRectF]:
        """The stretches that are shaded."""
        return self._shaded

    def boundingRect(self) -> QRectF:
        """The whole box."""
        return self._size

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None) -> None:  # noqa: ARG002
        """Lines of one pixel without smoothing; signs over all of them."""
        for stretch in self._shaded:
            painter.fillRect(stretch, self._shade)
        for line in self._lines:
            painter.setPen(QPen(line.colour, 1.0))
            for polygon in _unbroken(line.x, line.y):
                painter.drawPolyline(polygon)
        painter.setFont(self._font)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for line in self._lines:
            painter.setPen(QPen(self._ground, 1.0))
            painter.setBrush(line.colour)
            for x, y in line.marks:
                self._sign(painter, line, x, y)
            if line.name_at is not None:
                at = line.name_at
                self._sign(painter, line, at.x() + self._sign_px, at.y())
                painter.setPen(line.colour)
                box = QRectF(at.x() + 2.0 * self._sign_px, at.y() - 50.0, self._size.width(), 100.0)
                painter.drawText(box, int(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft), line.name)

    def _sign(self, painter: QPainter, line: Line, x: float, y: float) -> None:
        half = self._sign_px / 2.0
        box = QRectF(x - half, y - half, 2.0 * half, 2.0 * half)
        if line.round_sign:
            painter.drawEllipse(box)
        else:
            painter.drawRect(box)


def _unbroken(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> list[QPolygonF]:
    """The stretches between numbers that are none."""
    there = np.isfinite(y)
    if there.all():
        return [arrayToQPolygonF(x, y)] if len(x) else []
    borders = np.flatnonzero(np.diff(np.concatenate(([0], there.astype(np.int8), [0]))))
    return [arrayToQPolygonF(x[start:stop], y[start:stop]) for start, stop in zip(borders[0::2], borders[1::2], strict=True)]
