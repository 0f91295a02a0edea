"""The built-in rig's panel: the simulated workshop on the screen, for everything that a person does at the rig with the hands.

What is done here is done at the rig; what is told to the program is told in the window, as with a real rig.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QGridLayout, QLabel, QPushButton, QTabWidget, QVBoxLayout, QWidget

from borewright.app.builtin.crank_view import CrankView
from borewright.app.builtin.operator_air import AirControls, HoldSwitch
from borewright.app.builtin.operator_model import (
    STEADY_WORDS,
    Showing,
    crank_text,
    doing_text,
    hose_choices,
    hose_text,
    new_troubles,
    show_me,
)
from borewright.app.builtin.operator_parts import group, press, row, say, show_on
from borewright.app.builtin.operator_places import PlaceControls
from borewright.app.builtin.operator_stand import StandControls
from borewright.app.builtin.stand import prepare_practice, put_on_stand
from borewright.app.desk import Desk
from borewright.service.snapshot import Snapshot
from borewright.simrig.builtin import BuiltInRig
from borewright.simrig.rig_view import BuiltInView

__all__ = ["PANEL_NAME", "SHOW_ME_KEY", "OperatorPanel"]

PANEL_NAME = "built-in rig"
SHOW_ME_KEY = "F8"
_STEPS_DEG = (90, 10, 1)


class OperatorPanel(QWidget):
    """The panel. It is built anew when another scenario is put on the stand."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._showing = Showing()
        self._seen: BuiltInView | None = None
        self._rig: BuiltInRig | None = None
        self.setAccessibleName("Built-in rig")
        self.setObjectName(PANEL_NAME)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(8, 8, 8, 8)
        self._inside: QWidget | None = None
        shortcut = QShortcut(QKeySequence(SHOW_ME_KEY), self)
        shortcut.setContext(Qt.ShortcutContext.WindowShortcut)
        shortcut.activated.connect(self.show_me)
        for key, do in (("L", self._listen), ("0", lambda: self._hose(0))):
            self._bind(key, do)
        for number in range(1, 10):
            self._bind(str(number), partial(self._hose, number))
        self._build()

    # ------------------------------------------------------------------ what is shown

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Show what is to be seen at the rig now."""
        if self._desk.builtin is not self._rig:
            self._build()
        view = snapshot.rig
        rig = self._rig
        if not isinstance(view, BuiltInView) or rig is None or self._inside is None:
            return
        for trouble in new_troubles(self._seen, view):
            self._desk.notice("warning", f"at the built-in rig: {trouble}")
        self._seen = view
        facts = rig.facts
        self._crank.show_view(view, facts)
        _put(self._crank_words, crank_text(view, facts))
        _put(self._doing, doing_text(view))
        for choice in self._hose_buttons:
            show_on(self._hose_buttons[choice], choice.at == view.hose_at)
        _put(self._hose_words, f"The hose is {hose_text(view.hose_at)}.")
        _put(self._gauges, self._gauge_words(view))
        if self._hold is not None:
            self._hold.show_view(view)
        self._air.show_view(view)
        self._places.show_view(view)
        self._stand.show_view(view)
        shown = show_me(snapshot.step, snapshot.state, view, facts)
        self._show_button.setEnabled(bool(shown.words))
        _put(self._show_words, f"{shown.text[0].upper()}{shown.text[1:]}.")
        for words in self._showing.words(snapshot.step, snapshot.state, view, facts):
            self._desk.at_rig(words)

    def _gauge_words(self, view: BuiltInView) -> str:
        units = self._desk.units
        text = (
            f"On the rig's own gauges: regulated about {units.text(view.regulated_gauge_pa, 'pressure_gauge', 'kPa')}, "
            f"cylinder about {units.text(view.cylinder_gauge_pa, 'pressure_gauge', 'kPa')}."
        )
        return text if view.gauge is None else f"{text} Reference gauge on the capped hose: {view.gauge}."

    # ------------------------------------------------------------------ acts

    def tell(self, words: str) -> None:
        """The person at the rig is to do this; what was being shown ends."""
        self._showing.end()
        self._desk.at_rig(words)

    def show_me(self) -> None:
        """Do at the rig what the step asks for; telling the program, and letting air in, stays with whoever looks on."""
        snapshot, rig = self._desk.snapshot, self._rig
        if not isinstance(snapshot.rig, BuiltInView) or rig is None:
            return
        if self._showing.carries_on(snapshot.step):
            return
        shown = show_me(snapshot.step, snapshot.state, snapshot.rig, rig.facts)
        self._showing.begin(snapshot.step, snapshot.rig)
        for words in shown.words:
            self._desk.at_rig(words)
        if not shown.words:
            self._desk.notice("note", f"Show me: {shown.text}")

    def _hose(self, number: int) -> None:
        state = self._desk.snapshot.state
        if state is not None and state.readiness.locked:  # a digit meant for the page; who means it has the button
            self._desk.notice("warning", "PRESSURISED: a key does not take the hose off; nothing was done")
            return
        wanted = "hose off" if number == 0 else f"hose {number}"
        if any(choice.words == wanted for choice in self._hose_buttons):
            self.tell(wanted)

    def _listen(self) -> None:
        self._tabs.setCurrentWidget(self._places)
        self._places.listen()

    def _choose_scenario(self, name: str) -> None:
        self._showing.end()
        put_on_stand(self._desk, name)

    def _prepare(self) -> None:
        if self._rig is not None:
            prepare_practice(self._desk, self._rig.facts.scenario)

    # ------------------------------------------------------------------ how it is built

    def _build(self) -> None:
        if self._inside is not None:
            self._column.removeWidget(self._inside)
            self._inside.setParent(None)
            self._inside.deleteLater()
            self._inside = None
        self._rig, self._seen = self._desk.builtin, None
        if self._rig is None:
            return
        facts = self._rig.facts
        self._inside = QWidget()
        inner = QVBoxLayout(self._inside)
        inner.setContentsMargins(0, 0, 0, 0)
        self._show_button = press(
            f"Show me ({SHOW_ME_KEY})",
            "Show me: do at the rig what the step asks for",
            self.show_me,
            "You confirm it, and let air in.",
        )
        self._show_button.setProperty("role", "act")
        self._show_words, self._doing = say(), say("soft")
        self._doing.setAccessibleName("What is being done at the rig")
        inner.addWidget(self._show_button)
        inner.addWidget(self._show_words)
        inner.addWidget(self._doing)
        inner.addWidget(self._crank_group())
        inner.addWidget(self._hose_group())
        self._hold = HoldSwitch(self.tell) if facts.hold_fitted else None
        if self._hold is not None:
            inner.addWidget(self._hold)
        self._air = AirControls(self._desk, facts, self.tell)
        self._places = PlaceControls(facts, self.tell)
        self._stand = StandControls(self._desk, facts, self.tell)
        self._stand.scenario_chosen.connect(self._choose_scenario)
        self._stand.practice_asked.connect(self._prepare)
        self._tabs = QTabWidget()
        self._tabs.setAccessibleName("More of the built-in rig")
        for widget, name in ((self._air, "Air and crank"), (self._places, "Places"), (self._stand, "Stand")):
            self._tabs.addTab(widget, name)
        self._tabs.currentChanged.connect(lambda at: self._stand.entered() if self._tabs.widget(at) is self._stand else None)
        inner.addWidget(self._tabs)
        inner.addStretch(1)
        self._column.addWidget(self._inside)
        self.setFocusProxy(self._crank)

    def _crank_group(self) -> QWidget:
        self._crank = CrankView(self._desk)
        self._crank.told.connect(self.tell)
        self._crank_words = say()
        grid = QGridLayout()
        grid.setSpacing(4)
        grid.setContentsMargins(0, 0, 0, 0)
        for at, step in enumerate(_STEPS_DEG):
            for line, (sign, way) in enumerate((("−", "back"), ("+", "on"))):
                words = f"crank {'-' if line == 0 else '+'}{step}"
                button = press(f"{sign}{step}°", f"Crank {way} by {step} degrees", partial(self.tell, words))
                grid.addWidget(button, line, at)
        steps = QWidget()
        steps.setLayout(grid)
        steady_tip = "Two turns by hand, as for a squeeze."
        steady = press("Turn steadily (S)", "Turn the crank steadily", lambda: self.tell(STEADY_WORDS), steady_tip)
        off = press("Hand off (X)", "Take the hand off the crank", lambda: self.tell("crank stop"))
        return group("Crank", self._crank, self._crank_words, steps, row(steady, off))

    def _hose_group(self) -> QWidget:
        assert self._rig is not None
        self._hose_buttons = {
            choice: press(choice.label, f"Hose: {hose_text(choice.at)}", partial(self.tell, choice.words), shows=True)
            for choice in hose_choices(self._rig.facts)
        }
        self._hose_words, self._gauges = say(), say("soft")
        holes = [button for choice, button in self._hose_buttons.items() if isinstance(choice.at, int)]
        others = [button for choice, button in self._hose_buttons.items() if not isinstance(choice.at, int)]
        return group("Hose", row(*holes), row(*others), self._hose_words, self._gauges)

    def _bind(self, key: str, do: Callable[[], None]) -> None:
        shortcut = QShortcut(QKeySequence(key), self)
        shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        shortcut.setAutoRepeat(False)
        shortcut.activated.connect(do)


def _put(label: QLabel | QPushButton, text: str) -> None:
    if label.text() != text:
        label.setText(text)
