"""A sheet of the Jobs page: what takes the place of the list while one thing is done, with one way back."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from borewright.app.desk import Desk
from borewright.app.plain_label import PlainLabel

__all__ = ["BACK_KEY", "Sheet", "act_button", "labelled", "listen_for", "mark_role"]


class Sheet(QWidget):
    """A title, a way back to the list, and a body."""

    back = Signal()

    def __init__(self, desk: Desk, title: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self.body = QVBoxLayout(self)
        self.body.setContentsMargins(0, 0, 0, 0)
        self.head = QHBoxLayout()
        self.to_list = act_button("‹ Jo&bs", self.back.emit, "Back to the list of jobs (Alt+Left)")
        self.title = PlainLabel(title)
        self.title.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.title.setWordWrap(True)
        mark_role(self.title, "heading")
        self.head.addWidget(self.to_list)
        self.head.addWidget(self.title, 1)
        self.body.addLayout(self.head)

    def show_title(self, title: str) -> None:
        """What is done here, and to what."""
        self.title.setText(title)
        self.setAccessibleName(title)

    def look_anew(self) -> None:
        """Colours or units have changed."""


def act_button(words: str, act: Callable[[], None], tip: str = "", role: str = "") -> QPushButton:
    """A button that is pressed by mouse, space or Enter. tip: what it does, where its words do not say it all."""
    button = QPushButton(words)
    button.setAccessibleName(words.replace("&", ""))
    button.setAutoDefault(True)
    if tip:
        button.setToolTip(tip)
    if role:
        mark_role(button, role)
    button.clicked.connect(lambda _checked=False: act())
    return button


def listen_for(
    keys: QKeySequence | QKeySequence.StandardKey | str, widget: QWidget, act: Callable[[], None], *, alone: bool = False
) -> None:
    """Have a key do something while the focus is in a widget, or (alone) on it and not on what is in it."""
    shortcut = QShortcut(QKeySequence(keys), widget)
    context = Qt.ShortcutContext.WidgetShortcut if alone else Qt.ShortcutContext.WidgetWithChildrenShortcut
    shortcut.setContext(context)  # the constructor takes no notice of one (PySide6 6.11)
    shortcut.activated.connect(act)


def mark_role(widget: QWidget, role: str) -> None:
    """Say which part of the stylesheet a widget wears."""
    widget.setProperty("role", role)
    widget.style().unpolish(widget)
    widget.style().polish(widget)


def labelled(words: str, widget: QWidget, tip: str = "") -> QLabel:
    """A label whose mnemonic leads to the widget, which gets its name from it."""
    label = PlainLabel(words)
    label.setBuddy(widget)
    widget.setAccessibleName(words.replace("&", ""))
    if tip:
        widget.setToolTip(tip)
        label.setToolTip(tip)
    label.setAlignment(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignRight)
    return label


BACK_KEY = QKeySequence(Qt.Modifier.ALT | Qt.Key.Key_Left)
