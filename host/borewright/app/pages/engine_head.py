"""Over the form: which engine it is, how it stands, its versions, and the choice of form or drawings where only one has room."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtGui import QFont, QFontMetrics
from PySide6.QtWidgets import QFrame, QGridLayout, QHBoxLayout, QWidget

from borewright.app.pages.engine_acts import act_button
from borewright.app.pages.engine_field_row import CalmCombo
from borewright.app.pages.engine_model import EngineEdit
from borewright.app.plain_label import PlainLabel
from borewright.service.time_words import date_words

__all__ = ["EngineHead"]


class EngineHead(QFrame):
    """version_wanted: one of the engine's versions by number; turn_taken: "values" or "drawing"."""

    version_wanted = Signal(int)
    turn_taken = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self._version: int | None = None
        self.setProperty("role", "panel")
        self._name = PlainLabel()
        self._name.setProperty("role", "big")
        self._name.setWordWrap(True)
        self.state = PlainLabel()
        self.state.setWordWrap(True)
        self.state.setAccessibleName("State of the engine in the form")
        self.versions = CalmCombo()
        self.versions.setAccessibleName("Version")
        self.versions.setToolTip("Every version that was ever kept; an older one can be opened and saved again.")
        self.versions.activated.connect(self._chosen)
        self.turns = {
            "values": act_button("&Values", "The form.", partial(self.turn_taken.emit, "values")),
            "drawing": act_button("&Drawing", "The drawings.", partial(self.turn_taken.emit, "drawing")),
        }
        self._build()

    def _build(self) -> None:
        grid = QGridLayout(self)
        grid.setContentsMargins(8, 6, 8, 6)
        grid.addWidget(self._name, 0, 0)
        grid.addWidget(self.state, 1, 0)
        self._version_row = QWidget()
        version = QHBoxLayout(self._version_row)
        version.setContentsMargins(0, 0, 0, 0)
        label = PlainLabel("Versi&on")
        label.setBuddy(self.versions)
        version.addWidget(label)
        version.addWidget(self.versions, 1)
        turns = QHBoxLayout()
        for button in self.turns.values():
            button.setCheckable(True)
            turns.addWidget(button)
        grid.addWidget(self._version_row, 0, 1)
        grid.addLayout(turns, 1, 1)
        grid.setColumnStretch(0, 5)
        grid.setColumnStretch(1, 4)

    def show_turn(self, turn: str, *, both: bool) -> None:
        """Which of the two is in view; both: there is room for both, and nothing to choose."""
        bold = QFont(self.font())
        bold.setBold(True)  # as the one is written that is chosen
        for name, button in self.turns.items():
            button.setMinimumWidth(QFontMetrics(bold).horizontalAdvance("MDrawingM"))
            button.setVisible(not both)
            button.setChecked(turn == name)

    def show_state(self, edit: EngineEdit) -> None:
        """Its name, and how it stands."""
        self._name.setText(edit.name or "New engine")
        self.state.setText(edit.state_words)

    def show_versions(self, edit: EngineEdit) -> None:
        """Every version of it, the newest first."""
        self._version = edit.version
        self._version_row.setVisible(edit.opened is not None)
        if edit.opened is None:
            return
        with QSignalBlocker(self.versions):
            self.versions.clear()
            for version in reversed(edit.opened.versions):
                newest = ", newest" if version is edit.opened.newest else ""
                self.versions.addItem(f"{version.number}{newest}, {date_words(version.saved_at_unix_s)}", version.number)
            self.versions.setCurrentIndex(self.versions.findData(self._version))
        view = self.versions.view()
        view.setMinimumWidth(view.sizeHintForColumn(0) + 24)

    def _chosen(self, at: int) -> None:
        number = self.versions.itemData(at)
        if number != self._version:
            self.versions.setCurrentIndex(self.versions.findData(self._version))  # until it is so
            self.version_wanted.emit(number)
