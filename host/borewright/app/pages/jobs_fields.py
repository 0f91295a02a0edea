"""Fields of a form, each with the place under it where it is said what is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFormLayout, QLabel, QLineEdit, QPlainTextEdit, QVBoxLayout, QWidget

from borewright.app.plain_label import PlainLabel

__all__ = ["Fields"]

Text = QLineEdit | QPlainTextEdit


class Fields:
    """The texts of a form by their keys."""

    def __init__(self) -> None:
        self._texts: dict[str, Text] = {}
        self._faults: dict[str, QLabel] = {}

    def add(self, form: QFormLayout, key: str, label: QLabel, text: Text) -> None:
        """One more row of the form."""
        fault = PlainLabel()
        fault.setWordWrap(True)
        fault.setProperty("role", "fault")
        fault.hide()
        both = QWidget()
        column = QVBoxLayout(both)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(text)
        column.addWidget(fault)
        self._texts[key], self._faults[key] = text, fault
        form.addRow(label, both)

    def of(self, key: str) -> Text:
        """The field of a key."""
        return self._texts[key]

    def texts(self) -> dict[str, str]:
        """What stands in each."""
        return {key: _text_of(field) for key, field in self._texts.items()}

    def fill(self, texts: Mapping[str, str]) -> None:
        """Put these in; faults go away."""
        for key, text in texts.items():
            field = self._texts[key]
            if isinstance(field, QPlainTextEdit):
                field.setPlainText(text)
            else:
                field.setText(text)
        self.clear_faults()

    def focus(self, key: str) -> None:
        """Lead the person to a field."""
        self._texts[key].setFocus(Qt.FocusReason.OtherFocusReason)

    def show_fault(self, key: str, sentence: str) -> None:
        """Say under a field what is wrong with it, and lead there; a fault of none of them stands under the first."""
        at = key if key in self._texts else next(iter(self._texts))
        self._faults[at].setText(f"✗ {sentence}")
        self._faults[at].show()
        self._texts[at].setAccessibleDescription(sentence)
        self.focus(at)

    def fault_of(self, key: str) -> str:
        """What is said under a field; "" where nothing is."""
        return self._faults[key].text() if not self._faults[key].isHidden() else ""

    def clear_faults(self) -> None:
        """Nothing is wrong any more."""
        for key, fault in self._faults.items():
            fault.hide()
            self._texts[key].setAccessibleDescription("")


def _text_of(field: Text) -> str:
    return field.toPlainText() if isinstance(field, QPlainTextEdit) else field.text()
