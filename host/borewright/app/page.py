"""What a page of the window is."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from PySide6.QtWidgets import QWidget

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.snapshot import Snapshot

__all__ = ["Page"]


class Page(QWidget):
    """One page. It pushes what the person does to the desk, and shows the snapshots that the window hands it in view."""

    title: ClassVar[str] = ""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self.setObjectName("page")
        self.setAccessibleName(self.title)

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Show how things stand; called at most 30 times a second, and only while the page is in view."""

    def entered(self) -> None:
        """The page has come into view."""
