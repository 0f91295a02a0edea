"""The restrictor by both curves: choked, subcritical, reverse, close to equal pressures, by conductance."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from borewright.core import flow
from borewright.core.restrictor import Restrictor
from hypothesis import given
from hypothesis import strategies as st

ATM, T = 101_325.0, 293.15
NEAR_ONE = 0.999  # above this ratio the curve is no longer the bare root
RESTRICTORS = st.builds(Restrictor, st.floats(1e-8, 1e-5), st.none() | st.floats(0.0, 0.9))


@given(
    conductance=st.floats(1e-10, 1e-6),
    b=st.floats(0.0, 0.9),
    up=st.floats(1.1e5, 1.2e6),
    ratio=st.floats(0.01, NEAR_ONE),
    t=st.floats(250.0, 400.0),
)
def test_it_is_iso_6358_by_its_two_figures(conductance: float, b: float, up: float, ratio: float, t: float) -> None:
    # ISO 6358-1: C·ρ0·p1·√(T0/T1), times √(1 − ((r − b)/(1 − b))²) above b, written out here
    share = 1.0 if ratio <= b else math.sqrt(1.0 - ((ratio - b) / (1.0 - b)) ** 2)
    written = conductance * 1.185 * up * math.sqrt(293.15 / t) * share
    ours = float(Restrictor.from_conductance(conductance, b).mass_flow_kg_s(up, ratio * up, t))
    assert ours == pytest.approx(written, rel=1e-9)
    assert ours == pytest.approx(float(flow.mass_flow_iso6358_kg_s(conductance, b, up, ratio * up, t)), rel=1e-9)


def test_the_iso_row() -> None:
    # simulation documentation quoting ISO 6358: C 1e-8 m³/(s·Pa), b .35, 700 → 100 kPa, T1 = T0: 0.008295 kg/s [R]
    assert float(Restrictor.from_conductance(1e-8, 0.35).mass_flow_kg_s(700e3, 100e3, T)) == pytest.approx(0.008295, abs=5e-7)


@given(area=st.floats(1e-8, 1e-5), up=st.floats(1.1e5, 1.2e6), ratio=st.floats(0.0, NEAR_ONE), t=st.floats(250.0, 400.0))
def test_without_a_critical_ratio_it_is_the_ideal_nozzle(area: float, up: float, ratio: float, t: float) -> None:
    down = max(ratio * up, 1.0)
    ours = float(Restrictor(area).mass_flow_kg_s(up, down, t))
    assert ours == pytest.approx(float(flow.mass_flow_kg_s(area, up, down, t)), rel=1e-12)


def test_a_bore_passes_what_the_handbook_says() -> None:
    # Çengel & Cimbala ex. 12-5: 220 kPa gauge, atmosphere 94 kPa, 25 °C, 4 mm hole: 0.5543 kg/min [RI→C]
    hole = Restrictor(math.pi / 4.0 * 0.004**2)
    assert 60.0 * float(hole.mass_flow_kg_s(314_000.0, 94_000.0, 298.15)) == pytest.approx(0.5543, rel=1e-3)


@given(conductance=st.floats(1e-10, 1e-6), b=st.floats(0.0, 0.9), u=st.floats(0.0, 0.1))
def test_conductance_comes_back(conductance: float, b: float, u: float) -> None:
    made = Restrictor.from_conductance(conductance, b, u, 0.02)
    assert made.conductance_m3_s_pa == pytest.approx(conductance, rel=1e-12)
    assert (made.critical_ratio, made.u_relative, made.u_critical_ratio) == (b, u, 0.02)
    # its area is that of the ideal nozzle that passes the same when both are choked
    nozzle = float(flow.mass_flow_kg_s(made.area_m2, 7e5, 0.0, T))
    assert float(flow.mass_flow_iso6358_kg_s(conductance, b, 7e5, 0.0, T)) == pytest.approx(nozzle, rel=1e-12)


@given(RESTRICTORS, st.floats(1e4, 1.2e6), st.floats(1e4, 1.2e6))
def test_reverse_flow(restrictor: Restrictor, p: float, q: float) -> None:
    assert float(restrictor.mass_flow_kg_s(p, q, T)) == -float(restrictor.mass_flow_kg_s(q, p, T))
    assert float(restrictor.mass_flow_kg_s(p, p, T)) == 0.0


@given(RESTRICTORS, st.floats(1.1e5, 1.2e6))
def test_the_less_the_pressure_behind_it_the_more_flows(restrictor: Restrictor, up: float) -> None:
    flows = restrictor.mass_flow_kg_s(up, up * np.linspace(1e-3, 1.0, 3001), T)
    assert np.all(np.diff(flows) <= 1e-12 * flows[0])
    assert flows[-1] == 0.0
    assert np.all(flows[:-1] > 0.0)


@pytest.mark.parametrize("b", [None, 0.0, 0.2, 0.35, 0.528281788])
def test_value_and_slope_where_the_root_ends(b: float | None) -> None:
    # the bare root has no slope at equal pressures; what stands for it meets it in value and slope, and is finite there
    restrictor, step = Restrictor(1e-6, b), 1e-7
    at = NEAR_ONE + step * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    values = restrictor.flow_function(at)
    slopes = np.diff(values) / step
    assert np.diff(values) == pytest.approx([float(np.mean(np.diff(values)))] * 4, rel=2e-3)
    assert slopes[0] == pytest.approx(slopes[-1], rel=2e-3)
    ends = restrictor.flow_function(1.0 - np.array([1e-6, 1e-9, 1e-12]))
    steepness = ends / (1.0 - (1.0 - np.array([1e-6, 1e-9, 1e-12])))
    assert steepness == pytest.approx([float(values[2]) * 1.5 / (1.0 - NEAR_ONE)] * 3, rel=1e-3)


@pytest.mark.parametrize("b", [None, 0.2, 0.35, 0.5])
def test_value_and_slope_where_it_chokes(b: float | None) -> None:
    restrictor = Restrictor(1e-6, b)
    at = float(flow.critical_pressure_ratio()) if b is None else b
    values = restrictor.flow_function(at + 1e-7 * np.array([-2.0, -1.0, 0.0, 1.0, 2.0]))
    assert values == pytest.approx([0.684731456] * 5, abs=1e-9)
    assert np.diff(values) / 1e-7 == pytest.approx([0.0] * 4, abs=1e-5)


def test_arrays_of_any_shape() -> None:
    restrictor = Restrictor(1e-6, 0.3)
    flows = restrictor.mass_flow_kg_s(np.array([[5e5], [6e5]]), np.array([4.9e5, 5.5e5, ATM]), T)
    assert flows.shape == (2, 3)
    assert float(flows[0, 1]) == float(restrictor.mass_flow_kg_s(5e5, 5.5e5, T)) < 0.0


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: Restrictor(0.0), "area_m2"),
        (lambda: Restrictor(float("nan")), "area_m2"),
        (lambda: Restrictor(1e-6, 0.95), "critical_ratio"),
        (lambda: Restrictor(1e-6, -0.1), "critical_ratio"),
        (lambda: Restrictor(1e-6, float("nan")), "critical_ratio"),
        (lambda: Restrictor(1e-6, None, -0.1), "u_relative"),
        (lambda: Restrictor(1e-6, 0.3, 0.1, float("inf")), "u_critical_ratio"),
        (lambda: Restrictor.from_conductance(-1e-9, 0.3), "conductance_m3_s_pa"),
        (lambda: Restrictor(1e-6).mass_flow_kg_s(0.0, ATM, T), "p_up_abs_pa"),
        (lambda: Restrictor(1e-6).mass_flow_kg_s(ATM, [ATM, -1.0], T), "p_down_abs_pa"),
        (lambda: Restrictor(1e-6).mass_flow_kg_s(ATM, ATM, float("nan")), "t_up_k"),
    ],
)
def test_bad_arguments_are_named(call: Callable[[], Any], argument: str) -> None:
    with pytest.raises(ValueError, match=rf"^{argument}: "):
        call()
