"""The bar at the top: the pages, the job that is open, and the stop key, which is never out of reach."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QButtonGroup, QFrame, QHBoxLayout, QPushButton, QSizePolicy, QWidget

from borewright.app.desk import Desk
from borewright.app.plain_label import PlainLabel, plain_tip
from borewright.service import acts

__all__ = ["TopBar"]


class TopBar(QFrame):
    """The bar. chosen: a page's title; panel_asked: the name of a panel at the side."""

    chosen = Signal(str)
    panel_asked = Signal(str)

    def __init__(self, desk: Desk, titles: Sequence[str], panels: Sequence[str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._words = ""
        self._pages = QButtonGroup(self)
        self._buttons: dict[str, QPushButton] = {}
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 4, 8, 4)
        row.setSpacing(4)
        for number, title in enumerate(titles, 1):
            button = QPushButton(title)
            button.setCheckable(True)
            button.setAccessibleName(f"Page {title}")
            button.setToolTip(f"Ctrl+{number}")
            button.clicked.connect(lambda _on, title=title: self.chosen.emit(title))
            self._pages.addButton(button)
            self._buttons[title] = button
            row.addWidget(button)
        self._job = PlainLabel()
        self._job.setAccessibleName("Open job")
        self._job.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self._job.setAlignment(Qt.AlignmentFlag.AlignCenter)
        row.addWidget(self._job, 1)
        for panel in panels:
            button = QPushButton(panel)
            button.setAccessibleName(f"Panel {panel}")
            button.clicked.connect(lambda _on, panel=panel: self.panel_asked.emit(panel))
            row.addWidget(button)
        stop = QPushButton("Stop (Esc)")
        stop.setProperty("role", "stop")
        stop.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        stop.setAccessibleName("Stop: shut and vent")
        stop.setToolTip("Esc: shuts the supply and opens the vent. It is no emergency stop; the hand valve within reach is.")
        stop.clicked.connect(lambda: desk.tell(acts.StopAll()))
        row.addWidget(stop)
        desk.job_changed.connect(self._show_job)
        self._show_job()

    def show_chosen(self, title: str) -> None:
        """Mark the page that is in view."""
        self._buttons[title].setChecked(True)

    def _show_job(self) -> None:
        job = self._desk.job
        words = "no job is open" if job is None else f"{job.name}, {job.stage}"
        self._words = words
        self._job.setToolTip(plain_tip(words if job is None else f"{words}: {job.engine_name}"))
        self._job.setAccessibleDescription(words)
        self._elide()

    def _elide(self) -> None:
        """As much of the name as there is room for."""
        room_px = self._job.width() - 8
        self._job.setText(self._job.fontMetrics().elidedText(self._words, Qt.TextElideMode.ElideRight, room_px))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The name of the job has more room now, or less."""
        super().resizeEvent(event)
        self._elide()
