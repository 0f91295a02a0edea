"""Two jobs of one engine against each other, and the trend over all of them."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QBoxLayout,
    QComboBox,
    QGridLayout,
    QHeaderView,
    QScrollArea,
    QTableWidget,
    QTableWidgetItem,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from borewright.app.desk import Desk
from borewright.app.draw.curves_model import curves_of
from borewright.app.draw.curves_view import CurvesView
from borewright.app.draw.intervals_model import comparison_notes, comparison_rows, intervals_of
from borewright.app.draw.intervals_view import IntervalsView
from borewright.app.draw.trend_model import trend_drawn
from borewright.app.draw.trend_view import TrendView
from borewright.app.pages.jobs_model import job_words
from borewright.app.pages.jobs_sheet import Sheet, labelled
from borewright.app.plain_label import PlainLabel
from borewright.errors import BorewrightError
from borewright.service.report_numbers import Shown
from borewright.service.trending import EngineTrend
from borewright.service.view_jobs import Compared, JobGlance, compared, trended
from borewright.store.records import JobRecord

__all__ = ["CompareSheet"]

BESIDE_EM = 48  # heights of the letters


class CompareSheet(Sheet):
    """Intervals, curves, table and trend, each on a tab."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, "Compare", parent)
        self.shown: Compared | None = None
        self.trend_shown: EngineTrend | None = None
        self._job: JobRecord | None = None
        self.earlier, self.later = QComboBox(), QComboBox()
        for box in (self.earlier, self.later):
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            box.setMinimumContentsLength(14)
            box.activated.connect(lambda _at: self._ask())
        chosen = QGridLayout()
        chosen.addWidget(labelled("&Earlier", self.earlier, "The job that is held to be before"), 0, 0)
        chosen.addWidget(self.earlier, 0, 1)
        chosen.addWidget(labelled("&Later", self.later, "The job that is held to be after"), 0, 2)
        chosen.addWidget(self.later, 0, 3)
        chosen.setColumnStretch(1, 1)
        chosen.setColumnStretch(3, 1)
        self.body.addLayout(chosen)
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.body.addWidget(self.words)
        self.tabs = QTabWidget()
        self.tabs.setAccessibleName("how it is shown")
        self.tabs.tabBar().setAccessibleName("how it is shown")
        self.areas, self.percents = IntervalsView("leak area before and after"), IntervalsView("leakage before and after")
        self.curves = CurvesView("decays before and after")
        self.table = QTableWidget()
        self.table.setAccessibleName("the comparison as a table")
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setTabKeyNavigation(False)
        self.table.verticalHeader().hide()
        self.table.setStyleSheet("QTableView::item { padding: 0px 6px; }")
        self.trend_areas, self.trend_percents = TrendView("leak area over the jobs"), TrendView("leakage over the jobs")
        self.trend_words = PlainLabel()
        self.trend_words.setWordWrap(True)
        self.table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.notes = PlainLabel()
        self.notes.setWordWrap(True)
        both = QWidget()
        both.setAccessibleName("leak area and leakage before and after")
        self._both = QBoxLayout(QBoxLayout.Direction.TopToBottom, both)
        self._both.setContentsMargins(0, 0, 0, 0)
        self._both.addWidget(self.areas, 1)
        self._both.addWidget(self.percents, 1)
        self.tabs.addTab(_scrolled(both), "&Intervals")
        self.tabs.addTab(_scrolled(self.curves), "&Curves")
        self.tabs.addTab(_scrolled(self.table, self.notes), "&Table")
        self.tabs.addTab(_scrolled(self.trend_areas, self.trend_percents, self.trend_words), "T&rend")
        self.body.addWidget(self.tabs, 1)

    # ------------------------------------------------------------------ asking

    def show_for(self, glance: JobGlance) -> None:
        """This job against the one that goes with it, and the trend of its engine."""
        self._job = glance.job
        self.show_title(f"Compare: {glance.job.engine_name}")
        pair = glance.pair or (glance.job, glance.job)
        shown = Shown()
        for box, chosen in ((self.earlier, pair[0]), (self.later, pair[1])):
            box.clear()
            for job in glance.same_engine:
                box.addItem(f"{job_words(job)}, {shown.date(job.created_at_unix_s)}", job.id)
            box.setCurrentIndex(max(box.findData(chosen.id), 0))
        self.tabs.setCurrentIndex(0)
        self._ask()
        self._ask_trend()
        self.later.setFocus()

    def ask_again(self) -> None:
        """Something in the record has changed."""
        if self._job is not None and self.earlier.count():
            self._ask()
            self._ask_trend()

    def _ask_trend(self) -> None:
        if self._job is not None:
            self.desk.ask(
                trended, self._job.id, then=self._show_trend, failed=self._no_trend, key="jobs trend", words="drawing the trend"
            )

    def _ask(self) -> None:
        self.words.setText("comparing …")
        self.desk.ask(
            compared,
            self.earlier.currentData(),
            self.later.currentData(),
            then=self._show,
            failed=self._refused,
            key="jobs compare",
            words="comparing",
        )

    # ------------------------------------------------------------------ showing

    def look_anew(self) -> None:
        """Draw it again in the colours and units of now."""
        palette = self.desk.palette
        area = self.desk.units.unit("area", "mm²")
        if self.shown is None:
            for view in (self.areas, self.percents, self.curves):
                view.show_drawn(None, palette, "nothing to compare")
            self._fill_table((), ())
            self.notes.setText("")
        else:
            found = self.shown.found
            for chart, drawn in (
                (self.areas, intervals_of(found, "leak area", area)),
                (self.percents, intervals_of(found, "leakage")),
            ):
                chart.show_drawn(drawn, palette, drawn.words)
            curves = curves_of(self.shown.curves, self.desk.units.unit("pressure_gauge", "psi"))
            self.curves.show_drawn(curves, palette, curves.words)
            self._fill_table(*comparison_rows(found, area))
            self.notes.setText("\n".join(comparison_notes(found)))
        if self.trend_shown is not None:
            for trend, drawn_trend in (
                (self.trend_areas, trend_drawn(self.trend_shown, "leak area", area)),
                (self.trend_percents, trend_drawn(self.trend_shown, "leakage", area)),
            ):
                trend.show_drawn(drawn_trend, palette, drawn_trend.words)
            self.trend_words.setText("\n".join(trend_drawn(self.trend_shown, "leak area", area).notes))
        else:
            for trend in (self.trend_areas, self.trend_percents):
                trend.show_drawn(None, palette, "no trend")

    def _fill_table(self, headings: tuple[str, ...], rows: tuple[tuple[str, ...], ...]) -> None:
        self.table.setColumnCount(len(headings))
        self.table.setHorizontalHeaderLabels(list(headings))
        self.table.setRowCount(len(rows))
        for at, row in enumerate(rows):
            for column, text in enumerate(row):
                self.table.setItem(at, column, QTableWidgetItem(text))
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.table.resizeRowsToContents()
        bar = self.table.horizontalScrollBar().sizeHint().height()
        rows_high = sum(self.table.rowHeight(at) for at in range(len(rows)))
        self.table.setFixedHeight(header.sizeHint().height() + rows_high + bar + 2 * self.table.frameWidth() + 4)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Where there is room, both charts of the intervals lie beside each other."""
        super().resizeEvent(event)
        high = self.fontMetrics().height()
        beside = self.width() >= BESIDE_EM * high
        self._both.setSpacing(high)
        self._both.setDirection(QBoxLayout.Direction.LeftToRight if beside else QBoxLayout.Direction.TopToBottom)

    def _show(self, answer: Compared) -> None:
        self.shown = answer
        self.words.setText(answer.found.words)
        self.look_anew()

    def _refused(self, error: BorewrightError) -> None:
        self.shown = None
        self.words.setText(f"✗ {error}")
        self.look_anew()

    def _show_trend(self, answer: EngineTrend) -> None:
        self.trend_shown = answer
        self.look_anew()

    def _no_trend(self, error: BorewrightError) -> None:
        self.trend_shown = None
        self.look_anew()
        self.trend_words.setText(str(error))


def _scrolled(*widgets: QWidget) -> QScrollArea:
    inner = QWidget()
    column = QVBoxLayout(inner)
    for widget in widgets:
        column.addWidget(widget)
    column.addStretch(1)
    scroll = QScrollArea()
    scroll.setWidget(inner)
    scroll.setWidgetResizable(True)
    scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    scroll.setAccessibleName(", ".join(widget.accessibleName() for widget in widgets if widget.accessibleName()))
    return scroll
