"""Propagation of uncertainty against the GUM's own example and against libraries that know nothing of us."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import GTC
import numpy as np
import pytest
import uncertainties
import uncertainties.umath
from borewright.core.flow import leak_area_m2, leakage_percent
from borewright.core.pair_budget import pair_budget
from borewright.core.propagation import Input, monte_carlo, propagate
from borewright.core.uncertainty import LEVEL, Budget, Item, coverage_factor, effective_dof
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

RESTRICTOR_M2 = math.pi / 4.0 * (0.040 * 0.0254) ** 2


# ---------------------------------------------------------------- GUM H.1, the end gauge


def end_gauge_nm(standard_nm: Any, difference_nm: Any, alpha: Any, theta: Any, d_alpha: Any, d_theta: Any) -> Any:
    """l = ls + d − ls·(δα·θ + αs·δθ), GUM H.1.2."""
    return standard_nm + difference_nm - standard_nm * (d_alpha * theta + alpha * d_theta)


def end_gauge_inputs() -> dict[str, Input]:
    # the inputs of GUM H.1 (JCGM 100 annex H.1): the three parts of the difference and the half-widths from memory, unverified; the
    # contributions that come of them are the published ones
    difference = Budget("d", "nm", 215.0, (Item("repeats", 5.8, 24.0, "A"), Item("random", 3.9, 5.0), Item("systematic", 6.7, 8.0)))
    return {
        "standard_nm": Input(50_000_623.0, 25.0, 18.0),
        "difference_nm": Input(difference.value, difference.standard, difference.dof),
        "alpha": Input.rectangular(11.5e-6, 2e-6),
        "theta": Input(-0.1, 0.41),
        "d_alpha": Input(0.0, 1e-6 / math.sqrt(3.0), 50.0, distribution="rectangular"),
        "d_theta": Input(0.0, 0.05 / math.sqrt(3.0), 2.0, distribution="rectangular"),
    }


def test_end_gauge_of_the_gum() -> None:
    # GUM H.1, five agreeing transcriptions [R2]: l 50.000838 mm; contributions 25, 9.7, 2.9, 16.6 nm; uc 32 nm (31.664 computed);
    # effective degrees of freedom 16.7 (16.752)
    budget = propagate(end_gauge_nm, end_gauge_inputs(), "length", "nm")
    contributions = {item.name: item.contribution for item in budget.items}
    assert budget.value == pytest.approx(50_000_838.0, abs=1e-6)
    assert contributions["standard_nm"] == pytest.approx(25.0, abs=0.05)
    assert contributions["difference_nm"] == pytest.approx(9.7, abs=0.05)
    assert contributions["d_alpha"] == pytest.approx(2.9, abs=0.05)
    assert contributions["d_theta"] == pytest.approx(16.6, abs=0.05)
    assert contributions["alpha"] == pytest.approx(0.0, abs=1e-6)  # of second order only, as is theta's
    assert contributions["theta"] == pytest.approx(0.0, abs=1e-6)
    assert round(budget.standard) == 32
    assert budget.standard == pytest.approx(31.664, abs=0.05)
    assert budget.dof == pytest.approx(16.7, abs=0.1)


def test_expanded_uncertainty_of_the_end_gauge() -> None:
    # GUM H.1.6 [R2]: U99 = 93 nm, which is 2.92·32 nm: degrees of freedom cut to 16 and uc rounded up; without these two 92 nm
    assert round(coverage_factor(16.0, 0.99), 2) == 2.92
    assert round(coverage_factor(16.0, 0.99) * 32.0) == 93
    assert propagate(end_gauge_nm, end_gauge_inputs(), "length", "nm").expanded(0.99) == pytest.approx(93.0, rel=0.012)


def test_second_order_of_the_end_gauge() -> None:
    # GUM H.1.7 [R2]: 34 nm with the terms of second order, which drawing has in it and the first order has not
    drawn = monte_carlo(end_gauge_nm, end_gauge_inputs(), 200_000, 1)
    assert round(drawn.standard) == 34
    assert drawn.mean == pytest.approx(50_000_838.0, abs=0.5)


# ---------------------------------------------------------------- libraries


class _Plain:
    """The functions of `uncertainties.umath` for plain numbers."""

    sqrt, exp, log = staticmethod(math.sqrt), staticmethod(math.exp), staticmethod(math.log)


FORMULAS: dict[str, Callable[[Any], Callable[..., Any]]] = {
    "leakage": lambda _m: lambda a, b, c: 100.0 * (a - 0.9 * b) / a + 0.0 * c,
    "choked leak": lambda m: lambda a, b, c: a * b / m.sqrt(c),
    "decay time": lambda m: lambda a, b, c: a / b * m.log(3.0 + c),
    "decay": lambda m: lambda a, b, c: a * m.exp(-b / (c + 1.0)),
    "square root near its end": lambda m: lambda a, b, c: m.sqrt(a**2 + b * c),
}
VALUES = st.floats(0.5, 4.0)
SHARES = st.floats(1e-6, 0.1)


def three_inputs(values: list[float], shares: list[float], dofs: list[float]) -> dict[str, Input]:
    return {name: Input(v, v * s, dof) for name, v, s, dof in zip("abc", values, shares, dofs, strict=True)}


@pytest.mark.parametrize("formula", FORMULAS)
@given(values=st.lists(VALUES, min_size=3, max_size=3), shares=st.lists(SHARES, min_size=3, max_size=3))
def test_first_order_beside_uncertainties(formula: str, values: list[float], shares: list[float]) -> None:
    # `uncertainties` differentiates analytically
    budget = propagate(FORMULAS[formula](_Plain), three_inputs(values, shares, [math.inf] * 3), "q", "1")
    theirs = FORMULAS[formula](uncertainties.umath)(*(uncertainties.ufloat(v, v * s) for v, s in zip(values, shares, strict=True)))
    assert budget.value == pytest.approx(theirs.nominal_value, rel=1e-12, abs=1e-12)
    assert budget.standard == pytest.approx(theirs.std_dev, rel=1e-6)


@given(
    values=st.lists(VALUES, min_size=3, max_size=3),
    shares=st.lists(SHARES, min_size=3, max_size=3),
    r=st.lists(st.floats(-0.6, 0.6), min_size=2, max_size=2),
)
def test_correlated_inputs_beside_uncertainties(values: list[float], shares: list[float], r: list[float]) -> None:
    given_inputs = three_inputs(values, shares, [math.inf] * 3)
    budget = propagate(FORMULAS["decay"](_Plain), given_inputs, "q", "1", {("a", "b"): r[0], ("c", "b"): r[1]})
    matrix = np.array([[1.0, r[0], 0.0], [r[0], 1.0, r[1]], [0.0, r[1], 1.0]])
    pairs = [(one.value, one.standard) for one in given_inputs.values()]
    theirs = FORMULAS["decay"](uncertainties.umath)(*uncertainties.correlated_values_norm(pairs, matrix))
    assert budget.standard == pytest.approx(theirs.std_dev, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("formula", ["leakage", "choked leak"])
@given(
    values=st.lists(VALUES, min_size=3, max_size=3),
    shares=st.lists(st.floats(1e-3, 0.1), min_size=3, max_size=3),
    dofs=st.lists(st.floats(1.0, 200.0), min_size=3, max_size=3),
)
def test_degrees_of_freedom_beside_gtc(formula: str, values: list[float], shares: list[float], dofs: list[float]) -> None:
    budget = propagate(FORMULAS[formula](_Plain), three_inputs(values, shares, dofs), "q", "1")
    theirs = FORMULAS[formula](GTC)(*(GTC.ureal(v, v * s, dof) for v, s, dof in zip(values, shares, dofs, strict=True)))
    assert budget.standard == pytest.approx(GTC.uncertainty(theirs), rel=1e-6)
    assert budget.dof == pytest.approx(GTC.dof(theirs), rel=1e-5)


@given(dof=st.floats(1.0, 1e5), level=st.floats(0.5, 0.999))
def test_coverage_factors_beside_scipy_stats(dof: float, level: float) -> None:
    assert coverage_factor(dof, level) == pytest.approx(float(stats.t.ppf((1.0 + level) / 2.0, dof)), rel=1e-7)


def test_the_level_that_two_stands_for() -> None:
    # GUM G.1.3 and table G.2: 95.45 % is k = 2; t for 10 degrees of freedom 2.28, for 2 4.53, for 1 13.97 (from memory, unverified)
    assert coverage_factor(math.inf, LEVEL) == pytest.approx(2.0, abs=5e-5)
    assert [round(coverage_factor(dof), 2) for dof in (1.0, 2.0, 10.0)] == [13.97, 4.53, 2.28]
    assert coverage_factor(1e6, 0.99) == pytest.approx(coverage_factor(math.inf, 0.99), rel=1e-5)  # no step where t is given up


# ---------------------------------------------------------------- drawing beside first order


def leakage_inputs() -> dict[str, Input]:
    return {
        "p_regulated_gauge_pa": Input(551_600.0, 2000.0),
        "p_cylinder_gauge_pa": Input.rectangular(496_400.0, 2000.0 * math.sqrt(3.0)),
    }


def area_mm2(**values: Any) -> Any:
    return leak_area_m2(**values) * 1e6


def area_inputs() -> dict[str, Input]:
    return {
        "restrictor_area_m2": Input(RESTRICTOR_M2, 0.005 * RESTRICTOR_M2, distribution="t", dof=40.0),
        "p_regulated_gauge_pa": Input(551_580.0, 300.0),
        "p_cylinder_gauge_pa": Input(496_422.0, 300.0),
        "p_ambient_abs_pa": Input.triangular(101_325.0, 600.0),
        "t_supply_k": Input.rectangular(293.15, 3.0),
        "t_cylinder_k": Input(353.15, 5.0),
    }


@pytest.mark.parametrize(("function", "inputs"), [(leakage_percent, leakage_inputs()), (area_mm2, area_inputs())])
def test_drawing_agrees_with_first_order(function: Callable[..., Any], inputs: dict[str, Input]) -> None:
    # JCGM 101 clause 8: both ways of one result, interval ends within a small share of the uncertainty
    budget = propagate(function, inputs, "q", "1")
    drawn = monte_carlo(function, inputs, 400_000, 2)
    assert drawn.mean == pytest.approx(budget.value, abs=0.02 * budget.standard)
    assert drawn.standard == pytest.approx(budget.standard, rel=0.03)  # t of 40 has 2.6 % more on its one item
    for low, high in (drawn.symmetric, drawn.shortest):
        assert low == pytest.approx(budget.value - budget.expanded(), abs=0.08 * budget.standard)
        assert high == pytest.approx(budget.value + budget.expanded(), abs=0.08 * budget.standard)


def test_drawing_shows_where_first_order_ends() -> None:
    # the area of a leak that hardly shows goes as the root of the difference: the interval is lopsided, the shortest lies lower
    inputs = {"p": Input(100.0, 40.0)}
    drawn = monte_carlo(lambda p: np.sqrt(np.maximum(p, 0.0)), inputs, 100_000, 3)
    middle = math.sqrt(100.0)
    assert middle - drawn.symmetric[0] > 1.5 * (drawn.symmetric[1] - middle)
    assert drawn.shortest[1] - drawn.shortest[0] < drawn.symmetric[1] - drawn.symmetric[0]


@pytest.mark.parametrize(
    ("given_input", "distribution"),
    [
        (Input(3.0, 2.0), stats.norm(3.0, 2.0)),
        (Input.rectangular(3.0, 2.0), stats.uniform(1.0, 4.0)),
        (Input.triangular(3.0, 2.0), stats.triang(0.5, 1.0, 4.0)),
        (Input(3.0, 2.0, 4.0, "A", "t"), stats.t(4.0, 3.0, 2.0)),
    ],
)
def test_draws_are_of_the_distribution(given_input: Input, distribution: Any) -> None:
    assert stats.kstest(given_input.draw(np.random.default_rng(4), 20_000), distribution.cdf).pvalue > 0.01


def test_drawn_intervals_of_a_normal() -> None:
    drawn = monte_carlo(lambda x: x, {"x": Input(0.0, 1.0)}, 400_000, 5)
    assert drawn.symmetric == pytest.approx((-2.0, 2.0), abs=0.02)
    assert drawn.shortest == pytest.approx((-2.0, 2.0), abs=0.1)
    assert drawn == monte_carlo(lambda x: x, {"x": Input(0.0, 1.0)}, 400_000, 5)


# ---------------------------------------------------------------- budgets


def test_leakage_of_a_gauge_pair() -> None:
    # 551.6 ± 2 and 496.4 ± 2 kPa (gauge, independent, standard): 10.007 % ± 0.488 % [C]
    budget = pair_budget(551.6e3, 496.4e3, 2e3, 2e3)
    assert (budget.quantity, budget.unit) == ("leakage", "%")
    assert budget.value == pytest.approx(10.007, abs=5e-4)
    assert budget.standard == pytest.approx(0.488, abs=5e-4)


def test_one_gauge_for_both_sides() -> None:
    # an error of span common to both cancels in the ratio; what is left is reading it off twice
    moved = pair_budget(551.6e3, 496.4e3, 0.004 * 551.6e3, 0.004 * 496.4e3, 500.0, 1.0)
    by_name = {item.name: item.contribution for item in moved.items}
    assert by_name["regulated gauge with cylinder gauge"] == pytest.approx(0.0, abs=1e-6)
    assert moved.standard == pytest.approx(math.hypot(500.0 / 551.6e3 * 90.0, 500.0 / 551.6e3 * 100.0), rel=1e-3)


def test_correlation_makes_one_item_of_what_it_ties_together() -> None:
    inputs = {"a": Input(1.0, 0.3, 5.0, "A"), "b": Input(1.0, 0.4, 9.0), "c": Input(1.0, 0.1), "d": Input(1.0, 0.0, 2.0)}
    budget = propagate(lambda a, b, c, d: a + b + c + d, inputs, "q", "1", {("b", "a"): 1.0, ("d", "a"): 0.2, ("b", "d"): 0.2})
    assert [item.name for item in budget.items] == ["a with b with d", "c"]
    assert budget.items[0].contribution == pytest.approx(0.7)
    assert (budget.items[0].dof, budget.items[0].kind) == (5.0, "B")  # d is exact: its two degrees of freedom do not count


def test_a_budget_survives_the_record() -> None:
    budget = Budget("leakage", "%", 10.0, (Item("noise", 0.02, 31.5, "A"), Item("zero", 0.03)))
    document = json.loads(json.dumps(budget.as_dict(), allow_nan=False))
    assert document["items"][1]["dof"] is None
    assert Budget.from_dict(document | {"later": 1}) == budget


@pytest.mark.parametrize("document", [{}, {"quantity": "a", "unit": "b", "value": 1.0, "items": [{}]}, None, {"items": 3}])
def test_what_is_no_budget_is_refused(document: Any) -> None:
    with pytest.raises(ValueError, match=r"^document: is no budget"):
        Budget.from_dict(document)


@given(st.lists(st.tuples(st.floats(0.0, 1e3), st.floats(1.0, 100.0)), min_size=1, max_size=6))
def test_effective_degrees_of_freedom_lie_between(parts: list[tuple[float, float]]) -> None:
    # GUM G.4.1: at least the fewest, at most all together
    assume(any(contribution > 1e-3 for contribution, _ in parts))
    found = effective_dof(Item("x", contribution, dof) for contribution, dof in parts)
    counted = [dof for contribution, dof in parts if contribution > 0.0]
    assert min(counted) * (1.0 - 1e-9) <= found <= sum(counted) * (1.0 + 1e-9)


def test_nothing_uncertain_is_exact() -> None:
    budget = propagate(lambda a: 2.0 * a, {"a": Input(1.0, 0.0)}, "q", "1")
    assert (budget.standard, budget.expanded(), budget.dof) == (0.0, 0.0, math.inf)
    assert budget.ranked() == ((budget.items[0], 0.0),)


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("dof", lambda: coverage_factor(0.0)),
        ("dof", lambda: coverage_factor(math.nan)),
        ("level", lambda: coverage_factor(5.0, 1.0)),
        ("contribution", lambda: Item("a", -1.0)),
        ("contribution", lambda: Item("a", math.nan)),
        ("dof", lambda: Item("a", 1.0, 0.0)),
        ("kind", lambda: Item("a", 1.0, 1.0, "C")),  # type: ignore[arg-type]
        ("value", lambda: Input(math.inf, 1.0)),
        ("standard", lambda: Input(1.0, -1.0)),
        ("dof", lambda: Input(1.0, 1.0, -3.0)),
        ("dof", lambda: Input(1.0, 1.0, distribution="t")),
        ("distribution", lambda: Input(1.0, 1.0, distribution="flat")),  # type: ignore[arg-type]
        ("correlations", lambda: propagate(lambda a: a, {"a": Input(1.0, 1.0)}, "q", "1", {("a", "z"): 0.5})),
        ("correlations", lambda: propagate(lambda a: a, {"a": Input(1.0, 1.0)}, "q", "1", {("a", "a"): 0.5})),
        (
            "correlations",
            lambda: propagate(lambda a, b: a + b, dict.fromkeys("ab", Input(1.0, 1.0)), "q", "1", {("a", "b"): 1.1}),
        ),
        (
            "correlations",
            lambda: propagate(
                lambda a, b, c: a + b + c,
                dict.fromkeys("abc", Input(1.0, 1.0)),
                "q",
                "1",
                {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9},
            ),
        ),
        ("draws", lambda: monte_carlo(lambda a: a, {"a": Input(1.0, 1.0)}, 10, 1)),
        ("level", lambda: monte_carlo(lambda a: a, {"a": Input(1.0, 1.0)}, 1000, 1, 1.5)),
        ("function", lambda: monte_carlo(lambda a: 1.0, {"a": Input(1.0, 1.0)}, 1000, 1)),  # noqa: ARG005
        ("p_regulated_gauge_pa", lambda: pair_budget(0.0, 1.0, 1.0, 1.0)),
    ],
)
def test_what_cannot_be_is_refused_by_name(name: str, wrong: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=f"^{name}: "):
        wrong()
