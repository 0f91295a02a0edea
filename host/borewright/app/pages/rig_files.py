"""The setup of the rig, and the files of setup and calibration."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from borewright.app.pages.rig_parts import act_button, dress_label, label, put_text
from borewright.core.rig import RigSetup
from borewright.errors import BorewrightError
from borewright.service.known_rig import TakenIn
from borewright.service.view_rig import (
    FileOfOtherRig,
    KnownRig,
    keep_setup,
    load_checks,
    read_setup,
    save_checks,
    setup_lines,
    taken_words,
)

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["FilesPanel"]

CALIBRATIONS = "Calibration (*.json)"
RIG_FILES = "Rig file (*.toml)"


class FilesPanel(QWidget):
    """The setup of the rig, and its files. loaded: the record has other checks or another setup of this rig now."""

    loaded = Signal(str)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._connected = ""
        self._setup: RigSetup | None = None
        self._other: Path | None = None
        self.rigs = QComboBox()
        self.rigs.setAccessibleName("Rig")
        self.rigs.setToolTip("By the serial number that its device says.")
        self.rigs.activated.connect(lambda _index: self.loaded.emit(self.serial))
        self.save_button = act_button("&Save calibration …", self._save, "Setup and checks of this rig as one portable file.")
        self.load_button = act_button(
            "L&oad calibration …", self._load, "Takes in setup and checks that the record does not have yet."
        )
        self.setup_button = act_button(
            "Load ri&g file …", self._load_setup, "What the device does not say: ranges, restrictor, volumes, running direction."
        )
        self.other_button = act_button(
            "Take it in as &another rig", self._take_other, "Only where it really is another rig's file."
        )
        self.other_button.hide()
        self._told = label()
        self._lines = QGridLayout()
        self._lines.setColumnStretch(1, 1)
        self._cells: list[tuple[QLabel, QLabel]] = []
        which = QHBoxLayout()
        which.addWidget(label("Rig"))
        which.addWidget(self.rigs, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(label("Setup and calibration", "heading"))
        column.addLayout(which)
        for row in ((self.save_button, self.load_button), (self.setup_button, self.other_button)):
            line = QHBoxLayout()
            for button in row:
                line.addWidget(button)
            line.addStretch(1)
            column.addLayout(line)
        column.addWidget(self._told)
        column.addLayout(self._lines)
        column.addStretch(1)

    @property
    def serial(self) -> str:
        """The serial number of the rig that is shown; "" where none is known."""
        return str(self.rigs.currentData() or "")

    def show_rigs(self, rigs: tuple[KnownRig, ...], connected: str) -> None:
        """The rigs that the record knows, and the one that is connected."""
        before = connected if connected != self._connected else self.serial
        self._connected = connected
        self.rigs.clear()
        for rig in rigs:
            self.rigs.addItem(f"{rig.serial}{', connected' if rig.serial == connected else ''}", rig.serial)
        found = self.rigs.findData(before)
        self.rigs.setCurrentIndex(max(0, found) if rigs else -1)
        self.save_button.setEnabled(bool(rigs))

    def show_setup(self, setup: RigSetup | None) -> None:
        """What the host has to know of the rig."""
        if setup == self._setup:
            return
        self._setup = setup
        self.write_setup()

    def write_setup(self) -> None:
        """Write the setup again: the units have changed."""
        lines = () if self._setup is None else setup_lines(self._setup, self._desk.units)
        while len(self._cells) < len(lines):
            cells = label(role="soft"), label()
            for column, cell in enumerate(cells):
                self._lines.addWidget(cell, len(self._cells), column)
            self._cells.append(cells)
        for number, cells in enumerate(self._cells):
            for cell, text in zip(cells, lines[number] if number < len(lines) else ("", ""), strict=True):
                put_text(cell, text)

    # ------------------------------------------------------------------ files

    def _tell(self, words: str, role: str = "good") -> None:
        put_text(self._told, words)
        dress_label(self._told, role)

    def _failed(self, error: BorewrightError) -> None:
        self._tell(f"✕ {error}", "fault")

    def _save(self) -> None:
        path = self._desk.save_as("Save calibration", f"calibration-{self.serial or 'rig'}.json", CALIBRATIONS)
        if path is not None:
            self._desk.ask(save_checks, self.serial, path, then=self._tell, failed=self._failed, words="Saving the calibration")

    def _load(self) -> None:
        self.other_button.hide()
        paths = self._desk.open_files("Load calibration", CALIBRATIONS)
        if paths:
            self._take_in(paths[0], other_rig=False)

    def _take_in(self, path: Path, *, other_rig: bool) -> None:
        self._desk.write(load_checks, path, other_rig, then=lambda found: self._taken(path, found), failed=self._failed)

    def _taken(self, path: Path, found: TakenIn | FileOfOtherRig) -> None:
        if isinstance(found, FileOfOtherRig):
            self._other = path
            self._tell(f"! {found.words}", "caution")
            self.other_button.show()
            return
        self._tell(taken_words(found, path.name))
        if found.serial == self._connected:
            if found.setup_taken:
                self._desk.station.use_setup(found.setup)
            self._desk.station.know_checks_again()
        self.loaded.emit(found.serial)

    def _take_other(self) -> None:
        self.other_button.hide()
        if self._other is not None:
            self._take_in(self._other, other_rig=True)

    def _load_setup(self) -> None:
        paths = self._desk.open_files("Load rig file", RIG_FILES)
        if paths:
            self._desk.ask(read_setup, paths[0], then=self._use_setup, failed=self._failed)

    def _use_setup(self, setup: RigSetup) -> None:
        serial = self.serial
        if not serial:
            self._tell("! no rig is known yet; connect it, and load its file then", "caution")
        elif serial == self._connected:
            self._desk.station.use_setup(setup)
            self._tell(
                f"{setup.name}: this is the setup of rig {serial} from now on; checks made with another one do not hold any more"
            )
            self.loaded.emit(serial)
        else:
            self._desk.write(keep_setup, serial, setup, then=lambda _none: self._setup_kept(serial, setup), failed=self._failed)

    def _setup_kept(self, serial: str, setup: RigSetup) -> None:
        self._tell(f"{setup.name}: kept as the setup of rig {serial}")
        self.loaded.emit(serial)
