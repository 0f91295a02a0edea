"""The panel of the next step and its air key, by real keys, on snapshots that are laid before it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest
from borewright.app.caution_bar import CautionBar
from borewright.app.desk import Desk
from borewright.app.settings import Settings
from borewright.app.step_model import StepView
from borewright.app.step_panel import StepPanel
from borewright.core.conditions import confirmations_needed
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.guide import Step, StepKey
from borewright.service.snapshot import Told
from PySide6.QtCore import QEvent, QPoint, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QComboBox, QLabel, QLineEdit, QMenu, QPushButton, QVBoxLayout, QWidget

from .round_hand import keyed_scenario
from .virtual_desk import bench_time

READY = Step("give_air", "ready for air", acts.AskAir())
PEOPLE = Step("confirm_people", "not confirmed: plugs out", acts.ConfirmPeople(frozenset(confirmations_needed(None))))


class Stand:
    """A panel in a window of its own with the caution bar, and what it tells the bench."""

    def __init__(self, desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
        self.desk = desk
        self.told: list[acts.Act] = []
        monkeypatch.setattr(desk, "tell", self.told.append)
        self.base = desk.snapshot
        self.whole = QWidget()
        self.bar, self.panel, self.elsewhere = CautionBar(desk), StepPanel(desk), QLineEdit()
        column = QVBoxLayout(self.whole)
        for widget in (self.bar, self.panel, self.elsewhere):
            column.addWidget(widget)
        self.whole.resize(700, 560)
        self.whole.show()
        self.whole.activateWindow()
        QTest.qWaitForWindowActive(self.whole)
        self.panel.take_focus()

    @property
    def now_s(self) -> float:
        """Device time."""
        assert self.base.state is not None
        return self.base.state.now_s

    def show(self, step: Step, at: State = State.VENTED, **changes: object) -> None:
        """Lay a step before it."""
        state = self.base.state
        assert state is not None
        on = at in (State.PUFFING, State.WATCHING, State.FILLING, State.HOLDING, State.ISOLATED, State.VENTING)
        readiness = replace(state.readiness, state=at, pressurised=on)
        self.desk.snapshot = replace(self.base, step=step, state=replace(state, readiness=readiness, **changes))  # type: ignore[arg-type]
        self.panel.show_snapshot(self.desk.snapshot)

    def confirm_cautions(self) -> None:
        """The cautions before the first air are read once."""
        self.show(PEOPLE)
        self.key(Qt.Key.Key_Return)
        self.key(Qt.Key.Key_Return)
        self.told.clear()

    def key(self, key: Qt.Key) -> None:
        """Press and let go, wherever the focus is."""
        QTest.keyClick(self.focus(), key)

    def focus(self) -> QWidget:
        """What has the focus."""
        return QApplication.focusWidget() or self.panel

    def press(self) -> None:
        """The air key goes down."""
        QTest.keyPress(self.focus(), Qt.Key.Key_Space)

    def let_go(self) -> None:
        """The air key is let go."""
        QTest.keyRelease(self.focus(), Qt.Key.Key_Space)

    def button(self, words: str) -> QPushButton:
        """The button in view with these words on it."""
        return next(b for b in self.panel.findChildren(QPushButton) if b.isVisible() and words in b.text().replace("&", ""))

    def seen(self) -> str:
        """All words in view."""
        return "\n".join(label.text() for label in self.panel.findChildren(QLabel) if label.isVisible())


@pytest.fixture
def make_stand(make_desk: Callable[..., Desk], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Stand]]:
    """Makes a stand; air_by as the settings have it; scenario: of the rig, one without a switch of its own by default."""
    made: list[Stand] = []

    def make(air_by: str = "hold", scenario: str | None = None) -> Stand:
        settings = Settings(theme="light", air_by="countdown" if air_by == "countdown" else "hold")
        desk = make_desk(scenario=scenario or keyed_scenario(tmp_path), settings=settings)
        bench_time(desk, 1.0)
        made.append(Stand(desk, monkeypatch))
        return made[-1]

    yield make
    for stand in made:
        stand.whole.close()
        stand.whole.deleteLater()
    QApplication.processEvents()


@pytest.fixture
def stand(make_stand: Callable[..., Stand]) -> Stand:
    """A rig with valves and no switch of its own; the air key is held."""
    return make_stand()


# ---------------------------------------------------------------------- the steps


@pytest.mark.parametrize(
    ("step", "done"),
    [
        (Step("place_hose", "put the hose into cylinder 3", acts.PlaceHose("cylinder", 3)), acts.PlaceHose("cylinder", 3)),
        (Step("confirm_fitting", "the mark", acts.ConfirmFitting(), 0.0), acts.ConfirmFitting()),
        (Step("begin_squeeze", "squeeze next", acts.BeginSqueeze()), acts.BeginSqueeze()),
        (Step("open_vent", "open the vent", acts.EndSqueeze()), acts.EndSqueeze()),
        (Step("look_for_check_valve", "take it out", acts.ConfirmNoCheckValve()), acts.ConfirmNoCheckValve()),
        (Step("set_regulator", "set it", acts.SetRegulator(550e3)), acts.SetRegulator(550e3)),
        (Step("fit_places", "stop the coolant", acts.FitPlaces(("coolant",))), acts.FitPlaces(("coolant",))),
        (Step("confirm_caution", "hot coolant", acts.ConfirmCaution("coolant", "hot")), acts.ConfirmCaution("coolant", "hot")),
        (Step("pour_oil", "pour", acts.PourOil(3, 3e-6)), acts.PourOil(3, 3e-6)),
    ],
)
def test_enter_says_that_the_step_is_done(stand: Stand, step: Step, done: acts.Act) -> None:
    stand.show(step)
    stand.key(Qt.Key.Key_Return)
    assert stand.told == [done]


@pytest.mark.parametrize("key", get_args(StepKey))
def test_every_step_can_be_read_and_its_act_is_in_view(stand: Stand, key: StepKey) -> None:
    stand.show(Step(key, "do this now", None, 90.0 if key.startswith("turn") else None))
    assert stand.panel.view.title in stand.seen()
    assert "Do this now" in stand.seen() or key == "hold"
    assert stand.panel.accessibleDescription().startswith(stand.panel.view.title)


def test_an_enter_that_the_keyboard_repeats_is_none(stand: Stand) -> None:
    stand.show(Step("begin_squeeze", "squeeze next", acts.BeginSqueeze()))
    for _ in range(3):
        repeated = QKeyEvent(QEvent.Type.KeyPress, Qt.Key.Key_Return, Qt.KeyboardModifier.NoModifier, "\r", True)
        QApplication.sendEvent(stand.focus(), repeated)
    assert stand.told == []


@pytest.mark.parametrize(
    ("key", "typed", "done"),
    [
        ("read_back_hose", "3", acts.ReadBackHose(3)),
        ("restrain", "60", acts.StateRestraint(60.0)),
        ("restrain", "60,5", acts.StateRestraint(60.5)),
        ("read_gauge", "551.5", acts.ReadGauge(551_500.0)),
        ("read_gauge", "5.5 bar", acts.ReadGauge(550_000.0)),
    ],
)
def test_what_is_typed_is_taken_with_its_unit_or_in_the_one_beside_the_field(
    stand: Stand, key: StepKey, typed: str, done: acts.Act
) -> None:
    stand.show(Step(key, "type it"))
    QTest.keyClicks(stand.focus(), typed)
    stand.key(Qt.Key.Key_Return)
    assert stand.told == [done]


@pytest.mark.parametrize(("typed", "said"), [("", "nothing was typed"), ("3.5", "whole number"), ("left", "no number")])
def test_what_cannot_be_meant_is_refused_in_place(stand: Stand, typed: str, said: str) -> None:
    stand.show(Step("read_back_hose", "type it"))
    QTest.keyClicks(stand.focus(), typed)
    stand.key(Qt.Key.Key_Return)
    assert stand.told == []
    assert said in stand.seen()


def test_a_torque_is_read_in_the_unit_that_is_shown(stand: Stand) -> None:
    stand.desk.toggle_units()
    stand.desk.toggle_units()
    stand.show(Step("restrain", "say how much"))
    assert "lb·ft" in stand.seen()
    QTest.keyClicks(stand.focus(), "50")
    stand.key(Qt.Key.Key_Return)
    (told,) = stand.told
    assert isinstance(told, acts.StateRestraint)
    assert told.holding_torque_nm == pytest.approx(67.79, abs=0.01)  # 1 lb·ft = 1.355818 N·m, by definition of pound and foot


def test_the_way_to_turn_stands_there_large(stand: Stand) -> None:
    stand.show(Step("turn_to_tdc", "turn", turn_deg=-186.0))
    figure = stand.panel.figure
    assert figure.isVisible()
    assert "↺ 186°" in figure.words
    assert "back, against the running direction" in figure.words


def test_what_is_missing_leads_to_its_page(stand: Stand) -> None:
    pages: list[str] = []
    stand.desk.page_asked.connect(pages.append)
    state = stand.base.state
    assert state is not None
    unmet = tuple(replace(one, met=one.name != "rig") for one in state.conditions)
    stand.show(Step("blocked", "the sealed check is old"), conditions=unmet)
    QTest.mouseClick(stand.button("Go to the Rig page"), Qt.MouseButton.LeftButton)
    assert pages == ["Rig"]


def test_without_a_rig_it_says_so(stand: Stand) -> None:
    lost = replace(stand.base.link, kind="lost", words="The cable is out.")
    stand.panel.show_snapshot(replace(stand.base, link=lost))
    assert "The cable is out." in stand.seen()
    state = stand.base.state
    assert state is not None
    under = replace(state, readiness=replace(state.readiness, pressurised=True))
    stand.panel.show_snapshot(replace(stand.base, link=lost, state=under))
    assert "PRESSURISED" in stand.seen()
    assert "by hand" in stand.seen()


# ---------------------------------------------------------------------- the cautions before the first air


def test_nobody_is_confirmed_clear_before_the_cautions_are(stand: Stand) -> None:
    stand.show(PEOPLE)
    stand.key(Qt.Key.Key_Return)
    assert stand.told == []
    assert stand.bar.asks is not None
    assert "swing the crank" in stand.bar.asks.text
    stand.key(Qt.Key.Key_Return)
    assert stand.told == [PEOPLE.act]
    stand.key(Qt.Key.Key_Return)
    assert stand.told == [PEOPLE.act] * 2  # at the same job they are read once


def test_points_that_are_out_of_view_are_read_before_they_are_confirmed(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.whole.resize(420, 230)
    stand.show(PEOPLE)
    QApplication.processEvents()
    presses = 0
    while not stand.told:
        stand.key(Qt.Key.Key_Return)
        presses += 1
        assert presses < 20
    assert stand.told == [PEOPLE.act]
    assert presses > 1


def test_the_air_key_asks_for_nothing_before_the_cautions_are_confirmed(stand: Stand) -> None:
    stand.show(READY, State.READY)
    stand.press()
    assert stand.told == []
    assert stand.bar.asks is not None
    stand.let_go()
    stand.key(Qt.Key.Key_Space)  # on the bar's own button it is no air key
    assert stand.bar.asks is None
    assert stand.told == []
    stand.press()
    assert stand.told == [acts.AskAir()]


# ---------------------------------------------------------------------- the key that is held


def test_held_it_asks_and_letting_go_shuts_and_vents(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    assert "Hold Space" in stand.button("Space").text()
    stand.press()
    assert stand.told == [acts.AskAir()]
    stand.show(Step("wait", "air is coming: keep clear"), State.ARMED, countdown_until_s=stand.now_s + 2.5)
    assert "3" in stand.panel.figure.words
    stand.show(Step("wait", "PRESSURISED: air is on"), State.FILLING)
    assert stand.told == [acts.AskAir()]
    stand.let_go()
    assert stand.told == [acts.AskAir(), acts.LetGo()]


def test_what_the_keyboard_repeats_neither_asks_nor_lets_go(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    for kind in (QEvent.Type.KeyPress, QEvent.Type.KeyRelease):
        QApplication.sendEvent(stand.focus(), QKeyEvent(kind, Qt.Key.Key_Space, Qt.KeyboardModifier.NoModifier, " ", True))
    assert stand.told == []  # somebody kept it pressed from before
    stand.press()
    for kind in (QEvent.Type.KeyRelease, QEvent.Type.KeyPress) * 3:
        QApplication.sendEvent(stand.focus(), QKeyEvent(kind, Qt.Key.Key_Space, Qt.KeyboardModifier.NoModifier, " ", True))
    assert stand.told == [acts.AskAir()]
    assert stand.panel.air_key.down


def test_a_list_that_is_open_meanwhile_does_not_keep_the_release(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    stand.press()
    box = QComboBox(stand.whole)
    box.addItems(["one", "two"])
    box.show()
    box.showPopup()
    opened = QApplication.activePopupWidget()
    assert opened is not None
    QTest.keyRelease(opened, Qt.Key.Key_Space)  # a list that is open takes the keys for itself
    assert stand.told == [acts.AskAir(), acts.LetGo()]
    box.hidePopup()


def test_a_menu_that_is_open_meanwhile_does_not_keep_the_release(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    stand.press()
    menu = QMenu(stand.whole)
    menu.addAction("one")
    menu.popup(stand.whole.mapToGlobal(stand.whole.rect().center()))
    QTest.keyRelease(menu, Qt.Key.Key_Space)
    assert stand.told == [acts.AskAir(), acts.LetGo()]
    menu.close()


@pytest.mark.parametrize("how", ["window", "hidden", "another window"])
def test_whatever_leaves_it_unsure_that_it_is_held_lets_go(stand: Stand, how: str) -> None:
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    stand.press()
    other = QWidget()
    if how == "window":
        QApplication.sendEvent(stand.whole, QEvent(QEvent.Type.WindowDeactivate))
    elif how == "hidden":
        stand.panel.hide()
    else:
        other.show()
        other.activateWindow()
        QTest.qWaitForWindowActive(other)
    assert stand.told == [acts.AskAir(), acts.LetGo()]
    other.close()


def test_it_is_the_air_key_wherever_the_focus_goes_meanwhile(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    stand.press()
    stand.show(Step("hold", "PRESSURISED: air stays on"), State.HOLDING)
    stand.elsewhere.setFocus()
    stand.let_go()
    assert stand.told == [acts.AskAir(), acts.LetGo()]
    assert stand.elsewhere.text() == ""


def test_a_press_that_is_over_does_not_let_go_of_the_next(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    stand.press()
    stand.let_go()
    stand.show(Step("wait", "PRESSURISED: air is on"), State.FILLING)
    stand.press()  # with air on, a second press is nothing; only the first could be let go
    stand.let_go()
    assert stand.told == [acts.AskAir(), acts.LetGo()]


def test_the_button_is_held_as_the_key_is(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    button = stand.button("Space")
    QTest.mousePress(button, Qt.MouseButton.LeftButton)
    assert stand.told == [acts.AskAir()]
    QTest.mouseMove(button, QPoint(button.width() + 40, button.height() + 40))
    QTest.mouseRelease(button, Qt.MouseButton.LeftButton, pos=QPoint(button.width() + 40, 5))
    assert stand.told == [acts.AskAir(), acts.LetGo()]


# ---------------------------------------------------------------------- the countdown


def test_with_the_countdown_a_press_arms_and_another_calls_it_off(make_stand: Callable[..., Stand]) -> None:
    stand = make_stand("countdown")
    stand.confirm_cautions()
    stand.show(READY, State.READY)
    stand.key(Qt.Key.Key_Space)
    assert stand.told == [acts.AskAir()]  # letting go is nothing here
    stand.show(Step("wait", "air is coming: keep clear"), State.ARMED, countdown_until_s=stand.now_s + 2.0)
    assert stand.panel.figure.words.startswith(": 2 s")
    assert "Call it off" in stand.button("Space").text()
    stand.key(Qt.Key.Key_Space)
    assert stand.told == [acts.AskAir(), acts.LetGo()]


def test_with_the_countdown_a_press_with_air_on_shuts_and_vents(make_stand: Callable[..., Stand]) -> None:
    stand = make_stand("countdown")
    stand.confirm_cautions()
    stand.show(Step("wait", "PRESSURISED: air is on"), State.FILLING)
    stand.key(Qt.Key.Key_Space)
    assert stand.told == [acts.LetGo()]


# ---------------------------------------------------------------------- other rigs, and when it is not ready


def test_on_a_rig_with_a_switch_letting_go_of_the_key_is_nothing(make_stand: Callable[..., Stand]) -> None:
    stand = make_stand(scenario="hillclimb-before")
    stand.confirm_cautions()
    stand.show(Step("give_air", "ready for air: pressing the hold-to-run switch lets it in"), State.READY)
    assert "hold-to-run switch" in stand.seen()
    stand.key(Qt.Key.Key_Space)
    assert stand.told == [acts.AskAir()]  # the bench answers that its switch has to be pressed


def test_on_a_rig_with_hand_valves_the_key_never_ends_a_test(make_stand: Callable[..., Stand]) -> None:
    stand = make_stand(scenario="hillclimb-before-hand")
    stand.confirm_cautions()
    stand.show(Step("give_air", "ready for air: open the supply by hand"), State.READY)
    stand.press()
    stand.show(Step("wait", "PRESSURISED: air is on"), State.FILLING)
    stand.let_go()
    assert acts.LetGo() not in stand.told
    assert not any(button.isVisible() for button in stand.panel.findChildren(QPushButton) if "Space" in button.text())


def test_air_that_is_refused_is_refused_with_its_reasons(stand: Stand) -> None:
    stand.confirm_cautions()
    stand.show(Step("keep_still", "keep the crank still"))
    stand.panel.setFocus()
    stand.key(Qt.Key.Key_Space)
    assert stand.told == [acts.AskAir(), acts.LetGo()]
    refused = Told(999, 0.0, "refused", "Air refused: the crank moved 12 counts in the last second.")
    stand.panel.show_snapshot(replace(stand.desk.snapshot, told=(*stand.base.told, refused)))
    assert "the crank moved 12 counts" in stand.seen()
    stand.show(READY, State.READY)
    assert "the crank moved 12 counts" not in stand.seen()


def test_what_a_page_shows_first_never_stands_before_air_and_makes_the_key_deaf(stand: Stand) -> None:
    stand.confirm_cautions()
    begun: list[str] = []
    first = StepView("choose", "Next: cylinder 3", "It comes next.", "&Begin")
    stand.panel.put_first(first, begun.append)
    stand.show(READY, State.READY)
    assert stand.panel.view == first
    stand.key(Qt.Key.Key_Space)
    assert stand.told == []  # on the button it begins; for air it asks for nothing
    stand.key(Qt.Key.Key_Return)
    assert begun
    stand.show(Step("wait", "PRESSURISED: air is on"), State.FILLING)
    assert stand.panel.view.title == "Air is on"
    stand.panel.put_first(None)
    stand.show(READY, State.READY)
    assert stand.panel.view.air == "key"


# ---------------------------------------------------------------------- the hold


def test_h_keeps_the_air_on_and_g_lets_the_test_go_on(stand: Stand) -> None:
    stand.show(Step("wait", "PRESSURISED: air is on"), State.FILLING)
    stand.key(Qt.Key.Key_G)
    assert stand.told == []
    stand.key(Qt.Key.Key_H)
    stand.show(Step("hold", "PRESSURISED: air stays on"), State.HOLDING, state_since_s=stand.now_s - 20.0)
    assert stand.panel.figure.words.startswith(": 40 s")
    stand.key(Qt.Key.Key_H)
    stand.key(Qt.Key.Key_G)
    assert stand.told == [acts.SetHold(True), acts.SetHold(True), acts.SetHold(False)]
