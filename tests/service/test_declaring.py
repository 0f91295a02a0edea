"""Readings taken elsewhere with a pair of gauges: how wide they are, what marks them, what cannot be declared."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from borewright.core.uncertainty import Budget, Item
from borewright.errors import UseError
from borewright.service.comparing import compare_jobs, decay_curves
from borewright.service.declaring import DeclaredReading, declare
from borewright.service.engines import load_engine
from borewright.service.judging import judge_stage
from borewright.service.limit_files import find_limits
from borewright.service.path_leakage import leakage_of
from borewright.service.repeated_tests import kept_budgets, repeated_tests
from borewright.service.report_data import report_of
from borewright.service.trending import trend_of
from borewright.store import Store
from borewright.units import parse

SCENARIOS = Path(__file__).resolve().parents[2] / "simulator" / "scenarios"
ENGINE = load_engine(SCENARIOS / "larch_four_engine.toml")[1]
PSI = parse("1 psi", "pressure_gauge")
TODAY = date(2026, 4, 1)
READING = DeclaredReading(
    80.0 * PSI,
    72.0 * PSI,
    0.016 * 160.0 * PSI,
    PSI,
    date(2026, 3, 31),
    "two gauges, cold engine",
    "Ada",
    restrictor_bore_m=1.016e-3,
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "shop.db") as opened:
        yield opened


def job(store: Store, stage: Any) -> int:
    return store.create_job("pump", stage, store.save_engine(ENGINE["name"], ENGINE))


def declared(store: Store, reading: DeclaredReading, stage: Any = "before", cylinder: int = 1) -> dict[str, Budget]:
    found = store.find_job("pump", stage) or store.get_job(job(store, stage))
    return kept_budgets(store.get_capture(declare(store, found, cylinder, reading, TODAY)))


def test_two_gauges_of_a_class_are_as_wide_as_they_are(store: Store) -> None:
    leakage = declared(store, READING)["leakage"]
    # by hand: dL = 100·hypot(u_c, 0.9·u_r)/80; each gauge 2.56/√3 psi, each reading 0.5/√3 psi
    each = math.hypot(2.56, 0.5) / math.sqrt(3.0)
    assert (leakage.value, leakage.standard) == pytest.approx((10.0, 100.0 * each * math.hypot(1.0, 0.9) / 80.0), rel=1e-4)


def test_one_gauge_moved_over_is_much_better(store: Store) -> None:
    two, one = (declared(store, replace(READING, one_gauge=same))["leakage"].standard for same in (False, True))
    assert one < 0.45 * two


def test_the_leak_area_needs_the_restrictor_and_readings_that_are_apart(store: Store) -> None:
    area = declared(store, READING)["leak area"]
    # by hand: a bore of unknown form passes 0.563 to 0.93 of the ideal nozzle (Weisbach, as core.restrictor_fit has it), so the
    # middle of it times what an ideal nozzle of 0.040 in lets through at 80/72 psi, 0.507 mm² (core.flow); the usual engine, 55 °C
    assert area.value == pytest.approx(0.507 * (0.563 + 0.93) / 2.0 * math.sqrt(328.15 / 293.15), rel=2e-3)
    assert area.standard > 0.2 * area.value
    assert "leak area" not in declared(store, replace(READING, restrictor_bore_m=None))
    assert "leak area" not in declared(store, replace(READING, p_cylinder_gauge_pa=79.0 * PSI))
    marks = [mark for test in store.list_captures() for mark in test.marks]
    assert "declared: the restrictor is not known, so there is no leak area" in marks
    assert "declared: the two readings are too near to each other for such gauges to give a leak area" in marks


def test_every_result_carries_who_when_and_how(store: Store) -> None:
    before, after = job(store, "before"), job(store, "after")
    for stage, reading in (("before", READING), ("after", replace(READING, p_cylinder_gauge_pa=40.0 * PSI))):
        declared(store, reading, stage)
    one = compare_jobs(store, store.get_job(before), store.get_job(after)).cylinders[0]
    assert one.marks[0] == "declared: a pair of gauges read elsewhere on 2026-03-31 by Ada: two gauges, cold engine"
    assert one.verdict == "worse"
    assert decay_curves(store, one.tests_before[0]) is None


def test_a_percentage_without_its_restrictor_is_not_set_against_a_rigs(store: Store) -> None:
    before, after = job(store, "before"), job(store, "after")
    declared(store, replace(READING, restrictor_bore_m=None))
    laws = {"restrictor_area_m2": 8.1e-7, "p_ambient_abs_pa": 101_325.0}
    result = {"leakage_percent": 5.0, "p_regulated_gauge_pa": 80.0 * PSI, "p_cylinder_gauge_pa": 76.0 * PSI}
    store.finish_capture(store.begin_capture(after, 1, device_serial="A1", laws=laws), result)
    one = compare_jobs(store, store.get_job(before), store.get_job(after)).cylinders[0]
    assert one.refused is not None
    assert "the restrictor of test 1 is not known" in one.refused


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"p_cylinder_gauge_pa": 81.0 * PSI}, "at or under the regulated one"),
        ({"p_cylinder_gauge_pa": 0.0}, "at or under the regulated one"),
        ({"p_regulated_gauge_pa": -1.0}, "cannot be"),
        ({"p_regulated_gauge_pa": math.nan}, "cannot be"),
        ({"gauge_error_pa": 0.0}, "its class"),
        ({"read_to_pa": -PSI}, "read to"),
        ({"when": date(1, 1, 1)}, "0001-01-01 is too long ago to be meant"),
        ({"when": date(1949, 12, 31)}, "too long ago"),
        ({"when": date(2026, 4, 2)}, "has not come yet"),
        ({"who": " "}, "--who"),
        ({"how": "two\x1b[2Jgauges"}, "--how"),
        ({"restrictor_bore_m": 0.04}, "cannot be"),
    ],
)
def test_what_cannot_be_is_refused_and_not_kept(store: Store, changed: dict[str, Any], said: str) -> None:
    with pytest.raises(UseError, match=said):
        declared(store, replace(READING, **changed))
    assert store.list_captures() == ()


def test_a_cylinder_that_the_engine_has_not(store: Store) -> None:
    with pytest.raises(UseError, match="has no cylinder 9; it has 1, 2, 3, 4"):
        declared(store, READING, cylinder=9)


def measured(store: Store, job_id: int, leakages: dict[int, float]) -> None:
    """A test of the rig for each cylinder, with the small uncertainty of such a test."""
    for cylinder, percent in leakages.items():
        regulated_pa, area_mm2 = 80.0 * PSI, 0.05 * percent
        cylinder_pa = regulated_pa * (1.0 - percent / 100.0)
        result = {
            "leakage_percent": percent,
            "leak_area_mm2": area_mm2,
            "p_regulated_gauge_pa": regulated_pa,
            "p_cylinder_gauge_pa": cylinder_pa,
            "fit": {"reference_gauge_pa": cylinder_pa, "pressure_exponent": {"value": 0.0, "standard": 0.01}},
            "budgets": [
                Budget("leakage", "%", percent, (Item("noise of the readings", 0.05),)).as_dict(),
                Budget("leak area", "mm²", area_mm2, (Item("noise of the readings", 0.002),)).as_dict(),
            ],
        }
        laws = {"restrictor_area_m2": 8.1e-7, "p_ambient_abs_pa": 101_325.0, "t_engine_k": 328.15}
        store.finish_capture(store.begin_capture(job_id, cylinder, device_serial="A1", laws=laws), result)


UNUSED = "the declared reading (test 9) is not used: the cylinder was tested"
ALL_FOUR = {1: 8.0, 2: 7.0, 3: 9.0, 4: 6.0}


def test_a_declared_reading_displaces_no_test_and_widens_no_other_cylinder(store: Store) -> None:
    before, after = job(store, "before"), job(store, "after")
    for one in (before, after):
        measured(store, one, ALL_FOUR)
    clean = compare_jobs(store, store.get_job(before), store.get_job(after))
    declared(store, replace(READING, p_cylinder_gauge_pa=50.0 * PSI), "before", cylinder=3)
    jobs = store.get_job(before), store.get_job(after)
    found = compare_jobs(store, *jobs)
    assert [(one.area, one.leakage, one.tests_before) for one in found.cylinders] == [
        (one.area, one.leakage, one.tests_before) for one in clean.cylinders
    ]
    assert [one.cylinder for one in found.cylinders if UNUSED in one.marks] == [3]
    points = [point for point in trend_of(store, jobs[0]).points if UNUSED in point.marks]
    assert [(point.cylinder, point.tests) for point in points] == [(3, (3,))]
    captures = store.list_captures(before)
    assert repeated_tests(captures) == []
    judged = judge_stage(captures, ENGINE, find_limits(None))
    assert judged.judgements[9].words  # of its own it is judged
    assert judged.spread == judge_stage(captures[:4], ENGINE, find_limits(None)).spread
    leakage = leakage_of([one for one in captures if one.cylinder == 3], judged)
    assert (leakage.percent, leakage.judged.endswith(f"; {UNUSED}")) == (9.0, True)
    report = report_of(store, *jobs)
    line = next(line for line in report.results if (line.cylinder, line.stage) == (3, "before"))
    assert (line.tests, line.leakage.value) == ("3", "9.00")
    assert f"Cylinder 3, before: {UNUSED}." in report.table_notes


def test_declared_readings_that_lie_apart_say_nothing_of_the_scatter(store: Store) -> None:
    before, after = job(store, "before"), job(store, "after")
    for one in (before, after):
        measured(store, one, {1: 8.0, 2: 7.0, 4: 6.0})
    clean = compare_jobs(store, store.get_job(before), store.get_job(after))
    for psi in (78.0, 50.0):  # cylinder 3 was not tested, so both count, as its own mean
        declared(store, replace(READING, p_cylinder_gauge_pa=psi * PSI), "before", cylinder=3)
    found = compare_jobs(store, store.get_job(before), store.get_job(after))
    assert [(one.area, one.leakage) for one in found.cylinders] == [(one.area, one.leakage) for one in clean.cylinders]
    assert found.cylinders[2].tests_before == (7, 8)


def test_a_declared_reading_counts_again_beside_a_void_test(store: Store) -> None:
    before = job(store, "before")
    declared(store, READING, "before", cylinder=3)
    store.finish_capture(store.begin_capture(before, 3, device_serial="A1"), void_reason="the crank left its window")
    leakage = leakage_of(store.list_captures(before), None)
    assert leakage.percent == pytest.approx(10.0)
