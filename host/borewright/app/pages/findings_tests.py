"""Guided tests at the places of a cylinder: the choice of one, its legs one after the other, and what came of them.

The steps of each leg are those of the guide, shown by the step panel of the page; here is only which purpose comes next.
"""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QPushButton, QSizePolicy, QStackedWidget, QVBoxLayout, QWidget

from borewright.app.desk import Desk
from borewright.app.pages.findings_forms import FlowForm, Form, ListenForm, Situation, StopForm, WetForm
from borewright.app.pages.findings_model import BEFORE, outcome_words
from borewright.app.pages.findings_parts import Column, ToggleButton, label, scrolled
from borewright.app.plain_label import plain_tip
from borewright.core.rig import RigSetup
from borewright.errors import UseError
from borewright.service import acts
from borewright.service.place_course import Course, CourseKind, Outcome
from borewright.service.place_notes import keep_findings
from borewright.service.place_tests import oil_left_words
from borewright.service.snapshot import Snapshot
from borewright.service.spare import spare_law
from borewright.service.view_findings import PlaceTests, flow_words, place_tests_of, wet_words

__all__ = ["TestsPanel"]

FULL = QSizePolicy.Policy.Preferred
HEEDED_AFTER = 3  # snapshots: an act is heeded within one turn of the bench
KINDS: tuple[tuple[CourseKind, str, str], ...] = (
    ("listen", "&Listen", "A plain test with the air held on, to go round and note what is heard"),
    ("flow", "&Flow", "What comes out at one place, through an orifice of known area"),
    ("stop", "&Stop off", "Read again with places stopped, at a lower pressure"),
    ("wet", "We&t test", "Read again with a dose of oil on the rings"),
)


class TestsPanel(QWidget):
    """The panel. course_changed: a guided test began, went on or is over."""

    __test__ = False  # no test of pytest's
    course_changed = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._cylinder = 0
        self._known: PlaceTests | None = None
        self.course: Course | None = None
        self.over: Course | None = None  # the last one, whose outcome is still shown
        self._more: list[str] = []
        self._told_at = 0
        self._wrong = label("", "fault")
        self.forms: dict[CourseKind, Form] = {
            "listen": ListenForm(desk, self._clear_wrong),
            "flow": FlowForm(desk, self._clear_wrong),
            "stop": StopForm(desk, self._clear_wrong),
            "wet": WetForm(desk, self._clear_wrong),
        }
        self.kinds: dict[CourseKind, ToggleButton] = {}
        self.begin = QPushButton("&Begin")
        self.begin.setProperty("role", "act")
        self.begin.clicked.connect(self._begin)
        self._outcome, self._legs = Column(), Column()
        self.again, self.leave = QPushButton("Carr&y on here"), QPushButton("Break o&ff")
        self.again.clicked.connect(self._tell_leg)
        self.leave.clicked.connect(self.break_off)
        self.leave.setToolTip("Ends this guided test; what has been put on is taken off, and the test pressure set again.")
        self._stack = QStackedWidget()
        self._stack.addWidget(self._choice())
        self._stack.addWidget(scrolled(self._under_way()))
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(self._stack)
        self.choose_kind("listen")

    def _choice(self) -> QWidget:
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.addWidget(self._outcome)
        row, group = QHBoxLayout(), QButtonGroup(self)
        self._forms = QStackedWidget()
        for kind, words, tip in KINDS:
            button = ToggleButton(words)
            button.setToolTip(plain_tip(tip))
            button.clicked.connect(lambda _=False, kind=kind: self.choose_kind(kind))
            group.addButton(button)
            row.addWidget(button)
            self.kinds[kind] = button
            self._forms.addWidget(self.forms[kind])
        row.addStretch(1)
        column.addLayout(row)
        column.addWidget(self._forms)
        column.addStretch(1)
        whole = QWidget()
        outer = QVBoxLayout(whole)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(scrolled(inside), 1)
        last = QHBoxLayout()  # always in view, however long the form is
        last.setContentsMargins(8, 4, 8, 8)
        last.addWidget(self.begin)
        last.addWidget(self._wrong, 1)
        outer.addLayout(last)
        return whole

    def _under_way(self) -> QWidget:
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.addWidget(self._legs)
        row = QHBoxLayout()
        for button in (self.again, self.leave):
            row.addWidget(button)
        row.addStretch(1)
        column.addLayout(row)
        column.addStretch(1)
        return inside

    # ------------------------------------------------------------------ what is chosen

    def choose_kind(self, kind: CourseKind) -> None:
        """Show the form of a kind of test."""
        self.kinds[kind].setChecked(True)
        self._forms.setCurrentWidget(self.forms[kind])
        for other, form in self.forms.items():  # a form that is not shown takes no room
            form.setSizePolicy(QSizePolicy.Policy.Preferred, FULL if other == kind else QSizePolicy.Policy.Ignored)
        self._clear_wrong()
        self._show_situation()

    @property
    def kind(self) -> CourseKind:
        """The kind that is chosen."""
        return next(kind for kind, button in self.kinds.items() if button.isChecked())

    def show_cylinder(self, cylinder: int) -> None:
        """Choose for this cylinder; what the record says of it is asked for."""
        if cylinder != self._cylinder:
            self.over, self._more = None, []
        self._cylinder = cylinder
        self._known = None
        self.ask_again()
        self._show_situation()
        self._show()

    def ask_again(self) -> None:
        """The record changed: look up anew what the tests go by."""
        job = self._desk.job
        if job is not None and self._cylinder:
            self._desk.ask(place_tests_of, job.id, self._cylinder, then=self._came, key="findings tests")

    def choose_place(self, place: str) -> None:
        """The place that was chosen in the drawing."""
        form = self.forms["flow"]
        if isinstance(form, FlowForm):
            form.choose(place)

    def _came(self, known: PlaceTests) -> None:
        if known.cylinder == self._cylinder:
            self._known = known
            self._show_situation()

    def _situation(self) -> Situation | None:
        engine, state = self._desk.engine, self._desk.snapshot.state
        if engine is None or self._cylinder not in engine.cylinders:
            return None
        done = self._desk.snapshot.done
        return Situation(
            engine=engine,
            cylinder=self._cylinder,
            known=self._known,
            setup=RigSetup() if state is None else state.setup,
            spare=state is not None and spare_law(state) is not None,
            now_unix_s=0.0 if state is None else state.unix_s,
            after=done[-1].number if done else 0,
        )

    def _show_situation(self) -> None:
        situation = self._situation()
        self.begin.setEnabled(situation is not None)
        if situation is not None:
            for form in self.forms.values():
                form.show_situation(situation)

    def _clear_wrong(self) -> None:
        self._say_wrong("")

    def _say_wrong(self, words: str) -> None:
        self._wrong.setText(words and f"✕ {words}")

    @property
    def wrong(self) -> str:
        """Why the test cannot begin."""
        return self._wrong.text()

    # ------------------------------------------------------------------ under way

    def _begin(self) -> None:
        state, kind = self._desk.snapshot.state, self.kind
        try:
            if state is None or self._desk.snapshot.link.kind != "open":
                raise UseError("no rig is there; connect it on the Rig page")
            if state.readiness.locked:
                raise UseError("PRESSURISED: wait until it is vented")
            self._show_situation()
            course = self.forms[kind].course()
        except UseError as wrong:
            self._say_wrong(str(wrong))
            return
        self._clear_wrong()
        if kind in BEFORE:
            name, text = BEFORE[kind]
            self._desk.caution(name, text, partial(self._set_off, course))
        else:
            self._set_off(course)

    def _set_off(self, course: Course) -> None:
        self.over, self._more, self.course = None, [], course
        self._tell_leg()

    def _tell_leg(self) -> None:
        leg = None if self.course is None else self.course.leg
        if leg is not None and leg.purpose is not None:
            self._desk.tell(acts.SetPurpose(leg.purpose))
            self._told_at = self._desk.snapshot.number
        self._show()
        self.course_changed.emit()

    def taken_off(self) -> None:
        """What was fitted to the places is off again."""
        if self.course is None or self.course.leg is None or self.course.leg.key != "take_off":
            return
        self._desk.tell(acts.FitPlaces())
        self._go(self.course.gone_on())

    def break_off(self) -> None:
        """No more of it: shut and vent, then what is left to be done, if anything is."""
        course, state = self.course, self._desk.snapshot.state
        if course is None:
            return
        if state is not None and state.readiness.locked:
            self._desk.tell(acts.StopAll())
        at_back = course.leg is not None and course.leg.key == "back"
        self._go(course.broken_off())
        if at_back:
            self._desk.notice(
                "warning",
                "the regulator may still stand at a lower pressure; make the sealed check of the rig before the next test",
            )

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Hear what captures are over, and whether somebody chose another test meanwhile."""
        course, state = self.course, snapshot.state
        if course is None or state is None:
            return
        for done in snapshot.done:
            if done.number > course.after and (done.capture_id is not None or done.lost is not None) and not state.readiness.locked:
                before, course = course, course.heard(done)
                if course != before:
                    self._go(course)
                if self.course is None:
                    return
        self._heed_another(snapshot)

    def _heed_another(self, snapshot: Snapshot) -> None:
        course, state = self.course, snapshot.state
        leg = None if course is None else course.leg
        if leg is None or leg.purpose is None or state is None:
            return
        other = state.purpose != leg.purpose and snapshot.number >= self._told_at + HEEDED_AFTER
        if other != self.again.isVisibleTo(self):
            self._show(other=other)

    def _go(self, course: Course) -> None:
        before, self.course = self.course, course
        if before is not None and before.read_test is None and course.read_test is not None:
            self._ask_what_came(course)
        if course.leg is None:
            self._end(course)
        elif before is None or before.leg != course.leg:
            self._tell_leg()
        else:
            self._show()

    def _ask_what_came(self, course: Course) -> None:
        job, test, purpose = self._desk.job, course.read_test, course.reading
        if job is None or test is None or purpose is None:
            return
        if course.kind == "flow":
            self._desk.ask(flow_words, job.id, test, purpose.flow_place, then=self._more_came)
        elif course.kind == "wet" and self._known is not None and self._known.dry is not None:
            self._desk.ask(wet_words, self._known.dry.id, test, then=self._more_came)

    def _more_came(self, words: str) -> None:
        self._more.append(words)
        self._show()

    def _end(self, course: Course) -> None:
        self.course, self.over = None, course
        state = self._desk.snapshot.state
        if course.kind == "wet" and course.read_test is None and state is not None and state.oil is not None:
            self._say_oil_is_in(course.cylinder, state.oil.volume_m3)
        if course.kind != "listen":  # nobody is guided to another test at the places by what was left behind
            self._desk.tell(acts.SetPurpose(acts.Purpose("test", course.cylinder)))
        self._show()
        self.course_changed.emit()

    def _say_oil_is_in(self, cylinder: int, oil_m3: float) -> None:
        self._desk.notice(
            "warning",
            f"oil is in cylinder {cylinder}: once it is vented take the hose off and turn the engine over twice by hand with the "
            "plug hole open before any other test; a test of it now is no dry test",
        )
        if self._desk.job is not None:
            text = oil_left_words(oil_m3)
            self._desk.write(keep_findings, self._desk.job.id, cylinder, (), text, (), self._desk.settings.who)

    # ------------------------------------------------------------------ what is shown

    def _show(self, *, other: bool = False) -> None:
        course = self.course
        self._stack.setCurrentIndex(0 if course is None else 1)
        self._outcome.setVisible(self.over is not None and course is None)
        if self.over is not None and course is None:
            self._outcome.show_lines([("heading", f"Cylinder {self.over.cylinder}: what came of it"), *self._told(self.over)])
        if course is None:
            return
        name = next(words for kind, words, _ in KINDS if kind == course.kind).replace("&", "").lower()
        lines = [("heading", f"Cylinder {course.cylinder}: {name}")]
        for number, leg in enumerate(course.legs):
            glyph = "✓" if number < course.at else "▶" if number == course.at else "·"
            lines.append(("heading" if number == course.at else "soft", f"{glyph}  {leg.words}"))
        lines += [("fault", f"✕ {course.trouble}")] if course.trouble else []
        lines += [("caution", "Another test was chosen meanwhile.")] if other else []
        self._legs.show_lines([*lines, *self._told(course)])
        self.again.setVisible(other)

    def _told(self, course: Course) -> list[tuple[str, str]]:
        outcomes: tuple[Outcome, ...] = course.told
        lines = [("", outcome_words(one, self._desk.units)) for one in outcomes] + [("", words) for words in self._more]
        return lines or [("soft", "nothing was read")] if course is self.over else lines

    @property
    def words(self) -> str:
        """What is said of the test under way, or of the last one."""
        return self._outcome.words if self.course is None else self._legs.words

    def show_units(self) -> None:
        """Other units were chosen."""
        self._show_situation()
        self._show()
