"""The panel of the next step: what to do, in big words, with the one act that says that it is done, and the one act for air."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QWidget

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.snapshot import Snapshot

__all__ = ["StepPanel"]


class StepPanel(QWidget):
    """Shows snapshot.step and carries out what it asks for; the same steps as service.guide gives, no flow of its own.

    scope: where Enter and the air key are listened to beside the panel itself; a page gives itself where it has no other fields.
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None, *, scope: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._scope = self if scope is None else scope

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Show the step of this snapshot; cheap where nothing has changed."""
        del snapshot
