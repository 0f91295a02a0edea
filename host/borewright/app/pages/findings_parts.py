"""Small parts that the panels of the findings page are made of."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QFrame, QLabel, QPushButton, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from borewright.app.plain_label import PlainLabel

__all__ = ["Column", "ToggleButton", "label", "scrolled"]


def label(text: str = "", role: str = "") -> QLabel:
    """Words that go on in the next line where they are long. role: as the stylesheet knows it."""
    made = PlainLabel(text)
    made.setWordWrap(True)
    made.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
    if role:
        made.setProperty("role", role)
    return made


def scrolled(inside: QWidget) -> QScrollArea:
    """What may be higher than its room."""
    area = QScrollArea()
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setWidget(inside)
    return area


class ToggleButton(QPushButton):
    """A button that stays down. It says so with a tick and in bold, and has room for both from the beginning."""

    def __init__(self, text: str, parent: QWidget | None = None) -> None:
        super().__init__(text, parent)
        self._words = text
        self.setCheckable(True)
        self.setAccessibleName(text.replace("&", ""))
        self.toggled.connect(lambda on: self.setText(f"✓ {self._words}" if on else self._words))

    def sizeHint(self) -> QSize:
        """As large as it is when it is down."""
        hint = super().sizeHint()
        font = self.font()
        plain = QFontMetrics(font).horizontalAdvance(self.text())
        font.setBold(True)
        return QSize(hint.width() + QFontMetrics(font).horizontalAdvance(f"✓ {self._words}") - plain + 4, hint.height())


class Column(QWidget):
    """Lines of words one under the other, made anew whenever they change."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._shown: tuple[tuple[str, str], ...] | None = None

    def show_lines(self, lines: list[tuple[str, str]]) -> None:
        """Show these: role and words."""
        if tuple(lines) == self._shown:
            return
        self._shown = tuple(lines)
        while (item := self._column.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.hide()
                widget.deleteLater()
        for role, words in lines:
            self._column.addWidget(label(words, role))
        self._column.addStretch(1)

    @property
    def words(self) -> str:
        """All of it, a line for each."""
        return "\n".join(words for _, words in self._shown or ())
