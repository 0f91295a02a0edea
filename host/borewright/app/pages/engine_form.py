"""The form of an engine: every key of an engine file under plain headings, each fault at its field."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QScrollArea, QSizePolicy, QToolButton, QVBoxLayout, QWidget

from borewright.app.pages.engine_field_row import FAULT_SIGN, FieldRow
from borewright.app.pages.engine_fields import FIELDS, SECTIONS, Section
from borewright.app.pages.engine_model import EngineEdit
from borewright.app.plain_label import PlainLabel
from borewright.service.shown_units import ShownUnits

__all__ = ["EngineForm"]


class _SectionBox(QFrame):
    """One heading with its fields; those that an engine can do without are folded away until they are wanted."""

    def __init__(self, section: Section, rows: list[FieldRow], leave_out: Callable[[], None]) -> None:
        super().__init__()
        self.section = section
        self.rows = rows
        self.setProperty("role", "panel")
        self._heading = QToolButton()
        self._heading.setText(section.heading)
        self._heading.setAccessibleName(section.heading)
        self._heading.setCheckable(not section.always)
        self._heading.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self._heading.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._heading.setToolTip(section.note or f"Open or fold away: {section.heading}")
        self._heading.toggled.connect(self._show_open)
        self._summary = PlainLabel()
        self._summary.setProperty("role", "soft")
        self._summary.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        top = QHBoxLayout()
        if section.always:
            heading = PlainLabel(section.heading)
            heading.setProperty("role", "heading")
            top.addWidget(heading, 1)
        else:
            top.addWidget(self._heading, 2)
            top.addWidget(self._summary, 1)
        self._inside = QWidget()
        inside = QVBoxLayout(self._inside)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(4)
        if section.note:
            note = PlainLabel(section.note)
            note.setProperty("role", "soft")
            note.setWordWrap(True)
            inside.addWidget(note)
        self._fault = PlainLabel()
        self._fault.setProperty("role", "fault")
        self._fault.setWordWrap(True)
        self._leave_out = QPushButton("Leave these out")
        self._leave_out.setAccessibleName(f"Leave out: {section.heading}")
        self._leave_out.setToolTip("Take all that stands under this heading out of the engine.")
        self._leave_out.clicked.connect(lambda _on=False: leave_out())
        inside.addWidget(self._fault)
        inside.addWidget(self._leave_out, 0, Qt.AlignmentFlag.AlignLeft)
        for row in rows:
            inside.addWidget(row)
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 6, 8, 8)
        column.setSpacing(4)
        column.addLayout(top)
        column.addWidget(self._inside)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Maximum)
        self._show_open(section.always)

    def open(self) -> None:
        """Show its fields."""
        self._heading.setChecked(True)
        self._show_open(True)

    @property
    def is_open(self) -> bool:
        """Whether its fields are shown."""
        return self.section.always or self._heading.isChecked()

    def _show_open(self, on: bool) -> None:
        self._inside.setVisible(on)
        self._heading.setArrowType(Qt.ArrowType.DownArrow if on else Qt.ArrowType.RightArrow)

    def show_edit(self, edit: EngineEdit, fault: str) -> None:
        """What is stated in it, what is wrong with all of it, and whether it belongs to such an engine at all."""
        stated = sum(edit.value(row.field) is not None for row in self.rows)
        cycle = edit.document.get("cycle")
        self.setVisible(not self.section.cycle or cycle == self.section.cycle or stated > 0)
        wrong = bool(fault) or any(row.fault for row in self.rows)
        words = "" if self.section.always else f"{stated} of {len(self.rows)} stated" if stated else "not stated"
        if self._summary.text() != words:
            self._summary.setText(words)
            self._heading.setAccessibleDescription(words)
        self._heading.setText(f"{FAULT_SIGN} {self.section.heading}" if wrong else self.section.heading)
        self._fault.setText(f"{FAULT_SIGN} {fault}" if fault else "")
        self._fault.setVisible(bool(fault))
        self._leave_out.setVisible(bool(fault))
        if wrong:
            self.open()


class EngineForm(QScrollArea):
    """edited: something was changed."""

    edited = Signal()

    def __init__(self, edit: EngineEdit, units: ShownUnits, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._edit = edit
        self._units = units
        self._all_faults = False
        self._visited: set[str] = set()
        self._typing = ""
        self._refused: dict[str, str] = {}
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName("The engine's data")
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 6, 0)
        self._elsewhere = PlainLabel()
        self._elsewhere.setProperty("role", "fault")
        self._elsewhere.setWordWrap(True)
        self._drop_unknown = QPushButton("Leave out what is not known")
        self._drop_unknown.setAccessibleName("Leave out what is not known")
        self._drop_unknown.setToolTip("Take away what no engine file has.")
        self._drop_unknown.clicked.connect(self._leave_out_unknown)
        column.addWidget(self._elsewhere)
        column.addWidget(self._drop_unknown, 0, Qt.AlignmentFlag.AlignLeft)
        self.rows: dict[str, FieldRow] = {}
        self._sections: list[_SectionBox] = []
        for section in SECTIONS:
            rows = []
            for field in section.fields:
                row = FieldRow(field, edit, units)
                row.edited.connect(self._edited)
                row.left.connect(self._left)
                self.rows[field.key] = row
                rows.append(row)
            box = _SectionBox(section, rows, partial(self._leave_out_table, section.table))
            self._sections.append(box)
            column.addWidget(box)
        column.addStretch(1)
        self.setWidget(inside)
        self.show_edit(edit, units, all_faults=False)

    # ------------------------------------------------------------ showing

    def show_edit(self, edit: EngineEdit, units: ShownUnits, *, all_faults: bool) -> None:
        """Show another engine. all_faults: also at fields that nobody has been at, which for a new one would be a wall of them."""
        self._edit = edit
        self._units = units
        self._all_faults = all_faults
        self._visited.clear()
        self._typing = ""
        self._refused.clear()
        self.show_again(units)

    def show_again(self, units: ShownUnits) -> None:
        """Show every field again, for instance in other units."""
        self._units = units
        for row in self.rows.values():
            row.show_edit(self._edit, units)
        self.show_faults()

    def show_faults(self) -> None:
        """Say at each field what is wrong with it, but not of the one that is being written in."""
        faults = self._edit.faults
        for key, row in self.rows.items():
            sentence = self._refused.get(key) or faults.at_field.get(key, "")
            if sentence and not row.fault and (key == self._typing or not (self._all_faults or key in self._visited)):
                continue
            row.show_fault(sentence)
        for box in self._sections:
            box.show_edit(self._edit, faults.at_table.get(box.section.table, ""))
        self._elsewhere.setText("\n".join(f"{FAULT_SIGN} {sentence}" for sentence in faults.elsewhere.values()))
        self._elsewhere.setVisible(bool(faults.elsewhere))
        self._drop_unknown.setVisible(any(key != "schema_version" for key in faults.elsewhere))
        self._show_hints()

    def _show_hints(self) -> None:
        """Of ratio and clearance volume, the one follows from the other."""
        engine = self._edit.engine
        for key in ("compression_ratio", "clearance_cm3"):
            hint = ""
            if engine is not None and self._edit.value(FIELDS[key]) is None:
                if key == "clearance_cm3":
                    hint = f"{self._units.number(engine.clearance_m3, 'volume', 'cm³', 1)} by the ratio"
                else:
                    hint = "by the volume"
            self.rows[key].show_hint(hint)

    def refuse(self, key: str, sentence: str) -> None:
        """Show at a field why the library would not have it; gone with the next change there."""
        self._refused[key] = sentence
        self.show_faults()
        self.rows[key].show_fault(sentence)
        self._go_to(self.rows[key])

    def show_all_faults(self) -> bool:
        """Show every fault, and go to the first. False where there is none."""
        self._all_faults = True
        self._typing = ""
        self.show_faults()
        faults = self._edit.faults
        first = next(iter(faults.at_field), None)
        if first is not None:
            self._go_to(self.rows[first])
        elif faults.at_table:
            box = next(box for box in self._sections if box.section.table in faults.at_table)
            self._go_to(box.rows[0])
        elif faults.elsewhere and self._drop_unknown.isVisibleTo(self):
            self._drop_unknown.setFocus()
        return bool(faults.count)

    def _go_to(self, row: FieldRow) -> None:
        for box in self._sections:
            if row in box.rows:
                box.open()
        row.editor.setFocus(Qt.FocusReason.OtherFocusReason)
        # what was folded away has its place only after the layout has been at it
        QTimer.singleShot(0, row, lambda: self.ensureWidgetVisible(row, 0, 40))

    # ------------------------------------------------------------ hearing

    def _edited(self, key: str) -> None:
        self._typing = key
        self._refused.pop(key, None)
        self.show_faults()
        self.edited.emit()

    def _left(self, key: str) -> None:
        self._typing = ""
        self._visited.add(key)
        self.show_faults()

    def _leave_out_table(self, table: str) -> None:
        self._edit.leave_out_table(table)
        self.show_again(self._units)
        self.edited.emit()

    def _leave_out_unknown(self) -> None:
        self._edit.leave_out_unknown()
        self.show_again(self._units)
        self.edited.emit()
