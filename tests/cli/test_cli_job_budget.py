"""What job shows of uncertainty: ± beside the numbers, budgets item by item, repeats of a cylinder."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from borewright.cli import exits
from borewright.cli.budget_table import NO_BUDGET
from borewright.core.uncertainty import Budget, Item
from borewright.store import Store

NOISE = "noise of the readings"


def result(leakage_percent: float, *, noise: float = 0.02, **more: Any) -> dict[str, Any]:
    leakage = Budget("leakage", "%", leakage_percent, (Item(NOISE, noise, 45.0, "A"), Item("restrictor", 0.04), Item("span", 0.01)))
    area = Budget("leak area", "mm²", 0.05 * leakage_percent, (Item(NOISE, 0.0005, 45.0, "A"), Item("restrictor", 0.003)))
    return {
        "leakage_percent": leakage_percent + 0.3,  # read from a part that still settled
        "leak_area_mm2": 0.05 * leakage_percent,
        "p_regulated_gauge_pa": 551_000.0,
        "p_cylinder_gauge_pa": 495_700.0,
        "budgets": [leakage.as_dict(), area.as_dict()],
    } | more


def older(leakage_percent: float) -> dict[str, Any]:
    """From before budgets were kept."""
    return {key: value for key, value in result(leakage_percent).items() if key != "budgets"}


@pytest.fixture
def job(tmp_path: Path, command: Callable[..., Any]) -> Callable[..., Any]:
    """job(tests before, tests after)(words of the command) → what it said; a test is (cylinder, result), or with (begun, ended)."""

    def made(*stages: list[tuple[Any, ...]]) -> Callable[..., Any]:
        path = tmp_path / "shop.db"
        with Store.open(path, clock=lambda: 1_700_000_000.0) as store:
            engine = store.save_engine("Larch four", {"bore_mm": 86.0})
            for stage, tests in zip(("before", "after"), stages, strict=False):
                of_stage = store.create_job("quarry pump", stage, engine)
                for cylinder, found, *more in tests:
                    begun, ended = more or [{}, {}]
                    store.finish_capture(store.begin_capture(of_stage, cylinder, **begun), found, **ended)
        return lambda *words: command("job", "show", "quarry pump", "--db", path, *words)

    return made


def line_of(out: str, words: str) -> str:
    (line,) = [line for line in out.splitlines() if words in line]
    return line


def test_numbers_are_shown_with_their_expanded_uncertainty(job: Callable[..., Any]) -> None:
    # leakage: √(0.02² + 0.04² + 0.01²)·2.00; the value is the one that the ± belongs to
    ended = job([(1, result(10.0)), (2, older(7.0))])()
    assert ended.code == exits.OK
    assert "10.000 ± 0.092" in line_of(ended.out, " 1  ")
    assert "0.5000 ± 0.0061" in line_of(ended.out, " 1  ")
    assert "±" not in line_of(ended.out, " 2  ")
    assert "7.3 " in line_of(ended.out, " 2  ")


def test_a_budget_item_by_item_largest_first(job: Callable[..., Any]) -> None:
    out = job([(1, result(10.0))])("--budget").out
    head, headings, *items = out[out.index("leakage 10.000 ±") :].splitlines()
    assert head.startswith("leakage 10.000 ± 0.092 %: k = 2.00 for 95.45 %, ")
    assert head.endswith(" effective degrees of freedom")
    assert headings.split() == ["item", *["contribution", "%", "%", "of", "variance", "degrees", "of", "freedom", "type"]]
    assert [line.split() for line in items[:3]] == [
        ["restrictor", "0.0400", "76.2", "∞", "B"],
        ["noise", "of", "the", "readings", "0.0200", "19.0", "45.0", "A"],
        ["span", "0.0100", "4.8", "∞", "B"],
    ]
    assert "leak area 0.5000 ± 0.0061 mm²" in out


def test_an_older_test_says_that_it_has_no_budget(job: Callable[..., Any]) -> None:
    ended = job([(2, older(7.0)), (3, result(5.0), {}, {"void_reason": "the crank left its window"})])("--budget")
    assert ended.code == exits.OK
    assert line_of(ended.out, NO_BUDGET).startswith("test 1, before, cylinder 2, ")
    assert "test 2," not in ended.out  # a void test has no number


def test_without_budget_asked_none_is_printed(job: Callable[..., Any]) -> None:
    assert "variance" not in job([(1, result(10.0))])().out


def test_repeats_have_a_line_for_each_cylinder_and_stage(job: Callable[..., Any]) -> None:
    void = {"void_reason": "the crank left its window"}
    out = job(
        [(1, result(10.0)), (2, result(5.0)), (1, result(10.02)), (1, result(40.0), {}, void)],
        [(1, result(4.0)), (1, result(4.5)), (1, result(5.0))],
    )().out
    before, after = out[out.index("repeats") :].splitlines()[2:]
    # alike: mean 10.01 and what the budget says of it, √(0.04² + 0.01² + 0.02²/2)·2.00; t for one degree of freedom makes more of
    # the scatter of two, 13.97·0.0141/√2
    assert before.split()[:9] == ["before", "1", "1,", "3", "10.01", "±", "0.14", "0.014", "scatter"]
    assert after.split()[:11] == ["after", "1", "5,", "6,", "7", "4.5", "±", "1.3", "0.50", "scatter", "0.225"]
    assert "the repeats scatter more than their budgets explain" in after
    assert "scatter more" not in before


def test_repeats_that_agree_leave_the_budget_in_charge(job: Callable[..., Any]) -> None:
    out = job([(1, result(value)) for value in (10.0, 10.02, 9.99, 10.01, 10.0)])().out
    row = out[out.index("repeats") :].splitlines()[2]
    assert "10.004 ± 0.084  0.011    budget" in row


def test_repeats_without_budgets_show_their_scatter_alone(job: Callable[..., Any]) -> None:
    row = job([(1, older(10.0)), (1, result(10.2))])().out.splitlines()[-1]
    assert "scatter alone: no budget was kept with all of them" in row


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [
        ({"device_serial": "R1"}, {"device_serial": "R2"}, "taken with different rigs"),
        ({"laws": {"restrictor_area_m2": 8e-7}}, {"laws": {"restrictor_area_m2": 1.8e-6}}, "taken with different restrictors"),
        ({"laws": {"t_engine_k": 293.0}}, {"laws": {"t_engine_k": 353.0}}, "taken at different engine temperatures"),
    ],
)
def test_what_is_no_repeat_is_not_averaged(job: Callable[..., Any], first: dict, second: dict, why: str) -> None:
    show = job([(1, result(10.0), first, {}), (1, result(10.2), second, {})])
    assert show().out.splitlines()[-1].split("  ")[-1].strip() == f"not averaged: {why}"
    (repeats,) = json.loads(show("--json").out)["jobs"][0]["repeats"]
    assert (repeats["mixed"], repeats["leakage"], repeats["tests"]) == (why, None, [1, 2])


def test_another_pressure_is_not_averaged(job: Callable[..., Any]) -> None:
    out = job([(1, result(10.0)), (1, result(10.2, p_regulated_gauge_pa=690_000.0))])().out
    assert "not averaged: taken at different pressures" in out


def test_json_holds_the_same(job: Callable[..., Any]) -> None:
    (said,) = json.loads(job([(1, result(10.0)), (1, result(10.02)), (2, older(7.0))])("--json").out)["jobs"]
    first, _, third = said["captures"]
    leakage, area = first["uncertainty"]
    assert (leakage["quantity"], leakage["unit"], leakage["value"], leakage["level"]) == ("leakage", "%", 10.0, 0.9545)
    assert leakage["expanded"] == pytest.approx(leakage["coverage_factor"] * leakage["standard"])
    assert [item["name"] for item in leakage["items"]] == ["restrictor", NOISE, "span"]
    assert sum(item["share"] for item in leakage["items"]) == pytest.approx(1.0)
    assert area["items"][0]["dof"] is None
    assert third["uncertainty"] == []
    (repeats,) = said["repeats"]
    assert (repeats["cylinder"], repeats["tests"], repeats["mixed"]) == (1, [1, 2], None)
    assert (repeats["leakage"]["governed"], repeats["leakage"]["agreement"]) == ("scatter", "agree")
    assert repeats["leak_area"]["mean"] == pytest.approx(0.5005)


def test_a_budget_that_was_tampered_with_is_an_error_of_the_record(job: Callable[..., Any]) -> None:
    broken = result(10.0) | {"budgets": [{"quantity": "leakage"}]}
    refusal = job([(1, broken)])("--budget").refusal(exits.RECORD)
    assert "the uncertainty budget of test 1 cannot be read" in refusal
