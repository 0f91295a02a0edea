"""The plot of the trace, by pyqtgraph: this module is loaded only once a trace is in view."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, isfinite
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import QGraphicsItem, QWidget

from borewright.app.draw.trace_lines import Line, TraceLines
from borewright.app.draw.trace_model import Curves, label_heights, nice_step, top_pa
from borewright.app.theme.look import BASE_PX, figure_font, qcolor
from borewright.core.rig import RigSetup
from borewright.units import in_unit

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["TracePlot"]

ROOM_BELOW = 0.06  # of the scale at least, for noise at vent; and half a line of letters, for the 0
MARKS = 6  # on each curve, so that they are told apart without colour
STEP_X_S = {10: 2, 30: 5, 60: 10, 300: 60, 600: 120}
NAMES = ("regulated", "cylinder")
Points = npt.NDArray[np.float64]


class TracePlot:
    """Draws Curves into `widget`. Scales change only where span, unit or rig do, or a pressure leaves them."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._scale: tuple[float, float] | None = None  # span and top
        self._room_s = 0.0
        self._below = ROOM_BELOW
        self._ticks: list[tuple[float, str]] = []
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
            axis.setStyle(hideOverlappingLabels=False)  # the lowest stands near the edge
        self._lines = TraceLines(self._box)
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
    def box_height(self) -> float:
        """How high what the scale covers is, in pixels."""
        return float(self._box.rect().height())

    @property
    def lines(self) -> Sequence[Line]:
        """The two curves as they are painted."""
        return self._lines.lines

    @property
    def shaded(self) -> Sequence[QRectF]:
        """The stretches that are shaded."""
        return self._lines.shaded

    @property
    def ticks(self) -> list[tuple[float, str]]:
        """What stands at the pressure scale: where, in Pa, and in what words."""
        return list(self._ticks)

    @property
    def _room_px(self) -> float:
        """The room for the names at the curves' ends."""
        metrics = QFontMetricsF(self._font)
        return max(metrics.horizontalAdvance(name) for name in NAMES) + 3.0 * self._sign_px

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
        self._colours = (qcolor(palette.regulated), qcolor(palette.cylinder))
        self._sign_px = 9.0 * scale
        self._lines.dress(self._font, self._sign_px, qcolor(palette.air, 0.16), qcolor(palette.panel))
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
        room_s = self._room_s
        size = self._box.rect()
        per_s, per_pa = size.width() / (span_s + room_s), size.height() / (top * (1.0 + self._below))
        x = (curves.x_s + np.float64(span_s)) * per_s
        ys = [(top - np.float64(1.0) * line) * per_pa for line in (curves.regulated_pa, curves.cylinder_pa)]
        now_x = span_s * per_s
        names = self._name_heights(curves, top, per_pa)
        lines = [
            Line(
                colour,
                i == 1,
                x,
                y,
                self._marks(x, y, i, newest_s, span_s, per_s),
                NAMES[i],
                None if at is None else QPointF(now_x, at),
            )
            for i, (colour, y, at) in enumerate(zip(self._colours, ys, names, strict=True))
        ]
        shaded = [
            QRectF(max(0.0, (low - newest_s + span_s) * per_s), 0.0, 0.0, size.height()).united(
                QRectF((high - newest_s + span_s) * per_s, 0.0, 0.0, size.height())
            )
            for low, high in air_s
            if high > newest_s - span_s
        ]
        self._lines.show_lines(size, lines, shaded)

    @staticmethod
    def _marks(x: Points, y: Points, which: int, newest_s: float, span_s: int, per_s: float) -> list[tuple[float, float]]:
        """At fixed places of device time, so that they travel with the curve; the second curve's lie between the first's."""
        step_s = span_s / MARKS
        back_s = (newest_s + which * step_s / 2.0) % step_s + step_s * np.arange(MARKS)
        wanted = (span_s - back_s) * per_s
        at = np.searchsorted(x, wanted)
        return [
            (float(mark_x), float(y[i] + y[i + 1]) / 2.0)
            for mark_x, i in zip(wanted, at, strict=True)
            if i + 1 < len(y) and mark_x >= x[0] and isfinite(y[i]) and isfinite(y[i + 1])
        ]

    def _set_scale(self, span_s: int, top: float) -> None:
        self._scale = (span_s, top)
        width = self._box.width()
        self._below = max(ROOM_BELOW, QFontMetricsF(self._font).height() * 0.6 / max(1.0, self._box.height()))
        self._room_s = span_s * self._room_px / max(50.0, width - self._room_px)
        self._box.setRange(xRange=(-span_s, self._room_s), yRange=(-self._below * top, top), padding=0.0)
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
        self._ticks = [(i * step / whole * 1e6, f"{i * step:g}") for i in range(count)]
        self._axes[0].setTicks([self._ticks])

    def _name_heights(self, curves: Curves, top: float, per_pa: float) -> list[float | None]:
        """Where the names stand at the ends of the curves, in pixels from above, kept apart; None where a curve has no end."""
        ends = (curves.newest_regulated_pa, curves.newest_cylinder_pa)
        line = QFontMetricsF(self._font).height()
        lowest, highest = -self._box.rect().height() + line / 2.0, -line / 2.0
        wanted = [((0.0 if end is None else end) - top) * per_pa for end in ends]  # upwards, as heights are
        heights = label_heights(wanted, line, lowest, highest)
        return [None if end is None else -height for end, height in zip(ends, heights, strict=True)]
