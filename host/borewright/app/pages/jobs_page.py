"""The Jobs page: which jobs there are, what they say, what goes out of the record and comes into it."""

from __future__ import annotations

from functools import cached_property, partial
from typing import ClassVar

from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import QStackedWidget, QVBoxLayout, QWidget

from borewright.app.desk import Desk
from borewright.app.page import Page
from borewright.app.pages.jobs_compare import CompareSheet
from borewright.app.pages.jobs_cut_off import CutOffNotice
from borewright.app.pages.jobs_declare import DeclareSheet
from borewright.app.pages.jobs_export import ExportSheet
from borewright.app.pages.jobs_form import JobFormSheet
from borewright.app.pages.jobs_list import JobsList
from borewright.app.pages.jobs_model import job_words
from borewright.app.pages.jobs_report import ReportSheet
from borewright.app.pages.jobs_sheet import BACK_KEY, Sheet, listen_for
from borewright.app.pages.jobs_strip import JobsStrip
from borewright.app.pages.jobs_transfer import Transfers
from borewright.errors import BorewrightError
from borewright.service.job_acts import archive_job, begin_next_stage, delete_job, restore_job
from borewright.service.view_jobs import JobGlance
from borewright.store.records import JobRecord

__all__ = ["JobsPage"]


class _Sheets(QStackedWidget):
    """As high as there is room: what is in it scrolls by itself, so that the page does not."""

    def hasHeightForWidth(self) -> bool:
        """Words that wrap do not ask for the whole height of all sheets."""
        return False


class JobsPage(Page):
    """A strip for what was done, and under it the list or one of the sheets."""

    title: ClassVar[str] = "Jobs"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.strip = JobsStrip()
        self.cut_off = CutOffNotice(desk)
        self.list = JobsList(desk)
        self.sheets = _Sheets()
        self.sheets.addWidget(self.list)
        self.transfers = Transfers(desk, self.strip)
        self._made: list[Sheet] = []
        self._going_on: int | None = None
        whole = QVBoxLayout(self)
        whole.addWidget(self.cut_off)
        whole.addWidget(self.strip)
        whole.addWidget(self.sheets, 1)
        self.list.begin_wanted.connect(self.begin_job)
        self.list.import_wanted.connect(self.transfers.choose_file)
        self.list.wanted.connect(self._act)
        self.cut_off.said.connect(self.strip.note)
        self.transfers.taken_in.connect(self._taken_in)
        desk.record_changed.connect(self._record_changed)
        desk.job_changed.connect(self._job_changed)
        desk.look_changed.connect(self._look_changed)
        desk.units_changed.connect(self._units_changed)
        listen_for(BACK_KEY, self, self.show_list)
        listen_for(QKeySequence.StandardKey.Undo, self, self._undo)

    # ------------------------------------------------------------------ sheets, each built when it is first wanted

    @cached_property
    def form(self) -> JobFormSheet:
        """The form of a job."""
        sheet = JobFormSheet(self.desk)
        sheet.begun.connect(self._begun)
        sheet.changed.connect(self._changed)
        self._add(sheet)
        return sheet

    @cached_property
    def declare(self) -> DeclareSheet:
        """The form of a declared reading."""
        sheet = DeclareSheet(self.desk)
        sheet.declared.connect(self._declared)
        self._add(sheet)
        return sheet

    @cached_property
    def compare(self) -> CompareSheet:
        """Two jobs against each other."""
        sheet = CompareSheet(self.desk)
        self._add(sheet)
        return sheet

    @cached_property
    def report(self) -> ReportSheet:
        """The report, page by page."""
        sheet = ReportSheet(self.desk)
        sheet.save_wanted.connect(self.transfers.save)
        self._add(sheet)
        return sheet

    @cached_property
    def export(self) -> ExportSheet:
        """The kinds of files."""
        sheet = ExportSheet(self.desk)
        sheet.export_wanted.connect(self.transfers.export)
        self._add(sheet)
        return sheet

    def _add(self, sheet: Sheet) -> None:
        sheet.back.connect(self.show_list)
        self._made.append(sheet)
        self.sheets.addWidget(sheet)

    # ------------------------------------------------------------------ what is in view

    def entered(self) -> None:
        """Ask for what is shown; an engine that the Engine page has handed over begins a new job."""
        if self.desk.chosen_engine:
            engine, self.desk.chosen_engine = self.desk.chosen_engine, ""
            self.begin_job(engine)
        if self.sheets.currentWidget() is self.list:
            self.list.table.setFocus()
        self._ask_again()

    def show_list(self) -> None:
        """Back to the list."""
        self.sheets.setCurrentWidget(self.list)
        self.list.ask_again()
        self.list.table.setFocus()

    def begin_job(self, engine: str = "") -> None:
        """The form of a new job. engine: of the library, by its name."""
        self._show(self.form)
        self.form.show_new(engine)

    def _show(self, sheet: Sheet) -> None:
        self.strip.clear()
        self.sheets.setCurrentWidget(sheet)

    def _ask_again(self) -> None:
        self.cut_off.ask_again()
        at = self.sheets.currentWidget()
        if isinstance(at, JobsList | CompareSheet | ReportSheet):
            at.ask_again()

    def _record_changed(self) -> None:
        if self.isVisible():
            self._ask_again()

    def _look_changed(self) -> None:
        for sheet in self._made:
            sheet.look_anew()

    def _units_changed(self) -> None:
        at = self.sheets.currentWidget()
        if isinstance(at, CompareSheet):
            at.look_anew()
        elif isinstance(at, ReportSheet):
            at.ask_again()

    def _job_changed(self) -> None:
        self.list.show_open()
        job, going_on = self.desk.job, self._going_on
        if job is not None and job.id == going_on:
            self._going_on = None
            self.desk.show_page("Test")

    # ------------------------------------------------------------------ acts on the chosen job

    def _act(self, act: str, glance: JobGlance) -> None:
        job = glance.job
        match act:
            case "open":
                self._open(job)
            case "next_stage":
                self.desk.write(begin_next_stage, job.id, then=self._begun, failed=self._refused)
            case "compare":
                self._show(self.compare)
                self.compare.show_for(glance)
            case "report":
                self._show(self.report)
                self.report.show_for(glance)
            case "export":
                self._show(self.export)
                self.export.show_for(glance)
            case "facts":
                self._show(self.form)
                self.form.show_facts(job)
            case "declare":
                self._show(self.declare)
                self.declare.show_for(glance)
            case "archive" | "unarchive":
                self._put_away(job, act == "archive")
            case "delete":
                self._ask_why(job)
            case "restore":
                self._restore(job)

    def _open(self, job: JobRecord) -> None:
        if self.desk.job is not None and self.desk.job.id == job.id:
            self.desk.show_page("Test")
            return
        self._going_on = None if self._under_air else job.id
        self.desk.open_job(job.id)  # which says so where it cannot be opened now

    def _begun(self, job: JobRecord) -> None:
        self.list.choose(job.id)
        self.show_list()
        self.strip.note(f"{job_words(job)}: begun.", ("&Go to the test", partial(self._open, job)))
        self._open(job)

    def _changed(self, job: JobRecord) -> None:
        self.list.choose(job.id)
        self.show_list()
        self.strip.note(f"{job_words(job)}: the changes are kept.")
        self._open_anew(job)

    def _open_anew(self, job: JobRecord) -> None:
        """The open job carries its new facts."""
        if self.desk.job is not None and self.desk.job.id == job.id:
            self.desk.open_job(job.id)

    def _declared(self, job: JobRecord, cylinder: int, number: int) -> None:
        self.show_list()
        self.strip.note(f"{job_words(job)}, cylinder {cylinder}: the reading is kept as test {number}, marked as declared.")

    # ------------------------------------------------------------------ put away and brought back

    def _put_away(self, job: JobRecord, archived: bool) -> None:
        if archived and self._is_running(job):
            return
        words = "archived" if archived else "back in the list"

        def done(kept: JobRecord) -> None:
            if not archived:
                self.list.choose(kept.id)
            self.strip.note(f"{job_words(kept)}: {words}.", undo=lambda: self._put_away(kept, not archived))

        self.desk.write(archive_job, job.id, archived, then=done, failed=self._refused)

    def _ask_why(self, job: JobRecord) -> None:
        if self._is_running(job):
            return
        self.strip.ask(
            f"Delete {job_words(job)}? Its tests are kept, and it can be brought back.",
            "&Yes, delete it",
            partial(self._delete, job),
            name="why it is deleted",
            hint="why, for the record",
        )

    def _delete(self, job: JobRecord, reason: str) -> None:
        was_open = self.desk.job is not None and self.desk.job.id == job.id

        def done(gone: JobRecord) -> None:
            if was_open:
                self.desk.open_job(None)
            self.strip.note(f"{job_words(gone)}: deleted ({gone.deleted_reason}).", undo=partial(self._restore, gone, was_open))
            self.list.table.setFocus()

        self.desk.write(delete_job, job.id, reason, then=done, failed=self._refused)

    def _restore(self, job: JobRecord, reopen: bool = False) -> None:
        def done(answer: JobRecord | str) -> None:
            if isinstance(answer, str):
                self.strip.note(
                    f"Another job is called {job.name} at stage {job.stage} by now: rename that one, and this one can come back."
                )
                return
            self.list.choose(answer.id)
            self.strip.note(f"{job_words(answer)}: brought back.")
            if reopen:
                self.desk.open_job(answer.id)

        self.desk.write(restore_job, job.id, then=done, failed=self._refused)

    def _is_running(self, job: JobRecord) -> bool:
        """Whether a test of it is being recorded, or air is on; then that is said."""
        running = self.desk.job is not None and self.desk.job.id == job.id and self._under_air
        if running:
            self.strip.note(f"Air is on in {job_words(job)}; shut and vent first.")
        return running

    @property
    def _under_air(self) -> bool:
        state = self.desk.snapshot.state
        return state is not None and (state.readiness.locked or state.capture is not None)

    def _undo(self) -> None:
        if self.strip.undo is not None:
            self.strip.undo()

    def _taken_in(self, jobs: tuple[JobRecord, ...]) -> None:
        self.list.search.clear()
        self.list.choose(jobs[-1].id)

    def _refused(self, error: BorewrightError) -> None:
        self.strip.note(f"✗ {error}")
