"""What air at the chosen place means, where to look, what may be done there; and the bar by which it is noted."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from borewright.app.pages.findings_model import place_name
from borewright.app.pages.findings_parts import Column, label, scrolled
from borewright.core.engine import Engine
from borewright.core.heard import STRENGTHS
from borewright.core.place_meaning import meaning, place_words
from borewright.core.stopping import stop_rules

__all__ = ["NeighbourRow", "NoteBar", "PlacePanel", "place_lines"]

NOT_SAID = "not said"
PER_ROW = 8


def place_lines(engine: Engine, cylinder: int, place: str) -> list[tuple[str, str]]:
    """What air at this place of this cylinder means: role and words."""
    means, rule = meaning(engine, cylinder, place), stop_rules(engine)[place]
    return [
        ("big", place_name(place)),
        ("heading", "Where and how to look"),
        ("", means.look),
        ("heading", "Air there most often means"),
        *(("", f"•  {one}") for one in means.implies),
        ("heading", "What only looks like it"),
        *(("", f"•  {one}") for one in means.imitated_by),
        ("heading", "Next"),
        ("", means.next_step),
        ("heading", "Stopping it, measuring it"),
        ("", f"{rule.why[:1].upper()}{rule.why[1:]}."),
        ("soft", "Common practice, no source; which valves and ports stand open now is reckoned from the engine's data."),
    ]


class PlacePanel(QWidget):
    """The panel."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._lines = Column()
        inside = QWidget()
        QVBoxLayout(inside).addWidget(self._lines)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(scrolled(inside))

    def show_place(self, engine: Engine | None, cylinder: int, place: str) -> None:
        """Show a place; "": none is chosen."""
        if engine is None or not place:
            self._lines.show_lines([("soft", "Choose a place: click it, or go to it with Tab, the arrows or its letter.")])
        else:
            self._lines.show_lines(place_lines(engine, cylinder, place))

    @property
    def words(self) -> str:
        """All that is said."""
        return self._lines.words


class NoteBar(QWidget):
    """The four strengths for the chosen place. noted: one was pressed. undone, redone: the last note taken back, or not."""

    noted = Signal(str)
    undone = Signal()
    redone = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._head = label("", "heading")
        self._said = label("", "soft")
        row = QHBoxLayout()
        self.buttons: dict[str, QPushButton] = {}
        for number, strength in enumerate(STRENGTHS):
            button = QPushButton(f"{number}  {strength}")
            button.setToolTip(_MEANS[strength])
            button.setAccessibleName(f"{strength} at the chosen place")
            button.clicked.connect(lambda _=False, strength=strength: self.noted.emit(strength))
            row.addWidget(button)
            self.buttons[strength] = button
        self.undo, self.redo = QPushButton("&Undo"), QPushButton("Redo")
        self.undo.setToolTip("Takes the last note back (Ctrl+Z). It is kept, but counts no more.")
        self.redo.setToolTip("Lets it count after all (Ctrl+Shift+Z).")
        self.redo.setAccessibleName("Redo: let the note count after all")
        self.undo.clicked.connect(self.undone)
        self.redo.clicked.connect(self.redone)
        row.addStretch(1)
        row.addWidget(self.undo)
        row.addWidget(self.redo)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addWidget(self._head)
        column.addLayout(row)
        column.addWidget(self._said)

    def show_place(self, place: str, *, can_note: bool) -> None:
        """For which place; can_note: a job and a cylinder are there."""
        if not can_note:
            self._head.setText("No job is open: open one on the Jobs page")
        else:
            self._head.setText(
                f"Air at the {place_words(place)}:" if place else "Choose a place, then say how strong the air is there"
            )
        for button in self.buttons.values():
            button.setEnabled(can_note and bool(place))

    def show_undo(self, *, undo: bool, redo: bool) -> None:
        """Whether there is something to take back, or to keep after all."""
        self.undo.setEnabled(undo)
        self.redo.setEnabled(redo)

    def say(self, words: str) -> None:
        """A line on what was done."""
        if words != self._said.text():
            self._said.setText(words)

    @property
    def said(self) -> str:
        """That line."""
        return self._said.text()


_MEANS = {
    "none": "No air to be heard, felt or seen there (0 or N)",
    "faint": "Just to be heard with a tube at the ear (1 or F)",
    "steady": "Clearly to be heard or felt, it goes on (2 or S)",
    "strong": "Loud, blows, or bubbles hard (3 or T)",
}


class NeighbourRow(QWidget):
    """At which other cylinder air was heard: its number, or that nobody can say. answered: the cylinder, or 0."""

    answered = Signal(int)
    dropped = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._asked = label("", "heading")
        self._grid = QGridLayout()
        self._buttons: dict[int, QPushButton] = {}
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._asked)
        column.addLayout(self._grid)
        self.hide()

    def ask(self, words: str, others: tuple[int, ...]) -> None:
        """Ask it."""
        for button in self._buttons.values():
            self._grid.removeWidget(button)
            button.deleteLater()
        self._buttons = {}
        self._asked.setText(f"{words}: at which cylinder? Its number, or Enter if nobody can say")
        for at, other in enumerate((*others, 0)):
            button = _AnswerButton(f"{other}" if other else NOT_SAID, self._take_key)
            button.setAccessibleName(f"at cylinder {other}" if other else "nobody can say at which cylinder")
            button.clicked.connect(lambda _=False, other=other: self.answered.emit(other))
            self._grid.addWidget(button, at // PER_ROW, at % PER_ROW)
            self._buttons[other] = button
        self.show()
        self._buttons[0].setFocus(Qt.FocusReason.ShortcutFocusReason)

    def button(self, other: int) -> QPushButton:
        """The button of a cylinder; 0: nobody can say."""
        return self._buttons[other]

    def _take_key(self, event: QKeyEvent) -> bool:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            focused = next((other for other, button in self._buttons.items() if button.hasFocus()), 0)
            self.answered.emit(focused)
        elif event.key() == Qt.Key.Key_Backspace:
            self.dropped.emit()
        elif event.text().isascii() and event.text().isdigit() and int(event.text()) in self._buttons and event.text() != "0":
            self.answered.emit(int(event.text()))
        else:
            return False
        return True


class _AnswerButton(QPushButton):
    def __init__(self, text: str, take_key: Callable[[QKeyEvent], bool]) -> None:
        super().__init__(text)
        self._take = take_key

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """A number answers; the rest is the button's own."""
        if not self._take(event):
            super().keyPressEvent(event)
