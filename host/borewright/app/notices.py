"""The line at the foot of the window: what was said last, what takes long, how the rig is linked. And the log as a list."""

from __future__ import annotations

import time
from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QApplication,
    QFrame,
    QHBoxLayout,
    QPlainTextEdit,
    QProgressBar,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from borewright.app.desk import Desk
from borewright.app.plain_label import PlainLabel, plain_tip
from borewright.errors import BorewrightError
from borewright.service.snapshot import Snapshot
from borewright.store.job_file import save_new

__all__ = ["LogList", "NoticeBar"]

SYMBOLS = {"note": "•", "warning": "!", "alarm": "‼"}
ROLES = {"note": "", "warning": "caution", "alarm": "fault"}
SHOWN_S = 20.0  # a note gives way after so long; warnings and alarms stay until the next thing is said
LAST_LINES = 400


class NoticeBar(QFrame):
    """The line. list_asked: the person wants to see all that was said."""

    list_asked = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._said_at_s = 0.0
        self._level = "note"
        self._work_words = ""
        self._text = PlainLabel()
        self._text.setAccessibleName("Last message")
        self._text.setWordWrap(True)
        self._text.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._text.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self._work = QProgressBar()
        self._work.setRange(0, 0)
        self._work.setMaximumWidth(260)
        self._work.setAccessibleName("Under way")
        self._cancel = QPushButton("Cancel")
        self._cancel.setToolTip("Drops what is under way; the rig and the record are left as they are.")
        self._cancel.clicked.connect(self._cancel_all)
        self._link = PlainLabel()
        self._link.setAccessibleName("Rig")
        self._link.setProperty("role", "soft")
        more = QPushButton("&Messages")
        more.setToolTip("All that was said in this run; Ctrl+L saves it for support.")
        more.clicked.connect(self.list_asked)
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 2, 8, 2)
        row.addWidget(self._text, 1)
        for widget in (self._work, self._cancel, self._link, more):
            row.addWidget(widget)
        self._work.hide()
        self._cancel.hide()
        desk.noticed.connect(self._say)

    def _say(self, level: str, text: str) -> None:
        if level == "note" and self._level == "alarm" and time.monotonic() - self._said_at_s < SHOWN_S:
            return  # an alarm is not talked over
        self._level, self._said_at_s = level, time.monotonic()
        self._text.setText(f"{SYMBOLS[level]}  {text[:1].upper()}{text[1:]}")
        self._text.setProperty("role", ROLES[level])
        self._text.style().unpolish(self._text)
        self._text.style().polish(self._text)
        if level == "alarm":
            QApplication.beep()

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """The link's state, and progress of what takes long."""
        link = snapshot.link
        words = f"{'●' if link.kind == 'open' else '○'} {link.port or 'no rig'}"
        if self._link.text() != words:
            self._link.setText(words)
            self._link.setToolTip(plain_tip(link.words))
            self._link.setAccessibleDescription(link.words)
        work = [asking.words for asking in self._desk.long_work]
        work += ["computing the test"] if snapshot.analysing else []
        shown = ", ".join(work)
        if shown != self._work_words:
            self._work_words = shown
            self._work.setFormat(shown)
            self._work.setVisible(bool(shown))
            self._work.setToolTip(plain_tip(shown))
            self._cancel.setVisible(bool(self._desk.long_work))
        if self._level == "note" and self._text.text() and time.monotonic() - self._said_at_s > SHOWN_S:
            self._text.clear()

    def _cancel_all(self) -> None:
        for asking in self._desk.long_work:
            asking.cancel()
            self._desk.notice("note", f"{asking.words}: dropped")


class LogList(QWidget):
    """All that was said, and the one act that saves it."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._list = QPlainTextEdit()
        self._list.setReadOnly(True)
        self._list.setAccessibleName("Messages of this run")
        self._list.setMaximumBlockCount(LAST_LINES)
        save = QPushButton("&Save the log (Ctrl+L)")
        save.setToolTip("A text file with versions, the rig and all messages; it holds no names of customers.")
        save.clicked.connect(partial(save_log, desk))
        column = QVBoxLayout(self)
        column.addWidget(self._list)
        column.addWidget(save)
        for line in desk.log.last(LAST_LINES):
            self._list.appendPlainText(line.words())
        desk.noticed.connect(lambda level, text: self._list.appendPlainText(f"{SYMBOLS[level]} {text}"))

    @property
    def text(self) -> str:
        """What stands in the list."""
        return self._list.toPlainText()


def save_log(desk: Desk) -> None:
    """Save the log where the person says."""
    path = desk.save_as("Save the log", "borewright-log.txt", "Text (*.txt)")
    if path is None:
        return
    state = desk.snapshot.state
    identity = None if state is None else state.session.identity
    facts = {
        "record": desk.record.name,
        "link": f"{desk.snapshot.link.kind}, {desk.snapshot.link.words}",
        "device": "none" if identity is None else f"serial {identity.serial_number}, firmware {identity.firmware_version}",
        "window": f"{desk.palette.name}, {desk.settings.scale_percent} %",
    }
    try:
        save_new(path, desk.log.text(facts).encode(), replace=True)
    except BorewrightError as error:
        desk.notice("warning", f"the log cannot be saved there: {error}")
    else:
        desk.notice("note", f"the log is in {path.name}")
