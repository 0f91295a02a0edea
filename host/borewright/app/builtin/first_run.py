"""The strip that leads a newcomer through a first job on the built-in rig: one sentence at a time, and why."""

from __future__ import annotations

from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from borewright.app.builtin.first_run_model import CHAPTERS, Coaching, FirstRunFacts, coaching
from borewright.app.builtin.operator_panel import PANEL_NAME
from borewright.app.builtin.stand import prepare_practice
from borewright.app.desk import Desk
from borewright.app.plain_label import PlainLabel
from borewright.errors import BorewrightError
from borewright.service.snapshot import Snapshot
from borewright.simrig.builtin import BuiltInView
from borewright.simrig.practice import PracticeJob, practice_job

__all__ = ["FirstRunStrip"]

LOW_PX = 640


class FirstRunStrip(QFrame):
    """Says what comes next and why. It can be put away at any time; what it says follows from what has really been done."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._practice: PracticeJob | None = None
        self._asked_for = ""
        self._preparing = False
        self._shown: Coaching | None = None
        self.setProperty("role", "panel")
        self.setAccessibleName("First job")
        self._build()
        desk.snapshot_changed.connect(self.show_snapshot)
        desk.record_changed.connect(self._ask)
        desk.job_changed.connect(self._ask)
        self._ask()

    @property
    def coaching(self) -> Coaching | None:
        """What it says now."""
        return self._shown

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Say what comes next, as things stand."""
        rig = self._desk.builtin
        if rig is None or not self.isVisible():
            return
        if rig.facts.scenario != self._asked_for:
            self._ask()
        practice = self._practice
        job = self._desk.job
        panel = self.window().findChild(QWidget, PANEL_NAME)
        said = coaching(
            FirstRunFacts(
                snapshot,
                practice,
                rig.facts,
                job_open=practice is not None and job is not None and job.id == practice.job_id,
                page=self._desk.settings.last_page,
                panel=panel is not None and panel.isVisible(),
                preparing=self._preparing,
                hold_pressed=isinstance(snapshot.rig, BuiltInView) and snapshot.rig.hold_pressed,
            )
        )
        if said != self._shown:
            self._say(said)
        low = self.window().height() < LOW_PX  # then the page has the room, and the reason is in the tooltip
        if self._why.isHidden() is not low:
            self._why.setHidden(low)

    def showEvent(self, event: object) -> None:
        """It comes into view: ask how far things are."""
        del event
        self._shown = None
        self._ask()
        self.show_snapshot(self._desk.snapshot)

    # ------------------------------------------------------------------ acts

    def act(self) -> None:
        """What the strip's own button says."""
        said = self._shown
        if said is None:
            return
        if said.act == "prepare":
            self._prepare()
        elif said.act == "page":
            self._desk.show_page(said.page)
        elif said.act == "finish":
            self._desk.change_setting(first_run_done=True)
            self._desk.notice("note", "That was a whole job. On the rig's Stand there are other engines, each with its own story.")
            self.hide()

    def leave(self) -> None:
        """Put it away; it comes again with the next start, until the first job is done."""
        self.hide()

    def _prepare(self) -> None:
        rig, practice = self._desk.builtin, self._practice
        if rig is None or practice is None:
            return
        self._preparing = True
        prepare_practice(
            self._desk, rig.facts.scenario, then=self._prepared, failed=self._not_prepared, keep_checks=practice.checks_held
        )
        self.show_snapshot(self._desk.snapshot)

    def _prepared(self) -> None:
        self._preparing = False
        self._ask()

    def _not_prepared(self, error: BorewrightError) -> None:
        self._preparing = False
        self._desk.notice("warning", str(error))

    def _ask(self) -> None:
        rig = self._desk.builtin
        if rig is not None:
            self._asked_for = rig.facts.scenario
            self._desk.ask(practice_job, rig.facts.scenario, then=self._hear, key="first job")

    def _hear(self, practice: PracticeJob) -> None:
        self._practice = practice
        self.show_snapshot(self._desk.snapshot)

    # ------------------------------------------------------------------ how it is built

    def _say(self, said: Coaching) -> None:
        self._shown = said
        self._chapter.setText(f"First job, {said.at} of {len(CHAPTERS)}: {said.chapter}")
        self._what.setText(f"{said.what}.")
        self._why.setText(said.why)
        self._what.setToolTip(said.why)
        self._button.setText(said.button)
        self._button.setVisible(bool(said.act))
        self._button.setAccessibleName(said.button.replace("&", ""))
        self.setAccessibleDescription(f"{said.what}. {said.why}")

    def _build(self) -> None:
        self._chapter, self._what, self._why = PlainLabel(), PlainLabel(), PlainLabel()
        self._chapter.setProperty("role", "soft")
        self._what.setProperty("role", "heading")
        self._why.setProperty("role", "soft")
        text = QVBoxLayout()
        text.setSpacing(1)
        for label in (self._chapter, self._what, self._why):
            label.setWordWrap(True)
            text.addWidget(label)
        self._button = QPushButton()
        self._button.setProperty("role", "act")
        self._button.clicked.connect(self.act)
        self._away = QPushButton("Put a&way")
        self._away.setAccessibleName("Put the first job away")
        self._away.setToolTip("It comes again with the next start and goes on where you are.")
        self._away.clicked.connect(self.leave)
        line = QHBoxLayout(self)
        line.setContentsMargins(12, 6, 12, 6)
        line.addLayout(text, 1)
        line.addWidget(self._button)
        line.addWidget(self._away)
