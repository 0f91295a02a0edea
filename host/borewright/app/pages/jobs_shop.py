"""Whose report it is: name, contact and logo, kept for all reports to come."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFrame, QGridLayout, QHBoxLayout, QLineEdit, QWidget

from borewright.app.desk import Desk
from borewright.app.pages.jobs_sheet import act_button, labelled
from borewright.app.plain_label import PlainLabel
from borewright.errors import BorewrightError
from borewright.service.report_pages import keep_shop
from borewright.service.shop import Shop

__all__ = ["ShopPanel"]


class ShopPanel(QFrame):
    """The fields of the shop's heading. kept: the shop that the next report shows."""

    kept = Signal(object)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self._logo: Path | bytes | None = None
        self.setProperty("role", "panel")
        self.name, self.contact = QLineEdit(), QLineEdit()
        self.logo = PlainLabel()
        self.logo.setWordWrap(True)
        self.fault = PlainLabel()
        self.fault.setWordWrap(True)
        self.fault.setProperty("role", "fault")
        grid = QGridLayout(self)
        grid.addWidget(labelled("Name of the sho&p", self.name, "As it stands over every report"), 0, 0)
        grid.addWidget(self.name, 0, 1)
        grid.addWidget(labelled("Con&tact", self.contact, "A line under it: address, telephone"), 1, 0)
        grid.addWidget(self.contact, 1, 1)
        acts = QHBoxLayout()
        acts.addWidget(self.logo, 1)
        acts.addWidget(act_button("Choose a lo&go…", self._choose, "PNG or JPEG"))
        acts.addWidget(act_button("No &logo", self._no_logo))
        self.keep = act_button("&Keep for all reports", self._keep, role="act")
        acts.addWidget(self.keep)
        grid.addLayout(acts, 2, 0, 1, 2)
        grid.addWidget(self.fault, 3, 0, 1, 2)
        self.fault.hide()
        for field in (self.name, self.contact):
            field.returnPressed.connect(self._keep)

    def show_shop(self, shop: Shop) -> None:
        """What is kept now."""
        self.name.setText(shop.name)
        self.contact.setText(shop.contact)
        self._logo = shop.logo
        self.fault.hide()
        self._say_logo()

    def _say_logo(self) -> None:
        if self._logo is None:
            self.logo.setText("no logo")
        else:
            self.logo.setText(f"logo: {self._logo.name}" if isinstance(self._logo, Path) else "the logo that is kept")

    def _choose(self) -> None:
        files = self.desk.open_files("Choose a logo", "Pictures (*.png *.jpg *.jpeg)")
        if files:
            self._logo = files[0]
            self._say_logo()

    def _no_logo(self) -> None:
        self._logo = None
        self._say_logo()

    def _keep(self) -> None:
        self.fault.hide()
        self.desk.ask(
            keep_shop, self.name.text(), self.contact.text(), self._logo, then=self._was_kept, failed=self._refused, key="jobs keep"
        )

    def _was_kept(self, shop: Shop) -> None:
        self.show_shop(shop)
        self.kept.emit(shop)

    def _refused(self, error: BorewrightError) -> None:
        self.fault.setText(f"✗ {error}")
        self.fault.show()
