"""The form of a reading that was taken elsewhere with a pair of gauges: entered by hand, and marked as such everywhere."""

from __future__ import annotations

from datetime import UTC, datetime

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QFormLayout, QHBoxLayout, QLineEdit, QScrollArea, QWidget

from borewright.app.desk import Desk
from borewright.app.pages.jobs_fields import Fields
from borewright.app.pages.jobs_model import job_words
from borewright.app.pages.jobs_sheet import Sheet, act_button, labelled
from borewright.app.plain_label import PlainLabel
from borewright.errors import BorewrightError
from borewright.service.declared_words import DeclaredWords
from borewright.service.job_acts import declare_reading
from borewright.service.job_form import CheckedDeclared, Wrong, check_declared
from borewright.service.view_jobs import JobGlance
from borewright.store.records import JobRecord

__all__ = ["DeclareSheet"]

_FIELDS = (
    ("regulated", "&Regulated pressure", "What the gauge before the restrictor showed, like 80 psi"),
    ("cylinder_pressure", "C&ylinder pressure", "What the gauge behind the restrictor showed, like 72 psi"),
    ("gauge_error", "&Gauge error", "Its class and full scale, like 1.6 % of 160 psi, or a pressure, like 2 psi"),
    ("read_to", "Read &to", "The smallest step that was read off, like 1 psi"),
    ("when", "&Day", "The day of the reading, like 2026-03-31"),
    ("how", "&How it was read", "With what, hot or cold"),
    ("who", "Who &says so", "The name of who read it"),
    ("restrictor_bore", "Restrict&or bore", "Like 0.040 in; without it there is percent only, and no leak area"),
    ("engine_temp", "&Engine temperature", "Like 80 °C; empty where it is not known"),
    ("ambient", "Surrounding &air", "Like 98.9 kPa; empty where it is not known"),
)
_FORMS = (("unknown", "not known"), ("sharp", "sharp"), ("short cylinder", "a short cylinder"), ("rounded", "rounded"))


class DeclareSheet(Sheet):
    """The form. declared: a reading was kept, with (job, cylinder, number of the test)."""

    declared = Signal(object, int, int)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, "Declare a reading", parent)
        self._job: JobRecord | None = None
        self.fields = Fields()
        self.cylinder, self.bore_form = QComboBox(), QComboBox()
        for form_of_bore, words in _FORMS:
            self.bore_form.addItem(words, form_of_bore)
        self.one_gauge = QCheckBox("One gauge was &moved from one side to the other")
        inner = QWidget()
        form = QFormLayout(inner)
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow(labelled("&Cylinder", self.cylinder), self.cylinder)
        for key, words, tip in _FIELDS:
            text = QLineEdit()
            text.setPlaceholderText(tip.partition("like ")[2].partition(";")[0])
            text.returnPressed.connect(self._done)
            self.fields.add(form, key, labelled(words, text, tip), text)
            if key == "read_to":
                form.addRow("", self.one_gauge)
            if key == "restrictor_bore":
                form.addRow(labelled("&Form of its bore", self.bore_form, "How the hole of the restrictor is made"), self.bore_form)
        scroll = QScrollArea()
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        scroll.setAccessibleName("the form")
        told = PlainLabel(
            "A declared reading is marked on every result and report. It counts only where its cylinder is not tested at this rig."
        )
        told.setWordWrap(True)
        told.setProperty("role", "soft")
        self.body.addWidget(told)
        self.body.addWidget(scroll, 1)
        self.do_it = act_button("&Keep the reading", self._done, role="act")
        self.fault = PlainLabel()
        self.fault.setWordWrap(True)
        self.fault.setProperty("role", "fault")
        row = QHBoxLayout()
        row.addWidget(self.do_it)
        row.addWidget(self.fault, 1)
        self.body.addLayout(row)

    def show_for(self, glance: JobGlance) -> None:
        """An empty form for this job."""
        self._job = glance.job
        self.show_title(f"Declare a reading: {job_words(glance.job)}")
        self.cylinder.clear()
        for one in sorted(glance.cylinders, key=lambda one: one.cylinder):
            self.cylinder.addItem(str(one.cylinder), one.cylinder)
        today = datetime.now(UTC).astimezone().date().isoformat()
        self.fields.fill({key: "" for key, _, _ in _FIELDS} | {"when": today, "who": self.desk.settings.who})
        self.one_gauge.setChecked(False)
        self.bore_form.setCurrentIndex(0)
        self.fault.setText("")
        self.do_it.setEnabled(self.cylinder.count() > 0)
        self.cylinder.setFocus()

    def _done(self) -> None:
        if not self.do_it.isEnabled():
            return
        self.fields.clear_faults()
        self.fault.setText("")
        words = DeclaredWords(**self.fields.texts(), one_gauge=self.one_gauge.isChecked(), bore_form=self.bore_form.currentData())
        self.desk.ask(check_declared, words, then=self._checked, failed=self._refused, key="jobs check")

    def _checked(self, answer: CheckedDeclared | Wrong) -> None:
        if isinstance(answer, Wrong):
            if answer.field:
                self.fields.show_fault(answer.field, answer.sentence)
            else:
                self.fault.setText(f"✗ {answer.sentence}")
            return
        job, cylinder = self._job, int(self.cylinder.currentData())
        if job is not None:
            self.desk.write(
                declare_reading,
                job.id,
                cylinder,
                answer.reading,
                then=lambda number: self.declared.emit(job, cylinder, number),
                failed=self._refused,
            )

    def _refused(self, error: BorewrightError) -> None:
        self.fault.setText(f"✗ {error}")
