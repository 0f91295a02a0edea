"""Photos of the findings: a strip of small pictures, and one of them large on the page."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QIcon, QKeyEvent, QPainter, QPaintEvent, QPixmap
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QScrollArea, QSizePolicy, QToolButton, QVBoxLayout, QWidget

from borewright.app.desk import Desk
from borewright.app.pages.findings_parts import label
from borewright.app.plain_label import PlainLabel, plain_tip
from borewright.app.theme.look import qcolor
from borewright.service.view_findings import NotedLine, picture_of
from borewright.store.records import PhotoRecord

__all__ = ["LargePhoto", "PhotoStrip"]

SMALL_PX = 80
LARGE_PX = 1600
MOST_SHOWN = 24


class PhotoStrip(QScrollArea):
    """The photos of some findings. opened: one was clicked, by its number."""

    opened = Signal(int)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._pictures: dict[int, QPixmap] = {}
        self.buttons: dict[int, QToolButton] = {}
        self._shown: tuple[int, ...] = ()
        self.setWidgetResizable(True)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFixedHeight(SMALL_PX + 44)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName("photos")
        self.hide()

    def show_lines(self, lines: Sequence[NotedLine]) -> None:
        """The photos of these findings, newest first, so many at most."""
        photos = [(line, photo) for line in lines for photo in line.photos][:MOST_SHOWN]
        numbers = tuple(photo.id for _, photo in photos)
        if numbers == self._shown:
            return
        self._shown = numbers
        inside = QWidget()
        row = QHBoxLayout(inside)
        row.setContentsMargins(0, 0, 0, 0)
        self.buttons = {}
        for line, photo in photos:
            row.addWidget(self._button(line, photo))
        row.addStretch(1)
        self.setWidget(inside)
        self.setVisible(bool(numbers))

    def _button(self, line: NotedLine, photo: PhotoRecord) -> QToolButton:
        button = QToolButton()
        button.setIconSize(QSize(SMALL_PX, SMALL_PX))
        button.setToolTip(plain_tip(f"{photo.name}: {line.words}"))
        button.setAccessibleName(f"photo {photo.name} of #{line.number}, {line.words}; opens it large")
        button.clicked.connect(partial(self.opened.emit, photo.id))
        self.buttons[photo.id] = button
        if photo.id in self._pictures:
            button.setIcon(QIcon(self._pictures[photo.id]))
        else:
            self._desk.ask(picture_of, photo.id, SMALL_PX, then=partial(self._came, photo.id), key=f"small photo {photo.id}")
        return button

    def _came(self, photo_id: int, data: bytes) -> None:
        picture = QPixmap()
        if picture.loadFromData(data):
            self._pictures[photo_id] = picture
            if photo_id in self.buttons:
                self.buttons[photo_id].setIcon(QIcon(picture))


class _Picture(QWidget):
    """A picture as large as its room allows, never larger than it is."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.picture: QPixmap | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(200, 150)

    def show_picture(self, picture: QPixmap | None) -> None:
        self.picture = picture
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """The picture in the middle."""
        del event
        painter = QPainter(self)
        painter.fillRect(self.rect(), qcolor(self._desk.palette.panel))
        if self.picture is not None and not self.picture.isNull():
            size = self.picture.size()
            if size.width() > self.width() or size.height() > self.height():
                size = size.scaled(self.size(), Qt.AspectRatioMode.KeepAspectRatio)
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            x, y = (self.width() - size.width()) // 2, (self.height() - size.height()) // 2
            painter.drawPixmap(x, y, size.width(), size.height(), self.picture)
        painter.end()


class LargePhoto(QWidget):
    """One photo on the whole page. closed: back to the page."""

    closed = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._photos: list[tuple[NotedLine, PhotoRecord]] = []
        self._at = 0
        self._words = label("", "heading")
        self._picture = _Picture(desk)
        self.back, self._before, self._after = QPushButton("&Back to the findings"), QPushButton("◀"), QPushButton("▶")
        self._before.setAccessibleName("the photo before")
        self._after.setAccessibleName("the next photo")
        self.back.clicked.connect(self.closed)
        self._before.clicked.connect(lambda: self._go(-1))
        self._after.clicked.connect(lambda: self._go(1))
        row = QHBoxLayout()
        for widget in (self.back, self._before, self._after):
            row.addWidget(widget)
        row.addWidget(PlainLabel("Backspace goes back, the arrows go on"))
        row.addStretch(1)
        column = QVBoxLayout(self)
        column.addLayout(row)
        column.addWidget(self._words)
        column.addWidget(self._picture, 1)

    def open(self, lines: Sequence[NotedLine], photo_id: int) -> None:
        """Show one of the photos of these findings."""
        self._photos = [(line, photo) for line in lines for photo in line.photos]
        at = next((k for k, (_, photo) in enumerate(self._photos) if photo.id == photo_id), None)
        if at is None:
            self.closed.emit()
            return
        self._at = at
        self._show()
        self.back.setFocus()

    @property
    def picture(self) -> QPixmap | None:
        """What is shown; None until it has come."""
        return self._picture.picture

    @property
    def words(self) -> str:
        """What is said of it."""
        return self._words.text()

    def _go(self, step: int) -> None:
        self._at = (self._at + step) % len(self._photos)
        self._show()

    def _show(self) -> None:
        line, photo = self._photos[self._at]
        self._words.setText(f"{photo.name}, photo {self._at + 1} of {len(self._photos)}: #{line.number} {line.words}")
        for button in (self._before, self._after):
            button.setEnabled(len(self._photos) > 1)
        self._picture.setAccessibleName(f"photo {photo.name}")
        self._picture.show_picture(None)
        self._desk.ask(picture_of, photo.id, LARGE_PX, then=self._came, key="large photo", words="showing the photo")

    def _came(self, data: bytes) -> None:
        picture = QPixmap()
        self._picture.show_picture(picture if picture.loadFromData(data) else None)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Backspace goes back, the arrows go on."""
        match event.key():
            case Qt.Key.Key_Backspace:
                self.closed.emit()
            case Qt.Key.Key_Left | Qt.Key.Key_Right if len(self._photos) > 1:
                self._go(-1 if event.key() == Qt.Key.Key_Left else 1)
            case _:
                super().keyPressEvent(event)
