"""The page of the tests on the built-in rig in virtual time: a round by keys alone, from the choice of a cylinder to its result."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from borewright.app.desk import Desk
from borewright.app.settings import Settings
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.state import BenchState
from borewright.simrig.practice import prepared_checks
from borewright.store.store import Store
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QPushButton

from .round_hand import RoundHand, keyed_scenario, new_job
from .virtual_desk import BEGAN_UNIX_S, DAY_S, bench_time

LEAKAGE_1_PERCENT = 7.7  # cylinder 1 of the scenario on this rig, as its truth and its tests have it


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A record in which the checks of the rig without a switch hold on the day of the tests, and its scenario."""
    folder = tmp_path_factory.mktemp("checked")
    scenario, record = keyed_scenario(folder), folder / "checked.borewright"
    with Store.open(record) as store:
        for check in prepared_checks(store, scenario, BEGAN_UNIX_S + 30 * DAY_S):
            store.add_rig_check(check)
    return record, scenario


@pytest.fixture
def make_hand(make_desk: Callable[..., Desk], checked: tuple[Path, str], tmp_path: Path) -> Iterator[Callable[..., RoundHand]]:
    """Makes a hand at the page with a new job open; details: of the job; scenario: of the rig, without a switch of its own."""
    made: list[RoundHand] = []

    def make(details: dict[str, object] | None = None, scenario: str = checked[1]) -> RoundHand:
        record = Path(shutil.copy(checked[0], tmp_path / "shop.borewright"))
        job = new_job(record, scenario, details)
        desk = make_desk(record, scenario, Settings(theme="light", air_by="hold"))
        bench_time(desk, 1.0)
        desk.open_job(job)
        bench_time(desk, 0.5)
        made.append(RoundHand(desk))
        return made[-1]

    yield make
    for hand in made:
        hand.close()


@pytest.fixture
def hand(make_hand: Callable[..., RoundHand]) -> RoundHand:
    """A hand at the page, nothing tested yet."""
    return make_hand()


def to_ready(hand: RoundHand) -> None:
    """Begin with the cylinder that comes next, and follow the page until air may be let in."""
    hand.key(Qt.Key.Key_Return, wait_s=3.0)
    hand.follow_until("give_air")


def to_air(hand: RoundHand) -> None:
    """The same, and hold the key until the cylinder is filled."""
    to_ready(hand)
    hand.press_air()
    hand.until(lambda: hand.at is State.FILLING)
    hand.wait(1.5)


def zero_made_at_s(state: BenchState) -> float:
    return state.checks["zero"].made_at_unix_s


def test_a_round_by_keys_alone(hand: RoundHand) -> None:
    assert hand.title == "Cylinder 1 comes next"
    zeroed_at_s = zero_made_at_s(hand.state)
    hand.key(Qt.Key.Key_Return, wait_s=0.5)
    assert hand.title == "Taking the zeros"
    hand.wait(3.0)
    assert zero_made_at_s(hand.state) > zeroed_at_s  # before the first test of a round
    assert hand.state.purpose == acts.Purpose("test", 1)
    assert hand.state.carry_stroke
    hand.follow_until("turn_to_tdc")
    assert "To compression TDC" in hand.title
    hand.follow_until("give_air")
    assert "All eight conditions are met" in hand.seen()

    hand.press_air()
    hand.wait(0.5)
    assert hand.at is State.ARMED
    assert ": 3 s until air comes" in hand.page.step.figure.words
    hand.until(lambda: hand.at is State.WATCHING)
    assert "Air was let in on these" in hand.page.conditions.words  # and no remedy asks for anything to be turned
    hand.until(lambda: hand.at is State.FILLING)
    hand.wait(2.0)
    assert "PRESSURISED: turn and undo nothing" in hand.seen()
    caption, live = hand.page.figures.words[0].split(": ")
    assert caption == "Leakage, live"
    assert float(live.split()[0]) == pytest.approx(LEAKAGE_1_PERCENT, abs=1.0)
    hand.key(Qt.Key.Key_H)
    assert hand.at is State.HOLDING

    hand.key(Qt.Key.Key_F)  # the first place
    hand.key(Qt.Key.Key_5)
    hand.key(Qt.Key.Key_R)
    hand.key(Qt.Key.Key_3)  # at which cylinder
    hand.key(Qt.Key.Key_2)
    hand.key(Qt.Key.Key_N)
    assert hand.page.heard.noted == {"intake": "faint", "neighbours": "strong at cylinder 3", "exhaust": "none"}
    hand.key(Qt.Key.Key_G)
    assert hand.at is State.ISOLATED
    assert hand.state.purpose == acts.Purpose("test", 1)  # with air on no digit chooses a cylinder
    hand.until(lambda: not hand.state.readiness.locked)
    hand.let_go()
    hand.wait(1.0)

    (done,) = hand.desk.snapshot.done
    assert done.void_reason is None
    assert done.capture_id is not None
    result = done.done.analysed.result
    assert result is not None
    stated = next(budget for budget in done.done.analysed.budgets if budget.quantity == "leakage")
    assert f"± {stated.expanded():.2f}"[:6] in hand.page.figures.words[0]
    assert "leave it closed" in hand.page.results.words
    assert "Judged by common practice" in hand.page.results.words
    assert hand.title == "Cylinder 3 comes next"
    with Store.open(hand.desk.record, create=False) as store:
        assert hand.desk.job is not None
        heard = [(one.place, one.detail) for one in store.list_findings(hand.desk.job.id) if one.kind == "heard"]
    assert heard == [
        ("intake", {"strength": "faint"}),
        ("neighbours", {"strength": "strong", "neighbour": 3}),
        ("exhaust", {"strength": "none"}),
    ]

    zeroed_at_s = zero_made_at_s(hand.state)
    hand.key(Qt.Key.Key_Return, wait_s=0.5)
    assert hand.state.purpose == acts.Purpose("test", 3)
    assert zero_made_at_s(hand.state) == zeroed_at_s  # the zeros are those of the round
    assert hand.page.step.view.key == "place_hose"


def test_after_a_test_the_key_asks_for_no_air_until_another_is_begun(hand: RoundHand) -> None:
    to_air(hand)
    hand.until(lambda: len(hand.desk.snapshot.done) == 1 and not hand.state.readiness.locked)
    hand.let_go()
    hand.wait(1.0)
    hand.page.setFocus()
    hand.press_air()
    hand.wait(4.0)
    hand.let_go()
    assert hand.state.opening_number == 2  # puff and full opening of the test that was
    assert hand.at in (State.READY, State.VENTED)


def test_letting_go_too_early_is_void_and_the_reason_is_told(hand: RoundHand) -> None:
    to_air(hand)
    hand.let_go()
    hand.until(lambda: len(hand.desk.snapshot.done) == 1 and not hand.state.readiness.locked)
    hand.wait(0.5)
    assert hand.page.figures.words[0] == "Leakage, cylinder 1, test 1: VOID air was let go before the reading was steady"
    assert "Void: air was let go before the reading was steady" in hand.page.results.words
    assert hand.title == "Cylinder 3 comes next"  # the nearest that is still to come; the crank stands at 1
    hand.key(Qt.Key.Key_A)
    assert hand.title == "Cylinder 1 is chosen"
    assert "its test was void" in hand.page.step.view.text.lower()


def test_a_crank_that_moved_is_told_with_what_most_likely_let_it(hand: RoundHand) -> None:
    to_air(hand)
    hand.desk.at_rig("restrain off")
    hand.desk.at_rig("turn +30 rpm 20")
    hand.until(lambda: len(hand.desk.snapshot.done) == 1 and not hand.state.readiness.locked)
    hand.let_go()
    hand.wait(0.5)
    assert "The crank moved with air on" in hand.page.step.view.text
    assert "the restraint does not hold" in hand.page.step.view.text


def test_a_digit_or_a_click_chooses_and_b_goes_back(hand: RoundHand) -> None:
    hand.key(Qt.Key.Key_4)
    assert hand.title == "Cylinder 4 is chosen"
    hand.key(Qt.Key.Key_B)
    assert hand.title == "Cylinder 1 comes next"
    hand.page.strip.chosen.emit(2)
    hand.wait(0.2)
    assert hand.title == "Cylinder 2 is chosen"
    hand.key(Qt.Key.Key_9)
    assert hand.title == "Cylinder 2 is chosen"  # there is no ninth
    hand.key(Qt.Key.Key_Return, wait_s=3.5)
    assert hand.state.purpose == acts.Purpose("test", 2)
    assert hand.page.step.view.key == "find_index"
    hand.key(Qt.Key.Key_3)
    assert hand.title == "Cylinder 3 is chosen"  # under way, but without air
    hand.key(Qt.Key.Key_B)
    assert hand.page.step.view.key == "find_index"
    hand.key(Qt.Key.Key_B)
    assert hand.title == "Cylinder 1 comes next"


def test_s_skips_the_one_that_comes(hand: RoundHand) -> None:
    for expected in (1, 3, 4, 2):
        assert hand.title == f"Cylinder {expected} comes next"
        hand.key(Qt.Key.Key_S)
    assert hand.title == "All is tested"


def test_the_first_condition_that_is_not_met_stands_in_front_with_its_remedy(hand: RoundHand) -> None:
    hand.key(Qt.Key.Key_Return, wait_s=3.5)
    words = hand.page.conditions.words
    assert words.startswith("4 of 8 met. ✕ The index pulse has not been seen since power-up. Turn the crank two turns")
    assert "True TDC not met" in words
    assert "Link met" in words


def test_a_hot_test_asks_for_the_temperature_and_marks_what_is_cold(make_hand: Callable[..., RoundHand]) -> None:
    hand = make_hand({"hot": True})
    assert "temperature" in hand.seen()
    hand.type("a lot")
    assert "not a number" in hand.seen()
    hand.key(Qt.Key.Key_Backspace)
    hand.type("24")
    assert hand.desk.ambient.t_engine_k == pytest.approx(297.15)
    assert "a hot test was wanted and the engine was cold, 24 °C" in hand.desk.ambient.assumed
    hand.wait(3.0)
    hand.key(Qt.Key.Key_B)
    assert hand.page.step.view.question is None  # read just now
    hand.key(Qt.Key.Key_Return, wait_s=0.5)
    assert hand.desk.ambient.assumed.count("a hot test was wanted and the engine was cold, 24 °C") == 1


def test_another_page_may_begin_a_test_at_a_place_and_its_steps_show_here(hand: RoundHand) -> None:
    hand.desk.tell(acts.SetPurpose(acts.Purpose("test", 2, aim="place")))
    hand.wait(0.5)
    assert hand.page.step.view.key == "fit_places"  # that nothing is stopped is to be seen to
    assert hand.page.figures.words[0].startswith("Cylinder under test: 2")


def test_without_a_job_it_leads_to_the_jobs(hand: RoundHand) -> None:
    hand.desk.open_job(None)
    hand.wait(0.5)
    assert hand.title == "No job is open"
    button = next(b for b in hand.page.step.findChildren(QPushButton) if b.isVisible() and "Jobs" in b.text())
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)
    assert hand.asked_pages == ["Jobs"]


def test_a_cable_that_is_pulled_while_the_zeros_are_taken_and_put_back(hand: RoundHand) -> None:
    hand.desk.at_rig("unplug")
    hand.wait(1.0)  # so long the person takes to get to the cable
    hand.key(Qt.Key.Key_Return, wait_s=0.1)
    assert hand.title == "Taking the zeros"
    hand.until(lambda: hand.title == "The rig is not there")
    hand.desk.at_rig("plug")
    hand.until(lambda: hand.title == "Cylinder 1 comes next")
    assert "The zeros were not taken" in hand.page.step.view.text
    hand.key(Qt.Key.Key_Return, wait_s=0.1)
    assert hand.title == "Taking the zeros"


def test_on_a_rig_with_hand_valves_the_person_vents_before_the_zeros(make_hand: Callable[..., RoundHand]) -> None:
    hand = make_hand(scenario="hillclimb-before-hand")
    assert "each cylinder is squeezed" in hand.page.step.view.text
    hand.key(Qt.Key.Key_Return)
    assert hand.title == "The zeros come first"
    assert "by hand" in hand.page.step.view.text
    hand.key(Qt.Key.Key_Return)
    assert hand.title == "Taking the zeros"
    hand.until(lambda: hand.state.purpose == acts.Purpose("test", 1))


def test_no_step_of_what_was_before_flashes_up_when_a_test_begins(hand: RoundHand) -> None:
    shown: list[str] = []
    hand.desk.snapshot_changed.connect(lambda _snapshot: shown.append(hand.page.step.view.key))
    hand.key(Qt.Key.Key_Return, wait_s=3.5)
    assert [key for key, before in zip(shown, ["", *shown], strict=False) if key != before] == ["zero", "begin", "find_index"]


def test_nothing_is_cut_off_at_any_size(hand: RoundHand) -> None:
    to_air(hand)
    hand.key(Qt.Key.Key_H)
    for width, height in ((1280, 740), (952, 466)):
        hand.whole.resize(width + 20, height + 20)
        hand.wait(0.2)
        wanted = hand.page.minimumSizeHint()
        assert wanted.width() <= width
        assert wanted.height() <= height
        buttons = [one for one in hand.page.findChildren(QPushButton) if one.isVisible() and hand.page.step.isAncestorOf(one)]
        assert len(buttons) == 3  # hold on, go on, the air
        for button in buttons:
            assert button.width() >= button.minimumSizeHint().width(), button.text()
            corner = button.mapTo(hand.page.step, QPoint(button.width() - 1, button.height() - 1))
            assert hand.page.step.rect().contains(corner)
        assert f"{hand.page.step.view.hold_left_s} s" in hand.page.step.figure.words
    hand.let_go()
