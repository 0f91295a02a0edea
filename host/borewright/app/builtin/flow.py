"""A layout that puts widgets side by side and begins a new line where the room ends, so that a narrow panel cuts nothing off."""

from __future__ import annotations

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtWidgets import QLayout, QLayoutItem, QWidget

__all__ = ["Flow"]


class Flow(QLayout):
    """Widgets in lines, each as wide as it asks for, or as the whole line where it asks for more."""

    def __init__(self, parent: QWidget | None = None, spacing: int = 4) -> None:
        super().__init__(parent)
        self._items: list[QLayoutItem] = []
        self._heights: dict[int, int] = {}  # by width; the screen asks again and again while nothing has changed
        self.setSpacing(spacing)
        self.setContentsMargins(0, 0, 0, 0)

    def addItem(self, item: QLayoutItem) -> None:
        """One more at the end."""
        self._items.append(item)

    def count(self) -> int:
        """How many there are."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        """One of them; None past the end."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        """Take one out."""
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:
        """It asks for no more room than it needs."""
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:
        """The narrower, the more lines."""
        return True

    def heightForWidth(self, width: int) -> int:
        """How high it is at a width."""
        if width not in self._heights:
            self._heights[width] = self._lay_out(QRect(0, 0, width, 0), place=False)
        return self._heights[width]

    def invalidate(self) -> None:
        """A widget, or what it shows, has changed."""
        self._heights.clear()
        super().invalidate()

    def setGeometry(self, rect: QRect) -> None:
        """Put the widgets where they belong."""
        super().setGeometry(rect)
        self._lay_out(rect, place=True)

    def sizeHint(self) -> QSize:
        """All in one line."""
        shown = self._shown()
        width = sum(item.sizeHint().width() for item in shown) + self.spacing() * max(0, len(shown) - 1)
        return QSize(width, max((item.sizeHint().height() for item in shown), default=0))

    def minimumSize(self) -> QSize:
        """The widest of them alone."""
        size = QSize()
        for item in self._shown():
            size = size.expandedTo(item.minimumSize())
        return size

    def _shown(self) -> list[QLayoutItem]:
        return [item for item in self._items if not item.isEmpty()]

    def _lay_out(self, rect: QRect, *, place: bool) -> int:
        """Goes through the lines; gives the height of all of them."""
        x, y, line = rect.x(), rect.y(), 0
        for item in self._shown():
            asked = item.sizeHint()
            width = min(asked.width(), max(1, rect.width()))
            if x > rect.x() and x + width > rect.x() + rect.width():
                x, y, line = rect.x(), y + line + self.spacing(), 0
            height = item.heightForWidth(width) if item.hasHeightForWidth() else asked.height()
            if place:
                item.setGeometry(QRect(x, y, width, height))
            x += width + self.spacing()
            line = max(line, height)
        return y + line - rect.y()
