"""Texts on the screen as they are: whatever a file, a device or a record says is shown letter by letter and never as markup."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt
from PySide6.QtGui import Qt as QtGuiOnly
from PySide6.QtWidgets import QLabel, QWidget

__all__ = ["PlainLabel", "plain_tip"]


class PlainLabel(QLabel):
    """A label that knows no markup. QLabel alone guesses from the text whether it is some."""

    def __init__(self, text: str = "", parent: QWidget | None = None) -> None:
        super().__init__(text, parent)
        self.setTextFormat(Qt.TextFormat.PlainText)


def plain_tip(text: str) -> str:
    """A tool tip for a text from elsewhere. Tips guess, too, and cannot be told not to: what looks like markup is written as such.

    >>> plain_tip("hill-climb 7"), plain_tip("<b>hill</b>")
    ('hill-climb 7', '<qt>&lt;b&gt;hill&lt;/b&gt;</qt>')
    """
    return f"<qt>{escape(text).replace(chr(10), '<br>')}</qt>" if QtGuiOnly.mightBeRichText(text) else text
