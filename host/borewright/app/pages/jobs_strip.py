"""The strip over the Jobs page: what was just done and how to undo it, what is asked before an act, what is under way."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLineEdit, QProgressBar, QPushButton, QSizePolicy, QWidget

from borewright.app.pages.jobs_sheet import act_button
from borewright.app.plain_label import PlainLabel

__all__ = ["JobsStrip"]

Act = tuple[str, Callable[[], None]]


class JobsStrip(QFrame):
    """One strip in place instead of dialogs. It shows one thing at a time; the newest takes the place of the one before."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("role", "panel")
        self.setObjectName("jobs strip")
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.words.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.line = QLineEdit()
        self.line.setMinimumWidth(160)
        self.line.returnPressed.connect(self._first)
        self.bar = QProgressBar()
        self.bar.setRange(0, 0)  # how long it takes is not known
        self.bar.setMaximumWidth(120)
        self.bar.setAccessibleName("at work")
        self.undo: Callable[[], None] | None = None
        self._buttons: list[QPushButton] = []
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(10, 6, 10, 6)
        for widget in (self.words, self.line, self.bar):
            self._row.addWidget(widget, 1 if widget is not self.bar else 0)
        self.clear()

    def clear(self) -> None:
        """Nothing to say."""
        self._show("", (), asks=False, busy=False)

    def note(self, text: str, *acts: Act, undo: Callable[[], None] | None = None) -> None:
        """Say something; acts: (words of a button, what it does). undo: the last of these acts takes back what was done."""
        self._show(
            text, (*acts, *([("&Undo", undo)] if undo is not None else []), ("Put a&way", self.clear)), asks=False, busy=False
        )
        self.undo = undo

    def ask(self, text: str, verb: str, then: Callable[[str], None], *, name: str, typed: str = "", hint: str = "") -> None:
        """Ask for a line of text before an act. verb: words of the button that does it; name: what the line is called."""
        self._show(text, ((verb, lambda: self._answer(then)), ("Leave as it &was", self.clear)), asks=True, busy=False)
        self.line.setAccessibleName(name)
        self.line.setPlaceholderText(hint)
        self.line.setText(typed)
        self.line.selectAll()
        self.line.setFocus(Qt.FocusReason.OtherFocusReason)

    def work(self, text: str, cancel: Callable[[], None]) -> None:
        """Say what is under way; cancel gives it up."""

        def give_up() -> None:
            cancel()
            self.note(f"{text}: given up, nothing was changed.")

        self._show(f"{text} …", (("Give &up", give_up),), asks=False, busy=True)

    def _first(self) -> None:
        """Enter in the line is the first button."""
        if self._buttons:
            self._buttons[0].click()

    def _answer(self, then: Callable[[str], None]) -> None:
        text = self.line.text()
        self.clear()
        then(text)

    def _show(self, text: str, acts: tuple[Act, ...], *, asks: bool, busy: bool) -> None:
        self.undo = None
        self.words.setText(text)
        self.setAccessibleName(text)
        self.line.setVisible(asks)
        self.bar.setVisible(busy)
        for button in self._buttons:
            self._row.removeWidget(button)
            button.hide()
            button.deleteLater()
        self._buttons = []
        for words, act in acts:
            button = act_button(words, act)
            self._buttons.append(button)
            self._row.addWidget(button)
        self.setVisible(bool(text))

    def hasHeightForWidth(self) -> bool:
        """It takes the height that its words like best, and the page does not begin to scroll for it."""
        return False

    @property
    def buttons(self) -> tuple[QPushButton, ...]:
        """Those that it shows."""
        return tuple(self._buttons)
