"""A page of the report as it will print: one at a time, as wide as there is room, sharp at every size."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QImage, QKeyEvent, QPixmap, QResizeEvent
from PySide6.QtWidgets import QScrollArea, QWidget

from borewright.app.plain_label import PlainLabel
from borewright.service.report_pages import PageImage

__all__ = ["PaperView"]

_EDGE_PX = 12
_LEAST_WIDE_PX = 240


class PaperView(QScrollArea):
    """Shows a picture of a page. wanted_changed: another page, or another size of it, is needed; `width_px` says which."""

    wanted_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.number = 0
        self.sizes_in: tuple[tuple[float, float], ...] = ()
        self.zoom_percent = 0  # 0: as wide as there is room
        self.paper = PlainLabel()
        self.paper.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.setWidget(self.paper)
        self.setWidgetResizable(True)
        self.setAlignment(Qt.AlignmentFlag.AlignHCenter)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)  # else the width would jump
        self.setAccessibleName("page of the report")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def show_pages(self, sizes_in: tuple[tuple[float, float], ...]) -> None:
        """Another report with pages of these sizes in inches; it stays at the same page where there is one."""
        self.sizes_in = sizes_in
        self.number = min(self.number, max(0, len(sizes_in) - 1))
        if not sizes_in:
            self.paper.clear()
            self.paper.setMinimumSize(QSize(0, 0))
        self.wanted_changed.emit()

    @property
    def wide(self) -> int:
        """How wide the page is to be, in pixels of the layout."""
        if not self.sizes_in:
            return _LEAST_WIDE_PX
        if self.zoom_percent:
            return round(self.sizes_in[self.number][0] * self.logicalDpiX() * self.zoom_percent / 100.0)
        return max(_LEAST_WIDE_PX, self.viewport().width() - 2 * _EDGE_PX)

    @property
    def width_px(self) -> int:
        """The same in pixels of the screen."""
        return round(self.wide * self.devicePixelRatioF())

    def show_image(self, image: PageImage) -> None:
        """The picture that was asked for."""
        pixels = QImage(image.data, image.width_px, image.height_px, 3 * image.width_px, QImage.Format.Format_RGB888)
        picture = QPixmap.fromImage(pixels)
        picture.setDevicePixelRatio(self.devicePixelRatioF())
        self.paper.setPixmap(picture)
        self.paper.setMinimumSize(picture.deviceIndependentSize().toSize())
        self.setAccessibleDescription(f"page {image.number + 1} of {len(self.sizes_in)}")

    def turn(self, by: int, *, to_end: bool = False) -> None:
        """So many pages on, at their top; to_end: at their foot."""
        number = min(max(self.number + by, 0), max(0, len(self.sizes_in) - 1))
        bar = self.verticalScrollBar()
        if number != self.number:
            self.number = number
            bar.setValue(bar.maximum() if to_end else 0)
            self.wanted_changed.emit()

    def show_zoom(self, percent: int) -> None:
        """Another size; 0: as wide as there is room."""
        self.zoom_percent = percent
        self.wanted_changed.emit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width needs another picture."""
        super().resizeEvent(event)
        if self.sizes_in and not self.zoom_percent and event.oldSize().width() != event.size().width():
            self.wanted_changed.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Page up and down go through the page, and on to the next at its end."""
        bar = self.verticalScrollBar()
        if event.key() == Qt.Key.Key_PageDown and bar.value() >= bar.maximum():
            self.turn(1)
        elif event.key() == Qt.Key.Key_PageUp and bar.value() <= bar.minimum():
            self.turn(-1, to_end=True)
        elif event.key() == Qt.Key.Key_Home:
            self.turn(-len(self.sizes_in))
        elif event.key() == Qt.Key.Key_End:
            self.turn(len(self.sizes_in))
        else:
            super().keyPressEvent(event)
