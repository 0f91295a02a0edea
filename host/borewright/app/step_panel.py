"""The panel of the next step: what to do, in big words, with the one act that says that it is done, and the one act for air."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QFrame,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from borewright.app.air_button import AirButton
from borewright.app.air_key import AirKey
from borewright.app.draw.big_figure import BigFigure
from borewright.app.plain_label import PlainLabel
from borewright.app.step_model import FIRST_AIR, FIRST_AIR_NAME, StepView, step_view
from borewright.errors import UseError
from borewright.service import acts
from borewright.service.answers import act_of_answer

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.snapshot import Snapshot

__all__ = ["StepPanel"]

_NO_RIG = StepView("no_rig", "No rig yet", "Connect the rig, or start the built-in one.", helps="Rig")


class StepPanel(QWidget):
    """Shows snapshot.step and carries out what it asks for; the same steps as service.guide gives, no flow of its own.

    scope: where Enter and the keys are listened to beside the panel itself; a page gives itself where it has no fields of its own.
    `put_first` has it show something of the page instead, as long as that is needed; `add_act` puts a page's own acts beside.
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None, *, scope: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._scope = self if scope is None else scope
        self._view = _NO_RIG
        self._first: tuple[StepView, Callable[[str], None] | None] | None = None
        self._told_number = 0
        self._key = AirKey(desk, self, self._scope)
        self._key.changed.connect(self._dress_air)
        self.setAccessibleName("Next step")
        self.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self._build()
        self._build_acts()
        self._build_keys()
        self._show(self._view)

    # ------------------------------------------------------------------ what is shown

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Show the step of this snapshot; cheap where nothing has changed."""
        state, step = snapshot.state, snapshot.step
        here = state is not None and step is not None and snapshot.link.kind == "open"
        by_hold = self._desk.settings.air_by == "hold"
        view = (
            step_view(step, state, by_hold=by_hold) if here and state is not None and step is not None else self._no_rig(snapshot)
        )
        drives = state is not None and state.has_valves and not state.has_hold_switch
        if self._first is not None and _gives_way(view):
            view = self._first[0]  # the key is deaf then: the bench may still be ready for another test like the last one
        self._key.heed(view.air, drives=drives, deaf=self._first is not None and view is self._first[0])
        self._hear_refusals(snapshot)
        if view != self._view:
            self._show(view)

    def put_first(self, view: StepView | None, then: Callable[[str], None] | None = None) -> None:
        """Show this in place of the guide's step, until None is put. Never in place of air.

        then: what its button does, handed what was typed where it has a question; it may raise UseError.
        """
        before, self._first = self._first, None if view is None else (view, then)
        if view is None and before is not None:
            self.show_snapshot(self._desk.snapshot)
        elif view is not None and view != self._view and _gives_way(self._view):
            self._key.heed("none", drives=False, deaf=True)
            self._show(view)

    def add_act(self, button: QPushButton) -> None:
        """Put another act of the page beside the one of the step."""
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._beside.insertWidget(self._beside.count() - 1, button)

    def hasHeightForWidth(self) -> bool:
        """Never: what is too long for the room is scrolled inside, so that the act stays in view."""
        return False

    @property
    def view(self) -> StepView:
        """What is shown now."""
        return self._view

    @property
    def figure(self) -> BigFigure:
        """How far to turn, how long until air comes, or how long the hold lasts."""
        return self._figure

    @property
    def air_key(self) -> AirKey:
        """The key for air."""
        return self._key

    def take_focus(self) -> None:
        """The one act has the focus, so that Enter, or what is typed, goes to it."""
        for widget in (self._field, self._act, self._air, self._help):
            if widget.isVisibleTo(self):
                widget.setFocus()
                return
        self.setFocus()

    def _no_rig(self, snapshot: Snapshot) -> StepView:
        words = snapshot.link.words or _NO_RIG.text
        title = {"none": "No rig yet", "lost": "The rig is not there"}.get(snapshot.link.kind, "Meeting the rig")
        locked = snapshot.state is not None and snapshot.state.readiness.locked
        if locked:
            words += " Take it as PRESSURISED until its gauges are down: shut the supply and open the vent by hand."
        return StepView("no_rig", title, words, locked=locked, helps="Rig")

    def _hear_refusals(self, snapshot: Snapshot) -> None:
        """Why air was refused stays in view until the step is another."""
        told = snapshot.told
        if not told or told[-1].number == self._told_number:
            return
        refused = [one.text for one in told if one.number > self._told_number and one.level == "refused"]
        self._told_number = told[-1].number
        if refused:
            self._say_wrong(refused[-1])

    def _say_wrong(self, words: str) -> None:
        self._wrong.setText(words and f"✕ {words}")
        self._wrong.setVisible(bool(words))

    def _show(self, view: StepView) -> None:
        before, self._view = self._view, view
        focus = QApplication.focusWidget()
        if focus is not None and self.isAncestorOf(focus) and focus is not self._field and view.key != before.key:
            self.setFocus()  # a button that goes away would hand the focus on to anybody
        if view.key != before.key or view.locked != before.locked:
            self._say_wrong("")
            self._field.clear()
        if view.key != before.key:
            self._scroll.verticalScrollBar().setValue(0)
        self._title.setText(view.title)
        self._pressurised.setVisible(view.locked)
        self._show_figure(view)
        self._text.setText(view.text)
        self._text.setVisible(bool(view.text))
        self._points.setText("\n".join(f"•  {point}" for point in view.points))
        self._points.setVisible(bool(view.points))
        self._show_question(view)
        self._act.setText(view.button and f"{view.button}   ⏎")
        self._act.setVisible(bool(view.button))
        self._hold.setVisible(view.may_hold)
        self._hold.setText("&Hold on a minute more (H)" if view.hold_left_s is not None else "&Hold: look and listen (H)")
        self._go_on.setVisible(view.may_go_on)
        self._help.setVisible(bool(view.helps) and view.helps != self._own_page())
        self._help.setText(f"Go to the {view.helps} &page")
        self._dress_air()
        self.setAccessibleDescription(f"{view.title}. {view.text}")
        if (view.key, view.air, view.button) != (before.key, before.air, before.button):
            self._move_focus()

    def _show_figure(self, view: StepView) -> None:
        self._figure.setVisible(view.turn is not None or view.count_s is not None or view.hold_left_s is not None)
        if view.count_s is not None:
            self._figure.show_figure(f"{view.count_s}", "s", "until air comes: keep clear", air=True)
        elif view.hold_left_s is not None:
            self._figure.show_figure(f"{view.hold_left_s}", "s", "left, then the test goes on by itself")
        elif view.turn is not None:
            self._figure.show_figure(f"{view.turn.arrow} {view.turn.figure}", "", view.turn.words)

    def _show_question(self, view: StepView) -> None:
        self._asked.setVisible(view.question is not None)
        if view.question is None:
            return
        self._asked_words.setText(view.question.words)
        self._field.setAccessibleName(view.question.words)
        self._unit.setText(self._unit_of_field() or "")

    def _unit_of_field(self) -> str | None:
        question = self._view.question
        if question is None or question.dimension is None:
            return None
        return self._desk.units.unit(question.dimension, question.usual)

    def _own_page(self) -> str:
        widget: QWidget | None = self
        while widget is not None and not getattr(widget, "title", ""):
            widget = widget.parentWidget()
        return str(getattr(widget, "title", ""))

    def _move_focus(self) -> None:
        """A new step takes the focus, unless somebody is at work elsewhere."""
        focus = QApplication.focusWidget()
        if self.isVisible() and (focus is None or focus is self._scope or self._scope.isAncestorOf(focus)):
            self.take_focus()

    def _dress_air(self) -> None:
        self._air.dress(self._view, self._key, self._desk.settings.air_by)

    # ------------------------------------------------------------------ the acts

    def act(self) -> None:
        """The one act of the step: its button, or Enter."""
        focus = QApplication.focusWidget()
        if isinstance(focus, QAbstractButton) and focus not in (self._act, self._air) and self._scope.isAncestorOf(focus):
            focus.click()  # Enter on another act that was gone to by Tab
            self.take_focus()
            return
        if not self._act.isVisibleTo(self):
            return
        self._say_wrong("")
        view = self._view
        if self._first is not None and view == self._first[0]:
            self._answer_first(self._first[1])
        elif view.question is not None:
            self._answer(view)
        elif view.points and self._more_to_read():
            return
        elif view.key == "confirm_people" and view.act is not None:
            confirmed = view.act  # without it there is no air on any rig, so the cautions come before it
            self._desk.caution(FIRST_AIR_NAME, FIRST_AIR, lambda: self._desk.tell(confirmed))
        elif view.act is not None:
            self._desk.tell(view.act)

    def _more_to_read(self) -> bool:
        """Whether points were out of view; then they are brought into it, and nobody has confirmed them yet."""
        bar = self._scroll.verticalScrollBar()
        if bar.value() >= bar.maximum():
            return False
        bar.setValue(bar.value() + bar.pageStep())
        if bar.value() < bar.maximum():
            self._say_wrong("there is more to see to: read on, then confirm")
        return True

    def _answer_first(self, then: Callable[[str], None] | None) -> None:
        typed = self._field.text()
        if then is None:
            return
        try:
            then(typed)
        except UseError as wrong:
            self._say_wrong(str(wrong))
            self._field.selectAll()

    def _answer(self, view: StepView) -> None:
        state = self._desk.snapshot.state
        if state is None:
            return
        try:
            act = act_of_answer(view.key, self._field.text(), state, self._unit_of_field())
        except UseError as wrong:
            self._say_wrong(str(wrong))
            self._field.selectAll()
            return
        self._field.clear()
        self._desk.tell(act)

    def _keep_on(self) -> None:
        if self._view.may_hold:
            self._desk.tell(acts.SetHold(True))

    def _end_hold(self) -> None:
        if self._view.may_go_on:
            self._desk.tell(acts.SetHold(False))

    # ------------------------------------------------------------------ how it is built

    def _build(self) -> None:
        self._title, self._pressurised, self._text, self._points, self._wrong = (PlainLabel() for _ in range(5))
        self._title.setProperty("role", "big")
        self._pressurised.setText(" PRESSURISED: turn and undo nothing ")
        self._pressurised.setProperty("role", "air")
        self._wrong.setProperty("role", "fault")
        for label in (self._title, self._text, self._points, self._wrong, self._pressurised):
            label.setWordWrap(True)
            label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        self._figure = BigFigure(self._desk, "", most_px=150.0, least_px=44.0)
        self._asked, self._asked_words, self._field, self._unit = QWidget(), PlainLabel(), QLineEdit(), PlainLabel()
        self._field.setMaxLength(40)
        self._asked_words.setWordWrap(True)
        self._asked_words.setBuddy(self._field)
        asked = QHBoxLayout(self._asked)
        asked.setContentsMargins(0, 0, 0, 0)
        asked.addWidget(self._asked_words, 2)
        asked.addWidget(self._field, 1)
        asked.addWidget(self._unit)
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._figure, 1)
        for widget in (self._text, self._points, self._asked):
            column.addWidget(widget)
        column.addStretch(0)
        self._scroll = QScrollArea()
        self._scroll.setWidgetResizable(True)
        self._scroll.setFrameShape(QFrame.Shape.NoFrame)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._scroll.setWidget(inside)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.addWidget(self._pressurised)
        self._column.addWidget(self._title)
        self._column.addWidget(self._scroll, 1)
        self._column.addWidget(self._wrong)

    def _build_acts(self) -> None:
        self._act, self._hold, self._go_on, self._help = (QPushButton() for _ in range(4))
        self._act.setProperty("role", "act")
        self._act.setAccessibleName("Done: the one act of this step")
        self._hold.setToolTip("Keeps the air on for looking and listening, a minute at a time; it is guarded as ever.")
        self._go_on.setText("&Go on (G)")
        self._go_on.setToolTip("Shuts the supply and watches the pressure bleed away; then it vents by itself.")
        self._air = AirButton(self._key)
        for button, do in (
            (self._act, self.act),
            (self._hold, self._keep_on),
            (self._go_on, self._end_hold),
            (self._help, lambda: self._desk.show_page(self._view.helps)),
        ):
            button.clicked.connect(do)
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._acts = QHBoxLayout()
        for widget in (self._act, self._air, self._help):
            self._acts.addWidget(widget)
        self._acts.addStretch(1)
        self._beside = QHBoxLayout()
        for widget in (self._hold, self._go_on):
            self._beside.addWidget(widget)
        self._beside.addStretch(1)
        self._column.addLayout(self._beside)
        self._column.addLayout(self._acts)

    def _build_keys(self) -> None:
        for keys, do in (("Return", self.act), ("Enter", self.act), ("H", self._keep_on), ("G", self._end_hold)):
            shortcut = QShortcut(QKeySequence(keys), self._scope)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.setAutoRepeat(False)
            shortcut.activated.connect(do)


def _gives_way(view: StepView) -> bool:
    """Whether a page may show something of its own instead: never while air is coming, on, or not seen gone."""
    return not view.locked and view.air not in ("coming", "on")
