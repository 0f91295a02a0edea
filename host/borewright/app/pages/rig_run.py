"""The running check: the panel of the next step, beside it for a piston stop the picture of both contacts, and its result."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from borewright.app.draw.stop_model import ContactLine, StopModel, stop_model
from borewright.app.draw.stop_view import StopView
from borewright.app.pages.rig_parts import label, put_text, scrolled
from borewright.app.pages.rig_steps import STANDS_S, RunStep, run_step
from borewright.app.step_panel import StepPanel
from borewright.core.pistonstop import WARNINGS
from borewright.core.readiness_table import AIR_ON
from borewright.errors import NotReadyError
from borewright.service import acts
from borewright.service.check_run import AIR_HINT, CheckPlan, CheckRun, begun, broken_off, looked, said

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.snapshot import Snapshot
    from borewright.service.state import BenchState

__all__ = ["RunPanel"]

BEGIN_ANEW = (
    "A wrong contact cannot be taken back: begin anew, and touch both sides again. Turn by hand only; leave off where more than a "
    "light hand is needed."
)
WIDE_LETTERS = 62
LOW_LINES = 19


class RunPanel(QWidget):
    """Carries out one check at a time. over: called with the run once it is over."""

    def __init__(self, desk: Desk, over: Callable[[CheckRun], None], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._over = over
        self._run: CheckRun | None = None
        self._title = ""
        self.wants_room = False  # the picture of the piston stop is in view
        self._stop_in = False
        self._take_at_s: float | None = None
        self._shown: RunStep | None = None
        self._heading = label(role="heading")
        self.steps = StepPanel(desk)
        self._anew = self._act("Begin a&new", self._begin_anew, "Forgets every contact and begins the procedure again.")
        self._end_sweep = self._act(
            "End the s&weep", lambda: desk.tell(acts.EndSweep()), "Makes do with the readings that were taken."
        )
        self._give_up = self._act("&Break off", self.break_off, "Ends this check without a result; with air on it shuts and vents.")
        self._hint = label(role="soft")
        self._about_stop: _AboutStop | None = None  # built when a piston stop is first used
        left = QVBoxLayout()
        left.addWidget(self._heading)
        left.addWidget(self.steps, 1)
        left.addWidget(self._hint)
        self._sides = QHBoxLayout(self)
        self._sides.setContentsMargins(0, 0, 0, 0)
        self._sides.addLayout(left, 1)

    def _act(self, words: str, do: Callable[[], None], tip: str) -> QPushButton:
        button = QPushButton(words)
        button.setToolTip(tip)
        button.clicked.connect(do)
        self.steps.add_act(button)
        return button

    # ------------------------------------------------------------------ the run

    @property
    def run(self) -> CheckRun | None:
        """The check under way, None where there is none."""
        return self._run

    @property
    def picture(self) -> StopView:
        """The picture of the piston stop."""
        return self._beside.picture

    @property
    def _beside(self) -> _AboutStop:
        if self._about_stop is None:
            self._about_stop = _AboutStop(self._desk)
            self._sides.addWidget(self._about_stop, 1)
        return self._about_stop

    def begin(self, plan: CheckPlan, state: BenchState, heading: str) -> None:
        """Begin a check. Raises NotReadyError where it cannot begin now."""
        snapshot = self._desk.snapshot
        if snapshot.link.kind != "open":
            raise NotReadyError("no rig is there; connect one under Rig and port")
        run, told = begun(plan, state, [(one.number, one.done) for one in snapshot.done])
        self._stop_in, self._take_at_s, self._shown = False, None, None
        self._title = heading
        self._move((run, told))
        self.show_snapshot(snapshot)
        self.steps.take_focus()

    def break_off(self) -> None:
        """End it without a result."""
        if self._run is not None:
            words = "broken off; no result was kept"
            if self._desk.snapshot.state is not None and self._desk.snapshot.state.stop is not None:
                words += ". See that the piston stop is out of the cylinder before the crank is turned on"
            self._move(broken_off(self._run, words))

    def _begin_anew(self) -> None:
        run = self._run
        if run is not None and isinstance(run.plan.begin, acts.BeginTdc | acts.BeginTdcWay):
            self._take_at_s = None
            self._desk.tell(run.plan.begin)

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Go on where there is something to go on with."""
        run, state = self._run, snapshot.state
        if run is None:
            return
        if state is None or snapshot.link.kind != "open":
            self._move((broken_off(run, "the link to the rig was lost; begin again once it is back")[0], ()))
            return
        self._move(looked(run, state, [(one.number, one.done) for one in snapshot.done]))
        run = self._run
        if run is None:
            return
        self._take_when_it_stands(state)
        self._show(run, state)
        self.steps.show_snapshot(snapshot)

    def _move(self, moved: tuple[CheckRun, tuple[acts.Act, ...]]) -> None:
        run, told = moved
        for act in told:
            self._desk.tell(act)
        self._run = run
        if run.stage == "over":
            self._run, self.wants_room = None, False
            self.steps.put_first(None)
            self._over(run)

    def _show(self, run: CheckRun, state: BenchState) -> None:
        step = run_step(run, state, stop_in=self._stop_in, holds=self._take_at_s is not None)
        if step != self._shown:
            self._shown = step
            if step is None:
                self.steps.put_first(None)
            else:
                self.steps.put_first(step.view, lambda _typed: self._done(step))
        progress = run.progress
        snapshot_step = self._desk.snapshot.step
        blocked = run.stage == "air" and snapshot_step is not None and snapshot_step.key == "blocked"
        low = not progress and self.height() < LOW_LINES * self.fontMetrics().height()  # the list marks the check anyway
        heading = f"{self._title}, {progress}" if progress and run.stage in ("air", "again") else self._title
        put_text(self._heading, "" if low else heading)
        stop = state.stop if run.stage == "tdc" else None
        refused = stop.refused if stop is not None else None
        put_text(self._hint, (AIR_HINT if blocked else "") if refused is None else f"✕ Not taken: {refused}")
        self._anew.setVisible(run.stage == "tdc")
        self._end_sweep.setVisible(state.purpose.aim == "span" and run.stage == "air" and state.readiness.state in AIR_ON)
        self.wants_room = stop is not None
        if stop is not None or self._about_stop is not None:
            self._beside.setVisible(stop is not None)
        if stop is not None and state.engine is not None:
            self._beside.show_model(stop_model(stop, state.engine, state.crank))

    # ------------------------------------------------------------------ what the person says

    def _done(self, step: RunStep) -> None:
        run, state = self._run, self._desk.snapshot.state
        if run is None or state is None:
            return
        match step.on_done:
            case "go on":
                self._move(said(run, state))
            case "stop is in":
                self._stop_in = True
            case "hold and take":
                self._take_at_s = state.now_s + STANDS_S
            case "tell":
                if step.act is not None:
                    self._desk.tell(step.act)
            case _:
                return
        self.show_snapshot(self._desk.snapshot)

    def _take_when_it_stands(self, state: BenchState) -> None:
        """The crank was held for a moment: now its count is taken, or refused by the bench where it moved."""
        if self._take_at_s is None or state.now_s < self._take_at_s:
            return
        self._take_at_s = None
        run = self._run
        step = None if run is None else run_step(run, state, stop_in=True, holds=False)
        if step is not None and step.on_done == "hold and take" and step.act is not None:
            self._desk.tell(step.act)


class _AboutStop(QWidget):
    """The picture of the piston stop, the cautions, and each contact with its angle."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._model: StopModel | None = None
        self.picture = StopView(desk)
        self._words, self._contacts, self._spread, self._result = label(role="soft"), label(), label(), label(role="heading")
        self._contacts.setAccessibleName("Contacts")
        told = QWidget()
        lines = QVBoxLayout(told)
        lines.setContentsMargins(0, 0, 0, 0)
        for widget in (self._result, self._words, self._spread, self._contacts, label(BEGIN_ANEW, "soft"), _cautions()):
            lines.addWidget(widget)
        lines.addStretch(1)
        self._box = QBoxLayout(QBoxLayout.Direction.TopToBottom, self)
        self._box.setContentsMargins(0, 0, 0, 0)
        self._box.addWidget(self.picture, 5)
        self._box.addWidget(scrolled(told), 4)

    def show_model(self, model: StopModel) -> None:
        if model == self._model:
            return
        self._model = model
        self.picture.show_model(model)
        put_text(self._result, model.result_words)
        put_text(self._words, model.words)
        put_text(self._contacts, contact_words(model))
        put_text(self._spread, spread_words(model))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Picture and words side by side where there is room for that."""
        wide = event.size().width() > WIDE_LETTERS * self.fontMetrics().averageCharWidth()
        ways = QBoxLayout.Direction
        self._box.setDirection(ways.LeftToRight if wide else ways.TopToBottom)

    def minimumSizeHint(self) -> QSize:
        """Either way as narrow as the picture."""
        return QSize(self.picture.minimumWidth(), self.picture.minimumHeight())


def _cautions() -> QWidget:
    words = "\n".join(f"⚠ {warning}" for warning in WARNINGS) + "\nThe engine maker's manual comes first."
    made = label(words, "caution")
    made.setAlignment(Qt.AlignmentFlag.AlignTop)
    return made


def contact_words(model: StopModel) -> str:
    """Each contact, one line each: its angle from TDC, or before both sides were touched from the index pulse, and its count."""
    return "\n".join(_contact_words(contact) for contact in model.contacts) or "No contact has been taken yet."


def _contact_words(contact: ContactLine) -> str:
    """One contact.

    >>> _contact_words(ContactLine(2, "after", 96, 24.0, 40.125)), _contact_words(ContactLine(1, "before", 96, None, None))
    ('2. after: +40.12° from TDC, count 96', '1. before: count 96')
    """
    words = f"{contact.number}. {contact.side}: "
    if contact.after_tdc_deg is not None:
        words += f"{contact.after_tdc_deg:+.2f}° from TDC, "
    elif contact.after_index_deg is not None:
        words += f"{contact.after_index_deg:.2f}° after the index pulse, "
    return f"{words}count {contact.count:g}"


def spread_words(model: StopModel) -> str:
    """How far the contacts of each pair are apart, and how far the pairs differ."""
    if not model.pairs_deg:
        return ""
    apart = ", ".join(f"{apart_deg:.1f}°" for apart_deg in model.pairs_deg)
    if model.spread_deg is None:
        return f"Apart: {apart}. {model.pairs_needed} pairs at least are needed."
    return f"Apart: {apart}. The pairs differ by {model.spread_deg:.2f}°, at most {model.spread_limit_deg:.2f}° are allowed."
