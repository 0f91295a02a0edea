"""The path of the leak from what the record holds: what goes together, what counts, when shares are told at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import pytest
from borewright.core.flow import leakage_percent_of_area, mass_flow_kg_s
from borewright.core.shares_plan import NextTest
from borewright.core.stopping import orifice_for, stop_rules
from borewright.core.uncertainty import Budget, Item
from borewright.service import path_further
from borewright.service.engines import load_engine
from borewright.service.judging import judge_stage
from borewright.service.limit_files import find_limits
from borewright.service.path import CylinderPath, JobPath, path_of, path_of_job
from borewright.service.path_leakage import wet_of
from borewright.service.path_readings import readings_of
from borewright.store import Store
from borewright.store.records import CaptureRecord, FindingRecord
from scipy.optimize import brentq

ENGINE, DOCUMENT = load_engine(Path(__file__).resolve().parents[2] / "simulator" / "scenarios" / "larch_four_engine.toml")
RESTRICTOR_M2, AMBIENT_PA, FULL_PA, LOW_PA = 8.1e-7, 101_325.0, 551_581.0, 90_000.0
OWN, COMMON = "noise of the readings", "restrictor"
PLACES = ENGINE.places
QUIET = dict.fromkeys(PLACES, "none")
P_CYLINDER_PA = FULL_PA * (1.0 - float(leakage_percent_of_area(1.5e-6, RESTRICTOR_M2, FULL_PA, AMBIENT_PA)) / 100.0)
METHODS: tuple[Literal["flow", "repeat"], ...] = ("flow", "repeat")


def a_test(
    number: int, area_mm2: float, *, p_pa: float = FULL_PA, stopped: Sequence[str] = (), purpose: str = "test", **more: Any
) -> CaptureRecord:
    percent = float(leakage_percent_of_area(area_mm2 * 1e-6, RESTRICTOR_M2, p_pa, AMBIENT_PA))
    budgets = [
        Budget("leakage", "%", percent, (Item(OWN, 0.02, 40.0, "A"), Item(COMMON, 0.1))),
        Budget("leak area", "mm²", area_mm2, (Item(OWN, 0.004 * area_mm2, 40.0, "A"), Item(COMMON, 0.02 * area_mm2))),
    ]
    result = {
        "leakage_percent": percent,
        "leak_area_mm2": area_mm2,
        "p_regulated_gauge_pa": p_pa,
        "p_cylinder_gauge_pa": p_pa * (1.0 - percent / 100.0),
        "budgets": [budget.as_dict() for budget in budgets],
    }
    laws = {
        "restrictor_area_m2": RESTRICTOR_M2,
        "t_engine_k": 293.15,
        "p_ambient_abs_pa": AMBIENT_PA,
        "purpose": {"stopped": list(stopped)},
    }
    usual = CaptureRecord(
        id=number,
        job_id=1,
        purpose="stop_off" if stopped else purpose,  # type: ignore[arg-type]
        cylinder=3,
        state="complete",
        started_at_unix_s=1.7e9 + number,
        ended_at_unix_s=None,
        void_reason=None,
        marks=(),
        declared={},
        result=result,
        laws=laws,
        versions={},
        readiness={},
        device_serial="1",
    )
    return replace(usual, **more)


def finding(number: int, kind: str, place: str | None, detail: Mapping[str, Any], **more: Any) -> FindingRecord:
    usual = FindingRecord(number, "", 1, 3, kind, place, detail, "AB", 1.7e9 + number, None)  # type: ignore[arg-type]
    return replace(usual, **more)


def heard(first: int, strengths: Mapping[str, str]) -> list[FindingRecord]:
    return [finding(first + n, "heard", place, {"strength": strength}) for n, (place, strength) in enumerate(strengths.items())]


def flow(number: int, place: str, area_mm2: float, capture: CaptureRecord, **more: Any) -> FindingRecord:
    """What the gauge before 25 mm² shows for a leak of this area in the capture."""
    p_cylinder = float((capture.result or {})["p_cylinder_gauge_pa"])

    def surplus(p_place: float) -> float:
        p_abs = p_place + AMBIENT_PA
        into = mass_flow_kg_s(area_mm2 * 1e-6, p_cylinder + AMBIENT_PA, p_abs, 293.15)
        return float(into - mass_flow_kg_s(25e-6, p_abs, AMBIENT_PA, 293.15))

    detail = {
        "orifice_area_m2": 25e-6,
        "u_orifice_relative": 0.01,
        "p_place_gauge_pa": brentq(surplus, 0.0, 20e3),
        "u_p_place_pa": 3.0,
        "p_cylinder_gauge_pa": p_cylinder,
    }
    return finding(number, "flow", place, detail, **more)


def the_path(captures: Sequence[CaptureRecord], findings: Sequence[FindingRecord] = ()) -> JobPath:
    return path_of(ENGINE, captures, findings, judge_stage(captures, DOCUMENT, find_limits(None)))


def third(captures: Sequence[CaptureRecord], findings: Sequence[FindingRecord] = ()) -> CylinderPath:
    return the_path(captures, findings).cylinders[3]


@pytest.fixture(autouse=True)
def planned(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What the plan was asked; it always wants the flow at the exhaust."""
    asked: list[dict[str, Any]] = []

    def plan(places: Sequence[str], readings: Sequence[Any], flows: Sequence[Any] = (), **more: Any) -> tuple[NextTest, ...]:
        asked.append({"places": places, "readings": readings, "flows": flows} | more)
        return (NextTest("flow", "exhaust", frozenset(), "measure the flow at exhaust."),)

    monkeypatch.setattr(path_further, "plan_next", plan)
    return asked


def test_flows_at_places_share_the_leak_and_point_to_the_worst(planned: list[dict[str, Any]]) -> None:
    reference = a_test(1, 1.5)
    flows = [
        flow(n, place, area, reference)
        for n, (place, area) in enumerate((("exhaust", 1.2), ("breather", 0.2), ("intake", 0.02)), 10)
    ]
    job = the_path([reference], [*heard(1, QUIET | {"exhaust": "strong", "breather": "faint"}), *flows])
    found = job.cylinders[3]
    assert (found.decided, found.main, found.further_tests) == (True, "exhaust", ())
    by_place = {place.place: place for place in found.places}
    share = by_place["exhaust"].share
    assert share is not None
    assert share.low_percent <= 80.0 <= share.high_percent
    assert found.unattributed is not None
    assert by_place["exhaust"].strength == "strong"
    assert by_place["exhaust"].implies[0].startswith("exhaust valve")
    assert found.words.startswith("Read at 552 kPa. ")
    [line] = [line for line in job.advice if line.certainty == "points to" and line.cylinder == 3]
    assert line.open == "the cylinder head, for the exhaust valve"
    assert planned == []


def test_only_what_a_reading_does_not_share_with_the_others_makes_it_uncertain() -> None:
    [reading] = readings_of([a_test(1, 1.5)], []).readings
    assert reading.leak_area_m2 == pytest.approx(1.5e-6)
    assert reading.u_area_m2 == pytest.approx(0.006e-6)


def test_stop_offs_are_held_against_a_reading_at_their_own_pressure() -> None:
    captures = [
        a_test(1, 1.5),
        a_test(2, 1.9, p_pa=LOW_PA, purpose="stop_off"),
        a_test(3, 1.1, p_pa=LOW_PA, stopped=["coolant"]),
        a_test(4, 1.12, p_pa=LOW_PA, stopped=["coolant"], state="void"),
        a_test(5, 1.13, p_pa=LOW_PA, stopped=["coolant"], device_serial="2"),
    ]
    together = readings_of(captures, [finding(9, "stop_gauge", "coolant", {"p_place_gauge_pa": 20_000.0}, capture_id=3)])
    assert together.tests == (2, 3)
    assert [sorted(reading.stopped) for reading in together.readings] == [[], ["coolant"]]
    assert together.p_regulated_gauge_pa == pytest.approx(LOW_PA)
    # the other rig's stop-off stands apart and that is said; the plain test at full pressure tells of no place and is not missed
    assert together.left_out == ("test 5 at 90 kPa was left out: its rig, restrictor, pressure or temperature is another one",)
    assert 0.0 < together.readings[1].passing["coolant"] < 1.0


def test_a_stop_behind_a_relief_at_full_pressure_is_told_to_pass_all() -> None:
    stop = a_test(2, 1.5, stopped=["exhaust"])
    gauge = finding(9, "stop_gauge", "exhaust", {"p_place_gauge_pa": 20_000.0}, capture_id=2)
    assert readings_of([a_test(1, 1.5), stop], [gauge]).readings[1].passing == {"exhaust": 1.0}


def test_flows_that_go_with_no_reading_are_left_out_with_the_reason() -> None:
    reference, void = a_test(1, 1.5), a_test(2, 1.5, state="void")
    other_pressure = flow(11, "exhaust", 1.0, a_test(9, 1.5, p_pa=LOW_PA))
    broken_off = flow(12, "exhaust", 1.0, reference, capture_id=2)
    nonsense = finding(13, "flow", "exhaust", {"orifice_area_m2": 0.0})
    together = readings_of([reference, void], [other_pressure, broken_off, nonsense])
    assert together.flows == ()
    assert [("no reading" in why, "broken off" in why, "is missing" in why) for why in together.left_out] == [
        (True, False, False),
        (False, True, False),
        (False, False, True),
    ]
    assert "Left out: the flow measured at exhaust" in third([reference, void], [other_pressure]).words


def test_the_latest_word_of_a_place_counts_and_deleted_ones_do_not(planned: list[dict[str, Any]]) -> None:
    said = [
        finding(1, "heard", "exhaust", {"strength": "none"}, at_unix_s=5.0),
        finding(2, "heard", "exhaust", {"strength": "steady"}, at_unix_s=9.0),
        finding(3, "heard", "exhaust", {"strength": "strong"}, at_unix_s=7.0),
        finding(4, "heard", "exhaust", {"strength": "faint"}, at_unix_s=10.0, deleted_at_unix_s=11.0),
        finding(5, "heard", "intake", {"strength": "strong"}, cylinder=2),
        finding(6, "heard", "crankcase", {"strength": "strong"}),
        finding(7, "note", None, {"text": "it hisses"}),
    ]
    found = third([a_test(1, 1.5)], said)
    assert {place.place: place.strength for place in found.places if place.strength} == {"exhaust": "steady"}
    assert [note.id for note in found.notes] == [7]
    assert found.further_tests[0] == "hold the air on and look, listen and feel at intake, breather, coolant, neighbours, outside"
    assert found.further_tests[1].startswith("Measure the flow through a known orifice of at least ")
    assert " at: exhaust. That is a rounded hole of " in found.further_tests[1]
    assert planned[0]["may_stop"] == frozenset()
    assert "exhaust" in planned[0]["may_measure_flow"]


def test_each_neighbour_has_its_own_last_word_and_what_is_no_cylinder_is_none() -> None:
    def at(*told: tuple[str, Any]) -> tuple[str | None, tuple[int, ...], tuple[int, ...]]:
        said = [finding(n, "heard", "neighbours", {"strength": how, "neighbour": which}) for n, (how, which) in enumerate(told, 1)]
        place = next(place for place in third([], said).places if place.place == "neighbours")
        return place.strength, place.neighbours, place.findings

    assert at(("faint", 2), ("strong", 4), ("steady", 2)) == ("strong", (2, 4), (3, 2))
    assert at(("strong", None), ("strong", 4)) == ("strong", (4,), (2,))
    assert at(("strong", 4), ("none", None)) == ("none", (), (2,))
    assert at(("strong", 4), ("none", 4)) == ("none", (), (2,))
    # a job file from elsewhere may hold anything
    for which in (3, 9, "2", [2], {"a": 1}, 2.5):
        assert at(("strong", which)) == ("strong", (), (1,))
    assert at(("loud\x1b[2J", 2)) == (None, (), ())


def test_stops_are_planned_only_where_their_readings_go_with_the_others(planned: list[dict[str, Any]]) -> None:
    capped = replace(ENGINE, coolant_cap_pa=120e3)
    full = path_of(capped, [a_test(1, 1.5)], heard(1, QUIET | {"coolant": "faint", "breather": "strong"})).cylinders[3]
    assert planned[-1]["may_stop"] == frozenset()
    assert full.further_tests[-1].startswith("at a regulated pressure of at most 108 kPa make a stop-off test of its own")
    low = path_of(
        capped,
        [a_test(1, 1.5), a_test(2, 1.5, p_pa=LOW_PA, stopped=["coolant"]), a_test(3, 1.6, p_pa=LOW_PA, purpose="stop_off")],
        [],
    )
    assert planned[-1]["may_stop"] == {"coolant"}
    assert not any("of its own" in test for test in low.cylinders[3].further_tests)


def test_further_tests_are_few_and_begin_where_it_is_heard_most(monkeypatch: pytest.MonkeyPatch) -> None:
    every = tuple(
        NextTest(method, place, frozenset(), f"Measure {place}.")
        for method in METHODS
        for place in ("intake", "neighbours", "breather", "exhaust")
    )
    monkeypatch.setattr(path_further, "plan_next", lambda *_args, **_more: every)
    found = third([a_test(1, 1.5)], heard(1, QUIET | {"exhaust": "strong", "breather": "faint"}))
    # all flows are one line with one orifice, the largest that one of them needs; nothing is said twice
    [line] = found.further_tests
    assert " effective area at: exhaust, then breather, then intake. That is" in line
    needs = [orifice_for(stop_rules(ENGINE)[place], 1.5e-6, P_CYLINDER_PA).area_words for place in ("exhaust", "breather")]
    assert needs[1] in line
    assert needs[0] not in line
    # the pipes that the cylinders share lead round an orifice at their end
    assert " At exhaust it goes onto this cylinder's own port" in line


def test_what_is_measured_again_is_one_line_after_what_is_new_and_the_only_way_to_a_strong_place_is_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    again = tuple(
        NextTest("repeat", place, frozenset(), f"Once more: {place}.") for place in ("neighbours", "breather", "neighbours")
    )
    new = NextTest("flow", "intake", frozenset(), "Measure intake.")
    monkeypatch.setattr(path_further, "plan_next", lambda *_args, **_more: (*again, new))
    capped = replace(ENGINE, coolant_cap_pa=120e3)
    strong = QUIET | {"coolant": "strong", "breather": "steady"}
    told = path_of(capped, [a_test(1, 1.5)], heard(1, strong)).cylinders[3].further_tests
    assert [test[:30] for test in told] == [
        "at a regulated pressure of at ",
        "Measure the flow through a kno",
        "Measure the flow once more at:",
    ]
    assert told[2] == "Measure the flow once more at: breather, then neighbours."


def test_nothing_is_shared_or_asked_where_next_to_nothing_leaks(planned: list[dict[str, Any]]) -> None:
    tight = a_test(1, 0.1)
    found = third([tight], [flow(9, "exhaust", 0.05, tight)])
    assert found.unattributed is None
    assert found.words == "Next to nothing leaks, so there is nothing to share out."
    sound = the_path([a_test(1, 0.3)])
    assert sound.cylinders[3].further_tests == ()
    assert [line.open for line in sound.advice] == ["nothing"]
    assert planned == []
    assert third([]).further_tests == ("take a test of this cylinder",)


def test_a_declared_reading_is_no_reference_and_contradictions_come_first() -> None:
    declared = a_test(1, 1.5, device_serial="", declared={"leakage": {}})
    assert readings_of([declared], []).readings == ()
    marked = a_test(1, 1.5, marks=("contradiction: the volume is another cylinder's; is the hose in the right hole?",))
    first = the_path([marked], heard(1, QUIET | {"exhaust": "strong"})).advice[0]
    assert (first.certainty, first.look_first) == ("undecided", "the volume is another cylinder's; is the hose in the right hole?")


def test_wet_against_dry_only_what_was_tested_before_the_oil() -> None:
    dry, wet, after = a_test(1, 1.0), a_test(2, 0.5, purpose="wet"), a_test(3, 0.55)
    found = wet_of([dry, wet, after])
    assert found is not None
    assert found.change_percent == pytest.approx(-50.0)
    assert third([dry, wet]).wet == found.words
    assert wet_of([wet, after]) is None
    assert wet_of([dry]) is None
    assert wet_of([a_test(1, 1.0, p_pa=LOW_PA), wet]) is None


def test_repeats_count_by_their_mean() -> None:
    captures = [a_test(1, 0.95), a_test(2, 1.05), a_test(3, 1.0)]
    lines = the_path(captures, heard(1, QUIET | {"breather": "strong"})).advice
    assert any("(test 1, 2, 3)" in said for said in lines[0].evidence)


def test_from_the_record(tmp_path: Path) -> None:
    with Store.open(tmp_path / "shop.db") as store:
        engine_id = store.save_engine(ENGINE.name, DOCUMENT)
        job_id = store.create_job("quarry pump", "before", engine_id)
        reference = a_test(1, 1.5)
        ticket = store.begin_capture(job_id, 3, purpose="test", laws=dict(reference.laws), device_serial="1")
        store.finish_capture(ticket, reference.result)
        for n, (place, area) in enumerate((("exhaust", 1.25), ("breather", 0.2)), 10):
            store.add_finding(job_id, 3, "flow", place=place, detail=flow(n, place, area, reference).detail, said_by="AB")
        job = store.find_job("quarry pump", "before")
        assert job is not None
        found = path_of_job(store, job)
    assert found.cylinders[3].main == "exhaust"
    assert tuple(found.cylinders) == (1, 2, 3, 4)


def test_a_flow_at_a_neighbour_whose_valve_is_open_is_no_share_but_at_least_that_much() -> None:
    detail = {"orifice_area_m2": 8e-6, "u_orifice_relative": 0.01, "p_place_gauge_pa": 900.0, "u_p_place_pa": 10.0}
    p_cylinder_pa = (a_test(1, 1.5).result or {})["p_cylinder_gauge_pa"]
    measured = finding(9, "flow", "neighbours", detail | {"p_cylinder_gauge_pa": p_cylinder_pa})
    free = readings_of([a_test(1, 1.5)], [measured])
    round_it = readings_of([a_test(1, 1.5)], [measured], "cylinder 2's exhaust valve")
    assert [flow.place for flow in free.flows] == ["neighbours"]
    assert round_it.flows == ()
    assert "may go round by cylinder 2's exhaust valve" in round_it.left_out[0]
