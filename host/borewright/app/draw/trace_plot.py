"""The plot of the trace, by pyqtgraph: this module is loaded only once a trace is in view."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import QGraphicsItem, QGraphicsRectItem, QWidget

from borewright.app.draw.trace_model import Curves, label_heights, nice_step, top_pa
from borewright.app.theme.look import BASE_PX, figure_font, qcolor
from borewright.core.rig import RigSetup
from borewright.units import in_unit

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["TracePlot"]

ROOM_BELOW = 0.06  # of the scale, for noise at vent
MARKS = 6  # on each curve, so that they are told apart without colour
STEP_X_S = {10: 2, 30: 5, 60: 10, 300: 60, 600: 120}
NAMES = ("regulated", "cylinder")
SYMBOLS = ("s", "o")  # square and round
SIGNS = ("■", "●")


class TracePlot:
    """Draws Curves into `widget`. Scales change only where span, unit or rig do, or a pressure leaves them."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._scale: tuple[float, float] | None = None  # span and top
        self._plot = pg.PlotWidget()
        self._plot.setMenuEnabled(False)
        self._plot.setMouseEnabled(False, False)
        self._plot.hideButtons()
        self._plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._plot.setAccessibleName("Plot of both pressures")
        self._plot.showGrid(x=True, y=True, alpha=0.25)
        self._box = self._plot.getPlotItem().getViewBox()
        self._box.disableAutoRange()
        self._box.setDefaultPadding(0.0)
        self._axes = [self._plot.getAxis(side) for side in ("left", "bottom")]
        for axis in self._axes:
            axis.setCacheMode(QGraphicsItem.CacheMode.DeviceCoordinateCache)  # 2 ms a frame instead of 16
            axis.enableAutoSIPrefix(False)
        self._curves = [pg.PlotCurveItem(antialias=False, skipFiniteCheck=True) for _ in NAMES]
        self._marks = [pg.ScatterPlotItem(symbol=symbol, pxMode=True, antialias=False) for symbol in SYMBOLS]
        self._names = [pg.TextItem(anchor=(0.0, 0.5)) for _ in NAMES]
        self._air: list[QGraphicsRectItem] = []
        for item in (*self._curves, *self._marks, *self._names):
            self._plot.addItem(item)
        self._box.sigResized.connect(self._resized)
        self.dress()

    @property
    def widget(self) -> QWidget:
        """What is put into a layout."""
        widget: QWidget = self._plot
        return widget

    @property
    def columns(self) -> int:
        """How many columns of pixels the curves are given."""
        return max(50, int(self._box.width() - self._room_px))

    @property
    def _room_px(self) -> float:
        """The room for the names at the curves' ends."""
        metrics = QFontMetricsF(self._font)
        return max(metrics.horizontalAdvance(f"{sign} {name}") for sign, name in zip(SIGNS, NAMES, strict=True)) + 12.0

    def dress(self) -> None:
        """Take colours, letters and unit anew."""
        palette, scale = self._desk.palette, self._desk.settings.scale_percent / 100.0
        self._font = figure_font(BASE_PX * 0.9 * scale, bold=False)
        self._plot.setBackground(qcolor(palette.panel))
        for axis in self._axes:
            axis.setPen(pg.mkPen(qcolor(palette.ink_soft)))
            axis.setTextPen(pg.mkPen(qcolor(palette.ink)))
            axis.setTickFont(self._font)
        self._axes[0].setWidth(int(QFontMetricsF(self._font).horizontalAdvance("0000.0")) + 12)
        self._axes[1].setHeight(int(QFontMetricsF(self._font).height()) + 8)
        colours = [qcolor(palette.regulated), qcolor(palette.cylinder)]
        for curve, mark, name, words, sign, colour in zip(
            self._curves, self._marks, self._names, NAMES, SIGNS, colours, strict=True
        ):
            curve.setPen(pg.mkPen(colour, width=1))
            mark.setPen(pg.mkPen(qcolor(palette.panel)))
            mark.setBrush(pg.mkBrush(colour))
            mark.setSize(9.0 * scale)
            name.setText(f"{sign} {words}")
            name.setColor(colour)
            name.setFont(self._font)
        shade = qcolor(palette.air, 0.16)
        for rect in self._air:
            rect.setBrush(shade)
        self._scale = None

    def _resized(self, *_: object) -> None:
        self._scale = None

    # ------------------------------------------------------------------ a frame

    def show(
        self, curves: Curves, span_s: int, newest_s: float, setup: RigSetup | None, air_s: Sequence[tuple[float, float]]
    ) -> None:
        """Draw these curves; air_s: from when to when it was pressurised, in device time."""
        setup = RigSetup() if setup is None else setup
        top = top_pa(setup.regulated_high_gauge_pa, curves.highest_pa, setup.transducer_high_gauge_pa)
        if self._scale != (span_s, top):
            self._set_scale(span_s, top)
        connect = "all" if curves.whole else "finite"
        lines = (curves.regulated_pa, curves.cylinder_pa)
        step_s = span_s / MARKS
        for i, (curve, mark, line) in enumerate(zip(self._curves, self._marks, lines, strict=True)):
            curve.setData(curves.x_s, line, connect=connect)
            # at fixed places of device time, so that they travel with the curve; the second curve's lie between the first's
            first_s = -((newest_s + i * step_s / 2.0) % step_s)
            at_s = first_s - step_s * np.arange(MARKS)
            at = np.searchsorted(curves.x_s, at_s)
            there = at + 1 < len(line)
            middle = (line[at[there]] + line[at[there] + 1]) / 2.0
            seen = np.isfinite(middle) & (at_s[there] >= (curves.x_s[0] if len(line) else 0.0))
            mark.setData(at_s[there][seen], middle[seen])
        self._place_names(curves, top)
        self._place_air(span_s, newest_s, top, air_s)

    def _set_scale(self, span_s: int, top: float) -> None:
        self._scale = (span_s, top)
        width = self._box.width()
        room_s = span_s * self._room_px / max(50.0, width - self._room_px)
        self._box.setRange(xRange=(-span_s, room_s), yRange=(-ROOM_BELOW * top, top), padding=0.0)
        in_minutes = span_s >= 120
        step_s = STEP_X_S[span_s]
        ago = range(step_s, span_s + 1, step_s)
        ticks = [(-float(s), f"−{s // 60} min" if in_minutes else f"−{s} s") for s in ago]
        self._axes[1].setTicks([[*ticks, (0.0, "now")]])
        unit = self._desk.units.unit("pressure_gauge", "kPa")
        whole = in_unit(1e6, "pressure_gauge", unit)
        most = max(2, int(self._box.height() / (QFontMetricsF(self._font).height() * 1.7)))
        step = nice_step(top / 1e6 * whole, most)
        count = ceil(top / 1e6 * whole / step)
        decimals = 0 if step >= 1.0 else 1 if step >= 0.1 else 2
        self._axes[0].setTicks([[(i * step / whole * 1e6, f"{i * step:.{decimals}f}") for i in range(count)]])

    def _place_names(self, curves: Curves, top: float) -> None:
        """At the ends of the curves, kept apart."""
        ends = (curves.newest_regulated_pa, curves.newest_cylinder_pa)
        line_pa = QFontMetricsF(self._font).height() / max(1.0, self._box.height()) * top * (1.0 + ROOM_BELOW)
        wanted = [0.0 if end is None else end for end in ends]
        heights = label_heights(wanted, line_pa * 1.05, line_pa * (0.5 - ROOM_BELOW), top - line_pa * 0.5)
        for name, height, end in zip(self._names, heights, ends, strict=True):
            name.setVisible(end is not None)
            name.setPos(0.0, height)

    def _place_air(self, span_s: int, newest_s: float, top: float, air_s: Sequence[tuple[float, float]]) -> None:
        seen = [(max(-span_s, low - newest_s), high - newest_s) for low, high in air_s if high >= newest_s - span_s]
        while len(self._air) < len(seen):
            rect = QGraphicsRectItem()
            rect.setPen(Qt.PenStyle.NoPen)
            rect.setBrush(qcolor(self._desk.palette.air, 0.16))
            rect.setZValue(-10.0)
            self._box.addItem(rect, ignoreBounds=True)
            self._air.append(rect)
        for i, rect in enumerate(self._air):
            rect.setVisible(i < len(seen))
            if i < len(seen):
                rect.setRect(QRectF(seen[i][0], -ROOM_BELOW * top, seen[i][1] - seen[i][0], top * (1.0 + ROOM_BELOW)))
