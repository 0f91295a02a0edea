"""The library on the engine page: searched by name, opened, taken out of and brought back to."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from borewright.app.plain_label import PlainLabel, plain_tip
from borewright.service.view_engine import EngineLine, list_engines

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["LibraryPanel"]

_NAME = Qt.ItemDataRole.UserRole
_LONGEST_SEARCH = 80


class _Names(QListWidget):
    """The list; Enter opens, Delete takes out."""

    opened = Signal(str)
    removed = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """The two keys; all others as in any list."""
        item = self.currentItem()
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and item is not None:
            self.opened.emit(item.data(_NAME))
        elif event.key() == Qt.Key.Key_Delete and item is not None:
            self.removed.emit()
        else:
            super().keyPressEvent(event)


class LibraryPanel(QFrame):
    """wanted: an engine is to be opened; fresh: a new one begun; brought: a file read; removal, return_: of an engine by name."""

    wanted = Signal(str)
    fresh = Signal()
    brought = Signal()
    removal = Signal(str)
    return_ = Signal(str)
    listed = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self.lines: tuple[EngineLine, ...] = ()
        self.setProperty("role", "panel")
        self.setAccessibleName("Library of engines")
        self.search = QLineEdit()
        self.search.setAccessibleName("Find in the library")
        self.search.setToolTip("A part of the engine's name.")
        self.search.setPlaceholderText("a part of the name")
        self.search.setClearButtonEnabled(True)
        self.search.setMaxLength(_LONGEST_SEARCH)
        self.search.textChanged.connect(self.ask)
        find = PlainLabel("&Find")
        find.setBuddy(self.search)
        self.names = _Names()
        self.names.setAccessibleName("Engines")
        self.names.setToolTip("Enter or a click opens an engine, Delete takes it out of the library.")
        self.names.setWordWrap(True)
        self.names.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.names.opened.connect(self._open)
        self.names.removed.connect(self._remove)
        self.names.itemClicked.connect(lambda item: self._open(item.data(_NAME)))
        self.names.currentItemChanged.connect(lambda *_: self._enable())
        self._empty = PlainLabel()
        self._empty.setProperty("role", "soft")
        self._empty.setWordWrap(True)
        self._new = self._button("Ne&w engine", "Begin an engine from nothing.", self.fresh.emit)
        self._import = self._button("&Import…", "Read an engine file (TOML) into the form; saving keeps it.", self.brought.emit)
        self.remove = self._button("R&emove", "Take the engine out of the library; it can be brought back.", self._remove)
        self.removed = self._button("S&how removed", "Show those that were taken out of the library instead.", self.ask)
        self.removed.setCheckable(True)
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 6, 8, 8)
        heading = PlainLabel("Library")
        heading.setProperty("role", "heading")
        grid = QGridLayout()
        grid.setSpacing(4)
        grid.addWidget(find, 0, 0)
        grid.addWidget(self.search, 0, 1)
        column.addWidget(heading)
        column.addLayout(grid)
        column.addWidget(self._empty)
        column.addWidget(self.names, 1)
        acts = QGridLayout()
        acts.setSpacing(4)
        for at, button in enumerate((self._new, self._import, self.remove, self.removed)):
            acts.addWidget(button, at // 2, at % 2)
        column.addLayout(acts)
        self._enable()

    def _button(self, words: str, tip: str, act: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setToolTip(tip)
        button.setAutoDefault(True)
        button.setAccessibleName(words.replace("&", "").replace("…", ""))
        button.clicked.connect(lambda _on=False: act())
        return button

    # ------------------------------------------------------------ showing

    def ask(self) -> None:
        """Ask the record for the list."""
        self._desk.ask(list_engines, self.search.text(), self.removed.isChecked(), then=self._show, key="engine list")

    def _show(self, lines: tuple[EngineLine, ...]) -> None:
        self.lines = lines
        self.show_units()
        out = self.removed.isChecked()
        if lines:
            words = "Removed from the library:" if out else ""
        elif self.search.text():
            words = f"No engine has “{self.search.text()}” in its name."
        else:
            words = "None was removed." if out else "The library is empty. Begin a new engine, or import a file."
        self._empty.setText(words)
        self._empty.setVisible(bool(words))
        self._enable()
        self.listed.emit()

    def show_units(self) -> None:
        """The lines again, in the units that are shown."""
        current = self.names.currentItem()
        chosen = None if current is None else current.data(_NAME)
        with QSignalBlocker(self.names):
            self.names.clear()
            for line in self.lines:
                item = QListWidgetItem(f"{line.name}\n{self._about(line)}")
                item.setData(_NAME, line.name)
                self.names.addItem(item)
                if line.name == chosen:
                    self.names.setCurrentItem(item)
        self._enable()

    def _about(self, line: EngineLine) -> str:
        if line.bore_m is None or line.stroke_m is None:
            return "not as an engine file has to be"
        units = self._desk.units
        size = f"{units.number(line.bore_m, 'length', 'mm')} × {units.text(line.stroke_m, 'length', 'mm')}"
        return f"{line.cycle}, {line.cylinders} {'cylinder' if line.cylinders == 1 else 'cylinders'}\n{size}"

    def mark(self, name: str | None) -> None:
        """Mark the engine that is in the form."""
        with QSignalBlocker(self.names):
            for at in range(self.names.count()):
                if self.names.item(at).data(_NAME) == name:
                    self.names.setCurrentRow(at)
                    break
            else:
                self.names.setCurrentRow(-1)
        self._enable()

    def _enable(self) -> None:
        out = self.removed.isChecked()
        words, tip = (
            ("Brin&g back", "Bring the engine back into the library.")
            if out
            else ("R&emove", "Take the engine out of the library; it can be brought back.")
        )
        self.remove.setText(words)
        self.remove.setAccessibleName(words.replace("&", ""))
        self.remove.setToolTip(plain_tip(tip))
        self.remove.setEnabled(self.names.currentItem() is not None)

    # ------------------------------------------------------------ acts

    def _open(self, name: str) -> None:
        self.wanted.emit(name)

    def _remove(self) -> None:
        item = self.names.currentItem()
        if item is not None:
            (self.return_ if self.removed.isChecked() else self.removal).emit(item.data(_NAME))
