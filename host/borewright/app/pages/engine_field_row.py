"""One field of the engine form: its label, what it is written in, its unit, and what is wrong with it right under it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QGridLayout,
    QLineEdit,
    QPlainTextEdit,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from borewright.app.pages.engine_fields import PLACE_WORDS, Field
from borewright.app.pages.engine_model import EngineEdit
from borewright.app.plain_label import PlainLabel
from borewright.service.shown_units import ShownUnits
from borewright.service.view_engine import places_of

__all__ = ["CalmCombo", "FieldRow"]

FAULT_SIGN = "⚠"
_NO_SPACE = 0
_WIDEST_UNIT = "cm³."


class CalmCombo(QComboBox):
    """A choice that the wheel does not change while somebody only rolls the page past it."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMinimumContentsLength(6)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Only with the focus on it."""
        if self.hasFocus():
            super().wheelEvent(event)
        else:
            event.ignore()


class FieldRow(QWidget):
    """edited: the person changed it, and the model has it; left: the person is through with it."""

    edited = Signal(str)
    left = Signal(str)

    def __init__(self, field: Field, edit: EngineEdit, units: ShownUnits, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.field = field
        self._edit = edit
        self._units = units
        self._fault = ""
        self._label = PlainLabel(field.label)
        self._label.setWordWrap(True)
        self._unit = PlainLabel()
        self._fault_label = PlainLabel()
        self._fault_label.setProperty("role", "fault")
        self._fault_label.setWordWrap(True)
        self._fault_label.hide()
        self.editor, self._show_value = self._made()
        self.editor.setAccessibleName(field.label)
        self.editor.setToolTip(field.tip)
        self._label.setToolTip(field.tip)
        self._label.setBuddy(self.editor)
        self.setFocusProxy(self.editor)
        grid = QGridLayout(self)
        grid.setContentsMargins(_NO_SPACE, _NO_SPACE, _NO_SPACE, _NO_SPACE)
        grid.setVerticalSpacing(1)
        grid.addWidget(self._label, 0, 0, Qt.AlignmentFlag.AlignTop if field.kind in ("places", "text") else Qt.AlignmentFlag(0))
        grid.addWidget(self.editor, 0, 1)
        grid.addWidget(self._unit, 0, 2)
        grid.addWidget(self._fault_label, 1, 1, 1, 2)
        grid.setColumnStretch(0, 3)
        grid.setColumnStretch(1, 5)
        for widget in (self._label, self.editor):  # so that every row is divided alike
            widget.setSizePolicy(QSizePolicy.Policy.Ignored, widget.sizePolicy().verticalPolicy())
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Maximum)

    # ------------------------------------------------------------ showing

    def show_edit(self, edit: EngineEdit, units: ShownUnits) -> None:
        """Show the field of this engine in these units."""
        self._edit = edit
        self._units = units
        self._show_unit()
        self._show_value()

    def show_fault(self, sentence: str) -> None:
        """Say what is wrong with it; nothing takes it away."""
        if sentence == self._fault:
            return
        self._fault = sentence
        self._fault_label.setText(f"{FAULT_SIGN} {sentence}{self._in_which_unit(sentence)}" if sentence else "")
        self._fault_label.setVisible(bool(sentence))
        self._label.setText(f"{FAULT_SIGN} {self.field.label}" if sentence else self.field.label)
        self.editor.setAccessibleDescription(sentence or self.field.tip)

    @property
    def fault(self) -> str:
        """What is shown to be wrong with it."""
        return self._fault

    def _in_which_unit(self, sentence: str) -> str:
        """The check speaks of the file's number; where another unit is shown, say which one that is."""
        if self.field.dimension is None or not sentence.startswith(self.field.key):
            return ""
        shown = self._units.unit(self.field.dimension, self.field.file_unit)
        return f" (in {self.field.file_unit}, as in the engine file)" if shown != self.field.file_unit else ""

    def _show_unit(self) -> None:
        field = self.field
        words = field.unit_words if field.dimension is None else self._units.unit(field.dimension, field.file_unit)
        self._unit.setText(words)
        self._unit.setMinimumWidth(self._unit.fontMetrics().horizontalAdvance(_WIDEST_UNIT))

    # ------------------------------------------------------------ what it is written in

    def _made(self) -> tuple[QWidget, Callable[[], None]]:
        match self.field.kind:
            case "choice":
                return self._choice()
            case "places":
                return self._places()
            case "text":
                return self._long_text()
            case _:
                return self._line()

    def _line(self) -> tuple[QWidget, Callable[[], None]]:
        line = QLineEdit()
        if self.field.unstated:
            line.setPlaceholderText(self.field.unstated)

        def show() -> None:
            text = self._edit.text(self.field, self._units)
            if line.text() != text:
                line.setText(text)
                line.setCursorPosition(0)

        def take(text: str) -> None:
            self._edit.put(self.field, text, self._units)
            self.edited.emit(self.field.key)

        def leave() -> None:
            show()
            self.left.emit(self.field.key)

        line.textEdited.connect(take)
        line.editingFinished.connect(leave)
        return line, show

    def show_hint(self, hint: str) -> None:
        """What follows from the rest of the engine while nothing is written here."""
        if isinstance(self.editor, QLineEdit) and self.editor.placeholderText() != hint:
            self.editor.setPlaceholderText(hint)

    def _long_text(self) -> tuple[QWidget, Callable[[], None]]:
        text = QPlainTextEdit()
        text.setTabChangesFocus(True)
        text.setFixedHeight(5 * text.fontMetrics().lineSpacing() + 12)

        def show() -> None:
            with QSignalBlocker(text):
                shown = self._edit.text(self.field, self._units)
                if text.toPlainText() != shown:
                    text.setPlainText(shown)

        def take() -> None:
            self._edit.put(self.field, text.toPlainText(), self._units)
            self.edited.emit(self.field.key)
            self.left.emit(self.field.key)

        text.textChanged.connect(take)
        return text, show

    def _choice(self) -> tuple[QWidget, Callable[[], None]]:
        combo = CalmCombo()
        values: list[str | None] = []

        def show() -> None:
            value = self._edit.value(self.field)
            rows: list[tuple[str | None, str]] = list(self.field.choices)
            if self.field.unstated or value is None:
                rows.insert(0, (None, f"not stated ({self.field.unstated})" if self.field.unstated else "choose"))
            if value is not None and value not in [known for known, _ in rows]:
                rows.append((value, self._edit.text(self.field, self._units)[:40]))  # it came with a file; the fault says so
            with QSignalBlocker(combo):
                if values != [known for known, _ in rows]:
                    values[:] = [known for known, _ in rows]
                    combo.clear()
                    combo.addItems([words for _, words in rows])
                combo.setCurrentIndex(values.index(value))

        def take(at: int) -> None:
            self._edit.put_value(self.field, values[at])
            self.edited.emit(self.field.key)
            self.left.emit(self.field.key)
            show()

        combo.currentIndexChanged.connect(take)
        return combo, show

    def _places(self) -> tuple[QWidget, Callable[[], None]]:
        box = QWidget()
        column = QVBoxLayout(box)
        column.setContentsMargins(_NO_SPACE, _NO_SPACE, _NO_SPACE, _NO_SPACE)
        every = QCheckBox("every place that it has")
        every.setAccessibleName("Every place that it has")
        column.addWidget(every)
        box.setFocusProxy(every)
        boxes: dict[str, QCheckBox] = {}

        def tell() -> None:
            self.edited.emit(self.field.key)
            self.left.emit(self.field.key)
            show()

        def take_every(on: bool) -> None:
            engine = self._edit.engine
            self._edit.put_value(self.field, None if on else list(engine.places if engine is not None else ()))
            tell()

        def take_one(_on: bool) -> None:
            self._edit.put_value(self.field, [place for place, one in boxes.items() if one.isChecked()])
            tell()

        def show() -> None:
            value: Any = self._edit.value(self.field)
            named = [str(place) for place in value] if isinstance(value, list) else []
            known = places_of(str(self._edit.document.get("cycle", "")))
            wanted = [*known, *dict.fromkeys(place for place in named if place not in known)]
            if list(boxes) != wanted:
                for one in boxes.values():
                    column.removeWidget(one)
                    one.hide()
                    one.deleteLater()
                boxes.clear()
                before: QWidget = every
                for place in wanted:
                    words = PLACE_WORDS.get(place, "".join(letter if letter.isprintable() else "?" for letter in place[:40]))
                    boxes[place] = QCheckBox(words.replace("&", "&&"))
                    boxes[place].setAccessibleName(f"Place: {words}")
                    boxes[place].toggled.connect(take_one)
                    column.addWidget(boxes[place])
                    QWidget.setTabOrder(before, boxes[place])
                    before = boxes[place]
            with QSignalBlocker(every):
                every.setChecked(value is None)
            for place, one in boxes.items():
                with QSignalBlocker(one):
                    one.setChecked(place in named)
                one.setEnabled(value is not None)

        every.toggled.connect(take_every)
        return box, show
