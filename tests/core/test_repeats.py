"""Repeats of one cylinder: what is stated for their mean, and when scatter and budget are said to disagree."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from borewright.core.repeats import SCATTER, Repeats, repeats_of
from borewright.core.uncertainty import Budget, Item, coverage_factor
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats


def budget(value: float, common: float = 0.05, new: float = 0.02, dof: float = math.inf) -> Budget:
    return Budget("leakage", "%", value, (Item("restrictor", common), Item("noise", new, dof, "A")))


def test_one_test_is_its_own_budget() -> None:
    alone = repeats_of([budget(10.0)])
    assert (alone.mean, alone.scatter, alone.by_scatter, alone.agreement, alone.chance) == (10.0, None, None, "not tested", None)
    assert alone.governed() == "budget"
    assert alone.expanded() == budget(10.0).expanded()
    assert alone.budget() == budget(10.0)
    assert alone.words() == ""


def test_large_scatter_governs_with_the_t_factor_of_few() -> None:
    # mean 10, standard deviation 1, t for 2 degrees of freedom at 95.45 %: 4.53 (GUM table G.2, from memory, unverified)
    three = repeats_of([budget(value, 0.0, 0.02) for value in (9.0, 10.0, 11.0)])
    assert (three.mean, three.scatter) == (pytest.approx(10.0), pytest.approx(1.0))
    assert three.governed() == "scatter"
    assert three.expanded() == pytest.approx(4.53 / math.sqrt(3.0), rel=1e-3)
    assert three.budget().items[-1] == Item(SCATTER, 1.0 / math.sqrt(3.0), 2.0, "A")


def test_small_scatter_leaves_the_budget_in_charge() -> None:
    four = repeats_of([budget(value) for value in (10.00, 10.01, 9.99, 10.01)])
    assert four.governed() == "budget"
    contributions = {item.name: item.contribution for item in four.budget().items}
    # what is common does not average away, what is new does: 0.02/√4
    assert contributions == {"restrictor": pytest.approx(0.05), "noise": pytest.approx(0.01)}
    assert four.expanded() == pytest.approx(2.0 * math.hypot(0.05, 0.01), rel=1e-4)
    assert four.agreement == "agree"


@given(values=st.lists(st.floats(0.0, 100.0), min_size=2, max_size=8), common=st.floats(0.001, 5.0), new=st.floats(0.001, 5.0))
def test_the_larger_of_the_two_is_stated(values: list[float], common: float, new: float) -> None:
    repeats = repeats_of([budget(value, common, new) for value in values])
    count = len(values)
    by_scatter = coverage_factor(count - 1) * float(np.std(values, ddof=1)) / math.sqrt(count)
    by_budget = coverage_factor(math.inf) * math.hypot(common, new / math.sqrt(count))
    assert repeats.expanded() >= max(by_scatter, by_budget) * (1.0 - 1e-9)
    assert repeats.mean == pytest.approx(float(np.mean(values)))
    if repeats.governed() == "budget":
        assert repeats.expanded() == pytest.approx(by_budget)


@pytest.mark.parametrize("count", [2, 3, 5])
@pytest.mark.parametrize(("common", "scatter"), [(0.0, 1.0), (0.3, 4.0), (1.0, 2.0), (3.0, 1.0)])
def test_the_truth_is_inside_at_least_as_often_as_said(count: int, common: float, scatter: float) -> None:
    # the budgets say 1 for what is new in each; it is `scatter`. The larger of two is wider than either, so more than 0.9545 is due
    random = np.random.default_rng(count)
    inside = 0
    for values in random.normal(0.0, scatter, (1500, count)) + random.normal(0.0, common, (1500, 1)):
        repeats = repeats_of([budget(float(value), common, 1.0) for value in values])
        inside += abs(repeats.mean) <= repeats.expanded()
    assert inside / 1500 >= 0.94  # 0.9545 less what 1500 sets leave open


@pytest.mark.parametrize("dof", [math.inf, 12.0])
def test_chance_of_the_scatter_beside_scipy_stats(dof: float) -> None:
    values = [9.97, 10.0, 10.05, 10.01]
    repeats = repeats_of([budget(value, 0.05, 0.02, dof) for value in values])
    ratio = float(np.var(values, ddof=1)) / 0.02**2
    # four repeats of 12 degrees of freedom each have 48 together
    law = stats.chi2(3, scale=1.0 / 3.0) if math.isinf(dof) else stats.f(3, 4.0 * dof)
    assert repeats.chance == pytest.approx(min(law.cdf(ratio), law.sf(ratio)), rel=1e-9)
    assert repeats.agreement == "agree"


def test_disagreement_is_said_both_ways() -> None:
    wild = repeats_of([budget(value) for value in (9.8, 10.0, 10.3)])
    assert wild.agreement == "scatter is larger"
    assert "scatter more" in wild.words()
    still = repeats_of([budget(10.0 + 1e-5 * n) for n in range(5)])
    assert still.agreement == "scatter is smaller"
    assert "turn the crank over" in still.words()


def test_honest_repeats_are_seldom_doubted() -> None:
    random = np.random.default_rng(1)
    said = [repeats_of([budget(float(value)) for value in random.normal(10.0, 0.02, 4)]).agreement for _ in range(3000)]
    for doubt in ("scatter is larger", "scatter is smaller"):
        assert 0.004 <= said.count(doubt) / 3000 <= 0.016  # 1 % is meant


def test_the_caller_says_what_is_new_in_each() -> None:
    values = (9.95, 10.0, 10.05)
    zero = [Budget("leakage", "%", value, (Item("zero", 0.05), Item("noise", 0.001, kind="A"))) for value in values]
    assert repeats_of(zero).agreement == "scatter is larger"
    named = repeats_of(zero, {"zero", "noise"})
    assert named.agreement == "agree"
    assert named.by_budget.standard == pytest.approx(math.hypot(0.05, 0.001) / math.sqrt(3.0))
    assert repeats_of(zero, ()).agreement == "not tested"


def test_values_without_budgets_have_their_scatter() -> None:
    bare = repeats_of([Budget("leakage", "%", value, ()) for value in (9.0, 11.0)])
    assert (bare.governed(), bare.agreement) == ("scatter", "not tested")
    assert bare.expanded() == pytest.approx(coverage_factor(1.0) * math.sqrt(2.0) / math.sqrt(2.0))
    twice = repeats_of([Budget("leakage", "%", 9.0, ())] * 2)
    assert (twice.expanded(), twice.scatter) == (0.0, 0.0)


@pytest.mark.parametrize(
    "mixed",
    [
        [],
        [budget(10.0), replace(budget(10.0), quantity="leak area")],
        [budget(10.0), replace(budget(10.0), unit="mm²")],
        [budget(10.0), replace(budget(10.0), items=())],
    ],
)
def test_what_does_not_go_together_is_refused(mixed: list[Budget]) -> None:
    with pytest.raises(ValueError, match=r"^budgets: "):
        repeats_of(mixed)


def test_repeats_as_json() -> None:
    repeats = repeats_of([budget(9.0), budget(11.0)])
    document = json.loads(json.dumps(repeats.as_dict(), allow_nan=False))
    assert (document["values"], document["mean"], document["governed"]) == ([9.0, 11.0], 10.0, "scatter")
    assert document["expanded"] == pytest.approx(repeats.expanded())
    assert Budget.from_dict(document["budget"]) == repeats.budget()
    assert isinstance(repeats, Repeats)
