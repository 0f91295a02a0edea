"""What is heard at each place while air is on: noted with two keys, a place and how strong, without leaving the page."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QScrollArea, QVBoxLayout, QWidget

from borewright.app.plain_label import PlainLabel
from borewright.core.heard import OTHER_CYLINDERS, STRENGTHS, Heard, Strength
from borewright.core.place_meaning import meaning, place_words
from borewright.service import acts

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.core.engine import Engine

__all__ = ["STRENGTH_KEYS", "HeardPanel"]

STRENGTH_KEYS: dict[str, Strength] = {"N": "none", "F": "faint", "S": "steady", "R": "strong"}
_LABELS: dict[Strength, str] = {"none": "&none", "faint": "&faint", "steady": "&steady", "strong": "st&rong"}


class HeardPanel(QFrame):
    """The places of the engine with a digit for each, what was noted there, and where and how to look at the one that is chosen."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._of: tuple[Engine, int] | None = None
        self._at = 0
        self._asks: Strength | None = None  # as strong at another cylinder, whose number is still to be said
        self._noted: dict[str, list[str]] = {}
        self.setProperty("role", "panel")
        self.setAccessibleName("What is heard at each place")
        self._head, self._look = PlainLabel(), PlainLabel()
        self._head.setProperty("role", "heading")
        for label in (self._head, self._look):
            label.setWordWrap(True)
        inside = QWidget()
        text = QVBoxLayout(inside)
        text.setContentsMargins(0, 0, 0, 0)
        self._rows = QVBoxLayout()
        self._rows.setSpacing(2)
        text.addLayout(self._rows)
        text.addWidget(self._look)
        text.addStretch(1)
        self._scroll = scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(inside)
        self._strengths, self._others = QWidget(), QWidget()
        row = QHBoxLayout(self._strengths)
        row.setContentsMargins(0, 0, 0, 0)
        for strength in STRENGTHS:
            row.addWidget(_button(_LABELS[strength], f"How strong: {strength}", partial(self.note, strength)))
        QHBoxLayout(self._others).setContentsMargins(0, 0, 0, 0)
        self._places: list[QPushButton] = []
        column = QVBoxLayout(self)
        for widget in (self._head, self._strengths, self._others):
            column.addWidget(widget)
        column.addWidget(scroll, 1)

    # ------------------------------------------------------------------ what it is of

    def begin(self, engine: Engine, cylinder: int) -> None:
        """Air is on in another test: nothing has been noted in it."""
        self._noted.clear()
        self._at, self._asks = 0, None
        if self._of is None or self._of[0] != engine or self._of[1] != cylinder:
            self._of = (engine, cylinder)
            _empty(self._rows)
            self._places = [_button("", "", partial(self.choose, i + 1)) for i in range(len(engine.places))]
            for button in self._places:
                button.setCheckable(True)
                button.setStyleSheet("text-align: left;")
                self._rows.addWidget(button)
            self._name_others(engine, cylinder)
        self._dress()

    def _name_others(self, engine: Engine, cylinder: int) -> None:
        row = self._others.layout()
        if isinstance(row, QHBoxLayout):
            _empty(row)
            for other in engine.cylinders:
                if other != cylinder:
                    row.addWidget(_button(str(other), f"At cylinder {other}", partial(self.digit, other)))
            row.addWidget(_button("not &looked", "Nobody looked at which cylinder", self.without_number))

    @property
    def noted(self) -> dict[str, str]:
        """What was noted so far in this test, by place."""
        return {place: ", ".join(words) for place, words in self._noted.items()}

    # ------------------------------------------------------------------ what the person says

    def digit(self, number: int) -> None:
        """A digit: the place of that number, or the other cylinder that was asked for."""
        if self._asks is None:
            self.choose(number)
        elif self._of is not None and number in self._of[0].cylinders and number != self._of[1]:
            self._keep(self._asks, number)

    def choose(self, number: int) -> None:
        """The place of this number, from 1."""
        if 1 <= number <= len(self._places):
            self._at, self._asks = number - 1, None
            self._dress()

    def note(self, strength: Strength) -> None:
        """So strong at the place that is chosen; at another cylinder its number is asked for."""
        if self._of is None:
            return
        engine, cylinder = self._of
        others = [other for other in engine.cylinders if other != cylinder]
        if engine.places[self._at] in OTHER_CYLINDERS and strength != "none" and len(others) > 1:
            self._asks = strength
            self._dress()
        else:
            self._keep(strength, None)

    def without_number(self) -> None:
        """Nobody looked at which other cylinder it was."""
        if self._asks is not None:
            self._keep(self._asks, None)

    def _keep(self, strength: Strength, neighbour: int | None) -> None:
        if self._of is None:
            return
        engine = self._of[0]
        place = engine.places[self._at]
        self._desk.tell(acts.NoteHeard(place, strength, neighbour))
        words = Heard(place, strength, neighbour).words.removeprefix(place_words(place)).strip()
        if neighbour is None:
            self._noted[place] = [words]
        else:
            self._noted.setdefault(place, []).append(words)
        again = self._asks is not None  # there may be more at still another cylinder
        self._asks = None
        if not again:
            self._at = (self._at + 1) % len(engine.places)
        self._dress()

    # ------------------------------------------------------------------ how it looks

    def _dress(self) -> None:
        if self._of is None:
            return
        engine, cylinder = self._of
        noted = self.noted
        for i, (place, button) in enumerate(zip(engine.places, self._places, strict=True)):
            said = noted.get(place, "–")
            button.setText(f"{i + 1}  {place_words(place)}:  {said}")
            button.setChecked(i == self._at)
            button.setAccessibleName(f"{place_words(place)}: {noted.get(place, 'nothing noted yet')}")
        self._scroll.ensureWidgetVisible(self._places[self._at])
        chosen = engine.places[self._at]
        asks = self._asks is not None
        self._strengths.setVisible(not asks)
        self._others.setVisible(asks)
        words = "At which cylinder? Its digit" if asks else f"{place_words(chosen)}: how strong?"
        self._head.setText(words[0].upper() + words[1:])
        self._look.setText(meaning(engine, cylinder, chosen).look)


def _button(words: str, name: str, do: Callable[[], None]) -> QPushButton:
    button = QPushButton(words)
    button.setAccessibleName(name)
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    button.clicked.connect(lambda: do())  # noqa: PLW0108 -- else Qt hands over whether it is checked
    return button


def _empty(layout: QVBoxLayout | QHBoxLayout) -> None:
    while (item := layout.takeAt(0)) is not None:
        widget = item.widget()
        if widget is not None:
            widget.deleteLater()
