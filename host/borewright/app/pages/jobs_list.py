"""The list of jobs: searched as one types, with the chosen job at a glance and what can be done with it beside it."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, Signal
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from borewright.app.desk import Desk
from borewright.app.pages.jobs_glance import GlancePanel
from borewright.app.pages.jobs_model import HEADINGS, cells_of, list_words
from borewright.app.pages.jobs_sheet import act_button, labelled, listen_for
from borewright.app.plain_label import PlainLabel, plain_tip
from borewright.service.view_jobs import JobGlance, JobRow, JobsFound, find_jobs, glance_at_job

__all__ = ["JobsList", "JobsTable"]

Index = QModelIndex | QPersistentModelIndex
_NOWHERE = QModelIndex()


class JobsTable(QAbstractTableModel):
    """The rows of the list for Qt."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows: tuple[JobRow, ...] = ()

    def show_rows(self, rows: tuple[JobRow, ...]) -> None:
        """Show these."""
        self.beginResetModel()
        self.rows = rows
        self.endResetModel()

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        """How many jobs."""
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = _NOWHERE) -> int:
        """How many columns."""
        return 0 if parent.isValid() else len(HEADINGS)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """A cell."""
        if not index.isValid():
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return cells_of(self.rows[index.row()])[index.column()]
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(cells_of(self.rows[index.row()])[index.column()])
        if role == Qt.ItemDataRole.AccessibleTextRole:
            heading = HEADINGS[index.column()]
            return f"{heading}: {cells_of(self.rows[index.row()])[index.column()]}"
        return None

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """A heading."""
        if orientation is Qt.Orientation.Horizontal and role == Qt.ItemDataRole.DisplayRole:
            return "" if HEADINGS[section] == "away" else HEADINGS[section]
        return None


class JobsList(QWidget):
    """Search, list and glance. What is wanted of the chosen job goes out as signals; `wanted` carries the word for it."""

    begin_wanted = Signal()
    import_wanted = Signal()
    wanted = Signal(str, object)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self._chosen: int | None = None
        self._filling = False
        self.glance_shown: JobGlance | None = None
        self.search = QLineEdit()
        self.search.setClearButtonEnabled(True)
        self.search.setPlaceholderText("name, customer, technician or engine")
        self.search.textChanged.connect(lambda _text: self.ask_again())
        self.archived = QCheckBox("Arc&hived too")
        self.deleted = QCheckBox("&Deleted too")
        for box, tip in ((self.archived, "Show jobs that were put away"), (self.deleted, "Show jobs that were deleted")):
            box.setToolTip(tip)
            box.toggled.connect(lambda _on: self.ask_again())
        self.table = QTableView()
        self.model = JobsTable(self)
        self._set_up_table()
        self.count = PlainLabel()
        self.count.setWordWrap(True)
        self.count.setProperty("role", "soft")
        self.glance = GlancePanel()
        self.glance.wanted.connect(self._want)
        self._lay_out()
        listen_for(QKeySequence.StandardKey.Find, self, self.search.setFocus)
        for key, act in (("Return", "open"), ("Enter", "open"), ("F2", "facts"), ("Del", "delete")):
            listen_for(key, self.table, partial(self._want, act), alone=True)

    def _set_up_table(self) -> None:
        table = self.table
        table.setModel(self.model)
        table.setAccessibleName("jobs")
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setTabKeyNavigation(False)
        table.setShowGrid(False)
        table.setWordWrap(False)
        table.setMinimumHeight(100)
        table.setStyleSheet("QTableView::item { padding: 0px 6px; } QHeaderView::section { padding: 4px 9px; }")
        table.verticalHeader().hide()
        header = table.horizontalHeader()
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        for stretched in (0, 2):
            header.setSectionResizeMode(stretched, QHeaderView.ResizeMode.Stretch)
        table.selectionModel().currentRowChanged.connect(self._row_changed)
        table.doubleClicked.connect(lambda _index: self._want("open"))

    def _lay_out(self) -> None:
        top = QHBoxLayout()
        top.addWidget(labelled("&Search", self.search))
        top.addWidget(self.search, 1)
        top.addWidget(self.archived)
        top.addWidget(self.deleted)
        self.new_job = act_button("&New job…", self.begin_wanted.emit, "Begin a job: an engine at one stage")
        self.take_in = act_button("&Import…", self.import_wanted.emit, "Take in a job file (.zip) from another record")
        top.addWidget(self.new_job)
        top.addWidget(self.take_in)
        left = QVBoxLayout()
        left.addWidget(self.table, 1)
        left.addWidget(self.count)
        below = QHBoxLayout()
        below.addLayout(left, 3)
        below.addWidget(self.glance, 2)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addLayout(top)
        whole.addLayout(below, 1)

    # ------------------------------------------------------------------ asking

    def ask_again(self) -> None:
        """Ask for the list as it is searched for now; a newer question drops the older one."""
        self.desk.ask(
            find_jobs,
            self.search.text(),
            self.archived.isChecked(),
            self.deleted.isChecked(),
            then=self._show_found,
            key="jobs list",
            words="looking for jobs",
        )

    def choose(self, job_id: int) -> None:
        """Have this job chosen as soon as the list shows it."""
        self._chosen = job_id
        self.ask_again()

    def _show_found(self, found: JobsFound) -> None:
        self._filling = True
        if found.rows != self.model.rows:
            self.model.show_rows(found.rows)
        self.count.setText(list_words(found, self.search.text()))
        at = next((place for place, row in enumerate(found.rows) if row.job.id == self._chosen), 0)
        if found.rows:
            self.table.selectRow(at)
        self._filling = False
        if found.rows:
            self._take(found.rows[at].job.id)
        else:
            self._chosen, self.glance_shown = None, None
            self.glance.show_none()

    def _row_changed(self, now: QModelIndex, _before: QModelIndex) -> None:
        if now.isValid() and not self._filling:
            self._take(self.model.rows[now.row()].job.id)

    def _take(self, job_id: int) -> None:
        self._chosen = job_id
        self.desk.ask(glance_at_job, job_id, then=self._show_glance, key="jobs glance")

    def _show_glance(self, glance: JobGlance) -> None:
        self.glance_shown = glance
        self.show_open()

    def show_open(self) -> None:
        """Show the chosen job again: which job is open may have changed."""
        if self.glance_shown is not None:
            job = self.desk.job
            self.glance.show_glance(self.glance_shown, is_open=job is not None and job.id == self.glance_shown.job.id)

    def _want(self, act: str) -> None:
        if self.glance_shown is not None and self.glance_shown.job.id == self._chosen and self.glance.offers(act):
            self.wanted.emit(act, self.glance_shown)
