"""One job at a glance, and the acts that it offers."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QGridLayout, QPushButton, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from borewright.app.pages.jobs_model import fact_lines, job_words, lines_of_tests
from borewright.app.pages.jobs_sheet import act_button, mark_role
from borewright.app.plain_label import PlainLabel
from borewright.service.view_jobs import JobGlance

__all__ = ["GlancePanel"]

_ACTS = (
    ("open", "&Open and go on", "Open it, and go to the Test page at the cylinder that comes next"),
    ("next_stage", "Begin its &after stage", "Begin the stage after the rebuild, of the same engine and customer"),
    ("restore", "&Bring it back", "Take the deletion back"),
    ("compare", "&Compare…", "This job against another of the same engine, and the trend over all of them"),
    ("report", "&Report…", "What the customer gets, page by page"),
    ("export", "E&xport…", "Write it as a table, as JSON or as a job file"),
    ("facts", "&Facts…", "Change name, customer and what else is known of it (F2)"),
    ("declare", "Dec&lare a reading…", "Enter a reading that was taken elsewhere with a pair of gauges"),
    ("archive", "Archi&ve", "Put it out of the usual list"),
    ("unarchive", "Take out of archi&ve", "Put it back into the usual list"),
    ("delete", "Dele&te…", "Mark it as deleted; it can be brought back (Del)"),
)


class GlancePanel(QFrame):
    """What is known of the chosen job; wanted carries the word of the act."""

    wanted = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("role", "panel")
        self.setMinimumWidth(290)
        self._name, self._facts, self._tests = PlainLabel(), PlainLabel(), PlainLabel()
        mark_role(self._name, "heading")
        for label in (self._name, self._facts, self._tests):
            label.setWordWrap(True)
            label.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        inner = QWidget()
        words = QVBoxLayout(inner)
        words.setContentsMargins(0, 0, 0, 0)
        words.addWidget(self._tests)
        words.addWidget(self._facts)
        words.addStretch(1)
        self._scroll = QScrollArea()
        self._scroll.setWidget(inner)
        self._scroll.setWidgetResizable(True)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll.setAccessibleName("the chosen job")
        self._scroll.setStyleSheet("QScrollArea, QScrollArea > QWidget > QWidget { background: transparent; }")
        self._buttons: dict[str, QPushButton] = {}
        self._grid = QGridLayout()
        for act, text, tip in _ACTS:
            button = act_button(text, partial(self.wanted.emit, act), tip, "act" if act in ("open", "restore") else "")
            button.setParent(self)  # before it is shown, else it would be a window of its own
            button.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
            self._buttons[act] = button
        whole = QVBoxLayout(self)
        whole.addWidget(self._name)
        whole.addWidget(self._scroll, 1)
        whole.addLayout(self._grid)
        self.show_none()

    def offers(self, act: str) -> bool:
        """Whether this act can be done to the job that is shown."""
        button = self._buttons[act]
        return not button.isHidden() and button.isEnabled()

    def button(self, act: str) -> QPushButton:
        """The button of an act."""
        return self._buttons[act]

    def show_none(self) -> None:
        """No job is chosen."""
        self._name.setText("No job is chosen")
        self._facts.setText("")
        self._tests.setText("")
        self._place([])

    def show_glance(self, glance: JobGlance, *, is_open: bool) -> None:
        """Show this job. is_open: it is the one that is worked at."""
        job = glance.job
        self._name.setText(job_words(job) + (" (open)" if is_open else ""))
        self._tests.setText("\n".join(lines_of_tests(glance)))
        self._facts.setText("\n".join(fact_lines(glance)))
        self._scroll.setAccessibleDescription(f"{self._name.text()}. {self._tests.text()}. {self._facts.text()}")
        if job.deleted_at_unix_s is not None:
            self._place(["restore"])
            return
        tested = any(one.tests for one in glance.cylinders)
        self._buttons["open"].setText("&Go on with it" if is_open else "&Open and go on")
        self._buttons["compare"].setEnabled(glance.pair is not None)
        self._buttons["report"].setEnabled(tested)
        acts = [
            "open",
            *(["next_stage"] if glance.next_stage is not None else []),
            "compare",
            "report",
            "export",
            "facts",
            "declare",
        ]
        self._place([*acts, "unarchive" if job.archived_at_unix_s is not None else "archive", "delete"])

    def _place(self, acts: list[str]) -> None:
        """Lay the buttons of these acts out, two in a row, the first over both."""
        for act, button in self._buttons.items():
            self._grid.removeWidget(button)
            button.setVisible(act in acts)
        row = 0
        wide = [act for act in acts if act in ("open", "next_stage", "restore")]
        for act in wide:
            self._grid.addWidget(self._buttons[act], row, 0, 1, 2)
            row += 1
        for number, act in enumerate(act for act in acts if act not in wide):
            self._grid.addWidget(self._buttons[act], row + number // 2, number % 2)
