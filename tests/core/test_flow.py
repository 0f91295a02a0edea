"""Flow functions: breaks, bounds, inverses and refusals."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from borewright.core import flow
from hypothesis import given, settings
from hypothesis import strategies as st

ATM = 101_325.0
RESTRICTOR_M2 = 8.107319665559963e-07
CRITICAL = float(flow.critical_pressure_ratio())


def test_no_gap_at_the_critical_ratio() -> None:
    ratios = CRITICAL + np.array([-1e-3, -1e-9, 0.0, 1e-9, 1e-3])
    values = flow.flow_function(ratios)
    assert values[:3] == pytest.approx([float(flow.choked_flow_constant())] * 3, rel=1e-15)
    assert values[3] == pytest.approx(values[2], rel=1e-12)
    assert 0.0 < values[2] - values[4] < 1e-5


def test_no_rounding_close_to_equal_pressures() -> None:
    # √(2·(1 − r)) is the law in the limit; at 1e-12 a plain difference of powers would have four figures left
    for gap in (1e-6, 1e-9, 1e-12):
        exact_gap = 1.0 - (1.0 - gap)
        assert float(flow.flow_function(1.0 - gap)) == pytest.approx(math.sqrt(2.0 * exact_gap), rel=2e-6)


def test_flow_falls_steadily_from_choked_to_nothing() -> None:
    values = flow.flow_function(np.linspace(CRITICAL, 1.0, 2001))
    assert np.all(np.diff(values) < 0.0)
    assert values[-1] == 0.0


@given(p=st.floats(1e4, 2e6), q=st.floats(1e4, 2e6))
def test_flow_turns_round_with_the_pressures(p: float, q: float) -> None:
    assert float(flow.mass_flow_kg_s(1e-6, p, q, 300.0)) == -float(flow.mass_flow_kg_s(1e-6, q, p, 300.0))


def test_broadcasting() -> None:
    areas = np.array([[1e-6], [2e-6]])
    flows = flow.mass_flow_kg_s(areas, np.array([3e5, 4e5, 5e5]), ATM, 293.15)
    assert flows.shape == (2, 3)
    assert flows[1] == pytest.approx(2.0 * flows[0])
    assert float(flow.mass_flow_kg_s(1e-6, 0.0, 0.0, 293.15)) == 0.0


@settings(max_examples=200)
@given(
    area_mm2=st.floats(1e-4, 20.0),
    regulated=st.floats(5e4, 1e6),
    ambient=st.floats(6e4, 1.1e5),
    t_supply=st.floats(260.0, 320.0),
    t_cylinder=st.floats(260.0, 400.0),
)
def test_leakage_and_area_are_inverse(
    area_mm2: float, regulated: float, ambient: float, t_supply: float, t_cylinder: float
) -> None:
    leakage = float(flow.leakage_percent_of_area(area_mm2 * 1e-6, RESTRICTOR_M2, regulated, ambient, t_supply, t_cylinder))
    assert 0.0 < leakage < 100.0
    cylinder = regulated * (1.0 - leakage / 100.0)
    area = float(flow.leak_area_m2(RESTRICTOR_M2, regulated, cylinder, ambient, t_supply, t_cylinder))
    # p_cylinder holds 1e-16 of p_regulated; what is left of a small leak's difference sets the tolerance
    assert area == pytest.approx(area_mm2 * 1e-6, rel=1e-9 + 1e-13 / leakage)


def test_small_leaks_go_as_area_squared() -> None:
    small, double = (float(flow.leakage_percent_of_area(a, RESTRICTOR_M2, 551_580.0, ATM)) for a in (1e-9, 2e-9))
    assert double / small == pytest.approx(4.0, rel=1e-4)
    assert float(flow.leakage_percent_of_area(0.0, RESTRICTOR_M2, 551_580.0, ATM)) == 0.0


def test_vectorised_leakage_of_area() -> None:
    areas = np.array([[0.1e-6, 0.5e-6], [1e-6, 4e-6]])
    table = flow.leakage_percent_of_area(areas, RESTRICTOR_M2, 551_580.0, ATM)
    single = [float(flow.leakage_percent_of_area(a, RESTRICTOR_M2, 551_580.0, ATM)) for a in areas.ravel()]
    assert table.ravel() == pytest.approx(single, rel=1e-13)


def test_leakage_is_not_clipped() -> None:
    assert float(flow.leakage_percent(500_000.0, 500_100.0)) == pytest.approx(-0.02)


def test_reference_states_give_back_the_mass() -> None:
    for reference in (flow.ANR, flow.STANDARD_20C, flow.NORMAL_0C, flow.STANDARD_60F):
        assert reference.mass_flow_kg_s(reference.volume_flow_m3_s(0.0123)) == pytest.approx(0.0123)
        assert "°" in reference.label


def test_iso_6358_meets_itself_at_its_critical_ratio() -> None:
    under, at, over = flow.mass_flow_iso6358_kg_s(1e-8, 0.3, 1e6, np.array([0.29e6, 0.3e6, 0.3e6 + 1.0]), 293.15)
    assert under == at
    assert over == pytest.approx(at, rel=1e-11)
    assert float(flow.mass_flow_iso6358_kg_s(1e-8, 0.3, 1e6, 1e6, 293.15)) == 0.0


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: flow.mass_flow_kg_s(-1e-6, 2e5, 1e5, 293.0), "area_m2"),
        (lambda: flow.mass_flow_kg_s(1e-6, -1.0, 1e5, 293.0), "p_up_abs_pa"),
        (lambda: flow.mass_flow_kg_s(1e-6, 2e5, [1e5, -1.0], 293.0), "p_down_abs_pa"),
        (lambda: flow.mass_flow_kg_s(1e-6, 2e5, 1e5, 0.0), "t_up_k"),
        (lambda: flow.mass_flow_kg_s(1e-6, float("nan"), 1e5, 293.0), "p_up_abs_pa"),
        (lambda: flow.critical_pressure_ratio(1.0), "gamma"),
        (lambda: flow.leakage_percent(0.0, 1.0), "p_regulated_gauge_pa"),
        (lambda: flow.leak_area_m2(0.0, 5e5, 4e5, ATM), "restrictor_area_m2"),
        (lambda: flow.leak_area_m2(1e-6, 5e5, 0.0, ATM), "p_cylinder_gauge_pa"),
        (lambda: flow.leak_area_m2(1e-6, 5e5, 6e5, ATM), "p_cylinder_gauge_pa"),
        (lambda: flow.leak_area_m2(1e-6, 5e5, 4e5, 0.0), "p_ambient_abs_pa"),
        (lambda: flow.leak_area_m2(1e-6, 5e5, 4e5, ATM, 293.0, -1.0), "t_cylinder_k"),
        (lambda: flow.leakage_percent_of_area(-1e-9, 1e-6, 5e5, ATM), "leak_area_m2"),
        (lambda: flow.leakage_percent_of_area(1e-9, 1e-6, -5e5, ATM), "p_regulated_gauge_pa"),
        (lambda: flow.mass_flow_iso6358_kg_s(1e-8, 1.0, 2e5, 1e5, 293.0), "critical_ratio"),
        (lambda: flow.mass_flow_iso6358_kg_s(1e-8, 0.3, 1e5, 2e5, 293.0), "p_down_abs_pa"),
    ],
)
def test_bad_arguments_are_named(call: Callable[[], Any], argument: str) -> None:
    with pytest.raises(ValueError, match=rf"^{argument}: "):
        call()
