"""The page of the tests: the ring, the figures, the next step, the trace and a place for each cylinder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import ClassVar

from PySide6.QtCore import Qt
from PySide6.QtGui import QFocusEvent, QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import QGridLayout, QPushButton, QSizePolicy, QStackedWidget, QVBoxLayout, QWidget

from borewright.app.desk import Desk
from borewright.app.draw.ring_model import RingModel, ring_of
from borewright.app.draw.ring_view import RingView
from borewright.app.draw.strip_model import StripModel
from borewright.app.draw.strip_view import StripView
from borewright.app.draw.trace_view import TraceWidget
from borewright.app.page import Page
from borewright.app.pages.cylinder_conditions import ConditionsList
from borewright.app.pages.cylinder_figures import FiguresRow
from borewright.app.pages.cylinder_heard import STRENGTH_KEYS, HeardPanel
from borewright.app.pages.cylinder_moment import figures_of
from borewright.app.pages.cylinder_question import RoundShown, round_shown
from borewright.app.pages.cylinder_result import ResultPanel
from borewright.app.pages.cylinder_round import Round
from borewright.app.plain_label import plain_tip
from borewright.app.step_panel import StepPanel
from borewright.core.conditions import Condition
from borewright.core.readiness_table import State
from borewright.service.going_round import crank_angle_deg
from borewright.service.snapshot import Snapshot
from borewright.service.state import BenchState
from borewright.service.view_test import ResultView, result_view

__all__ = ["CylinderPage"]

LOW_PX = 600  # under it the trace gives its room to the step, and with air on the strip does so too
NARROW_PX = 1000
STEP_PX, SIDE_PX, LEAST_HIGH_PX = 250, 170, 150
ASK_ANEW_DEG = 3.0
_HEARING = frozenset({State.FILLING, State.HOLDING, State.ISOLATED})
_SHARES = {  # of the width: ring, step, what stands beside
    "conditions": (7, 7, 5),
    "points": (5, 9, 4),
    "heard": (6, 7, 7),
    "result": (6, 6, 7),
}


class CylinderPage(Page):
    """Where a person stands at the engine: what to do next is told in the middle, and one key does it."""

    title: ClassVar[str] = "Test"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._round = Round(desk)
        self._result: ResultView | None = None
        self._asked_result: tuple[int, int | None] | None = None
        self._asked_angle_deg: float | None = None
        self._heard_in: float | None = None
        self._share = "conditions"
        self._strip_model = StripModel()
        self._build()
        self._build_keys()
        desk.job_changed.connect(self._job_changed)
        desk.record_changed.connect(self._ask)
        desk.look_changed.connect(self._share_out)
        desk.units_changed.connect(lambda: self.show_snapshot(desk.snapshot))

    @property
    def step(self) -> StepPanel:
        """The panel of the next step."""
        return self._step

    @property
    def figures(self) -> FiguresRow:
        """The large figures."""
        return self._figures

    @property
    def heard(self) -> HeardPanel:
        """What is noted of what is heard."""
        return self._heard

    @property
    def results(self) -> ResultPanel:
        """The last result."""
        return self._results

    @property
    def strip(self) -> StripView:
        """The cylinders."""
        return self._strip

    @property
    def conditions(self) -> ConditionsList:
        """The eight conditions."""
        return self._conditions

    # ------------------------------------------------------------------ what comes in

    def entered(self) -> None:
        """Ask for what is shown, and let the step have the keys."""
        self._ask()
        self._step.take_focus()

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """How things stand now."""
        state = snapshot.state
        self._round.heed(snapshot)
        self._ring.set_model(RingModel() if state is None else ring_of(state, snapshot.step))
        self._step.put_first(self._round.view(), self._begin)
        self._step.show_snapshot(snapshot)
        self._show_acts()
        self._ask_for_result()
        under_way = self._round.under_way
        visit = None if under_way else self._round.coming
        view = self._step.view
        own = view.turn is not None and view.key != "squeeze_turn"
        _show(self._figures, not own and not view.points)  # else the step has the room
        self._figures.show_figures(figures_of(state, self.desk.units, self._result_shown, visit))
        self._show_side(snapshot)
        self._show_trace(snapshot)
        self._show_strip()
        if state is not None and self._angle_is_new(state):
            self._ask()

    def _job_changed(self) -> None:
        self._round.begin_anew()
        self._result, self._asked_result = None, None
        self._strip_model = StripModel()
        self._show_strip()
        self._ask()

    def _ask(self) -> None:
        """The way round, as the record and the crank have it now."""
        job, engine, document, state = self.desk.job, self.desk.engine, self.desk.document, self.desk.snapshot.state
        if job is None or engine is None or document is None:
            return
        angle_deg = None if state is None else crank_angle_deg(state)
        self._asked_angle_deg = angle_deg
        compares = job.stage != "routine"
        limits, left = self.desk.limit_set, self._round.left
        self.desk.ask(
            round_shown, job.id, engine, document, limits, angle_deg, compares, left, then=self._take, key="way round the engine"
        )

    def _take(self, shown: RoundShown) -> None:
        if self.desk.job is None or shown.seen.job_id != self.desk.job.id:
            return
        self._round.take(shown.seen)
        self._strip_model = shown.strip
        self.show_snapshot(self.desk.snapshot)

    def _angle_is_new(self, state: BenchState) -> bool:
        """Whether the crank has come to rest elsewhere, so that another cylinder may be the nearest."""
        if self._round.under_way or (state.crank is not None and state.crank.moved_count > state.limits.still_count):
            return False
        angle_deg = crank_angle_deg(state)
        if angle_deg is None or self._asked_angle_deg is None:
            return (angle_deg is None) is not (self._asked_angle_deg is None)
        return abs((angle_deg - self._asked_angle_deg + 180.0) % 360.0 - 180.0) > ASK_ANEW_DEG

    def _ask_for_result(self) -> None:
        """Once the record has the test: its figures with their uncertainty, from there."""
        last = self._round.last
        if last is None or self._asked_result == (last.number, last.capture_id):
            return
        self._asked_result = last.number, last.capture_id
        document = self.desk.document
        if last.capture_id is None or document is None:
            self._result = None
            return
        self.desk.ask(
            result_view, last.capture_id, document, self.desk.limit_set, then=self._take_result, key="result of the last test"
        )

    def _take_result(self, result: ResultView) -> None:
        self._result = result
        self._results.show_result(result)
        self.show_snapshot(self.desk.snapshot)

    @property
    def _result_shown(self) -> ResultView | None:
        """The last test's result, until the next one is under way or being worked out."""
        snapshot = self.desk.snapshot
        capturing = snapshot.state is not None and snapshot.state.capture is not None
        return None if self._round.under_way or capturing or snapshot.analysing else self._result

    # ------------------------------------------------------------------ what is shown

    def _show_side(self, snapshot: Snapshot) -> None:
        """Beside the step: what is heard while air is on, the result after it, else the conditions."""
        state = snapshot.state
        if state is not None and self._is_heard(state):
            self._side.setCurrentWidget(self._heard)
            share = "heard"
        elif self._result_shown is not None and not (state is not None and state.readiness.locked):
            self._side.setCurrentWidget(self._results)
            share = "result"
        else:
            self._conditions.show_conditions(*_conditions_of(state))
            self._side.setCurrentWidget(self._conditions)
            share = "points" if self._step.view.points else "conditions"
        if share != self._share:
            self._share = share
            self._share_out()

    def _is_heard(self, state: BenchState) -> bool:
        """Whether there is air to be heard in a test of a cylinder; begins a new list for a new one."""
        capture = state.capture
        if state.readiness.state not in _HEARING or capture is None or state.engine is None:
            return False
        if capture.purpose.kind != "test" or capture.purpose.gauged_places:
            return False
        if self._heard_in != capture.began_s:
            self._heard_in = capture.began_s
            self._heard.begin(state.engine, capture.purpose.cylinder)
        return True

    def _show_trace(self, snapshot: Snapshot) -> None:
        air = snapshot.state is not None and snapshot.state.readiness.locked
        low = self.height() < LOW_PX * self._scale
        _show(self._trace, not low)
        full = low and (air or bool(self._step.view.points))  # what is to be confirmed has to be seen
        _show(self._strip, bool(self._strip_model.places) and not full)
        if not self._trace.isHidden():
            self._trace.show_snapshot(snapshot)

    def _show_strip(self) -> None:
        chosen = self._round.chosen
        places = tuple(replace(place, chosen=place.cylinder == chosen) for place in self._strip_model.places)
        model = replace(self._strip_model, places=places)
        self._strip.set_model(model)

    def _show_acts(self) -> None:
        quiet = self._step.view.air == "none" and not self._step.view.locked
        last = self._round.last
        self._skip.setVisible(quiet and self._round.may_skip)
        self._back.setVisible(quiet and self._round.may_go_back)
        again = quiet and not self._round.under_way and last is not None and self._round.chosen != last.done.purpose.cylinder
        self._again.setVisible(again)
        if last is not None:
            self._again.setText(f"&Test {last.done.purpose.cylinder} again")

    # ------------------------------------------------------------------ what the person does

    def _begin(self, answer: str) -> None:
        self._round.begin(answer)
        self.show_snapshot(self.desk.snapshot)

    def _choose(self, cylinder: int) -> None:
        self._round.choose(cylinder)
        self.show_snapshot(self.desk.snapshot)

    def _digit(self, number: int) -> None:
        """A digit: a place while air is on and heard, else a cylinder."""
        if self._side.currentWidget() is self._heard:
            self._heard.digit(number)
        else:
            self._choose(number)

    def _on_skip(self) -> None:
        if self._skip.isVisibleTo(self):
            self._round.skip()
            self._ask()

    def _on_back(self) -> None:
        if self._back.isVisibleTo(self):
            self._round.go_back()
            self.show_snapshot(self.desk.snapshot)

    def _on_again(self) -> None:
        last = self._round.last
        if self._again.isVisibleTo(self) and last is not None:
            self._choose(last.done.purpose.cylinder)

    def _on_strength(self, key: str) -> None:
        if self._side.currentWidget() is self._heard:
            self._heard.note(STRENGTH_KEYS[key])
        elif key == "S":
            self._on_skip()

    def _without_number(self) -> None:
        if self._side.currentWidget() is self._heard:
            self._heard.without_number()

    # ------------------------------------------------------------------ how it is built

    def _build(self) -> None:
        self._ring, self._figures = RingView(self.desk), FiguresRow(self.desk)
        self._step = StepPanel(self.desk, scope=self)
        self._conditions, self._heard, self._results = ConditionsList(self.desk), HeardPanel(self.desk), ResultPanel(self.desk)
        self._side = _Side()
        for widget in (self._conditions, self._heard, self._results):
            self._side.addWidget(widget)
        self._trace, self._strip = TraceWidget(self.desk), StripView(self.desk)
        self._strip.chosen.connect(self._choose)
        self._skip, self._back, self._again = QPushButton("S&kip it (S)"), QPushButton("Bac&k (B)"), QPushButton()
        for button, do, tip in (
            (self._skip, self._on_skip, "Leaves this one out of the round; it can still be chosen by its number."),
            (self._back, self._on_back, "Back to the choice of the cylinder; nothing is lost but what was confirmed."),
            (self._again, self._on_again, "A repeat: the crank is turned over in between, so that rings and valves seat anew."),
        ):
            button.clicked.connect(do)
            button.setToolTip(plain_tip(tip))
            self._step.add_act(button)
        for part in (self._step, self._side):  # they scroll inside rather than ask for room
            part.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self._top = QGridLayout()
        self._top.addWidget(self._ring, 0, 0, 2, 1)
        self._top.addWidget(self._figures, 0, 1, 1, 2)
        self._top.addWidget(self._step, 1, 1)
        self._top.addWidget(self._side, 1, 2)
        self._top.setRowStretch(0, 2)
        self._top.setRowStretch(1, 5)
        self._column = QVBoxLayout(self)
        self._column.addLayout(self._top, 5)
        self._column.addWidget(self._trace, 2)
        self._column.addWidget(self._strip, 1)
        self._share_out()

    def _build_keys(self) -> None:
        keys: list[tuple[str, Callable[[], None]]] = [
            ("B", self._on_back),
            ("A", self._on_again),
            ("0", self._without_number),
            *((key, partial(self._on_strength, key)) for key in STRENGTH_KEYS),
            *((str(number), partial(self._digit, number)) for number in range(1, 10)),
        ]
        for key, do in keys:
            shortcut = QShortcut(QKeySequence(key), self)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.setAutoRepeat(False)
            shortcut.activated.connect(do)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """The page's focus is that of the step's one act."""
        super().focusInEvent(event)
        self._step.take_focus()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share the room out anew."""
        super().resizeEvent(event)
        self._share_out()
        self._show_trace(self.desk.snapshot)

    @property
    def _scale(self) -> float:
        return self.desk.settings.scale_percent / 100.0

    def _share_out(self) -> None:
        """A narrow window gives the ring less and the step more."""
        narrow = self.width() < NARROW_PX * self._scale
        for part, width in ((self._step, STEP_PX), (self._side, SIDE_PX)):
            part.setMinimumSize(round(width * self._scale), round(LEAST_HIGH_PX * self._scale))
        for column, share in enumerate(_SHARES[self._share]):
            self._top.setColumnStretch(column, share)
        gap = 4 if narrow or self.height() < LOW_PX * self._scale else 8
        self._column.setContentsMargins(gap, gap, gap, gap)
        self._column.setSpacing(gap)
        self._top.setSpacing(gap)


class _Side(QStackedWidget):
    """What stands beside the step; whatever is too long for it is scrolled inside."""

    def hasHeightForWidth(self) -> bool:
        """Never, so that the page does not grow with it."""
        return False


def _conditions_of(state: BenchState | None) -> tuple[tuple[Condition, ...], str]:
    """Those that count now: with air on, as they were at the opening; and what is said where none is to be seen to."""
    if state is None:
        return (), ""
    if state.capture is not None:
        return state.capture.conditions, "Air was let in on these"
    if state.readiness.locked:
        return state.conditions, "PRESSURISED: first it has to vent"
    if state.purpose.kind != "test":
        return state.conditions, "Looked at for a test once one is begun"
    if state.readiness.state is State.SQUEEZING:
        return state.conditions, "Looked at again after the squeeze"
    return state.conditions, ""


def _show(widget: QWidget, wanted: bool) -> None:
    """Only where it is not so already: a layout that is asked again costs a frame."""
    if wanted is widget.isHidden():
        widget.setVisible(wanted)
