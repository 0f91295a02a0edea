"""The built-in rig's panel, by mouse and keys: what is done on it is done at the rig, and it shows what is to be seen there."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from boresim.words import HELP
from borewright.app.builtin.crank_model import crank_picture
from borewright.app.builtin.crank_view import CrankView
from borewright.app.builtin.operator_air import AirControls, HoldSwitch
from borewright.app.builtin.operator_model import Showing, new_troubles, show_me
from borewright.app.builtin.operator_panel import OperatorPanel
from borewright.app.builtin.operator_places import PlaceControls
from borewright.app.builtin.operator_stand import StandControls
from borewright.app.desk import Desk
from borewright.service import acts
from borewright.service.guide import Step
from borewright.simrig.builtin import BuiltInRig
from borewright.simrig.rig_view import BuiltInView
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QComboBox, QWidget

from .screen_person import ScreenPerson
from .virtual_desk import bench_time, bench_until

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def make_panel(make_desk: Callable[..., Desk]) -> Iterator[Callable[..., tuple[OperatorPanel, Desk]]]:
    shown: list[OperatorPanel] = []

    def make(scenario: str = "hillclimb-before") -> tuple[OperatorPanel, Desk]:
        desk = make_desk(scenario=scenario)
        panel = OperatorPanel(desk)
        desk.snapshot_changed.connect(panel.show_snapshot)
        panel.resize(420, 1300)
        panel.show()
        panel.activateWindow()
        bench_time(desk, 1.0)
        shown.append(panel)
        return panel, desk

    yield make
    for panel in shown:
        panel.close()
        panel.deleteLater()


@pytest.fixture
def panel_and_desk(make_panel: Callable[..., tuple[OperatorPanel, Desk]]) -> tuple[OperatorPanel, Desk]:
    return make_panel()


def seen(desk: Desk) -> BuiltInView:
    view = desk.snapshot.rig
    assert isinstance(view, BuiltInView)
    return view


def button(panel: QWidget, name: str) -> QAbstractButton:
    found = [one for one in panel.findChildren(QAbstractButton) if one.accessibleName() == name]
    assert len(found) == 1, name
    return found[0]


def press(panel: QWidget, name: str) -> None:
    QTest.mouseClick(button(panel, name), LEFT)


def crank_of(panel: OperatorPanel) -> CrankView:
    found = panel.findChild(CrankView)
    assert found is not None
    return found


# ---------------------------------------------------------------------- the crank


def test_the_crank_follows_the_mouse(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    crank, before = crank_of(panel), seen(desk).crank_deg
    picture = crank.picture()
    assert picture is not None
    middle = QPoint(round(picture.x), round(picture.y))
    out = round(picture.radius)
    QTest.mousePress(crank, LEFT, pos=middle + QPoint(0, -out))
    for to in (QPoint(out, -out), QPoint(out, 0), QPoint(out, out), QPoint(0, out)):  # clockwise, half a turn
        QTest.mouseMove(crank, middle + to)
        bench_time(desk, 0.3)
    QTest.mouseRelease(crank, LEFT, pos=middle + QPoint(0, out))
    bench_until(desk, lambda: not seen(desk).turning)
    assert (seen(desk).crank_deg - before) % 720.0 == pytest.approx(180.0, abs=3.0)


def test_a_mouse_that_only_passes_turns_nothing(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    crank, before = crank_of(panel), seen(desk).crank_deg
    QTest.mouseMove(crank, QPoint(10, 10))
    QTest.mouseMove(crank, QPoint(60, 90))
    bench_time(desk, 1.0)
    assert seen(desk).crank_deg == before


@pytest.mark.parametrize(
    ("key", "held", "turned_deg"),
    [
        (Qt.Key.Key_Right, Qt.KeyboardModifier.NoModifier, 1.0),
        (Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier, -10.0),
        (Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier, 90.0),
        (Qt.Key.Key_PageUp, Qt.KeyboardModifier.NoModifier, 360.0),
        (Qt.Key.Key_PageDown, Qt.KeyboardModifier.NoModifier, -360.0),
    ],
)
def test_the_crank_is_keyed(
    panel_and_desk: tuple[OperatorPanel, Desk], key: Qt.Key, held: Qt.KeyboardModifier, turned_deg: float
) -> None:
    panel, desk = panel_and_desk
    before = seen(desk).crank_deg
    QTest.keyClick(crank_of(panel), key, held)
    bench_time(desk, 0.1)
    bench_until(desk, lambda: not seen(desk).turning)
    assert (seen(desk).crank_deg - before - turned_deg + 360.0) % 720.0 - 360.0 == pytest.approx(0.0, abs=0.3)


def test_steady_turning_and_the_hand_off(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    QTest.keyClick(crank_of(panel), Qt.Key.Key_S)
    bench_time(desk, 4.0)
    assert seen(desk).turning
    QTest.keyClick(crank_of(panel), Qt.Key.Key_X)
    bench_time(desk, 1.0)
    assert not seen(desk).turning


# ---------------------------------------------------------------------- hose, switch, levers, places


def test_the_hose_goes_where_it_is_told_by_mouse_and_by_digit(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    press(panel, "Hose: capped")
    bench_until(desk, lambda: seen(desk).hose_at == "capped")
    assert button(panel, "Hose: capped").isChecked()
    QTest.keyClick(crank_of(panel), Qt.Key.Key_3)
    bench_until(desk, lambda: seen(desk).hose_at == 3)
    bench_time(desk, 0.2)
    assert button(panel, "Hose: in cylinder 3").isChecked()
    assert not button(panel, "Hose: capped").isChecked()
    QTest.keyClick(crank_of(panel), Qt.Key.Key_0)
    bench_until(desk, lambda: seen(desk).hose_at == "off")


def test_the_hold_switch_is_let_go_with_the_mouse_and_when_the_window_is_left(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    hand = button(panel, "Hold-to-run switch, by hand")
    QTest.mousePress(hand, LEFT)
    bench_until(desk, lambda: seen(desk).hold_pressed)
    QTest.mouseRelease(hand, LEFT)
    bench_until(desk, lambda: not seen(desk).hold_pressed)
    hand.setFocus()
    QTest.keyPress(hand, Qt.Key.Key_Space)
    bench_until(desk, lambda: seen(desk).hold_pressed)
    crank_of(panel).setFocus()  # the hand is called away
    bench_until(desk, lambda: not seen(desk).hold_pressed)


def test_a_foot_stays_on_the_switch_until_it_is_taken_off(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    press(panel, "Hold-to-run switch, with the foot")
    bench_until(desk, lambda: seen(desk).hold_pressed)
    bench_time(desk, 3.0)
    assert seen(desk).hold_pressed
    press(panel, "Hold-to-run switch, with the foot")
    bench_until(desk, lambda: not seen(desk).hold_pressed)


def test_only_a_rig_with_hand_valves_has_levers_and_only_one_with_a_switch_has_that(
    make_panel: Callable[..., tuple[OperatorPanel, Desk]],
) -> None:
    panel, desk = make_panel("hillclimb-before-hand")
    assert (panel.findChild(HoldSwitch) is not None) is seen(desk).hold_fitted
    press(panel, "Vent shut")
    bench_until(desk, lambda: not seen(desk).vent_open)
    press(panel, "Supply valve open")
    bench_until(desk, lambda: seen(desk).supply_open)
    bench_time(desk, 0.5)
    assert button(panel, "Supply valve open").isChecked()
    press(panel, "Supply valve shut")
    press(panel, "Vent open")
    bench_until(desk, lambda: seen(desk).vent_open and not seen(desk).supply_open)
    other, _ = make_panel("hillclimb-before")
    assert not [one for one in other.findChildren(QAbstractButton) if one.accessibleName() == "Vent open"]


def test_regulator_and_restraint_go_by_the_units_that_are_shown(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    desk.choose_units({"pressure_gauge": "psi", "torque": "lb·ft"})
    air = panel.findChild(AirControls)
    assert air is not None
    assert air._set_to.suffix() == " psi"
    air._set_to.setValue(60.0)
    press(panel, "Set the regulator")
    press(panel, "Put the restraint on")
    bench_until(desk, lambda: seen(desk).restraint_nm is not None)
    assert seen(desk).regulator_gauge_pa == pytest.approx(60.0 * 6894.757, rel=1e-4)
    assert seen(desk).restraint_nm == pytest.approx(40.0, rel=0.01)


def test_places_are_stopped_metered_and_wetted(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    places = panel.findChild(PlaceControls)
    assert places is not None
    for box in places.findChildren(QComboBox):
        if box.accessibleName() == "Cylinder to work at":
            box.setCurrentText("2")
    press(panel, "Stop this place")
    press(panel, "Pour oil into the cylinder")
    bench_until(desk, lambda: not seen(desk).busy)
    assert seen(desk).stopped == ((2, "intake"),)
    assert seen(desk).oil_cm3 == ((2, 5.0),)
    press(panel, "Free this place")
    press(panel, "Orifice onto this place")
    bench_until(desk, lambda: not seen(desk).busy)
    assert (seen(desk).stopped, seen(desk).metered) == ((), ((2, "intake", 2.0),))
    assert seen(desk).place_gauges[0][:2] == (2, "intake")


def test_what_cannot_be_done_is_noticed(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    notices: list[str] = []
    desk.noticed.connect(lambda _level, text: notices.append(text))
    press(panel, "Take a check valve out of the adapter")
    bench_time(desk, 0.5)
    assert notices == ["at the built-in rig: there is no check valve in the adapter"]
    panel.tell("crank -211")  # the first piston to its top
    bench_until(desk, lambda: not seen(desk).turning)
    press(panel, "Screw the piston stop in")
    bench_until(desk, lambda: len(notices) > 1)
    assert "stands too high for the stop" in notices[1]


def test_the_cable_is_pulled_and_put_back_without_a_new_start(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    press(panel, "Cable out")
    bench_until(desk, lambda: desk.snapshot.link.kind == "lost")
    press(panel, "Cable in")
    bench_until(desk, lambda: desk.snapshot.link.kind == "open")
    assert seen(desk).plugged


def test_another_scenario_is_put_on_the_stand_and_shows_its_own_engine(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    stand = panel.findChild(StandControls)
    assert stand is not None
    stand.entered()
    bench_time(desk, 0.3)
    names = stand.findChild(QComboBox)
    assert names is not None
    assert names.count() > 10
    names.setCurrentText("v-twin-uneven")
    press(panel, "Put this scenario on the stand")
    bench_until(desk, lambda: desk.snapshot.link.kind == "open" and "v-twin" in desk.snapshot.link.port)
    bench_time(desk, 0.5)
    assert desk.builtin is not None
    assert desk.builtin.facts.firing_order != (1, 3, 4, 2)
    assert not [one for one in panel.findChildren(QAbstractButton) if one.accessibleName() == "Hose: in cylinder 4"]


# ---------------------------------------------------------------------- show me


def test_the_show_me_key_does_what_the_step_asks_and_tells_the_program_nothing(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, desk = panel_and_desk
    bench_time(desk, 2.0)
    ScreenPerson(desk, lambda reached: bench_until(desk, reached)).take_zero()
    desk.tell(acts.SetPurpose(acts.Purpose("sealed")))
    bench_until(desk, lambda: desk.snapshot.step is not None and desk.snapshot.step.key == "place_hose")
    QTest.keyClick(crank_of(panel), Qt.Key.Key_F8)
    bench_until(desk, lambda: seen(desk).hose_at == "capped")
    bench_time(desk, 1.0)
    state = desk.snapshot.state
    assert state is not None
    assert state.hose is None  # that it is so, the person still has to say


def test_show_me_never_lets_air_in(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    _, desk = panel_and_desk
    assert desk.builtin is not None
    shown = show_me(Step("give_air", "ready for air", acts.AskAir()), desk.snapshot.state, seen(desk), desk.builtin.facts)
    assert shown.words == ()
    assert "your own act" in shown.text


def test_what_is_shown_is_carried_on_until_the_step_is_another(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    _, desk = panel_and_desk
    assert desk.builtin is not None
    state, view, facts = desk.snapshot.state, seen(desk), desk.builtin.facts
    step = Step("squeeze_turn", "turn", turn_deg=120.0)
    showing = Showing()
    assert showing.words(step, state, view, facts) == ()
    showing.begin(step, view)
    assert showing.carries_on(step)
    assert showing.words(step, state, view, facts)[-1].startswith("turn +240")
    assert showing.words(Step("wait", "wait"), state, view, facts) == ()
    assert not showing.carries_on(step)


def test_troubles_are_told_once() -> None:
    rig = BuiltInRig("hillclimb-before", speed=None)
    port = rig.open()
    port.timeout = 0.5
    before = rig.view()
    rig.do("piston-stop 2")  # its piston stands high at the start
    for _ in range(40):
        port.read(4096)
    now = rig.view()
    assert len(new_troubles(before, now)) == 1
    assert new_troubles(now, now) == ()


# ---------------------------------------------------------------------- what it is and how it looks


def test_every_word_of_the_person_has_its_control(
    make_panel: Callable[..., tuple[OperatorPanel, Desk]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """But those that are needed only without a screen: to (the crank is turned), the senses (they are shown), wait, busy, help; and
    fault, which is for tests."""
    said: set[str] = set()
    for scenario in ("hillclimb-before-hand", "decompression-held-open", "hillclimb-before"):
        panel, desk = make_panel(scenario)
        monkeypatch.setattr(desk, "at_rig", lambda words: said.add(words.split()[0]))
        for one in panel.findChildren(QAbstractButton):
            if one.accessibleName() not in ("Put this scenario on the stand", "Prepare a practice job for this engine"):
                one.click()
    without = {"fault", "to", "listen", "gauge", "place-gauge", "look", "wait", "busy", "help"}
    assert said - {"speed"} == set(HELP) - without


def test_every_control_has_a_name_and_can_be_reached_by_tab(panel_and_desk: tuple[OperatorPanel, Desk]) -> None:
    panel, _ = panel_and_desk
    for one in panel.findChildren(QAbstractButton):
        if one.parent() is None or type(one.parent()).__name__ in ("QTabBar", "QTabWidget"):
            continue
        assert one.accessibleName(), one.text()
        assert one.focusPolicy() & Qt.FocusPolicy.TabFocus, one.text()
        assert one.toolTip()


@pytest.mark.parametrize("size", [(400.0, 200.0), (250.0, 150.0), (900.0, 300.0)])
@pytest.mark.parametrize("scenario", ["check-valve-left-in", "hillclimb-before", "lime-eight"])
def test_the_drawing_keeps_inside_its_room(size: tuple[float, float], scenario: str) -> None:
    picture = crank_picture(BuiltInRig(scenario, speed=None).view(), *size, 16.0)
    width, height = size
    assert picture.x - picture.radius >= 0.0
    assert picture.y + picture.radius <= height
    right = picture.x + picture.radius
    for slot in picture.slots:
        assert slot.x >= right
        assert slot.x + slot.width <= width
        assert slot.y <= slot.piston_y
        assert slot.piston_y + slot.piston_height <= slot.y + slot.height + 1.0
        right = slot.x + slot.width
