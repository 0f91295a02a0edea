"""The list of findings of a cylinder or of the whole engine, notes in one's own words, photos, and what is dropped."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QListWidget, QListWidgetItem, QPushButton, QVBoxLayout, QWidget

from borewright.app.desk import Desk
from borewright.app.pages.findings_model import line_words
from borewright.app.pages.findings_parts import ToggleButton, label
from borewright.app.pages.findings_photos import PhotoStrip
from borewright.errors import BorewrightError, UseError
from borewright.service.photos import Photo
from borewright.service.place_notes import (
    LONGEST_NOTE,
    MOST_PHOTOS,
    add_photos,
    checked_note,
    drop_finding,
    keep_findings,
    restore_finding,
)
from borewright.service.time_words import date_words
from borewright.service.view_findings import Noted, NotedLine, photo_in_file

__all__ = ["NotesPanel"]

KINDS = "Photos (*.jpg *.jpeg *.png)"
NUMBER = Qt.ItemDataRole.UserRole


class NotesPanel(QWidget):
    """The panel. photo_opened: a photo is to be shown large."""

    photo_opened = Signal(int)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._noted: Noted | None = None
        self._cylinder = 0
        self._reading = 0
        self._read: list[Photo] = []
        self.whole = ToggleButton("who&le engine")
        self.whole.setToolTip("Shows and keeps what is of no single cylinder.")
        self.whole.toggled.connect(self._show)
        self.field = QLineEdit()
        self.field.setMaxLength(LONGEST_NOTE)
        self.field.setPlaceholderText("A note in your own words")
        self.field.setAccessibleName("a note in your own words")
        self.field.returnPressed.connect(self._keep_text)
        self.keep = QPushButton("&Keep note")
        self.keep.clicked.connect(self._keep_text)
        self.photo = QPushButton("&Add photos…")
        self.photo.setToolTip("JPEG or PNG. What the camera wrote into it (place, date) is not kept. With a finding chosen: to it.")
        self.photo.clicked.connect(self._add_photos)
        self.list = QListWidget()
        self.list.setWordWrap(True)
        self.list.setAccessibleName("findings, newest first")
        self.list.currentItemChanged.connect(self._chosen)
        self.drop, self.restore = QPushButton("Drop"), QPushButton("Br&ing back")
        self.drop.setToolTip("The finding counts no more; it stays in the record (Delete).")
        self.restore.setToolTip("The finding counts again.")
        self.drop.clicked.connect(self._drop)
        self.restore.clicked.connect(self._restore)
        delete = QShortcut(QKeySequence(QKeySequence.StandardKey.Delete), self.list)
        delete.setContext(Qt.ShortcutContext.WidgetShortcut)
        delete.activated.connect(self._drop)
        self.strip = PhotoStrip(desk)
        self.strip.opened.connect(self.photo_opened)
        self._wrong = label("", "fault")
        self._wrong.hide()
        self._build()

    def _build(self) -> None:
        first, last = QHBoxLayout(), QHBoxLayout()
        first.addWidget(self.field, 1)
        first.addWidget(self.keep)
        for widget in (self.photo, self.drop, self.restore):
            last.addWidget(widget)
        last.addStretch(1)
        last.addWidget(self.whole)
        column = QVBoxLayout(self)
        column.addLayout(first)
        column.addWidget(self._wrong)
        column.addWidget(self.list, 1)
        column.addLayout(last)
        column.addWidget(self.strip)

    # ------------------------------------------------------------------ what is shown

    def show_noted(self, noted: Noted | None, cylinder: int) -> None:
        """What was noted of this cylinder."""
        self._noted, self._cylinder = noted, cylinder
        self._show()

    @property
    def lines(self) -> tuple[NotedLine, ...]:
        """The findings in the list."""
        return () if self._noted is None else self._noted.of(0 if self.whole.isChecked() else self._cylinder)

    def _show(self) -> None:
        chosen = self._number()
        self.list.clear()
        for line in self.lines:
            item = QListWidgetItem(line_words(line, date_words(line.at_unix_s)))
            item.setData(NUMBER, line.number)
            if line.dropped:
                font = item.font()
                font.setStrikeOut(True)
                item.setFont(font)
            self.list.addItem(item)
            if line.number == chosen:
                self.list.setCurrentItem(item)
        self.strip.show_lines([line for line in self.lines if not line.dropped])
        there = self._noted is not None
        for widget in (self.field, self.keep, self.photo):
            widget.setEnabled(there)
        self._chosen()

    def _number(self) -> int | None:
        item = self.list.currentItem()
        return None if item is None else int(item.data(NUMBER))

    @property
    def line(self) -> NotedLine | None:
        """The finding that is chosen."""
        number = self._number()
        return next((line for line in self.lines if line.number == number), None)

    def _chosen(self) -> None:
        line = self.line
        self.drop.setEnabled(line is not None and not line.dropped)
        self.restore.setEnabled(line is not None and line.dropped)
        self.photo.setText(f"&Add photos to #{line.number}…" if line is not None and not line.dropped else "&Add photos…")

    def _say_wrong(self, words: str) -> None:
        self._wrong.setText(words and f"✕ {words}")
        self._wrong.setVisible(bool(words))

    @property
    def wrong(self) -> str:
        """What could not be done."""
        return self._wrong.text()

    # ------------------------------------------------------------------ what is done

    def _keep_text(self) -> None:
        job = self._desk.job
        if job is None:
            return
        try:
            text = checked_note(self.field.text())
        except UseError as wrong:
            self._say_wrong(str(wrong))
            return
        self._say_wrong("")
        self.field.clear()
        cylinder = 0 if self.whole.isChecked() else self._cylinder
        self._desk.write(keep_findings, job.id, cylinder, (), text, (), self._desk.settings.who)

    def _drop(self) -> None:
        line = self.line
        if line is not None and not line.dropped:
            self._desk.write(drop_finding, line.number)

    def _restore(self) -> None:
        line = self.line
        if line is not None:
            self._desk.write(restore_finding, line.number)

    def _add_photos(self) -> None:
        """Each file is looked through in another process before it is kept; one that is no photo does not keep out the others."""
        job, line = self._desk.job, self.line
        if job is None or self._reading:
            return
        paths = self._desk.open_files("Add photos", KINDS)
        if len(paths) > MOST_PHOTOS:
            self._say_wrong(f"{len(paths)} photos are too many at once; {MOST_PHOTOS} at most")
            return
        self._say_wrong("")
        self._read, self._reading = [], len(paths)
        owner = None if line is None or line.dropped else line.number
        cylinder = 0 if self.whole.isChecked() else self._cylinder
        came = partial(self._photo_came, job.id, owner, cylinder)
        for path in paths:
            self._desk.ask(
                photo_in_file, Path(path), then=came, failed=partial(self._photo_failed, came), words=f"looking through {path.name}"
            )

    def _photo_failed(self, came: partial[None], error: BorewrightError) -> None:
        self._say_wrong(str(error))
        came(None)

    def _photo_came(self, job_id: int, owner: int | None, cylinder: int, photo: Photo | None) -> None:
        self._read += [] if photo is None else [photo]
        self._reading -= 1
        if self._reading or not self._read:
            return
        if owner is not None:
            self._desk.write(add_photos, owner, tuple(self._read))
        else:
            self._desk.write(keep_findings, job_id, cylinder, (), None, tuple(self._read), self._desk.settings.who)
        self._read = []
