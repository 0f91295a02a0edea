"""What must not go wrong at the window: air at the wrong TDC or in the wrong hole, a crank that runs, a cable that is pulled."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from borewright.core.readiness_table import State
from borewright.simrig.practice import prepared_checks
from borewright.store.store import Store
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from .keyboard import Keyboard
from .round_hand import keyed_scenario, new_job
from .virtual_desk import BEGAN_UNIX_S, DAY_S, open_desk

AIR_ON = {State.PUFFING, State.WATCHING, State.FILLING, State.HOLDING, State.ISOLATED}


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A record in which the checks of the rig hold and a job is begun, and its scenario."""
    folder = tmp_path_factory.mktemp("checked")
    scenario, record = keyed_scenario(folder), folder / "checked.borewright"
    with Store.open(record) as store:
        for check in prepared_checks(store, scenario, BEGAN_UNIX_S + 30 * DAY_S):
            store.add_rig_check(check)
    new_job(record, scenario)
    return record, scenario


@pytest.fixture
def keyboard(qapp: QApplication, checked: tuple[Path, str], tmp_path: Path) -> Iterator[Keyboard]:
    """Somebody at the window with the job open and the first test begun."""
    assert qapp is not None
    record = Path(shutil.copy(checked[0], tmp_path / "shop.borewright"))
    desk, close = open_desk(record, tmp_path, checked[1])
    made = Keyboard(desk)
    made.until(lambda: desk.snapshot.link.kind == "open")
    desk.open_job(1)
    made.wait(0.5)
    made.enter()
    made.until(lambda: made.state.purpose.kind == "test" and made.state.zero is None)
    yield made
    made.window.close()
    close()


def at_rig(keyboard: Keyboard, words: str) -> None:
    keyboard.desk.at_rig(words)
    keyboard.wait(0.2)
    keyboard.until(lambda: not keyboard.rig.busy and not keyboard.rig.turning)


def supply_openings(keyboard: Keyboard) -> int:
    return keyboard.state.opening_number


def test_a_screen_that_stands_still_while_the_key_is_held_ends_the_air(keyboard: Keyboard, monkeypatch: pytest.MonkeyPatch) -> None:
    station = keyboard.desk.station
    keyboard.follow_until("give_air")
    keyboard.press_air()
    keyboard.until(lambda: keyboard.state.readiness.state is State.FILLING)
    monkeypatch.setattr(station, "_unseen_s", -1.0)  # nobody has looked for longer than may be
    keyboard.until(lambda: not keyboard.rig.supply_open and keyboard.rig.vent_open)
    keyboard.until(lambda: not keyboard.state.pressurised)
    assert any(told.level == "alarm" and "stood still" in told.text for told in keyboard.desk.snapshot.told)
    keyboard.let_go()


def test_air_at_overlap_tdc_is_refused(keyboard: Keyboard) -> None:
    keyboard.follow_until("give_air")
    at_rig(keyboard, "restrain off")
    at_rig(keyboard, "turn +360 rpm 20")
    openings = supply_openings(keyboard)
    keyboard.press_air()
    keyboard.wait(1.0)
    keyboard.let_go()
    assert supply_openings(keyboard) == openings
    assert not keyboard.state.pressurised
    assert keyboard.rig.supply_open is False
    assert "overlap" in keyboard.seen()


def test_with_the_hose_in_the_neighbour_it_never_becomes_ready(keyboard: Keyboard) -> None:
    keyboard.follow_until("begin_squeeze")
    cylinder = keyboard.state.purpose.cylinder
    neighbour = next(n for n in (1, 2, 3, 4) if abs(n - cylinder) == 1)
    at_rig(keyboard, f"hose {neighbour}")
    for _ in range(12):
        keyboard.follow()
        assert keyboard.step != "give_air"
        if keyboard.state.verdict is not None:
            break
    assert keyboard.state.verdict is not None
    assert keyboard.state.verdict.kind != "compression"
    assert keyboard.state.hose_evidence is None
    assert supply_openings(keyboard) == 0


def test_a_crank_that_runs_away_ends_the_test_shut_and_vented(keyboard: Keyboard) -> None:
    keyboard.follow_until("give_air")
    before = len(keyboard.desk.snapshot.done)
    keyboard.press_air()
    keyboard.until(lambda: keyboard.state.readiness.state is State.FILLING)
    keyboard.desk.at_rig("restrain off")
    keyboard.desk.at_rig("turn +20 rpm 60")
    keyboard.until(lambda: keyboard.state.readiness.state not in AIR_ON)
    assert "PRESSURISED" in keyboard.seen()  # until the gauges are down, on every page
    keyboard.until(lambda: len(keyboard.desk.snapshot.done) > before)
    keyboard.let_go()
    done = keyboard.desk.snapshot.done[-1]
    assert done.void_reason is not None
    assert "crank" in done.void_reason
    assert not keyboard.rig.supply_open
    assert keyboard.rig.vent_open


def test_while_the_piston_squeezes_the_band_says_so(keyboard: Keyboard) -> None:
    keyboard.follow_until("squeeze_turn")
    keyboard.wait(0.3)
    assert "SQUEEZE" in keyboard.seen()
    assert "undo nothing until the vent is open" in keyboard.seen()
    keyboard.follow_until("turn_to_tdc")
    assert "SQUEEZE" not in keyboard.seen()


def test_the_band_stands_from_the_puff_until_all_is_vented(keyboard: Keyboard) -> None:
    keyboard.follow_until("give_air")
    keyboard.press_air()
    keyboard.until(lambda: keyboard.state.readiness.state is State.PUFFING)
    shown: dict[State, set[bool]] = {}

    def look() -> bool:
        state = keyboard.state.readiness.state
        shown.setdefault(state, set()).add("PRESSURISED" in keyboard.seen())
        return state is State.ISOLATED

    keyboard.until(look)
    keyboard.let_go()
    assert {State.PUFFING, State.WATCHING, State.FILLING} <= shown.keys()
    assert set().union(*shown.values()) == {True}


def test_letting_go_shuts_and_vents(keyboard: Keyboard) -> None:
    keyboard.follow_until("give_air")
    keyboard.press_air()
    keyboard.until(lambda: keyboard.state.readiness.state is State.FILLING)
    keyboard.let_go()
    keyboard.until(lambda: not keyboard.rig.supply_open)
    keyboard.until(lambda: not keyboard.state.pressurised)
    assert keyboard.rig.vent_open
    assert keyboard.desk.snapshot.done[-1].void_reason is not None


@pytest.mark.parametrize("page", [1, 2, 3, 4, 5])
def test_esc_stops_on_every_page(keyboard: Keyboard, page: int) -> None:
    told: list[str] = []
    tell = keyboard.desk.tell
    keyboard.desk.tell = lambda act: (told.append(type(act).__name__), tell(act))[1]  # type: ignore[method-assign]
    keyboard.page(page)
    QTest.keyClick(keyboard.window.windowHandle(), Qt.Key.Key_Escape)  # as the desktop hands it over
    assert told.count("StopAll") == 1


def test_a_cable_that_is_pulled_and_put_back_needs_no_new_start(keyboard: Keyboard) -> None:
    keyboard.follow_until("turn_to_tdc")
    purpose = keyboard.state.purpose
    keyboard.desk.at_rig("unplug")
    keyboard.until(lambda: keyboard.desk.snapshot.link.kind == "lost")
    assert "No rig" in keyboard.seen() or "cable" in keyboard.seen()
    keyboard.desk.at_rig("plug")
    keyboard.until(lambda: keyboard.desk.snapshot.link.kind == "open")
    keyboard.wait(1.0)
    assert keyboard.state.purpose == purpose
    assert keyboard.state.engine is not None
    assert keyboard.state.checks.keys() >= {"zero", "sealed", "restrictor", "tdc"}
    keyboard.follow_until("give_air")  # with the evidence shown anew


def test_a_cable_that_is_pulled_with_air_on_stays_pressurised_on_the_screen(keyboard: Keyboard) -> None:
    keyboard.follow_until("give_air")
    keyboard.press_air()
    keyboard.until(lambda: keyboard.state.readiness.state is State.FILLING)
    keyboard.desk.at_rig("unplug")
    keyboard.until(lambda: keyboard.desk.snapshot.link.kind == "lost")
    keyboard.let_go()
    for page in (1, 2, 3, 4, 5):
        keyboard.page(page)
        assert "PRESSURISED" in keyboard.seen()
    assert "until its gauges are down" in keyboard.seen()
    keyboard.desk.at_rig("plug")
    keyboard.until(lambda: keyboard.desk.snapshot.link.kind == "open" and not keyboard.state.pressurised)
    assert keyboard.desk.snapshot.done[-1].void_reason is not None
