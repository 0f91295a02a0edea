"""The notice over the Jobs page where a crash has cut off a test: which one, and the two ways out of it."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QSizePolicy, QWidget

from borewright.app.desk import Desk
from borewright.app.pages.jobs_sheet import act_button
from borewright.app.plain_label import PlainLabel
from borewright.errors import BorewrightError
from borewright.service.cut_off import CutOff, cut_off_tests, discard_cut_off
from borewright.service.finishing import finish_cut_off, outcome_words
from borewright.store.records import CaptureRecord

__all__ = ["CutOffNotice"]


class CutOffNotice(QFrame):
    """Shows the oldest test that was cut off, and nothing where there is none. said: what came of an act, in a sentence."""

    said = Signal(str)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("role", "panel")
        self.setObjectName("cut off")
        self.setAccessibleName("a test that was cut off")
        self.desk = desk
        self.shown: CutOff | None = None
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.words.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.finish = act_button(
            "&Make of it what it holds", self._finish, "A result, marked, where its reading was steady; else a void test", "act"
        )
        self.discard = act_button("&Put it away", self._discard, "Leave it out of the job; its samples stay in the record")
        row = QHBoxLayout(self)
        row.setContentsMargins(10, 6, 10, 6)
        row.addWidget(self.words, 1)
        row.addWidget(self.finish)
        row.addWidget(self.discard)
        self.hide()

    def ask_again(self) -> None:
        """Ask the record which tests are cut off."""
        self.desk.ask(cut_off_tests, then=self._show, key="jobs cut off")

    def _show(self, found: tuple[CutOff, ...]) -> None:
        self.shown = found[0] if found else None
        if self.shown is not None:
            more = f" {len(found) - 1} more after it." if len(found) > 1 else ""
            self.words.setText(f"{self.shown.words[0].upper()}{self.shown.words[1:]}.{more}")
        for button in (self.finish, self.discard):
            button.setEnabled(True)
        self.setVisible(self.shown is not None)

    def _finish(self) -> None:
        if (one := self._taken()) is not None:

            def done(capture: CaptureRecord) -> None:
                words = outcome_words(capture, one.job)
                self.said.emit(f"{words[0].upper()}{words[1:]}.")

            self.desk.write(finish_cut_off, one.capture.id, then=done, failed=self._refused)

    def _discard(self) -> None:
        if (one := self._taken()) is not None:

            def done(capture: CaptureRecord) -> None:
                self.said.emit(f"Test {capture.id} is put away; its samples stay in the record.")

            self.desk.write(discard_cut_off, one.capture.id, then=done, failed=self._refused)

    def _taken(self) -> CutOff | None:
        """The test that is shown; a second press before the answer has nothing to do."""
        for button in (self.finish, self.discard):
            button.setEnabled(False)
        one, self.shown = self.shown, None
        return one

    def _refused(self, error: BorewrightError) -> None:
        self.said.emit(f"✗ {error}")
        self.ask_again()
