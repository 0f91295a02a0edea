"""The findings page: where the air of a cylinder goes. Listened for at its places, measured there, and what it means."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent, QKeySequence, QShortcut, QShowEvent
from PySide6.QtWidgets import QFrame, QSplitter, QStackedLayout, QTabWidget, QVBoxLayout, QWidget

from borewright.app.draw.section_view import PlaceMark, SectionView
from borewright.app.page import Page
from borewright.app.pages.findings_listening import Listening
from borewright.app.pages.findings_model import PLACE_KEYS, beside_words, share_in_short, strength_of_key
from borewright.app.pages.findings_notes import NotesPanel
from borewright.app.pages.findings_parts import scrolled
from borewright.app.pages.findings_photos import LargePhoto
from borewright.app.pages.findings_place import NeighbourRow, NoteBar, PlacePanel
from borewright.app.pages.findings_strip import CylinderStrip
from borewright.app.pages.findings_tests import TestsPanel
from borewright.app.pages.findings_where import WherePanel
from borewright.app.plain_label import PlainLabel
from borewright.app.step_model import StepView
from borewright.app.step_panel import StepPanel
from borewright.core.place_meaning import place_words
from borewright.core.readiness_table import AIR_ON
from borewright.service.path import JobPath
from borewright.service.place_notes import drop_finding, restore_finding
from borewright.service.view_findings import Noted, noted_of, paths_of

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.snapshot import Snapshot

__all__ = ["FindingsPage"]

STEP_LEAST_PX = 180


class FindingsPage(Page):
    """The page: on the left the cylinders and the section, on the right what it means, findings, tests and where the air goes."""

    title: ClassVar[str] = "Findings"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.cylinder = 0
        self.noted: Noted | None = None
        self.path: JobPath | None = None
        self._testing = 0
        self._stale = False
        self.strip = CylinderStrip()
        self.section = SectionView(desk.palette, lambda event: strength_of_key(event.text()))
        self.bar, self.neighbours = NoteBar(), NeighbourRow()
        self.listening = Listening(desk, self.bar, self.neighbours)
        self.place, self.notes = PlacePanel(), NotesPanel(desk)
        self._notes_area = scrolled(self.notes)
        self.tests, self.where = TestsPanel(desk), WherePanel(desk.palette)
        self.step = StepPanel(desk)
        self.large = LargePhoto(desk)
        self.tabs = QTabWidget()
        for panel, words in (
            (self.place, "Pla&ce"),
            (self.tests, "&Measure"),
            (self._notes_area, "&Notes"),
            (self.where, "&Where it goes"),
        ):
            self.tabs.addTab(panel, words)
        self.tabs.setTabToolTip(0, "What air at the chosen place means, and where to look for it")
        self.tabs.setTabToolTip(
            1, "Guided tests: listen with the air held on, the flow of a place, places stopped, oil on the rings"
        )
        self.tabs.setTabToolTip(2, "All findings of the cylinder, notes in your own words, photos")
        self.tabs.setTabToolTip(3, "How the leak is shared among the places, and what to do next")
        self._live = PlainLabel()
        self._live.setProperty("role", "caution")
        self._live.hide()
        self._build()
        self._connect()
        self._job_changed()

    def _build(self) -> None:
        self._step_frame = QFrame()
        inside = QVBoxLayout(self._step_frame)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.addWidget(self.step)
        self._step_frame.setMinimumHeight(STEP_LEAST_PX)
        self._step_frame.hide()
        left, right = QWidget(), QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(8, 8, 4, 8)
        for widget in (self.strip, self._live, self.section, self.bar, self.neighbours):
            column.addWidget(widget, 1 if widget is self.section else 0)
        column = QVBoxLayout(right)
        column.setContentsMargins(4, 8, 8, 8)
        column.addWidget(self._step_frame, 1)
        column.addWidget(self.tabs, 1)
        splitter = QSplitter(Qt.Orientation.Horizontal)
        splitter.setChildrenCollapsible(False)
        splitter.addWidget(left)
        splitter.addWidget(right)
        splitter.setStretchFactor(0, 1)
        splitter.setStretchFactor(1, 1)
        self._main = splitter
        self._pages = QStackedLayout(self)
        self._pages.addWidget(splitter)
        self._pages.addWidget(self.large)

    def _connect(self) -> None:
        desk = self.desk
        self.strip.chosen.connect(self.choose_cylinder)
        self.section.chosen.connect(self._place_chosen)
        self.section.noted.connect(self.listening.note)
        self.bar.noted.connect(lambda strength: self.listening.note(self.section.place, strength))
        self.listening.answered.connect(lambda: self.section.choose(self.section.place, focus=True))
        self.bar.undone.connect(self._undo)
        self.bar.redone.connect(self._redo)
        self.notes.photo_opened.connect(self._open_photo)
        self.large.closed.connect(self._close_photo)
        self.tests.course_changed.connect(self._course_changed)
        desk.job_changed.connect(self._job_changed)
        desk.record_changed.connect(self._ask)
        desk.look_changed.connect(self._look_changed)
        desk.units_changed.connect(self.tests.show_units)
        for keys, act in (
            ("Ctrl+Z", self._undo),
            ("Ctrl+Shift+Z", self._redo),
            ("Ctrl+PgUp", lambda: self._next_cylinder(-1)),
            ("Ctrl+PgDown", lambda: self._next_cylinder(1)),
        ):
            shortcut = QShortcut(QKeySequence(keys), self)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(act)

    # ------------------------------------------------------------------ which cylinder, which place

    def _job_changed(self) -> None:
        engine = self.desk.engine
        self.noted, self.path = None, None
        self.listening.forget()
        self.strip.show_cylinders(() if engine is None else engine.cylinders)
        self.section.show_engine(engine)
        self.cylinder = 0
        if engine is not None:
            self.choose_cylinder(engine.cylinders[0])
        else:
            self._show()
        self._ask()

    def choose_cylinder(self, cylinder: int) -> None:
        """Show this cylinder of the open job."""
        engine = self.desk.engine
        if engine is None or cylinder not in engine.cylinders or cylinder == self.cylinder:
            return
        self.cylinder = cylinder
        self.strip.show_chosen(cylinder)
        self.listening.cylinder = cylinder
        self.listening.give_up()
        self.tests.show_cylinder(cylinder)
        self._show()

    def _next_cylinder(self, step: int) -> None:
        cylinders = () if self.desk.engine is None else self.desk.engine.cylinders
        if self.cylinder in cylinders:
            self.choose_cylinder(cylinders[(cylinders.index(self.cylinder) + step) % len(cylinders)])

    def _place_chosen(self, place: str) -> None:
        self.place.show_place(self.desk.engine, self.cylinder, place)
        self.bar.show_place(place, can_note=bool(self.cylinder))
        self.tests.choose_place(place)
        if self._testing and self.place.isHidden():  # whoever goes round with the air on wants to know where to look
            self.tabs.setCurrentWidget(self.place)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """A digit chooses a cylinder, a letter a place, where no field takes it."""
        text = event.text()
        if event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier):
            super().keyPressEvent(event)
        elif text.isascii() and text.isdigit() and text != "0":
            self.choose_cylinder(int(text))
        elif not self.section.take_letter(text):
            super().keyPressEvent(event)

    # ------------------------------------------------------------------ from the record

    def entered(self) -> None:
        """The page has come into view."""
        self._ask()

    def showEvent(self, event: QShowEvent) -> None:
        """In view: ask for what changed meanwhile."""
        super().showEvent(event)
        if self._stale:
            self._ask()

    def _ask(self) -> None:
        job = self.desk.job
        self._stale = job is not None and not self.isVisible()
        if job is None or self._stale:  # what comes into view asks by itself
            return
        self.desk.ask(noted_of, job.id, then=self._noted_came, key="findings noted")
        self.desk.ask(paths_of, job.id, then=self._path_came, key="findings path", words="working out where the air goes")
        if self.tests.course is None and self.cylinder:
            self.tests.ask_again()

    def _noted_came(self, noted: Noted) -> None:
        if self.desk.job is None or noted.job_id != self.desk.job.id:
            return
        self.noted = noted
        self.listening.heed(noted)
        self.strip.show_heard(noted.strengths)
        self._show()

    def _path_came(self, path: JobPath) -> None:
        self.path = path
        self._show()

    def _show(self) -> None:
        self.section.show_marks(self._marks())
        self.place.show_place(self.desk.engine, self.cylinder, self.section.place)
        self.bar.show_place(self.section.place, can_note=bool(self.cylinder))
        self.bar.show_undo(undo=self.listening.may_undo, redo=self.listening.may_redo)
        self.notes.show_noted(self.noted, self.cylinder)
        self.where.show_path(self.path, self.cylinder)

    def _marks(self) -> dict[str, PlaceMark]:
        engine = self.desk.engine
        if engine is None:
            return {}
        strengths: Mapping[str, str] = {} if self.noted is None else self.noted.strengths.get(self.cylinder, {})
        neighbours: Mapping[int, str] = {} if self.noted is None else self.noted.neighbours.get(self.cylinder, {})
        path = None if self.path is None else self.path.cylinders.get(self.cylinder)
        shares = {} if path is None else {one.place: one.share for one in path.places}
        return {
            place: PlaceMark(
                place_words(place),
                PLACE_KEYS[place],
                strengths.get(place, ""),
                beside_words(place, neighbours) if strengths.get(place, "none") != "none" else "",
                share_in_short(shares.get(place)),
            )
            for place in engine.places
        }

    # ------------------------------------------------------------------ taken back

    def _undo(self) -> None:
        number = self.listening.take_back()
        if number is not None:
            self.desk.write(
                drop_finding, number, "taken back at once", then=lambda _: self.bar.say("taken back; Redo lets it count")
            )

    def _redo(self) -> None:
        number = self.listening.keep_after_all()
        if number is not None:
            self.desk.write(restore_finding, number, then=lambda _: self.bar.say("it counts again"))

    # ------------------------------------------------------------------ photos

    def _open_photo(self, photo_id: int) -> None:
        self._pages.setCurrentWidget(self.large)
        self.large.open([line for line in self.notes.lines if not line.dropped], photo_id)

    def _close_photo(self) -> None:
        self._pages.setCurrentWidget(self._main)
        self.notes.photo.setFocus()

    # ------------------------------------------------------------------ the bench

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """How things stand at the rig."""
        self.tests.show_snapshot(snapshot)
        state = snapshot.state
        locked = state is not None and state.readiness.locked
        wanted = self.tests.course is not None or locked
        if wanted != self._step_frame.isVisibleTo(self):
            self._step_frame.setVisible(wanted)
        if wanted:
            if locked and self._pages.currentWidget() is self.large:  # the key for air is on the page, not on a photo
                self._close_photo()
            self.step.show_snapshot(snapshot)
        capture = None if state is None else state.capture
        air_on = state is not None and capture is not None and capture.purpose.kind == "test" and state.readiness.state in AIR_ON
        testing = capture.purpose.cylinder if air_on and capture is not None else 0
        if testing and testing != self._testing:
            self.choose_cylinder(testing)
        self._testing = testing
        self.section.show_air(testing == self.cylinder and bool(testing))
        leakage = capture.live.leakage_percent if testing and capture is not None else None
        self._show_live(testing, leakage)

    def _show_live(self, testing: int, leakage_percent: float | None) -> None:
        words = ""
        if testing:
            now = "" if leakage_percent is None else f", leakage now {leakage_percent:.0f} %"
            other = "" if testing == self.cylinder else f"; this is cylinder {self.cylinder}"
            words = f"Air is on in cylinder {testing}{now}{other}"
        if words != self._live.text():
            self._live.setText(words)
            self._live.setVisible(bool(words))

    def _course_changed(self) -> None:
        course = self.tests.course
        leg = None if course is None else course.leg
        if leg is not None and leg.key == "take_off":
            words = f"{leg.words[:1].upper()}{leg.words[1:]}. Nothing is undone before it is vented."
            self.step.put_first(
                StepView("take_off", "Take it off again", words, button="It is &off"), lambda _: self.tests.taken_off()
            )
        else:
            self.step.put_first(None)
        if course is not None or self.tests.over is not None:  # what comes next, or what came of it
            self.tabs.setCurrentWidget(self.tests)
        self.show_snapshot(self.desk.snapshot)

    def _look_changed(self) -> None:
        self.section.show_palette(self.desk.palette)
        self.where.show_palette(self.desk.palette)
        self.large.update()
