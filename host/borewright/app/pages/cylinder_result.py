"""What a test says, once it is over: figures with their uncertainty, the band, marks, why it is void."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QFormLayout, QFrame, QHBoxLayout, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from borewright.app.draw.strip_model import band_fill
from borewright.app.plain_label import PlainLabel
from borewright.app.theme.look import pattern_brush, qcolor

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.view_test import ResultView

__all__ = ["BandSwatch", "ResultPanel", "result_rows"]


def result_rows(desk: Desk, result: ResultView) -> tuple[tuple[str, str], ...]:
    """What stands in the panel, label and words."""
    rows: list[tuple[str, str]] = []
    figures, judged = result.figures, result.judgement
    if figures is not None:
        leakage = figures.stated.get("leakage")
        stated = "" if leakage is None else f"   (k = {leakage.coverage_factor:.1f})"
        rows.append(("Leakage", f"{figures.leakage_number} %{stated}"))
        rows.append(("Leak area", figures.area_words(desk.units)))
        volume = figures.volume_words(desk.units)
        rows += [] if volume is None else [("Volume", volume)]
        rows.append(("Leak flow", figures.flow_words(desk.units)))
        rows.append(("Decay", figures.decay_words()))
        rows.append(("Reckoned at", figures.at_words(desk.units)))
    if judged is not None:
        rows.append(("Judged by", f"{judged.limit_set}: {judged.source}"))
        rows += [("", said) for said in (judged.called, judged.caution) if said]
        rows += [("Ask", question) for question in (*judged.questions, *judged.before_opening)]
    rows += [("Mark", mark) for mark in result.marks]
    return tuple(rows)


class BandSwatch(QWidget):
    """The pattern of the band, or of all the bands that the interval reaches, one beside the other."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._fills: tuple[int, ...] = ()
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        desk.look_changed.connect(self.update)

    def show_fills(self, fills: tuple[int, ...]) -> None:
        """Show these fills of the palette."""
        self._fills = fills
        self.setVisible(bool(fills))
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        """A square for each."""
        side = round(30 * self._desk.settings.scale_percent / 100.0)
        return QSize(side * max(1, len(self._fills)), side)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The squares."""
        del event
        painter = QPainter(self)
        painter.setPen(QPen(qcolor(self._desk.palette.ink), 1.0))
        side = self.width() / max(1, len(self._fills))
        for i, fill in enumerate(self._fills):
            painter.setBrush(pattern_brush(fill, self._desk.palette))
            painter.drawRect(QRectF(i * side + 0.5, 0.5, side - 1.0, self.height() - 1.0))
        painter.end()


class ResultPanel(QFrame):
    """One test. An aid to judgement: it says what band, never pass or fail."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._result: ResultView | None = None
        self.setProperty("role", "panel")
        self.setAccessibleName("Result of the last test")
        self._band, self._why, self._swatch = PlainLabel(), PlainLabel(), BandSwatch(desk)
        self._band.setProperty("role", "big")
        for label in (self._band, self._why):
            label.setWordWrap(True)
        head = QHBoxLayout()
        head.addWidget(self._swatch)
        head.addWidget(self._band, 1)
        self._inside = QWidget()
        self._form = QFormLayout(self._inside)
        self._form.setContentsMargins(0, 0, 0, 0)
        self._form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(self._inside)
        scroll.setAccessibleName("All of the result")
        column = QVBoxLayout(self)
        column.addLayout(head)
        column.addWidget(self._why)
        column.addWidget(scroll, 1)
        desk.units_changed.connect(self._fill)

    @property
    def words(self) -> str:
        """All that it says, for a screen reader and for tests."""
        return self.accessibleDescription()

    def show_result(self, result: ResultView) -> None:
        """Show this test."""
        if result != self._result:
            self._result = result
            self._fill()

    def _fill(self) -> None:
        result = self._result
        if result is None:
            return
        judged = result.judgement
        void = result.void_reason is not None
        self._band.setText(f"✕ Void: {result.void_reason}" if void else "" if judged is None else judged.band)
        self._band.setProperty("role", "fault" if void else "big")
        self._band.style().unpolish(self._band)
        self._band.style().polish(self._band)
        why = (
            "Kept, marked, never averaged; the figures below are not to be used."
            if void
            else ""
            if judged is None
            else judged.words
        )
        self._why.setText(why)
        count = len(self._desk.limit_set.bands)
        self._swatch.show_fills(tuple(band_fill(rank, count) for rank in result.ranks))
        rows = result_rows(self._desk, result)
        while self._form.rowCount():
            self._form.removeRow(0)
        for label, words in rows:
            shown = PlainLabel(words)
            shown.setWordWrap(True)
            self._form.addRow(label, shown)
        told = [self._band.text(), why, *(f"{label} {words}" for label, words in rows)]
        self.setAccessibleDescription(". ".join(part for part in told if part))
