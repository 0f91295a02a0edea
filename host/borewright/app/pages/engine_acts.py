"""What can be done with the engine in the form: one row of buttons, or two where one has no room."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QGridLayout, QPushButton, QWidget

from borewright.app.pages.engine_model import EngineEdit

__all__ = ["EngineActs", "act_button"]

_ONE_ROW_LETTERS = 100  # of an average letter: as much room as the longest words want


def act_button(words: str, tip: str, act: Callable[[], None], role: str = "") -> QPushButton:
    """A button with a verb. words: with the mnemonic's sign. role: of the stylesheet."""
    button = QPushButton(words)
    button.setToolTip(tip)
    button.setAutoDefault(True)
    button.setAccessibleName(words.replace("&", "").replace("…", ""))
    if role:
        button.setProperty("role", role)
    button.clicked.connect(lambda _on=False: act())
    return button


class EngineActs(QWidget):
    """The buttons. Which can be pressed, and what saving is called, follows from the engine in the form."""

    def __init__(
        self,
        *,
        save: Callable[[], None],
        begin: Callable[[], None],
        copy: Callable[[], None],
        undo: Callable[[], None],
        export: Callable[[], None],
    ) -> None:
        super().__init__()
        self._two_rows: bool | None = None
        self.save = act_button("&Save", "Keep it in the library.", save, role="act")
        self.begin = act_button("&Begin a job with this engine", "Goes to the Jobs page.", begin)
        self.copy = act_button("&Copy", "Go on with a copy, under another name.", copy)
        self.undo = act_button("&Undo changes", "Back to what is kept; the changes can be brought back.", undo)
        self.export = act_button("E&xport…", "Write it as an engine file (TOML).", export)
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setSpacing(4)
        self.lay_out()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """One row or two."""
        super().resizeEvent(event)
        self.lay_out()

    def lay_out(self) -> None:
        """One row or two; called again when the letters get another size."""
        two_rows = self.width() < _ONE_ROW_LETTERS * self.fontMetrics().averageCharWidth()
        if two_rows is self._two_rows:
            return
        self._two_rows = two_rows
        self.begin.setText("&Begin a job" if two_rows else "&Begin a job with this engine")
        buttons = (self.save, self.begin, self.copy, self.undo, self.export)
        for button in buttons:
            self._grid.removeWidget(button)
        for at, button in enumerate(buttons):
            if not two_rows:
                self._grid.addWidget(button, 0, at)
            elif at < 2:
                self._grid.addWidget(button, 0, 3 * at, 1, 3)
            else:
                self._grid.addWidget(button, 1, 2 * (at - 2), 1, 2)

    def show_edit(self, edit: EngineEdit, *, undone: bool) -> None:
        """undone: its changes were undone, and can be brought back."""
        opened = edit.opened
        words = f"&{edit.save_words}"
        if self.save.text() != words:
            self.save.setText(words)
            self.save.setAccessibleName(edit.save_words)
        self.save.setEnabled(edit.changed or edit.is_older or opened is None or opened.removed)
        self.undo.setText("Bring back changes (&U)" if undone else "&Undo changes")
        self.undo.setEnabled(edit.changed or undone)
        self.begin.setEnabled(opened is not None and not opened.removed)
