"""The law of the decay against scipy's solver, and the times taken from noisy data."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from borewright.core.decay import decay_times
from borewright.core.flow import AIR_GAS_CONSTANT, decay_pressure_abs_pa, mass_flow_kg_s
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

ATM = 101_325.0


@settings(max_examples=25, deadline=None)
@given(
    start=st.floats(1.2e5, 1.2e6),
    area_mm2=st.floats(0.05, 5.0),
    volume_cm3=st.floats(40.0, 800.0),
    t_gas=st.floats(260.0, 380.0),
    polytropic=st.sampled_from([1.0, 1.15, 1.4]),
)
def test_against_the_differential_equation(
    start: float, area_mm2: float, volume_cm3: float, t_gas: float, polytropic: float
) -> None:
    area, volume = area_mm2 * 1e-6, volume_cm3 * 1e-6

    def slope(_: float, p: np.ndarray) -> Any:
        temperature = t_gas * (p / start) ** ((polytropic - 1.0) / polytropic)
        return -polytropic * AIR_GAS_CONSTANT * temperature * mass_flow_kg_s(area, p, ATM, temperature) / volume

    span = 4.0 * volume / (area * np.sqrt(AIR_GAS_CONSTANT * t_gas) * 0.6847)
    t = np.linspace(0.0, span, 40)

    def nearly_empty(_: float, p: np.ndarray) -> float:
        return float(p[0] - 1.01 * ATM)  # further down the solver, not the law, chatters

    nearly_empty.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(slope, (0.0, span), [start], method="LSODA", rtol=1e-10, atol=1e-3, t_eval=t, events=nearly_empty)
    ours = decay_pressure_abs_pa(solved.t, start, area, volume, ATM, t_gas, polytropic)
    assert ours == pytest.approx(solved.y[0], rel=1e-6)


def test_no_gap_where_it_unchokes() -> None:
    around = 3.564369 + np.array([-1e-5, -1e-7, 1e-7, 1e-5])
    values = decay_pressure_abs_pa(around, 790_325.0, 1e-6, 500e-6, ATM, 293.15)
    slopes = np.diff(values) / np.diff(around)
    assert slopes == pytest.approx([slopes[0]] * 3, rel=1e-4)


def test_never_rises_and_ends_at_ambient() -> None:
    values = decay_pressure_abs_pa(np.linspace(0.0, 12.0, 5001), 790_325.0, 1e-6, 500e-6, ATM, 293.15, 1.2)
    assert np.all(np.diff(values) <= 0.0)
    assert values[-1] == ATM


def test_nothing_leaks_nothing_falls() -> None:
    assert decay_pressure_abs_pa([0.0, 99.0], 5e5, 0.0, 1e-4, ATM, 293.15).tolist() == [5e5, 5e5]
    assert decay_pressure_abs_pa([[0.0], [1.0]], ATM, 1e-6, 1e-4, ATM, 293.15).tolist() == [[ATM], [ATM]]


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: decay_pressure_abs_pa(-1.0, 5e5, 1e-6, 1e-4, ATM, 293.0), "t_s"),
        (lambda: decay_pressure_abs_pa(1.0, 5e4, 1e-6, 1e-4, ATM, 293.0), "p_start_abs_pa"),
        (lambda: decay_pressure_abs_pa(1.0, 5e5, -1e-6, 1e-4, ATM, 293.0), "leak_area_m2"),
        (lambda: decay_pressure_abs_pa(1.0, 5e5, 1e-6, 0.0, ATM, 293.0), "volume_m3"),
        (lambda: decay_pressure_abs_pa(1.0, 5e5, 1e-6, 1e-4, ATM, 293.0, 1.5), "polytropic"),
        (lambda: decay_times([0.0], [1.0]), "t_s"),
        (lambda: decay_times([0.0, 0.0], [1.0, 1.0]), "t_s"),
        (lambda: decay_times([0.0, 1.0], [0.0, 0.0]), "p_start_gauge_pa"),
    ],
)
def test_bad_arguments_are_named(call: Callable[[], Any], argument: str) -> None:
    with pytest.raises(ValueError, match=rf"^{argument}: "):
        call()


@pytest.mark.parametrize("tau", [0.1, 1.0, 10.0])
@pytest.mark.parametrize("seed", range(5))
def test_times_are_good_in_noise(tau: float, seed: int) -> None:
    t = np.arange(0.0, 2.5 * tau, 0.001)
    noisy = 500e3 * np.exp(-t / tau) + np.random.default_rng(seed).normal(0.0, 1000.0, t.size)
    times = decay_times(t, noisy, 500e3)
    truth = tau * np.log([1.0 / 0.75, 2.0, 4.0])
    assert [times.t75_s, times.t50_s, times.t25_s] == pytest.approx(truth, rel=3e-3, abs=5e-4)


def test_what_is_not_reached_is_none() -> None:
    t = np.arange(0.0, 10.0, 0.01)
    times = decay_times(t, 500e3 * np.exp(-t / 15.0))
    assert times.t75_s == pytest.approx(15.0 * np.log(1.0 / 0.75), abs=0.01)
    assert times.t50_s is None
    assert times.t25_s is None


def test_one_outlier_is_no_crossing() -> None:
    t = np.arange(0.0, 10.0, 0.001)
    p = 500e3 * np.exp(-t / 10.0)
    p[500] = 0.0
    assert decay_times(t, p).t75_s == pytest.approx(10.0 * np.log(1.0 / 0.75), rel=1e-3)


def test_few_samples_are_interpolated() -> None:
    times = decay_times([0.0, 1.0, 2.0], [400e3, 200e3, 0.0])
    assert (times.t75_s, times.t50_s, times.t25_s) == (0.5, 1.0, 1.5)
