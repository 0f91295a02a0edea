"""Controls of the built-in rig's panel: each tells the person at the rig something, and shows how it stands there."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QComboBox, QGroupBox, QHBoxLayout, QLabel, QLayout, QPushButton, QVBoxLayout, QWidget

from borewright.app.builtin.flow import Flow
from borewright.app.plain_label import PlainLabel

__all__ = ["beside", "choice", "group", "press", "row", "say", "show_on"]


def press(text: str, name: str, do: Callable[[], object], tip: str = "", *, shows: bool = False) -> QPushButton:
    """A button. name: for screen readers; shows: it is down while what it does is so at the rig."""
    button = _Shown(text) if shows else QPushButton(text)
    button.setAccessibleName(name)
    button.setToolTip(tip or name)
    button.setCheckable(shows)
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)  # a click leaves the keys where they were: with the page
    button.clicked.connect(lambda _on: do())
    return button


class _Shown(QPushButton):
    """A button with room for its text in bold, in which it is written while it is down."""

    def sizeHint(self) -> QSize:
        hint = super().sizeHint()
        return QSize(round(1.12 * hint.width()), hint.height())


def show_on(button: QPushButton, on: bool) -> None:
    """Whether what it does is so at the rig; a click alone does not make it so."""
    if button.isChecked() != on:
        button.setChecked(on)


def choice(name: str, tip: str = "") -> QComboBox:
    """A list to choose from."""
    box = QComboBox()
    box.setAccessibleName(name)
    box.setToolTip(tip or name)
    box.setMinimumContentsLength(6)
    box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    return box


def say(role: str = "") -> QLabel:
    """A text that wraps."""
    label = PlainLabel()
    label.setWordWrap(True)
    if role:
        label.setProperty("role", role)
    return label


def beside(text: str, button: QPushButton) -> QLabel:
    """A word in front of a button, as high as that."""
    label = PlainLabel(text)
    label.setMinimumHeight(button.sizeHint().height())
    return label


def row(*widgets: QWidget, last_wide: bool = False) -> QLayout:
    """Side by side, in as many lines as it takes; last_wide: in one line, and the last takes the room that is left."""
    if not last_wide:
        flow = Flow()
        for widget in widgets:
            flow.addWidget(widget)
        return flow
    line = QHBoxLayout()
    line.setSpacing(4)
    for widget in widgets:
        line.addWidget(widget, 1 if widget is widgets[-1] else 0)
    return line


def group(title: str, *rows: QLayout | QWidget) -> QGroupBox:
    """What belongs together, under a heading."""
    box = QGroupBox(title)
    column = QVBoxLayout(box)
    column.setSpacing(4)
    for part in rows:
        if isinstance(part, QWidget):
            column.addWidget(part)
        else:
            column.addLayout(part)
    return box
