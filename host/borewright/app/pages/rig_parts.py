"""Small things that the panels of the rig's page have in common."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QLabel, QPushButton, QScrollArea, QSizePolicy, QWidget

from borewright.app.plain_label import PlainLabel

__all__ = ["act_button", "dress_label", "label", "put_text", "scrolled", "sentence"]


def act_button(words: str, do: Callable[[], None], tip: str) -> QPushButton:
    """A button that Enter presses too where it has the focus."""
    button = QPushButton(words)
    button.setToolTip(tip)
    button.setAutoDefault(True)
    button.clicked.connect(do)
    return button


def label(text: str = "", role: str = "", *, chosen: bool = False) -> QLabel:
    """A label that wraps. chosen: its text can be marked and copied."""
    made = PlainLabel(text)
    made.setWordWrap(True)
    made.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
    if role:
        made.setProperty("role", role)
    if chosen:
        made.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    return made


def sentence(text: str) -> str:
    """The text with a capital at its beginning, as it stands on the screen.

    >>> sentence("rig R-1 at socket://here"), sentence("")
    ('Rig R-1 at socket://here', '')
    """
    return text[:1].upper() + text[1:]


def put_text(on: QLabel, text: str) -> None:
    """Set a text where it is another one; a label without one takes no room."""
    if on.text() != text:
        on.setText(text)
    if on.isHidden() == bool(text):
        on.setVisible(bool(text))


def dress_label(on: QLabel, role: str) -> None:
    """Give a label another role of the stylesheet."""
    if on.property("role") != role:
        on.setProperty("role", role)
        on.style().unpolish(on)
        on.style().polish(on)


def scrolled(inside: QWidget) -> QScrollArea:
    """Scrolls up and down only: what is inside wraps."""
    area = QScrollArea()
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setWidget(inside)
    return area
