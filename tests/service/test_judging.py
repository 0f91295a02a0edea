"""From what the record keeps of a test to its judgement: which figures count, what only was assumed, which tests are judged."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from borewright.core.uncertainty import Budget, Item
from borewright.service.engines import load_engine
from borewright.service.judging import circumstances_of, judge_stage, judge_test
from borewright.service.limit_files import find_limits
from borewright.store.records import CaptureRecord

SCENARIOS = Path(__file__).resolve().parents[2] / "simulator" / "scenarios"
ENGINE = load_engine(SCENARIOS / "larch_four_engine.toml")[1]
RESULT: dict[str, Any] = {"leakage_percent": 9.9, "p_regulated_gauge_pa": 551_580.6, "p_cylinder_gauge_pa": 497_000.0}
LAWS: dict[str, Any] = {"restrictor_area_m2": 7.5e-7, "t_engine_k": 360.0, "setup": {"hose_volume_m3": 30e-6}}
USUAL = find_limits(None)
AC = find_limits("AC 43.13-1B")


def budgets(leakage: float, standard: float, trapped_cm3: float = 80.0) -> list[dict[str, Any]]:
    return [
        Budget("leakage", "%", leakage, (Item("all of it", standard),)).as_dict(),
        Budget("trapped volume", "cm³", trapped_cm3, (Item("all of it", 0.5),)).as_dict(),
    ]


def capture(number: int, cylinder: int, result: dict[str, Any] | None, **more: Any) -> CaptureRecord:
    usual = CaptureRecord(
        id=number,
        job_id=1,
        purpose="test",
        cylinder=cylinder,
        state="complete",
        started_at_unix_s=1.7e9 + number,
        ended_at_unix_s=None,
        void_reason=None,
        marks=(),
        declared={},
        result=result,
        laws=LAWS,
        versions={},
        readiness={},
        device_serial="1",
    )
    return replace(usual, **more)


def test_the_value_of_the_budget_is_judged_with_its_uncertainty() -> None:
    stage = judge_stage([capture(1, 1, RESULT | {"budgets": budgets(15.0, 0.1)})], ENGINE, USUAL)
    assert stage.judgements[1].band == USUAL.bands[1].name
    near = judge_stage([capture(1, 1, RESULT | {"budgets": budgets(9.9, 0.1)})], ENGINE, USUAL).judgements[1]
    assert near.between == (USUAL.bands[0].name, USUAL.bands[1].name)
    assert not near.certain
    old = judge_stage([capture(1, 1, RESULT)], ENGINE, USUAL).judgements[1]
    assert (old.between, old.certain) == ((USUAL.bands[0].name,), False)


def test_only_complete_tests_of_a_cylinder_are_judged() -> None:
    stage = judge_stage(
        [
            capture(2, 1, RESULT | {"budgets": budgets(6.0, 0.1)}),
            capture(3, 2, RESULT | {"budgets": budgets(31.0, 0.1)}),
            capture(4, 3, RESULT | {"leakage_percent": 90.0}, state="void"),
            capture(5, 0, RESULT | {"leakage_percent": 90.0}, purpose="sealed"),
            capture(6, 4, None),
        ],
        ENGINE,
        USUAL,
    )
    assert set(stage.judgements) == {2, 3}
    assert stage.spread is not None
    assert (stage.spread.range_percent, stage.spread.highest_cylinder, stage.spread.certain) == (pytest.approx(25.0), 2, True)


def test_a_test_without_uncertainty_makes_the_spread_uncertain() -> None:
    tests = [capture(1, 1, RESULT | {"budgets": budgets(6.0, 0.1)}), capture(2, 2, RESULT | {"leakage_percent": 31.0})]
    spread = judge_stage(tests, ENGINE, USUAL).spread
    assert spread is not None
    assert (spread.certain, spread.expanded_percent) == (False, None)


def test_repeats_count_by_their_mean_and_what_is_stated_of_it() -> None:
    """Student's t for one degree of freedom at 95.45 % is 13.97 (GUM, table G.2, from memory, unverified)."""
    tests = [
        capture(1, 1, RESULT | {"budgets": budgets(6.0, 0.1)}),
        capture(2, 2, RESULT | {"leakage_percent": 30.9}),
        capture(3, 2, RESULT | {"leakage_percent": 31.1}),
    ]
    spread = judge_stage(tests, ENGINE, USUAL).spread
    assert spread is not None
    assert spread.range_percent == pytest.approx(25.0)
    assert spread.expanded_percent == pytest.approx(((13.97 * 0.1) ** 2 + 0.2**2) ** 0.5, rel=2e-3)


def test_tests_that_are_no_repeats_count_by_the_latest() -> None:
    hot = LAWS | {"t_engine_k": 400.0}
    tests = [
        capture(1, 1, RESULT | {"budgets": budgets(6.0, 0.1)}),
        capture(2, 2, RESULT | {"budgets": budgets(60.0, 0.1)}, laws=hot),
        capture(3, 2, RESULT | {"budgets": budgets(31.0, 0.1)}),
    ]
    spread = judge_stage(tests, ENGINE, USUAL).spread
    assert spread is not None
    assert spread.range_percent == pytest.approx(25.0)
    bare = Budget("leakage", "%", 31.0, ()).as_dict()
    tests[2] = capture(3, 2, RESULT | {"budgets": [bare]}, laws=LAWS | {"restrictor_area_m2": 1.6e-6})
    spread = judge_stage(tests, ENGINE, USUAL).spread
    assert spread is not None
    assert spread.expanded_percent is None


def test_an_engine_temperature_that_was_only_assumed_is_not_known() -> None:
    hot = judge_test(RESULT, LAWS, (), ENGINE, AC, {})
    assert hot.called.startswith("made as AC 43.13-1B, paragraph 8-14, says (assumed: ")
    for marks in (("assumed: engine temperature",), ("not steady", "assumed: ambient pressure, engine temperature")):
        cold = judge_test(RESULT, LAWS, marks, ENGINE, AC, {})
        assert cold.called == "not the AC procedure: the engine's temperature was not stated"
    assert judge_test(RESULT, LAWS, ("assumed: air temperature",), ENGINE, AC, {}).called == hot.called


def test_a_hose_that_reached_no_cylinder_is_asked_about() -> None:
    kept = {budget.quantity: budget for budget in map(Budget.from_dict, budgets(0.1, 0.05, trapped_cm3=31.0))}
    asked = judge_test(RESULT, LAWS, (), ENGINE, USUAL, kept).questions
    assert any("check valve" in question for question in asked)
    into_it = kept | {"trapped volume": replace(kept["trapped volume"], value=70.0)}
    assert judge_test(RESULT, LAWS, (), ENGINE, USUAL, into_it).questions == ()


def test_an_engine_that_cannot_be_read_any_more_leaves_the_rest() -> None:
    found = circumstances_of(RESULT, LAWS, (), {"bore_mm": 81.5}, {})
    assert (found.bore_m, found.clearance_m3, found.hose_volume_m3) == (None, None, 30e-6)
    assert circumstances_of({}, {}, (), {}, {}).p_regulated_gauge_pa is None
