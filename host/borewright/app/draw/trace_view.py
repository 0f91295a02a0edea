"""The trace of the two pressures over the last seconds or minutes.

pyqtgraph takes 0.4 s to load and its axes are what a frame costs most: it is loaded once the widget has been seen, the axes are
drawn once and kept, and scales stay where they are.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, Qt, QTimer
from PySide6.QtGui import QKeySequence, QPaintEvent, QResizeEvent, QShortcut
from PySide6.QtWidgets import QAbstractButton, QButtonGroup, QFrame, QHBoxLayout, QToolButton, QVBoxLayout, QWidget

from borewright.app.draw.trace_model import SPANS_S, AirSpans, thinned
from borewright.app.plain_label import PlainLabel
from borewright.units import printed_unit

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.app.draw.trace_plot import TracePlot
    from borewright.service.snapshot import Snapshot

__all__ = ["TraceWidget"]

SAID_EVERY_S = 2.0  # somebody to whom it is read aloud wants to hear the end of the sentence


class TraceWidget(QFrame):
    """Regulated and cylinder pressure over the span that is chosen, by a button or by the keys , and . for shorter and longer."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._plot: TracePlot | None = None
        self._asked = False
        self._air = AirSpans()
        self._drawn: tuple[object, ...] = ()
        self._said_s: float | None = None
        self.setProperty("role", "panel")
        self.setAccessibleName("Pressures over time")
        self.setMinimumHeight(120)
        self._title = PlainLabel()
        self._shading = PlainLabel("shaded: PRESSURISED")
        self._shading.setProperty("role", "soft")
        self._shading.setMinimumWidth(1)
        top = self._top = QHBoxLayout()
        top.addWidget(self._title)
        top.addWidget(self._shading)
        top.addStretch(1)
        self._buttons = QButtonGroup(self)
        for span_s in SPANS_S:
            top.addWidget(self._span_button(span_s))
        self._body = QVBoxLayout(self)
        self._body.setContentsMargins(8, 6, 8, 6)
        self._body.addLayout(top)
        self._empty = QWidget()
        self._body.addWidget(self._empty, 1)
        for key, by in ((Qt.Key.Key_Comma, -1), (Qt.Key.Key_Period, 1)):
            QShortcut(QKeySequence(key), self).activated.connect(partial(self._step_span, by))
        self._choose_span(self._nearest_span(desk.settings.span_s))
        self._show_unit()
        desk.look_changed.connect(self._look_again)
        desk.units_changed.connect(self._show_unit)

    def _span_button(self, span_s: int) -> QToolButton:
        words = f"{span_s} s" if span_s < 120 else f"{span_s // 60} min"
        button = QToolButton()
        button.setText(words)
        button.setCheckable(True)
        button.setAccessibleName(f"Show the last {words}")
        button.setToolTip(f"Show the last {words} (shorter: comma, longer: full stop)")
        button.clicked.connect(partial(self._choose_span, span_s))
        self._buttons.addButton(button, span_s)
        return button

    # ------------------------------------------------------------------ the span

    @property
    def span_s(self) -> int:
        """How many seconds are shown."""
        return self._span_s

    def span_button(self, span_s: int) -> QAbstractButton:
        """The button that chooses this span."""
        return self._buttons.button(span_s)

    @property
    def title(self) -> str:
        """What is shown, and its unit."""
        return self._title.text()

    @staticmethod
    def _nearest_span(wanted_s: float) -> int:
        return min(SPANS_S, key=lambda span_s: abs(span_s - wanted_s))

    def _choose_span(self, span_s: int, *_: object) -> None:
        self._span_s = span_s
        self._buttons.button(span_s).setChecked(True)
        self._desk.change_setting(span_s=span_s)
        self._draw(self._desk.snapshot)

    def _step_span(self, by: int) -> None:
        at = SPANS_S.index(self._span_s) + by
        if 0 <= at < len(SPANS_S):
            self._choose_span(SPANS_S[at])

    # ------------------------------------------------------------------ what is shown

    def paintEvent(self, event: QPaintEvent) -> None:
        """Once the first frame has been painted, the plot is made."""
        super().paintEvent(event)
        if not self._asked:
            self._asked = True
            QTimer.singleShot(0, self, self._make_plot)

    def _make_plot(self) -> None:
        from borewright.app.draw.trace_plot import TracePlot  # noqa: PLC0415 -- loads pyqtgraph

        self._plot = TracePlot(self._desk)
        self._body.replaceWidget(self._empty, self._plot.widget)
        self._body.setStretch(1, 1)
        self._empty.deleteLater()
        self._draw(self._desk.snapshot)

    @property
    def plot(self) -> TracePlot | None:
        """The plot, once it has been made."""
        return self._plot

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Show how things stand. Nothing is drawn where nothing has come since."""
        newest_s, state = snapshot.trace.newest_s, snapshot.state
        if self._air.looked_s != newest_s:
            self._air.see(newest_s, state is not None and state.readiness.locked)
        self._draw(snapshot)

    def _draw(self, snapshot: Snapshot) -> None:
        if self._plot is None:
            return
        trace, state = snapshot.trace, snapshot.state
        now = (trace.newest_s, len(trace.t_s), self._span_s, self._plot.columns)
        if now == self._drawn:
            return
        self._drawn = now
        curves = thinned(trace, self._span_s, self._plot.columns)
        setup = None if state is None else state.setup
        self._plot.show(curves, self._span_s, trace.newest_s, setup, self._air.spans_s)
        if self._said_s is None or abs(trace.newest_s - self._said_s) >= SAID_EVERY_S:
            self._said_s = trace.newest_s
            self._say(curves.newest_regulated_pa, curves.newest_cylinder_pa)

    def _say(self, regulated_pa: float | None, cylinder_pa: float | None) -> None:
        units = self._desk.units
        parts = [
            f"{name} {units.text(value, 'pressure_gauge', 'kPa')}"
            for name, value in (("regulated", regulated_pa), ("cylinder", cylinder_pa))
            if value is not None
        ]
        now = ", ".join(parts) if parts else "no readings"
        self.setAccessibleDescription(f"The last {self._span_s} seconds of both pressures; now {now}.")

    def _show_unit(self) -> None:
        unit = printed_unit(self._desk.units.unit("pressure_gauge", "kPa"), "pressure_gauge")
        self._title.setText(f"Pressure, {unit}")
        self._look_again()

    def _look_again(self) -> None:
        self._drawn, self._said_s = (), None
        if self._plot is not None:
            self._plot.dress()
            self._draw(self._desk.snapshot)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The word on the shading goes first where there is no room."""
        super().resizeEvent(event)
        needed = self._top.sizeHint().width() + (0 if self._shading.isVisibleTo(self) else self._shading.sizeHint().width())
        self._shading.setVisible(self.width() > needed + 24)

    def changeEvent(self, event: QEvent) -> None:
        """Another size of letters."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.StyleChange and self._plot is not None:
            self._look_again()
