"""A caution where the act is: over the page, with the two acts that there are. It locks nothing but the act that it belongs to."""

from __future__ import annotations

from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from borewright.app.desk import Caution, Desk
from borewright.app.plain_label import PlainLabel

__all__ = ["CautionBar"]


class CautionBar(QFrame):
    """The bar. Hidden while there is nothing to be careful of."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._caution: Caution | None = None
        self._before: QWidget | None = None
        self.setProperty("role", "panel")
        self.setAccessibleName("Caution")
        self._head = PlainLabel("⚠  Before you go on")
        self._head.setProperty("role", "caution")
        self._text = PlainLabel()
        self._text.setWordWrap(True)
        self._confirm = QPushButton("&Read and seen to")
        self._confirm.setProperty("role", "act")
        self._confirm.setAutoDefault(True)
        self._confirm.clicked.connect(self._confirmed)
        later = QPushButton("&Not now")
        later.setAutoDefault(True)
        later.clicked.connect(self._close)
        acts = QHBoxLayout()
        acts.addWidget(self._confirm)
        acts.addWidget(later)
        acts.addStretch(1)
        column = QVBoxLayout(self)
        column.addWidget(self._head)
        column.addWidget(self._text)
        column.addLayout(acts)
        self.hide()
        desk.caution_asked.connect(self._ask)

    @property
    def asks(self) -> Caution | None:
        """What is shown now."""
        return self._caution

    def _ask(self, caution: Caution) -> None:
        self._caution = caution
        self._before = self.window().focusWidget()
        self._text.setText(caution.text)
        self.setAccessibleDescription(caution.text)
        self.show()
        self._confirm.setFocus()

    def _confirmed(self) -> None:
        caution = self._caution
        self._close()
        if caution is not None:
            caution.confirm()

    def _close(self) -> None:
        self._caution = None
        self.hide()
        if self._before is not None and self._before.isVisible():
            self._before.setFocus()
