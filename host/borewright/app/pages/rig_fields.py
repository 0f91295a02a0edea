"""What the forms of the rig's checks are made of: lines with their examples, choices, rows of orifices, the paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

from PySide6.QtWidgets import QComboBox, QFormLayout, QGridLayout, QLineEdit, QPushButton, QWidget

from borewright.app.pages.rig_parts import label
from borewright.core.rig import CheckKind
from borewright.errors import UseError
from borewright.service.check_run import CheckPlan
from borewright.service.rig_stated import OrificeStated, PaperStated
from borewright.service.state import BenchState

__all__ = ["CERTIFICATE_LINES", "GAUGE_LINES", "TRANSDUCER_LINES", "CheckForm", "Orifices", "listed", "paper_of_lines"]

GAUGE_LINES = {
    "gauge_serial": ("Gauge, serial number", "G-114", "Of the reference gauge."),
    "gauge_u": ("Its uncertainty (k = 2)", "0.5 % and 1 kPa", 'From its certificate: a share like "0.05 %", or a pressure.'),
    "gauge_step": ("Its smallest step", "0.1 kPa", "The smallest step that can be read off it."),
}
TRANSDUCER_LINES = {
    "regulated_serial": ("Transducer before the restrictor", "serial number", "It is kept with the calibration."),
    "cylinder_serial": ("Transducer after it", "serial number", "It is kept with the calibration."),
}
CERTIFICATE_LINES = {
    "certificate": ("Certificate, number", "2026-0317", "Its number is kept with the check."),
    "certificate_date": ("Certificate, date", "2026-03-17", "After a year the list says that it is due."),
}


class CheckForm(QWidget):
    """One check: what it is for, its fields, and the plan that they make."""

    kind: CheckKind
    words = ""
    begin_words = "&Begin"

    def __init__(self, begin: Callable[[], None], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._begin = begin
        self._layout = QFormLayout(self)
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self._layout.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        self._build()

    def _build(self) -> None:
        """Put the fields in."""

    def look_at(self, state: BenchState | None) -> None:
        """Take over what there is to choose from."""

    def plan(self, state: BenchState) -> CheckPlan:
        """What the person asked for. Raises UseError with one sentence."""
        raise NotImplementedError

    def _line(self, name: str, example: str, tip: str) -> QLineEdit:
        line = self.bare_line(name, example, tip)
        self._layout.addRow(name, line)
        return line

    def bare_line(self, name: str, example: str, tip: str) -> QLineEdit:
        line = QLineEdit()
        line.setPlaceholderText(example)
        line.setMaxLength(200)
        line.setAccessibleName(name)
        line.setToolTip(tip)
        line.returnPressed.connect(self._begin)
        return line

    def _choice(self, name: str, words: dict[str, str], tip: str) -> QComboBox:
        box = QComboBox()
        for key, text in words.items():
            box.addItem(text, key)
        box.setAccessibleName(name)
        box.setToolTip(tip)
        box.setMinimumContentsLength(12)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self._layout.addRow(name, box)
        return box

    def _paper_lines(self, *lines: dict[str, tuple[str, str, str]]) -> dict[str, QLineEdit]:
        return {name: self._line(*words) for group in lines for name, words in group.items()}


def paper_of_lines(lines: dict[str, QLineEdit]) -> PaperStated:
    return PaperStated(
        **{field.name: lines[field.name].text().strip() if field.name in lines else "" for field in fields(PaperStated)}
    )


def listed(text: str) -> tuple[str, ...]:
    """Pressures as a person lists them; a comma may also stand inside a number."""
    return tuple(part.strip() for part in text.replace(";", "\n").replace(", ", "\n").splitlines() if part.strip())


class Orifices(QWidget):
    """Rows for orifices; those without a size are left out."""

    def __init__(self, form: CheckForm, rows: int, more: bool) -> None:
        super().__init__()
        self._form = form
        self._rows: list[tuple[QLineEdit, QLineEdit, QLineEdit]] = []
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self.by = QComboBox()
        self.by.addItem("Effective area", "area")
        self.by.addItem("Bore, ideal nozzle", "bore")
        self.by.setAccessibleName("How the orifices are stated")
        self.by.setToolTip("By the area on the certificate; or by a bore, which is taken as an ideal nozzle.")
        self._grid.addWidget(self.by, 0, 0)
        self._grid.addWidget(label("Uncertainty (k = 2)", "soft"), 0, 1)
        self._grid.addWidget(label("Serial number", "soft"), 0, 2)
        for _ in range(rows):
            self._add_row()
        self._more = QPushButton("One mor&e orifice")
        self._more.setAutoDefault(True)
        self._more.clicked.connect(self._add_row)
        self._more.setVisible(more)
        self._place_more()

    def _add_row(self) -> None:
        number = len(self._rows) + 1
        row = (
            self._form.bare_line(f"Orifice {number}", "0.80 mm^2", 'From its certificate, like "0.80 mm^2" or "1.0 mm".'),
            self._form.bare_line(f"Uncertainty of orifice {number}", "2 %", 'A share like "0.6 %", or an area; k = 2.'),
            self._form.bare_line(f"Serial number of orifice {number}", "", "It is kept with the check."),
        )
        self._rows.append(row)
        for column, line in enumerate(row):
            self._grid.addWidget(line, number, column)
        if hasattr(self, "_more"):
            self._place_more()

    def _place_more(self) -> None:
        self._grid.addWidget(self._more, len(self._rows) + 1, 0)

    def stated(self) -> tuple[OrificeStated, ...]:
        """What was filled in."""
        by = "bore" if self.by.currentData() == "bore" else "area"
        found = [tuple(line.text().strip() for line in row) for row in self._rows]
        stated = tuple(OrificeStated(size, "bore" if by == "bore" else "area", u, serial) for size, u, serial in found if size)
        if not stated:
            raise UseError("no orifice is stated; give its effective area, like 0.80 mm^2")
        return stated
