"""A question at the act, in place: what is asked, and a button with a verb for each answer. It stops nothing else."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from borewright.app.plain_label import PlainLabel

__all__ = ["QuestionBar"]


class QuestionBar(QFrame):
    """Hidden while nothing is asked. A newer question takes the place of an older one."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("role", "panel")
        self.setAccessibleName("Question")
        self._text = PlainLabel()
        self._text.setWordWrap(True)
        self._text.setProperty("role", "caution")
        self._answers: list[QPushButton] = []
        self._before: QWidget | None = None  # what had the focus
        self._row = QHBoxLayout()
        self._row.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 6, 8, 6)
        column.addWidget(self._text)
        column.addLayout(self._row)
        self.hide()

    @property
    def text(self) -> str:
        """What is asked; nothing while nothing is."""
        return self._text.text() if self._answers else ""

    @property
    def answers(self) -> dict[str, QPushButton]:
        """The buttons by their words, without the mnemonic's sign."""
        return {button.text().replace("&", ""): button for button in self._answers}

    def ask(self, text: str, answers: Sequence[tuple[str, Callable[[], None]]]) -> None:
        """Ask; the first answer has the focus, which goes back to where it was once the question is answered."""
        if not self._answers:
            self._before = self.window().focusWidget()
        self._clear()
        self._text.setText(text)
        self.setAccessibleDescription(text)
        for at, (words, act) in enumerate(answers):
            button = QPushButton(words)
            button.setAutoDefault(True)
            button.clicked.connect(lambda _on=False, act=act: self._answer(act))
            self._row.insertWidget(at, button)
            self._answers.append(button)
        self.show()
        if self._answers:
            self._answers[0].setFocus(Qt.FocusReason.OtherFocusReason)

    def withdraw(self) -> None:
        """Nothing is asked any more."""
        had_focus = any(button.hasFocus() for button in self._answers)
        self._clear()
        self.hide()
        if had_focus and self._before is not None and self._before.isVisible():
            self._before.setFocus(Qt.FocusReason.OtherFocusReason)
        self._before = None

    def _answer(self, act: Callable[[], None]) -> None:
        self.withdraw()
        act()

    def _clear(self) -> None:
        for button in self._answers:
            self._row.removeWidget(button)
            button.hide()
            button.deleteLater()
        self._answers.clear()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Left and right go between the answers."""
        buttons = self._answers
        step = {Qt.Key.Key_Right: 1, Qt.Key.Key_Left: -1}.get(Qt.Key(event.key()))
        at = next((number for number, button in enumerate(buttons) if button.hasFocus()), None)
        if step is None or at is None:
            super().keyPressEvent(event)
        else:
            buttons[(at + step) % len(buttons)].setFocus(Qt.FocusReason.TabFocusReason)
