"""Tests at the places of a cylinder through the findings page, on the built-in rig in virtual time, by the person's own acts."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from borewright.app.desk import Desk
from borewright.app.settings import Settings
from borewright.core.readiness_table import State
from borewright.service import acts
from PySide6.QtWidgets import QApplication

from .findings_hand import FindingsHand, SwitchPerson, job_in
from .virtual_desk import bench_time, bench_until, open_desk

SCENARIO = "hillclimb-before"
CAP: dict[str, object] = {"coolant_cap_kpa": 110}  # so that the coolant may be stopped
RINGS_MM2 = 0.36  # the truth at cylinder 1, at full pressure


@pytest.fixture(scope="module")
def desk_at_rig(qapp: QApplication, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """The rig checked, a job on its engine open; one cylinder for all tests of this file, in their order."""
    assert qapp is not None
    folder = tmp_path_factory.mktemp("findings")
    record = folder / "shop.borewright"
    job = job_in(record, SCENARIO, CAP)
    desk, close = open_desk(record, folder, SCENARIO, Settings(theme="light", who="Ada"))
    bench_time(desk, 1.0)
    desk.open_job(job)
    bench_until(desk, lambda: desk.snapshot.state is not None and desk.snapshot.state.engine is not None)
    SwitchPerson(desk, lambda reached: bench_until(desk, reached)).check_rig(1)
    yield desk
    close()


@pytest.fixture
def hand(desk_at_rig: Desk) -> Iterator[FindingsHand]:
    """At the page of that desk."""
    made = FindingsHand(desk_at_rig)
    yield made
    made.close()


def test_what_is_heard_with_the_air_held_on_is_kept_with_the_test(hand: FindingsHand) -> None:
    page = hand.page
    page.choose_cylinder(2)  # the page goes to where the air is by itself
    page.choose_cylinder(1)
    hand.tab(page.tests)
    hand.click(page.tests.begin)
    hand.follow(lambda: hand.state.readiness.state is State.FILLING)
    hand.wait(1.5)
    hand.click(hand.button("Hold: look and listen", page.step))
    hand.until(lambda: hand.state.readiness.state is State.HOLDING)
    assert "Air is on in cylinder 1, leakage now" in hand.seen()
    hand.click(page.section.button("coolant"))
    hand.key("3")
    hand.key("b")
    hand.key("s")
    hand.click(page.section.button("exhaust"))
    hand.click(page.bar.buttons["none"])
    hand.wait(1.0)
    assert hand.heard() == [(1, "coolant", "strong", None), (1, "breather", "steady", None), (1, "exhaust", "none", None)]
    assert page.section.button("coolant").mark.strength == "strong"
    hand.click(hand.button("Go on (G)", page.step))
    hand.follow(lambda: page.tests.course is None)
    said = page.tests.words
    assert "Cylinder 1: what came of it" in said
    assert "the test: leak area" in said
    done = hand.desk.snapshot.done[-1]
    assert {one.capture_id for one in hand.findings() if one.kind == "heard"} == {done.capture_id}
    assert done.void_reason is None


def test_a_flow_test_through_the_panel(hand: FindingsHand) -> None:
    page = hand.page
    hand.click(page.section.button("breather"))
    hand.tab(page.tests)
    hand.click(page.tests.kinds["flow"])
    assert "Breather: take an orifice of at least" in hand.seen(page.tests)
    hand.type("Effective area of your orifice at low pressure, by its certificate", "2")
    hand.click(page.tests.begin)
    assert "an orifice of 2 mm² could bring the breather over its 5 kPa" in page.tests.wrong
    assert page.tests.course is None
    hand.type("Effective area of your orifice at low pressure, by its certificate", "40")
    hand.type("Its uncertainty, k = 2 (4 % where nothing is stated: a rule of this project)", "2 %")
    hand.click(page.tests.begin)
    assert hand.cautions[-1] == "flow test"
    hand.follow(lambda: page.tests.course is None)
    said = page.tests.words
    assert "with the orifice on the breather: leak area" in said
    assert "kPa before the orifice, a leak of" in said
    (flow,) = [one for one in hand.findings() if one.kind == "flow"]
    assert (flow.cylinder, flow.place, flow.detail["u_orifice_relative"]) == (1, "breather", 0.01)
    found_mm2 = float(said.partition("a leak of ")[2].split(" ")[0])
    assert found_mm2 == pytest.approx(RINGS_MM2, rel=0.15)
    assert hand.rig.metered == ()  # the last leg had it taken off
    assert hand.state.fitted == acts.FitPlaces()
    assert hand.state.purpose == acts.Purpose("test", 1)


def test_a_stop_off_goes_down_reads_twice_and_comes_back_to_the_test_pressure(hand: FindingsHand) -> None:
    page = hand.page
    hand.tab(page.tests)
    hand.click(page.tests.kinds["stop"])
    assert not page.tests.forms["stop"].places.choices["exhaust"].isEnabled()  # type: ignore[attr-defined]
    hand.click(page.tests.forms["stop"].places.choices["coolant"])  # type: ignore[attr-defined]
    assert "With these stopped the supply has 99 kPa at most." in hand.seen(page.tests)
    hand.type("Regulator set to", "120")
    hand.click(page.tests.begin)
    assert "with these places stopped the regulator gives 96 kPa at most" in page.tests.wrong
    hand.type("Regulator set to", "65")
    hand.click(page.tests.begin)
    assert hand.cautions[-1] == "stop-off test"
    course = page.tests.course
    assert course is not None
    assert [leg.key for leg in course.legs] == ["prove", "reference", "read", "take_off", "back"]
    hand.follow(lambda: page.tests.course is None)
    said = page.tests.words
    assert "nothing stopped: leak area" in said
    assert "coolant stopped: leak area" in said
    assert "less leaks with coolant stopped: leak area" in said
    assert "the regulator gives the test pressure again" in said
    assert hand.rig.stopped == ()
    assert hand.rig.regulator_gauge_pa == pytest.approx(551_580.0, rel=0.02)
    kinds = [one.kind for one in hand.findings()]
    assert kinds.count("stop_gauge") == 1


def test_broken_off_with_the_air_on_it_vents_and_goes_back(hand: FindingsHand) -> None:
    page = hand.page
    hand.tab(page.tests)
    hand.click(page.tests.kinds["flow"])
    hand.click(page.section.button("breather"))
    hand.type("Effective area of your orifice at low pressure, by its certificate", "40")
    hand.click(page.tests.begin)
    hand.follow(lambda: hand.state.readiness.state is State.FILLING)
    hand.click(page.tests.leave)
    hand.until(lambda: not hand.state.readiness.locked)
    hand.at_rig("hold release")
    course = page.tests.course
    assert course is not None
    assert course.leg is not None
    assert course.leg.key == "take_off"
    hand.follow(lambda: page.tests.course is None)
    assert hand.rig.metered == ()
    assert hand.desk.snapshot.done[-1].void_reason is not None


def test_oil_that_is_in_is_said_and_kept_when_a_wet_test_is_broken_off(hand: FindingsHand) -> None:
    page = hand.page
    hand.tab(page.tests)
    hand.click(page.tests.kinds["wet"])
    hand.type("Dose, measured with a syringe", "9")
    hand.click(page.tests.begin)
    assert "hydraulic lock" in page.tests.wrong
    hand.type("Dose, measured with a syringe", "3")
    hand.click(page.tests.begin)
    assert hand.cautions[-1] == "wet test"
    hand.follow(lambda: hand.state.oil is not None)
    hand.click(page.tests.leave)
    assert page.tests.course is None
    assert any("oil is in cylinder 1" in notice for notice in hand.notices)
    assert hand.findings()[-1].detail == {"text": "3 cm³ of oil were put in; no wet test was completed"}


def test_a_wet_test_is_held_against_the_dry_one(hand: FindingsHand) -> None:
    page = hand.page
    hand.tab(page.tests)
    hand.click(page.tests.kinds["wet"])
    hand.type("Dose, measured with a syringe", "3")
    hand.click(page.tests.begin)
    hand.follow(lambda: page.tests.course is None)
    hand.until(lambda: "with oil" in page.tests.words)
    assert "wet: leak area" in page.tests.words
    hand.tab(page.where)
    assert "Wet test: with oil" in page.where.words
    assert "the rings and the bore are where to look" in page.where.words
