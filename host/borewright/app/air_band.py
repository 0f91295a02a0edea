"""PRESSURISED, across the whole window and over every page, until what was let in has been seen gone; and what a squeeze holds."""

from __future__ import annotations

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QFrame, QGridLayout, QPushButton, QSizePolicy, QWidget

from borewright.app.desk import Desk
from borewright.app.plain_label import PlainLabel
from borewright.app.theme.look import BASE_PX, qcolor
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.snapshot import Snapshot
from borewright.service.state import BenchState

__all__ = ["AirBand", "air_words"]

STRIPES_PX = 64
STRIPE_PX = 14
NARROW_PX = 1000.0
SQUEEZED = "Turn only as told; undo nothing until the vent is open."


def air_words(state: BenchState) -> str:
    """What to do about the air in the rig, in a sentence.

    The rig's own valves are driven; hand valves only the person can move.
    """
    if state.has_valves:
        return "Do not turn or undo anything: only venting unloads the piston."
    return "Do not turn or undo anything. Shut the supply and vent: by hand."


class AirBand(QFrame):
    """The band. Hidden while the rig is known to be vented."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._narrow_px = NARROW_PX
        self.setProperty("role", "air")
        self.setAccessibleName("Pressurised")
        self._head, self._words, self._figures = PlainLabel("PRESSURISED"), PlainLabel(), PlainLabel()
        for label in (self._head, self._words, self._figures):
            label.setProperty("role", "air")
        self._stop = QPushButton("Stop: shut and vent (Esc)")
        self._stop.setProperty("role", "stop")
        self._stop.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # Esc does the same, and focus stays with the act under way
        self._stop.setToolTip("Shuts the supply and opens the vent. This is no emergency stop: the hand valve within reach is.")
        self._stop.clicked.connect(lambda: desk.tell(acts.StopAll()))
        for label in (self._head, self._words, self._figures):
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        row = QGridLayout(self)
        row.setContentsMargins(STRIPES_PX + 12, 6, STRIPES_PX + 12, 6)
        row.setVerticalSpacing(2)
        row.addWidget(self._head, 0, 0)
        row.addWidget(self._figures, 0, 1)
        row.addWidget(self._words, 1, 0, 1, 2)
        row.addWidget(self._stop, 0, 2, 2, 1)
        row.setColumnStretch(0, 2)
        row.setColumnStretch(1, 3)
        self.setVisible(False)
        desk.look_changed.connect(self._look)
        self._look()

    def _look(self) -> None:
        px = BASE_PX * self._desk.settings.scale_percent / 100.0
        self._head.setStyleSheet(f"font-size: {2.0 * px:.0f}px; font-weight: bold;")
        self._figures.setStyleSheet(f"font-size: {1.3 * px:.0f}px; font-weight: bold;")
        self._narrow_px = NARROW_PX * self._desk.settings.scale_percent / 100.0

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Show or hide, and the pressures."""
        state = snapshot.state
        if state is not None and state.readiness.state is State.SQUEEZING and snapshot.link.kind == "open":
            self._show(state, "SQUEEZE", SQUEEZED, stop=True)
            return
        lost = state is not None and state.readiness.locked and snapshot.link.kind != "open"
        if state is None or not state.readiness.locked:
            self.setVisible(False)
            return
        words = "The rig cannot be heard: it counts as pressurised until its gauges are down." if lost else air_words(state)
        self._show(state, "PRESSURISED", words, stop=state.has_valves and not lost, live=not lost)

    def _show(self, state: BenchState, head: str, words: str, *, stop: bool, live: bool = True) -> None:
        if (self._head.text(), self._words.text()) != (head, words):
            self._head.setText(head)
            self._words.setText(words)
            self.setAccessibleName(head.capitalize())
            self.setAccessibleDescription(words)
        figures = ""
        if live and state.reading is not None:
            text = self._desk.units.text
            figures = (
                f"regulated {text(state.reading.p_regulated_gauge_pa, 'pressure_gauge', 'kPa')}    "
                f"cylinder {text(state.reading.p_cylinder_gauge_pa, 'pressure_gauge', 'kPa')}"
            )
        self._figures.setText(figures)
        self._stop.setVisible(stop and self.width() >= self._narrow_px)  # the bar has one too
        self.setVisible(True)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The band, with stripes at both ends, so that it is no colour alone."""
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(qcolor(self._desk.palette.on_air), STRIPE_PX / 2))
        for left in (0, self.width() - STRIPES_PX):
            painter.setClipRect(left, 0, STRIPES_PX, self.height())
            for x in range(left - self.height(), left + STRIPES_PX + STRIPE_PX, 2 * STRIPE_PX):
                painter.drawLine(QPointF(x, self.height()), QPointF(x + self.height(), 0))
        painter.end()
