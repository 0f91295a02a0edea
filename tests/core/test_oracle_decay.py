"""The law of the decay against scipy's solver on mass and energy balances that do not know of it, over drawn inputs."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from borewright.core.flow import decay_pressure_abs_pa
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

R, ATM = 287.05287, 101_325.0
CV, CP = 2.5 * R, 3.5 * R
CASES = {
    "start": st.floats(1.1e5, 1.2e6),
    "area_mm2": st.floats(0.05, 20.0),
    "volume_cm3": st.floats(20.0, 1000.0),
    "ambient": st.floats(6e4, 1.08e5),
    "t_gas": st.floats(250.0, 400.0),
}


def psi(ratio: float) -> float:
    """√(7·(r^(10/7) − r^(12/7))), choked under 0.528282: an ideal nozzle for γ = 1.4, written here for these tests alone."""
    r = max(ratio, 0.8333333333333334**3.5)
    return math.sqrt(max(7.0 * (r ** (10.0 / 7.0) - r ** (12.0 / 7.0)), 0.0))


def solved(slope: Any, start: list[float], span: float, pressure: Any, ambient: float) -> Any:
    """LSODA until the pressure is within 1 % of ambient: further down the solver, not the law, chatters."""

    def nearly_empty(_: float, y: np.ndarray) -> float:
        return float(pressure(y) - 1.01 * ambient)

    nearly_empty.terminal = True  # type: ignore[attr-defined]
    t_eval = np.linspace(0.0, span, 30)
    return solve_ivp(slope, (0.0, span), start, method="LSODA", rtol=1e-10, atol=1e-14, t_eval=t_eval, events=nearly_empty)


def span_s(area: float, volume: float, t_gas: float) -> float:
    return 3.0 * volume / (area * math.sqrt(R * t_gas) * 0.6847)


@settings(max_examples=30, deadline=None)
@given(**CASES)
def test_isothermal_is_the_mass_balance_at_one_temperature(
    start: float, area_mm2: float, volume_cm3: float, ambient: float, t_gas: float
) -> None:
    # scipy.integrate.solve_ivp on dm/dt = −ṁ with p = m·R·T/V and T held
    area, volume = area_mm2 * 1e-6, volume_cm3 * 1e-6

    def slope(_: float, y: np.ndarray) -> list[float]:
        p = y[0] * R * t_gas / volume
        return [-area * p / math.sqrt(R * t_gas) * psi(ambient / p)]

    run = solved(slope, [start * volume / (R * t_gas)], span_s(area, volume, t_gas), lambda y: y[0] * R * t_gas / volume, ambient)
    ours = decay_pressure_abs_pa(run.t, start, area, volume, ambient, t_gas)
    assert ours == pytest.approx(run.y[0] * R * t_gas / volume, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(**CASES)
def test_adiabatic_is_the_balance_of_mass_and_energy(
    start: float, area_mm2: float, volume_cm3: float, ambient: float, t_gas: float
) -> None:
    # scipy.integrate.solve_ivp on dm/dt = −ṁ and dU/dt = −ṁ·cp·T, no heat: that p·V^1.4 follows is not put in
    area, volume = area_mm2 * 1e-6, volume_cm3 * 1e-6

    def state(y: np.ndarray) -> tuple[float, float]:
        temperature = y[1] / (y[0] * CV)
        return y[0] * R * temperature / volume, temperature

    def slope(_: float, y: np.ndarray) -> list[float]:
        p, temperature = state(y)
        out = area * p / math.sqrt(R * temperature) * psi(ambient / p)
        return [-out, -out * CP * temperature]

    mass = start * volume / (R * t_gas)
    run = solved(slope, [mass, mass * CV * t_gas], span_s(area, volume, t_gas), lambda y: state(y)[0], ambient)
    ours = decay_pressure_abs_pa(run.t, start, area, volume, ambient, t_gas, 1.4)
    assert ours == pytest.approx([state(y)[0] for y in run.y.T], rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(**CASES, polytropic=st.floats(1.0, 1.4))
def test_between_the_two_temperature_follows_the_pressure(
    start: float, area_mm2: float, volume_cm3: float, ambient: float, t_gas: float, polytropic: float
) -> None:
    # scipy.integrate.solve_ivp on dm/dt = −ṁ alone; the polytrope p/p_start = (m/m_start)^n gives pressure and temperature
    area, volume = area_mm2 * 1e-6, volume_cm3 * 1e-6
    full = start * volume / (R * t_gas)

    def pressure(y: np.ndarray) -> float:
        return float(start * (y[0] / full) ** polytropic)

    def slope(_: float, y: np.ndarray) -> list[float]:
        p = pressure(y)
        return [-area * p / math.sqrt(p * volume / y[0]) * psi(ambient / p)]  # R·T = p·V/m

    run = solved(slope, [full], span_s(area, volume, t_gas), pressure, ambient)
    ours = decay_pressure_abs_pa(run.t, start, area, volume, ambient, t_gas, polytropic)
    assert ours == pytest.approx([pressure(y) for y in run.y.T], rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(**CASES, polytropic=st.floats(1.0, 1.4))
def test_time_to_empty_is_finite_and_that_of_an_integral(
    start: float, area_mm2: float, volume_cm3: float, ambient: float, t_gas: float, polytropic: float
) -> None:
    # scipy.integrate.quad of dp/(dp/dt), with p = ambient + s² so that the end is regular
    area, volume = area_mm2 * 1e-6, volume_cm3 * 1e-6

    def seconds_per_s(s: float) -> float:
        p = ambient + s * s
        cooled = t_gas * (p / start) ** ((polytropic - 1.0) / polytropic)
        if s * s < 1e-9 * ambient:  # ψ → √(2·(p − ambient)/p)
            return 2.0 * volume / (polytropic * math.sqrt(R * cooled) * area * math.sqrt(2.0 * p))
        return 2.0 * s * volume / (polytropic * math.sqrt(R * cooled) * area * p * psi(ambient / p))

    knee = min(math.sqrt(start - ambient), math.sqrt(ambient / 0.8333333333333334**3.5 - ambient))
    empty_s = (
        quad(seconds_per_s, 0.0, knee, epsrel=1e-10)[0] + quad(seconds_per_s, knee, math.sqrt(start - ambient), epsrel=1e-10)[0]
    )
    before, after = decay_pressure_abs_pa([0.999 * empty_s, 1.00001 * empty_s], start, area, volume, ambient, t_gas, polytropic)
    assert after == ambient
    assert before > ambient
