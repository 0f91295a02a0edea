"""The page of the rig: its checks and how they hold, the check that is under way, and what comes from the rig just now."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, ClassVar

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QSizePolicy, QStackedWidget, QTabWidget, QVBoxLayout, QWidget

from borewright.app.page import Page
from borewright.app.pages.rig_fields import CheckForm
from borewright.app.pages.rig_files import FilesPanel
from borewright.app.pages.rig_forms import form_of
from borewright.app.pages.rig_list import CheckList
from borewright.app.pages.rig_live_panel import LivePanel, LiveStrip
from borewright.app.pages.rig_parts import dress_label, label, put_text, scrolled, sentence
from borewright.app.pages.rig_port import AtHand, PortPanel
from borewright.app.pages.rig_run import RunPanel
from borewright.core.pistonstop import WARNINGS
from borewright.core.rig import CheckKind, RigCheck
from borewright.errors import BorewrightError
from borewright.service import acts
from borewright.service.check_run import CheckPlan, CheckRun
from borewright.service.check_words import figures_of
from borewright.service.known_rig import ORDER
from borewright.service.rig_live import rig_live
from borewright.service.view_rig import HELD_WORDS, SYMBOLS, TITLES, CheckRow, KnownRig, checks_at_a_glance, known_rigs, other_tdc

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.snapshot import Snapshot
    from borewright.service.state import BenchState

__all__ = ["RigPage"]

LIVE_EVERY_S = 0.25  # figures that change faster cannot be read
ROWS_EVERY_S = 2.0  # ages are told to a tenth of an hour
LIST_LETTERS = 34
LOW_LINES = 25  # under so many the strip makes room for the running check
NARROW_LETTERS = 150  # under so many the list makes room for the picture of the piston stop
STOP_CAUTION = " ".join(WARNINGS) + " The engine maker's manual, local rules and licensed practice come first."
REST_ON_SPAN = "Zero, sealed check and restrictor check rest on this: make them anew."


class RigPage(Page):
    """Checks at the left, the one that is chosen beside them, live figures under both."""

    title: ClassVar[str] = "Rig"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._kind: CheckKind = "zero"
        self._running: RunPanel | None = None  # built when the first check begins
        self._known: tuple[KnownRig, ...] = ()
        self._checks: dict[str, RigCheck] = {}  # of this rig, the newest of each kind, from the record and of this run
        self._serial = self._asked_for = ""
        self._live_s = self._rows_s = float("-inf")
        self._seen_checks: object = None
        self._rows: dict[CheckKind, CheckRow] = {}
        self.checks = CheckList()
        self.checks.chosen.connect(self._choose)
        self.live, self.strip = LivePanel(desk), LiveStrip(desk)
        self.port, self.files = PortPanel(desk), FilesPanel(desk)
        self.files.loaded.connect(lambda _serial: self.ask_record())
        self._build()
        self._choose(self._kind)
        desk.record_changed.connect(self._record_changed)
        desk.units_changed.connect(self._units_changed)
        desk.job_changed.connect(self._record_changed)

    def _build(self) -> None:
        self._heading, self._held, self._about = label(role="big"), label(), label(role="soft")
        self._result = label(chosen=True)
        self._result.setAccessibleName("What it found")
        self._fault = label(role="fault")
        self.begin_button = QPushButton("&Begin")
        self.begin_button.setProperty("role", "act")
        self.begin_button.setAutoDefault(True)
        self.begin_button.clicked.connect(self.begin)
        self.forms: dict[CheckKind, CheckForm] = {}  # each is built when it is first chosen
        inside = QWidget()
        column = self._form_column = QVBoxLayout(inside)
        for widget in (self._heading, self._held, self._result, self._about):
            column.addWidget(widget)
        column.addStretch(1)
        chosen = QWidget()
        around = QVBoxLayout(chosen)
        around.setContentsMargins(0, 0, 0, 0)
        around.addWidget(scrolled(inside), 1)
        around.addWidget(self._fault)
        row = QHBoxLayout()
        row.addWidget(self.begin_button)
        row.addStretch(1)
        around.addLayout(row)
        self._procedure = QStackedWidget()
        self._procedure.addWidget(chosen)
        self.tabs = _Tabs()
        self.tabs.addTab(_padded(self._procedure), "Chec&k")
        self.tabs.addTab(scrolled(self.live), "Li&ve")
        self.tabs.currentChanged.connect(self._tab_changed)
        self.tabs.addTab(scrolled(AtHand(self.port, self.files)), "Rig and &port")
        self.tabs.setAccessibleName("Check, live figures, rig and port")
        self._listed = listed = scrolled(self.checks)
        listed.setMinimumWidth(LIST_LETTERS * self.fontMetrics().averageCharWidth())
        for side in (listed, self.tabs):  # what is in them wraps or scrolls, so neither takes room from the other
            side.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        sides = QHBoxLayout()
        sides.addWidget(listed, 5)
        sides.addWidget(self.tabs, 9)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(8, 6, 8, 6)
        whole.setSpacing(6)
        whole.addLayout(sides, 1)
        whole.addWidget(self.strip)

    @property
    def running(self) -> RunPanel:
        """The panel of the check that is under way."""
        if self._running is None:
            self._running = RunPanel(self.desk, self._over)
            self._procedure.addWidget(self._running)
        return self._running

    @property
    def run(self) -> CheckRun | None:
        """The check that is under way, None where there is none."""
        return None if self._running is None else self._running.run

    # ------------------------------------------------------------------ what comes from outside

    def entered(self) -> None:
        """Ask for what the record knows; without a rig begin with its port."""
        self.ask_record()
        self.port.look()
        if self.desk.snapshot.link.kind == "none":
            self.tabs.setCurrentIndex(2)

    def ask_record(self) -> None:
        """Ask the record for the rigs it knows, the connected one first."""
        connected = _serial_of(self.desk.snapshot)
        self._asked_for = connected
        self.desk.ask(known_rigs, connected, then=self._take_known, key="known rigs")

    def _record_changed(self) -> None:
        if self.isVisible():
            self.ask_record()

    def _tab_changed(self, _index: int) -> None:
        """Show at once what has come into view."""
        self._live_s = float("-inf")
        self.show_snapshot(self.desk.snapshot)

    def _units_changed(self) -> None:
        self.files.write_setup()
        self._show_rows(self.desk.snapshot)

    def _take_known(self, known: tuple[KnownRig, ...]) -> None:
        self._known = known
        self.files.show_rigs(known, self._asked_for)
        rig = self._rig
        serial = "" if rig is None else rig.serial
        if serial != self._serial:
            self._serial, self._checks = serial, {}
        for kind, check in ({} if rig is None else rig.checks).items():
            self._keep(kind, check)
        self._show_rows(self.desk.snapshot)

    @property
    def _rig(self) -> KnownRig | None:
        """The rig that is shown: the connected one, else the one that is chosen."""
        return next((rig for rig in self._known if rig.serial == self.files.serial), None)

    def _keep(self, kind: str, check: RigCheck) -> None:
        before = self._checks.get(kind)
        if before is None or check.made_at_unix_s >= before.made_at_unix_s:
            self._checks[kind] = check

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """The running check each time; live figures and ages as often as they can be read."""
        if self._running is not None:
            self._running.show_snapshot(snapshot)
        narrow = self.width() < NARROW_LETTERS * self.fontMetrics().averageCharWidth()
        crowded = narrow and self._running is not None and self._running.wants_room and self.tabs.currentIndex() == 0
        if self._listed.isHidden() != crowded:
            self._listed.setHidden(crowded)
        low = self.run is not None and self.height() < LOW_LINES * self.fontMetrics().height()
        if self.strip.isHidden() != low:
            self.strip.setHidden(low)
        if _serial_of(snapshot) != self._asked_for:
            self.ask_record()
        state = snapshot.state
        if abs(snapshot.read_at_s - self._live_s) >= LIVE_EVERY_S or snapshot.link.kind != "open":
            self._live_s = snapshot.read_at_s
            live = rig_live(state) if state is not None and snapshot.link.kind == "open" else None
            self.strip.show_live(snapshot, live)
            self.port.show_snapshot(snapshot)
            self.forms[self._kind].look_at(state)
            if self.tabs.currentIndex() == 1:
                self.live.show_live(snapshot, live)
        changed = state is not None and (state.checks, state.tdc) != self._seen_checks
        if changed or abs(snapshot.read_at_s - self._rows_s) >= ROWS_EVERY_S:
            self._rows_s = snapshot.read_at_s
            self._show_rows(snapshot)

    def _show_rows(self, snapshot: Snapshot) -> None:
        state, rig = snapshot.state, self._rig
        here = state is not None and snapshot.link.kind == "open" and self._serial == _serial_of(snapshot)
        holding: dict[str, RigCheck] = {} if rig is None else dict(rig.holding)
        # a built-in rig may go faster than the clock on the wall, and its checks are not of the future for that
        now_unix_s, tdc_words = max(time.time(), 0.0 if state is None else state.unix_s), ""
        setup = rig.setup if rig is not None else None
        if here and state is not None:
            self._seen_checks = (state.checks, state.tdc)
            for kind, check in state.checks.items():
                self._keep(kind, check)
            holding, now_unix_s, tdc_words, setup = state.checks, state.unix_s, other_tdc(state), state.setup
        self.files.show_setup(setup)
        rows = checks_at_a_glance(self._checks, holding, now_unix_s, self.desk.units, other_tdc=tdc_words)
        self._rows = {row.kind: row for row in rows}
        self.checks.show_rows(rows)
        self._show_chosen()

    # ------------------------------------------------------------------ the check that is chosen

    def _choose(self, kind: str) -> None:
        """Show one check: how it stands, and its form; a check under way stays in view."""
        if self.run is not None:
            self.checks.choose(self.run.plan.kind)
            self.tabs.setCurrentIndex(0)
            return
        self._kind = next(one for one in ORDER if one == kind)
        self.checks.choose(self._kind)
        if self._kind not in self.forms:
            self.forms[self._kind] = form_of(self._kind, self.begin)
            self._form_column.insertWidget(self._form_column.count() - 1, self.forms[self._kind])
        for one, form in self.forms.items():
            form.setVisible(one == self._kind)
        self.forms[self._kind].look_at(self.desk.snapshot.state)
        self.tabs.setCurrentIndex(0)
        put_text(self._about, self.forms[self._kind].words)
        self.begin_button.setText(self.forms[self._kind].begin_words)
        put_text(self._fault, "")
        self._show_chosen()

    def _show_chosen(self) -> None:
        row = self._rows.get(self._kind)
        put_text(self._heading, TITLES[self._kind])
        if row is None:
            put_text(self._held, f"{SYMBOLS['none']}  {HELD_WORDS['none']}")
            put_text(self._result, "")
            return
        made = f" Made {row.made}." if row.made else ""
        age = f": {row.age}." if row.held != "none" else "."
        put_text(self._held, f"{row.symbol}  {row.held_words}{age}{made}")
        put_text(self._result, "\n".join(sentence(line) for line in row.figures))

    def begin(self) -> None:
        """Begin the check that is chosen; what is stated wrongly is said beside it."""
        state = self.desk.snapshot.state
        if self.run is not None:
            return
        if state is None:
            put_text(self._fault, "✕ no rig is there; connect one under Rig and port")
            return
        try:
            plan = self.forms[self._kind].plan(state)
        except BorewrightError as wrong:
            put_text(self._fault, f"✕ {wrong}")
            return
        put_text(self._fault, "")
        if isinstance(plan.begin, acts.BeginTdc):
            self.desk.caution("piston stop", STOP_CAUTION, lambda: self._begin(plan))
        else:
            self._begin(plan)

    def _begin(self, plan: CheckPlan) -> None:
        state: BenchState | None = self.desk.snapshot.state
        if state is None or self.run is not None:
            return
        self._procedure.setCurrentWidget(self.running)
        try:
            self.running.begin(plan, state, TITLES[plan.kind])
        except BorewrightError as wrong:
            self._procedure.setCurrentIndex(0)
            put_text(self._fault, f"✕ {wrong}")

    def _over(self, run: CheckRun) -> None:
        """What came of it stays in view; where nothing did, why."""
        had_focus = self.running.isAncestorOf(self.focusWidget()) if self.focusWidget() is not None else False
        self._procedure.setCurrentIndex(0)
        if run.check is not None:
            self._keep(run.check.kind, run.check)
            words = "passed" if run.check.passed else "NOT PASSED"
            found = sentence(figures_of(run.check, self.desk.units)[0])
            self.desk.notice("note" if run.check.passed else "warning", f"{TITLES[run.plan.kind]}: {words}. {found}")
        self._show_rows(self.desk.snapshot)
        rests = REST_ON_SPAN if run.check is not None and run.plan.kind == "span" and run.check.passed else ""
        put_text(self._fault, f"✕ {run.words}" if run.words else rests)
        dress_label(self._fault, "fault" if run.words else "caution")
        if had_focus:
            self.begin_button.setFocus(Qt.FocusReason.OtherFocusReason)


class _Tabs(QTabWidget):
    """What is in them scrolls where there is little room, so the page is never taller for it."""

    def hasHeightForWidth(self) -> bool:
        """Whatever the width, the height is what there is."""
        return False


def _padded(inside: QWidget) -> QWidget:
    around = QWidget()
    box = QVBoxLayout(around)
    box.setContentsMargins(10, 8, 10, 8)
    box.addWidget(inside)
    return around


def _serial_of(snapshot: Snapshot) -> str:
    """The serial number of the rig that is connected; "" for none."""
    state = snapshot.state
    if state is None or snapshot.link.kind != "open" or state.session.identity is None:
        return ""
    return state.session.identity.serial_number
