"""A job written to a file: what each kind holds, which stages go into it."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QPushButton, QScrollArea, QWidget

from borewright.app.desk import Desk
from borewright.app.pages.jobs_model import job_words, stages_of_name
from borewright.app.pages.jobs_sheet import Sheet, act_button, labelled
from borewright.app.plain_label import PlainLabel
from borewright.service.view_jobs import JobGlance

__all__ = ["EXPORTS", "ExportSheet"]

EXPORTS = (
    (".zip", "&Job file…", "Everything, with the raw samples and photos: to keep apart, or for the record of another computer."),
    (".csv", "&Table…", "One line for each test, for a spreadsheet."),
    (".json", "J&SON…", "All numbers and words, for other programs; its schema stands in it by name."),
    (".npz", "&Curves…", "The pressures of each test at full length as numpy arrays."),
)


class ExportSheet(Sheet):
    """One button for each kind. export_wanted: (glance, numbers of the jobs, kind)."""

    export_wanted = Signal(object, object, str)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, "Export", parent)
        self._glance: JobGlance | None = None
        self.of = QComboBox()
        self.buttons: dict[str, QPushButton] = {}
        inner = QWidget()
        grid = QGridLayout(inner)
        grid.addWidget(labelled("&Of", self.of, "Which stages go into the file"), 0, 0)
        grid.addWidget(self.of, 0, 1)
        for row, (kind, words, what) in enumerate(EXPORTS, 1):
            button = act_button(words, partial(self._want, kind), what)
            button.setAccessibleDescription(what)
            self.buttons[kind] = button
            told = PlainLabel(f"{what}  ({kind})")
            told.setWordWrap(True)
            grid.addWidget(button, row, 0)
            grid.addWidget(told, row, 1)
        grid.setColumnStretch(1, 1)
        grid.setRowStretch(len(EXPORTS) + 1, 1)
        scroll = QScrollArea()
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        scroll.setAccessibleName("kinds of files")
        self.body.addWidget(scroll, 1)

    def show_for(self, glance: JobGlance) -> None:
        """This job."""
        self._glance = glance
        self.show_title(f"Export: {job_words(glance.job)}")
        self.of.clear()
        stages = stages_of_name(glance)
        if len(stages) > 1:
            self.of.addItem(f"{glance.job.name}: {', '.join(job.stage for job in stages)}", [job.id for job in stages])
        self.of.addItem(f"{job_words(glance.job)} alone", [glance.job.id])
        self.buttons[".zip"].setFocus()

    def _want(self, kind: str) -> None:
        if self._glance is not None:
            self.export_wanted.emit(self._glance, tuple(self.of.currentData()), kind)
