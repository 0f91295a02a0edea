"""Which rig is at hand: the ports there are, free entry of another, the built-in rig."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import QSize
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QComboBox, QHBoxLayout, QVBoxLayout, QWidget

from borewright.app.pages.rig_files import FilesPanel
from borewright.app.pages.rig_parts import act_button, dress_label, label, put_text, sentence
from borewright.errors import BorewrightError
from borewright.service.station import PortSource
from borewright.service.view_rig import PortChoice, ports_here
from borewright.simrig.builtin import BuiltInRig

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.snapshot import Snapshot

__all__ = ["AtHand", "PortPanel"]

REAL_INTO_PRACTICE = (
    "Tests at this port go into {}, the record for practice. To keep them in the shop's own record, end the program and start it "
    "with --port."
)
SIMULATED_INTO_SHOP = "Tests of the built-in rig are simulated, and they go into {}, which is not the record for practice."
NARROW_LETTERS = 95  # under so many there is no room for two columns


class PortPanel(QWidget):
    """The ports there are, free entry of another, the built-in rig; connect and disconnect."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self.ports = QComboBox()
        self.ports.setEditable(True)
        self.ports.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.ports.setAccessibleName("Port of the rig")
        self.ports.setToolTip("A name from the list, a pseudo-terminal, or socket://HOST:PORT.")
        self.ports.setMinimumContentsLength(18)
        self.ports.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        line = self.ports.lineEdit()
        assert line is not None
        line.setPlaceholderText("a port, or socket://HOST:PORT")
        line.setText(desk.settings.last_port)
        line.returnPressed.connect(self.connect_port)
        self.connect_button = act_button(
            "&Connect", self.connect_port, "Opens the port. After a loss it is opened again by itself."
        )
        self.disconnect_button = act_button(
            "&Disconnect", self._disconnect, "Shuts and vents, keeps what was recorded, closes the port."
        )
        self.builtin_button = act_button(
            "Use the b&uilt-in rig", self._use_builtin, "A simulated rig with its engine: everything can be tried without hardware."
        )
        again = act_button("Look &for ports again", self.look, "After a rig has been plugged in.")
        self._state, self._record, self._fault = label(), label(role="soft"), label(role="fault")
        choose = QHBoxLayout()
        choose.addWidget(self.ports, 1)
        choose.addWidget(self.connect_button)
        acts = QHBoxLayout()
        for button in (self.disconnect_button, again, self.builtin_button):
            acts.addWidget(button)
        acts.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(label("Port", "heading"))
        column.addWidget(self._state)
        column.addLayout(choose)
        column.addLayout(acts)
        column.addWidget(self._fault)
        column.addWidget(self._record)
        put_text(self._record, f"What is tested is kept in {desk.record.name}.")

    def look(self) -> None:
        """Ask the computer for its ports again."""
        self._desk.ask(ports_here, then=self._take_ports, failed=self._failed, key="rig ports")

    def _take_ports(self, ports: tuple[PortChoice, ...]) -> None:
        typed = self.ports.currentText()
        self.ports.clear()
        for port in ports:
            self.ports.addItem(f"{port.name}  {port.words}".strip(), port.name)
        self.ports.setCurrentIndex(-1)
        self.ports.setEditText(typed or (ports[0].name if len(ports) == 1 else ""))
        put_text(self._fault, "")

    def _failed(self, error: BorewrightError) -> None:
        put_text(self._fault, str(error))

    def connect_port(self) -> None:
        """Open the port that is chosen or typed."""
        index = self.ports.findText(self.ports.currentText())
        url = str(self.ports.itemData(index)) if index >= 0 else self.ports.currentText().strip()
        if not url:
            put_text(self._fault, "no port is chosen; choose one from the list, or type its name")
            return
        put_text(self._fault, "")
        if self._desk.practice:
            self._desk.caution("practice record", REAL_INTO_PRACTICE.format(self._desk.record.name), partial(self._connect, url))
        else:
            self._connect(url)

    def _connect(self, url: str) -> None:
        self._desk.change_setting(last_port=url)
        self._desk.station.connect(PortSource(url))

    def _disconnect(self) -> None:
        self._desk.station.disconnect()

    def _use_builtin(self) -> None:
        put_text(self._fault, "")
        if self._desk.practice:
            self._put_on_stand()
        else:
            self._desk.caution("simulated tests", SIMULATED_INTO_SHOP.format(self._desk.record.name), self._put_on_stand)

    def _put_on_stand(self) -> None:
        if self._desk.builtin is None:
            self._desk.builtin = BuiltInRig()
        self._desk.change_setting(last_port="")
        self._desk.station.connect(self._desk.builtin)

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """How it stands with the link."""
        link = snapshot.link
        put_text(self._state, sentence(link.words))
        dress_label(self._state, "good" if link.kind == "open" else "caution")
        locked = snapshot.state is not None and snapshot.state.readiness.locked
        self.disconnect_button.setEnabled(link.kind != "none" and not (locked and link.kind == "open"))
        self.connect_button.setEnabled(not locked)
        self.builtin_button.setEnabled(not locked)


class AtHand(QWidget):
    """Port and files side by side, one above the other where there is no room for that."""

    def __init__(self, port: PortPanel, files: FilesPanel) -> None:
        super().__init__()
        self._box = QBoxLayout(QBoxLayout.Direction.LeftToRight, self)
        self._box.setSpacing(18)
        self._panels = (port, files)
        for panel in self._panels:
            column = QVBoxLayout()
            column.addWidget(panel)
            column.addStretch(1)
            self._box.addLayout(column, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Side by side or not."""
        narrow = event.size().width() < NARROW_LETTERS * self.fontMetrics().averageCharWidth()
        ways = QBoxLayout.Direction
        self._box.setDirection(ways.TopToBottom if narrow else ways.LeftToRight)
        self._box.setStretch(0, 0 if narrow else 1)

    def minimumSizeHint(self) -> QSize:
        """It can always be as narrow as one of the two."""
        return QSize(max(panel.minimumSizeHint().width() for panel in self._panels), super().minimumSizeHint().height())
