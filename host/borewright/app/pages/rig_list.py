"""The checks of the rig in the order in which they are made, each with how it holds: by symbol and in words."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QMouseEvent, QShowEvent
from PySide6.QtWidgets import QButtonGroup, QFrame, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from borewright.app.pages.rig_parts import dress_label, label, put_text, sentence
from borewright.core.rig import CheckKind
from borewright.service.known_rig import ORDER, Held
from borewright.service.view_rig import TITLES, CheckRow

__all__ = ["CheckList"]

_ROLES: dict[Held, str] = {"held": "good", "none": "soft", "too old": "caution", "lapsed": "caution", "not passed": "fault"}
_MEANINGS: dict[CheckKind, str] = {
    "zero": "What both transducers read at vent, taken off every reading since.",
    "span": "Both transducers beside a reference gauge, over their whole range.",
    "sealed": "With the outlet capped: what the rig itself lets out, and how far the transducers differ.",
    "restrictor": "What the restrictor lets through, by certified orifices or by its bore.",
    "acceptance": "A reference orifice read as a leak is read: whether the numbers of today can be relied on.",
    "volumes": "Dead volume at the restrictor and volume of the hose, which the decay goes by.",
    "tdc": "Where the crank stands when the piston is at its top, for this fitting of the encoder.",
}


class CheckList(QWidget):
    """One row for each kind. chosen: the person wants to see or make this one."""

    chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        self._rows: dict[CheckKind, _Row] = {}
        super().__init__(parent)
        self.setAccessibleName("Checks of the rig")
        self._group = QButtonGroup(self)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        for number, kind in enumerate(ORDER, 1):
            row = _Row(number, kind)
            row.button.clicked.connect(lambda _on, kind=kind: self.chosen.emit(kind))
            self._group.addButton(row.button)
            self._rows[kind] = row
            column.addWidget(row)
        column.addStretch(1)

    def show_rows(self, rows: Sequence[CheckRow]) -> None:
        """How they stand now."""
        for row in rows:
            self._rows[row.kind].show_row(row)

    def changeEvent(self, event: QEvent) -> None:
        """Buttons of one width, also when letters become larger."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.StyleChange, QEvent.Type.FontChange):
            self._line_up()

    def showEvent(self, event: QShowEvent) -> None:
        """The same when they are first seen."""
        super().showEvent(event)
        self._line_up()

    def _line_up(self) -> None:
        widest = max((row.button.sizeHint().width() for row in self._rows.values()), default=0)
        for row in self._rows.values():
            row.button.setMinimumWidth(widest)

    def choose(self, kind: CheckKind) -> None:
        """Mark the one that is in view beside the list."""
        self._rows[kind].button.setChecked(True)

    def button(self, kind: CheckKind) -> QPushButton:
        """The button of a row."""
        return self._rows[kind].button


class _Row(QFrame):
    def __init__(self, number: int, kind: CheckKind) -> None:
        super().__init__()
        self._shown: CheckRow | None = None
        self.setProperty("role", "panel")
        self.button = QPushButton(f"&{number}  {TITLES[kind]}")
        self.button.setCheckable(True)
        self.button.setAutoDefault(True)
        self.button.setToolTip(f"{_MEANINGS[kind]} Alt+{number}")
        self._held, self._age, self._figures = label(), label(role="soft"), label()
        self._held.setAlignment(Qt.AlignmentFlag.AlignVCenter)
        top = QHBoxLayout()
        top.addWidget(self.button)
        top.addWidget(self._held, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 4, 6, 4)
        column.setSpacing(2)
        column.addLayout(top)
        column.addWidget(self._age)
        column.addWidget(self._figures)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Anywhere on the row is as good as on its button."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.button.click()

    def show_row(self, row: CheckRow) -> None:
        if row == self._shown:
            return
        self._shown = row
        put_text(self._held, f"{row.symbol}  {row.held_words}")
        dress_label(self._held, _ROLES[row.held])
        put_text(self._age, sentence(row.age) if row.held != "none" else "")
        put_text(self._figures, sentence(row.key_figure))
        self.button.setAccessibleName(f"{row.title}: {row.held_words}")
        self.button.setAccessibleDescription(f"{row.age} {row.key_figure}".strip())
