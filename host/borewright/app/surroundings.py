"""The panel of what surrounds a test: who is at the rig, the air, the temperatures, the limits to judge by, units and look."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QCheckBox, QComboBox, QFormLayout, QLineEdit, QPushButton, QVBoxLayout, QWidget

from borewright.app.desk import Desk
from borewright.app.plain_label import PlainLabel
from borewright.errors import BorewrightError, UseError
from borewright.service.conditions_of_air import stated_air
from borewright.service.limit_files import MAKER, USUAL, known_limits
from borewright.units import UnitsError

__all__ = ["SurroundingsPanel"]

OWN_FILE = "a file of limits …"
SYSTEM_WORDS = {"system": "as the desktop", "light": "light", "dark": "dark"}
AIR_WORDS = {"hold": "hold a key or foot-switch down", "countdown": "arm, then a countdown"}


class SurroundingsPanel(QWidget):
    """Fields with their faults beside them; each is heeded when it is left or Enter is pressed."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._fault = PlainLabel()
        self._fault.setWordWrap(True)
        self._fault.setProperty("role", "fault")
        self._who = self._line("Who is at the rig", desk.settings.who, self._take_who, "stands on every test")
        self._ambient = self._line("Air pressure around", "", self._take_air, "absolute, as a barometer shows it, like 98.9 kPa")
        self._air = self._line("Supplied air", "", self._take_air, "its temperature, like 21 degC")
        self._engine = self._line(
            "Engine", "", self._take_air, "its temperature, like 82 degC; what hot is, the maker's manual says"
        )
        self._limits = QComboBox()
        self._limits.setAccessibleName("Limits to judge by")
        self._limits.addItems([*known_limits(), MAKER, OWN_FILE])
        self._limits.setCurrentText(USUAL)
        self._limits.activated.connect(lambda _index: self._take_limits())
        self._limits.setToolTip("A band says what is commonly done at such a reading; it is never a pass or a fail.")
        self._by = self._choice("Air is let in by", AIR_WORDS, desk.settings.air_by, lambda key: desk.change_setting(air_by=key))
        self._theme = self._choice("Colours", SYSTEM_WORDS, desk.settings.theme, lambda key: desk.change_setting(theme=key))
        self._sounds = QCheckBox("&Sounds for approach, TDC and air")
        self._sounds.setChecked(desk.settings.sounds)
        self._sounds.toggled.connect(lambda on: desk.change_setting(sounds=on))
        self._squeeze = QCheckBox("S&queeze in each cylinder")
        self._squeeze.setToolTip("Else the stroke is carried over by count from the first cylinder, and the hose is read back.")
        self._squeeze.setChecked(desk.settings.squeeze_each)
        self._squeeze.toggled.connect(lambda on: desk.change_setting(squeeze_each=on))
        units = QPushButton("Metric or inch (Ctrl+&U)")
        units.clicked.connect(desk.toggle_units)
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapAllRows)
        for field in (self._who, self._ambient, self._air, self._engine):
            form.addRow(field.accessibleName(), field)
        for choice in (self._limits, self._by, self._theme):
            form.addRow(choice.accessibleName(), choice)
        column = QVBoxLayout(self)
        column.addLayout(form)
        for widget in (self._fault, self._sounds, self._squeeze, units):
            column.addWidget(widget)
        column.addStretch(1)

    def _line(self, name: str, text: str, taken: Callable[[], None], tip: str) -> QLineEdit:
        line = QLineEdit(text)
        line.setAccessibleName(name)
        line.setPlaceholderText(tip)
        line.setToolTip(tip)
        line.editingFinished.connect(taken)
        return line

    def _choice(self, name: str, words: dict[str, str], now: str, taken: Callable[[str], None]) -> QComboBox:
        box = QComboBox()
        box.setAccessibleName(name)
        for key, text in words.items():
            box.addItem(text, key)
        box.setCurrentIndex(list(words).index(now))
        box.activated.connect(lambda _index: taken(str(box.currentData())))
        return box

    def _take_who(self) -> None:
        who = self._who.text().strip()
        if not who.isprintable():
            self._fault.setText("✕ a name is made of letters that can be printed")
            return
        self._fault.clear()
        self._desk.change_setting(who=who)
        self._desk.station.use_who(who)

    def _take_air(self) -> None:
        try:
            air = stated_air(self._ambient.text().strip(), self._air.text().strip(), self._engine.text().strip())
        except (UseError, UnitsError) as wrong:
            self._fault.setText(f"✕ {wrong}")
            return
        self._fault.clear()
        if air != self._desk.ambient:
            self._desk.use_air(air)
            assumed = air.assumed[0] if air.assumed else "all of it stated"
            self._desk.notice("note", f"the next test goes by this air ({assumed})")

    def _take_limits(self) -> None:
        wanted = self._limits.currentText()
        if wanted == OWN_FILE:
            files = self._desk.open_files("Limits", "Limits (*.toml)")
            wanted = str(files[0]) if files else USUAL
        try:
            self._desk.use_limits(wanted)
        except BorewrightError as wrong:
            self._fault.setText(f"✕ {wrong}")
            self._limits.setCurrentText(USUAL)
        else:
            self._fault.clear()
