"""Text that is made to fit its box, whatever the size of what is painted."""

from __future__ import annotations

import re
from functools import lru_cache
from math import inf

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter

from borewright.app.theme.look import figure_font

__all__ = ["LEAST_PX", "draw_fitted", "fits", "fitted_font", "shortened"]

LEAST_PX = 8.0  # smaller letters cannot be read


@lru_cache(maxsize=512)
def _fitted_px(template: str, width: int, height: int, bold: bool, lines: int) -> float:
    """The largest letters with which the text goes into the box; LEAST_PX where even those are too large."""
    px = height / lines / 1.2
    while px > LEAST_PX:
        if _goes_in(template, QFontMetricsF(figure_font(px, bold=bold)), width, height, lines):
            return px
        px *= 0.94
    return LEAST_PX


def _goes_in(text: str, metrics: QFontMetricsF, width: int, height: int, lines: int) -> bool:
    if lines == 1:
        return metrics.horizontalAdvance(text) <= width
    flags = int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap)
    needed = metrics.boundingRect(QRectF(0.0, 0.0, width, 10_000.0), flags, text)
    widest_word = max((metrics.horizontalAdvance(word) for word in text.split()), default=0.0)
    return needed.height() <= height and widest_word <= width


def fits(text: str, box: QRectF, *, bold: bool = True, lines: int = 1) -> bool:
    """Whether the text goes into the box without letters that are too small to be read."""
    return _goes_in(text, QFontMetricsF(figure_font(LEAST_PX, bold=bold)), int(box.width()), int(box.height()), lines)


def fitted_font(text: str, box: QRectF, *, bold: bool = True, lines: int = 1, most_px: float = inf) -> QFont:
    """Letters for a text in a box, at most so large. Digits count as equally wide, so that a figure keeps its size as it counts."""
    px = _fitted_px(re.sub(r"\d", "0", text), int(box.width()), int(box.height()), bold, lines)
    return figure_font(min(px, most_px), bold=bold)


def draw_fitted(
    painter: QPainter,
    box: QRectF,
    text: str,
    colour: QColor,
    *,
    bold: bool = True,
    lines: int = 1,
    most_px: float = inf,
    align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignCenter,
) -> None:
    """Write the text into the box, as large as it goes; over more than one line it wraps between words."""
    if not text:
        return
    painter.setFont(fitted_font(text, box, bold=bold, lines=lines, most_px=most_px))
    painter.setPen(colour)
    wrap = int(Qt.TextFlag.TextWordWrap) if lines > 1 else 0
    painter.drawText(box, int(align) | wrap, text)


def shortened(text: str, font: QFont, width: float) -> str:
    """The text, cut with … where it is wider than that. Never for a number."""
    return QFontMetricsF(font).elidedText(text, Qt.TextElideMode.ElideRight, width)
