"""The form of a job: a new one, or what is known of one that is there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPlainTextEdit,
    QScrollArea,
    QWidget,
)

from borewright.app.desk import Desk
from borewright.app.pages.jobs_fields import Fields
from borewright.app.pages.jobs_model import job_words
from borewright.app.pages.jobs_sheet import Sheet, act_button, labelled
from borewright.app.plain_label import PlainLabel
from borewright.errors import BorewrightError
from borewright.service.job_acts import begin_job, change_facts, engine_names
from borewright.service.job_form import CheckedJob, JobForm, Wrong, check_job_form, form_of
from borewright.store.records import JobRecord, Stage

__all__ = ["JobFormSheet"]

_STAGES: Sequence[tuple[Stage, str]] = (
    ("before", "before the rebuild"),
    ("after", "after the rebuild"),
    ("routine", "routine, no rebuild"),
)
_FIELDS = (
    ("name", "&Name of the job", "What the job is called in the list and on the report"),
    ("customer", "&Customer", "The customer's reference as it is printed on the report"),
    ("technician", "Techn&ician", "Who does the work"),
    ("hours", "&Hours run", "As the meter shows them, with their unit, like 1240 h"),
    ("distance", "&Distance run", "With its unit, like 84000 km"),
    ("engine_temperature", "En&gine temperature", "With its unit, like 75 °C"),
    ("oil_temperature", "Oi&l temperature", "With its unit, like 80 °C"),
    ("compression", "Com&pression read earlier", "As context: cylinder = reading, like 1 = 12.1 bar, 2 = 11.8 bar"),
    ("text", "&Remarks", "Anything else that belongs to the job"),
)


class JobFormSheet(Sheet):
    """One form for both. begun: a job was begun; changed: one was changed."""

    begun = Signal(object)
    changed = Signal(object)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, "New job", parent)
        self._of: JobRecord | None = None
        self._shown = JobForm()
        self.fields = Fields()
        self.stage, self.engine = QComboBox(), QComboBox()
        for stage, words in _STAGES:
            self.stage.addItem(words, stage)
        self.no_engine = PlainLabel("There is no engine yet; make one on the Engine page first.")
        self.no_engine.setWordWrap(True)
        self.to_engines = act_button("To the &Engine page", lambda: desk.show_page("Engine"))
        self._stage_label = labelled("S&tage", self.stage, "Before and after are held against each other")
        self._engine_label = labelled("&Engine", self.engine, "Of the library, or the one that is open")
        inner = QWidget()
        form = QFormLayout(inner)
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        for key, words, tip in _FIELDS:
            text = QPlainTextEdit() if key == "text" else QLineEdit()
            if isinstance(text, QPlainTextEdit):
                text.setTabChangesFocus(True)
            else:
                text.returnPressed.connect(self._done)
            self.fields.add(form, key, labelled(words, text, tip), text)
            if key == "name":
                form.addRow(self._stage_label, self.stage)
                form.addRow(self._engine_label, self.engine)
                form.addRow("", self.no_engine)
                form.addRow("", self.to_engines)
        self.hot = QCheckBox("A test of the hot engine is &wanted")
        self.hot.setToolTip("Tests of an engine that was not hot are marked then; what hot is, the maker's manual says")
        form.addRow("", self.hot)
        scroll = QScrollArea()
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        scroll.setAccessibleName("the form")
        self.body.addWidget(scroll, 1)
        self.do_it = act_button("Begin the &job", self._done, role="act")
        self.fault = PlainLabel()
        self.fault.setWordWrap(True)
        self.fault.setProperty("role", "fault")
        row = QHBoxLayout()
        row.addWidget(self.do_it)
        row.addWidget(self.fault, 1)
        self.body.addLayout(row)

    # ------------------------------------------------------------------ showing

    def show_new(self, engine: str = "") -> None:
        """An empty form. engine: the name of one of the library that is to be chosen."""
        self._of = None
        self._fill(JobForm(technician=self.desk.settings.who))
        self.show_title("New job")
        self.do_it.setText("Begin the &job")
        self._show_engines([], engine)
        self.desk.ask(engine_names, then=lambda names: self._show_engines(names, engine), key="jobs engines")
        self.fields.focus("name")

    def show_facts(self, job: JobRecord) -> None:
        """What is known of a job, to be changed. Its stage and its engine stay: another of them is another job."""
        self._of = job
        self._fill(JobForm(name=job.name))
        self.show_title(f"Facts of {job_words(job)}, {job.engine_name}")
        self.do_it.setText("&Keep the changes")
        for widget in (self.stage, self.engine, self._stage_label, self._engine_label, self.no_engine, self.to_engines):
            widget.hide()
        self.do_it.setEnabled(False)
        self.desk.ask(form_of, job.id, self.desk.units, then=self._fill, key="jobs form")
        self.fields.focus("name")

    def look_anew(self) -> None:
        """Room for some lines of remarks at the size of letters of now."""
        self.fields.of("text").setFixedHeight(5 * self.fontMetrics().lineSpacing())

    def _fill(self, form: JobForm) -> None:
        self._shown = form
        self.look_anew()
        self.fields.fill({key: getattr(form, key) for key, _, _ in _FIELDS})
        self.hot.setChecked(form.hot)
        self.fault.setText("")
        self.do_it.setEnabled(True)

    def _show_engines(self, names: Sequence[str], wanted: str) -> None:
        self.engine.clear()
        if self.desk.document is not None and self.desk.job is not None:
            self.engine.addItem(f"{self.desk.job.engine_name}, of the open job", None)
        for name in names:
            self.engine.addItem(name, name)
        at = self.engine.findData(wanted) if wanted else 0
        self.engine.setCurrentIndex(max(at, 0))
        there = self.engine.count() > 0
        for widget in (self.stage, self.engine, self._stage_label, self._engine_label):
            widget.show()
        self.no_engine.setVisible(not there)
        self.to_engines.setVisible(not there)
        self.do_it.setEnabled(there)

    # ------------------------------------------------------------------ doing

    def _done(self) -> None:
        if not self.do_it.isEnabled():
            return
        self.fields.clear_faults()
        self.fault.setText("")
        form = JobForm(**self.fields.texts(), hot=self.hot.isChecked())
        kept = None if self._of is None else dict(self._of.details)
        self.desk.ask(
            check_job_form,
            form,
            self._shown,
            kept,
            then=self._checked,
            failed=self._refused,
            key="jobs check",
            words="looking at the form",
        )

    def _checked(self, answer: CheckedJob | Wrong) -> None:
        if isinstance(answer, Wrong):
            self.fields.show_fault(answer.field, answer.sentence)
            return
        if self._of is not None:
            self.desk.write(change_facts, self._of.id, answer, then=self.changed.emit, failed=self._refused)
            return
        engine: str | Mapping[str, Any] | None = self.engine.currentData(Qt.ItemDataRole.UserRole) or self.desk.document
        if engine is not None:
            self.desk.write(begin_job, answer, self.stage.currentData(), engine, then=self.begun.emit, failed=self._refused)

    def _refused(self, error: BorewrightError) -> None:
        self.fault.setText(f"✗ {error}")
        self.fault.setAccessibleName(str(error))
