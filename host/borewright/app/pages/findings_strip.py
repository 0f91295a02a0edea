"""The cylinders of the open job in a row, one of them chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QButtonGroup, QGridLayout, QPushButton, QWidget

from borewright.app.plain_label import plain_tip

__all__ = ["CylinderStrip"]

PER_ROW = 8


class CylinderStrip(QWidget):
    """A button for each cylinder. chosen: one was clicked."""

    chosen = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.buttons: dict[int, QPushButton] = {}
        self._group = QButtonGroup(self)
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setSpacing(4)
        self.setAccessibleName("cylinder")

    def show_cylinders(self, cylinders: Sequence[int]) -> None:
        """These are there."""
        if tuple(cylinders) == tuple(self.buttons):
            return
        for button in self.buttons.values():
            self._group.removeButton(button)
            self._grid.removeWidget(button)
            button.deleteLater()
        self.buttons = {}
        for at, cylinder in enumerate(cylinders):
            button = QPushButton(f"{cylinder}")
            button.setCheckable(True)
            button.setMinimumWidth(36)
            button.clicked.connect(lambda _=False, cylinder=cylinder: self.chosen.emit(cylinder))
            self._group.addButton(button)
            self._grid.addWidget(button, at // PER_ROW, at % PER_ROW)
            self.buttons[cylinder] = button
        self.setVisible(bool(self.buttons))

    def show_chosen(self, cylinder: int) -> None:
        """This one is chosen."""
        if cylinder in self.buttons:
            self.buttons[cylinder].setChecked(True)

    def show_heard(self, strengths: Mapping[int, Mapping[str, str]]) -> None:
        """How much was looked at, for each."""
        for cylinder, button in self.buttons.items():
            heard = strengths.get(cylinder, {})
            loud = [place.replace("_", " ") for place, strength in heard.items() if strength in ("steady", "strong")]
            words = f"heard at {', '.join(loud)}" if loud else f"{len(heard)} places looked at" if heard else "not looked at yet"
            button.setText(f"{cylinder} ●" if loud else f"{cylinder} ○" if heard else f"{cylinder}")
            button.setToolTip(plain_tip(f"Cylinder {cylinder}: {words}"))
            button.setAccessibleName(f"cylinder {cylinder}, {words}")
