"""A guided test at the places leg by leg: what is heard of captures, what is void, what is left when it is broken off."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest
from borewright.core.engine import Engine
from borewright.errors import UseError
from borewright.service.acts import Purpose
from borewright.service.place_course import Course, flow_course, listen_course, stop_course, wet_course
from borewright.service.place_tests import flow_test, orifice_fits, reference_reading, stop_pressure_pa, stop_test, wet_test
from borewright.service.snapshot import DoneView
from borewright.store.records import CaptureRecord

FOUR = Engine("four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6, coolant_cap_pa=110e3)
STOP = Purpose("test", 3, aim="place", stopped=("coolant",), asked_gauge_pa=8e4)


def done(number: int, purpose: Purpose | None, area_mm2: float = 0.5, void: str | None = None, check: bool = True) -> DoneView:
    result = SimpleNamespace(leak_area_m2=area_mm2 * 1e-6)
    analysed = SimpleNamespace(result=result, budgets=(), check=object() if check else None)
    return DoneView(
        number, cast(Any, SimpleNamespace(purpose=purpose, analysed=analysed)), capture_id=100 + number, void_reason=void
    )


def through(course: Course, *areas: float) -> Course:
    for number, area in enumerate(areas, course.after + 1):
        leg = course.leg
        assert leg is not None
        course = course.heard(done(number, leg.purpose, area)) if leg.purpose is not None else course.gone_on()
    return course


def test_a_stop_off_leg_by_leg_gives_the_difference() -> None:
    course = through(stop_course(STOP, None, 551_580.0, after=4), 0.0, 0.60, 0.35, 0.0, 0.0)
    assert course.leg is None
    assert course.read_test == 107
    areas = {one.what: one.area_m2 for one in course.told if one.area_m2 is not None}
    assert areas == pytest.approx(
        {"nothing stopped": 0.6e-6, "coolant stopped": 0.35e-6, "less leaks with coolant stopped": 0.25e-6}
    )


def test_a_reading_with_nothing_stopped_that_is_there_is_not_taken_again() -> None:
    kept = cast(CaptureRecord, SimpleNamespace(id=12, result={"leak_area_mm2": 0.6}))
    course = stop_course(STOP, kept, 551_580.0, after=0)
    assert [leg.key for leg in course.legs] == ["prove", "read", "take_off", "back"]
    assert course.told[0].test == 12
    assert course.reference_m2 == pytest.approx(0.6e-6)


def test_a_void_leg_is_made_again_and_says_why() -> None:
    course = stop_course(STOP, None, 551_580.0, after=0)
    assert course.leg is not None
    void = course.heard(done(1, course.leg.purpose, void="the crank moved"))
    assert (void.at, void.after) == (0, 1)
    assert "nothing is stopped before it is (the crank moved)" in void.trouble
    unproven = void.heard(done(2, course.leg.purpose, check=False))
    assert "(no reading)" in unproven.trouble
    gone_on = unproven.heard(done(3, course.leg.purpose))
    assert (gone_on.at, gone_on.trouble) == (1, "")


def test_a_capture_of_something_else_changes_nothing() -> None:
    course = flow_course(Purpose("test", 3, aim="place", flow_place="breather", flow_orifice_m2=2e-5), after=0)
    after = course.heard(done(1, Purpose("test", 3)))
    assert (after.at, after.after, after.told) == (0, 1, ())


@pytest.mark.parametrize(
    ("legs_over", "left"),
    [(0, ["take_off", "back"]), (2, ["take_off", "back"]), (3, ["take_off", "back"]), (4, [])],
)
def test_broken_off_what_was_put_on_comes_off_and_the_regulator_goes_back(legs_over: int, left: list[str]) -> None:
    course = stop_course(STOP, None, 551_580.0, after=0)
    for _ in range(legs_over):
        course = course.gone_on()
    assert [leg.key for leg in course.broken_off().legs[course.at :]] == left


def test_a_flow_or_wet_test_that_is_broken_off_moves_no_regulator() -> None:
    flow = flow_course(Purpose("test", 3, aim="place", flow_place="breather", flow_orifice_m2=2e-5), after=0)
    assert [leg.key for leg in flow.broken_off().legs] == ["take_off"]
    assert wet_course(Purpose("test", 3, wet_oil_m3=3e-6), after=0).broken_off().leg is None
    assert listen_course(3, after=0).broken_off().leg is None


def test_a_lost_capture_is_no_outcome() -> None:
    course = listen_course(3, after=0)
    lost = DoneView(1, done(1, Purpose("test", 3)).done, lost="the disk is full")
    assert "the disk is full" in course.heard(lost).trouble


# ---------------------------------------------------------------------- what may be chosen


def test_what_may_not_be_is_refused_in_a_sentence() -> None:
    for wrong, said in (
        (lambda: flow_test(FOUR, 3, "breather", 5.0, 0.02, 10.0), "cannot serve here"),
        (lambda: flow_test(FOUR, 3, "breather", 2e-5, 0.4, 10.0), "look at the unit"),
        (lambda: flow_test(FOUR, 3, "outside", 2e-5, 0.02, 10.0), "is not measured through an orifice"),
        (lambda: orifice_fits(FOUR, (), flow_test(FOUR, 3, "breather", 2e-6, 0.02, 10.0)), "over its 5 kPa"),
        (lambda: stop_pressure_pa(FOUR, 3, ("exhaust",)), "the exhaust is not stopped on this engine"),
        (lambda: stop_pressure_pa(FOUR, 3, ("coolant",), 120e3), "kPa at most"),
        (lambda: stop_test(FOUR, 3, ("coolant", "coolant"), 8e4), "a place is stopped once"),
        (lambda: wet_test(FOUR, 3, 0.0), "needs some oil"),
        (lambda: wet_test(FOUR, 3, 6e-6), "hydraulic lock"),
    ):
        with pytest.raises(UseError) as told:
            wrong()
        assert said in str(told.value)


def test_only_a_fresh_reading_at_this_pressure_serves_as_reference() -> None:
    def capture(at_s: float, pa: float, stopped: tuple[str, ...] = ()) -> CaptureRecord:
        laws = {"purpose": {"stopped": list(stopped)}}
        made = SimpleNamespace(
            purpose="stop_off", state="complete", laws=laws, result={"p_regulated_gauge_pa": pa}, started_at_unix_s=at_s
        )
        return cast(CaptureRecord, made)

    fresh, old, other, stopped = capture(9e3, 8e4), capture(0.0, 8e4), capture(9e3, 9e4), capture(9e3, 8e4, ("coolant",))
    assert reference_reading((old, other, stopped), 8e4, 10e3) is None
    assert reference_reading((fresh, other, stopped), 8e4, 10e3) is fresh
