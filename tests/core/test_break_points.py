"""At, just under and just over each break point of flow, decay and crank: no gap in the value, and none in the slope where the
physics has none."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from borewright.core import crank, flow

ATM, T = 101_325.0, 293.15
CRITICAL = float(flow.critical_pressure_ratio())
RESTRICTOR_M2 = 8.107319665559963e-07
UNCHOKES_ABS_PA = ATM / CRITICAL


# ---------------------------------------------------------------- flow


def test_value_and_slope_where_a_nozzle_chokes() -> None:
    # sonic flow is the greatest there is: the curve comes into the choked plateau with no slope (any text on compressible flow)
    up, step = 7e5, 1e-6
    at = up * CRITICAL
    flows = flow.mass_flow_kg_s(1e-6, up, at * (1.0 + step * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])), T)
    assert flows == pytest.approx([float(flows[2])] * 5, rel=1e-10)
    slopes = np.diff(flows) / (at * step)
    # the plain chord from here to equal pressures, by which a slope is judged
    assert np.abs(slopes) == pytest.approx([0.0] * 4, abs=1e-5 * float(flows[2]) / (up - at))


def test_choked_flow_does_not_know_what_is_downstream() -> None:
    below = np.array([0.0, 1.0, 0.5 * CRITICAL, np.nextafter(CRITICAL, 0.0), CRITICAL])
    flows = flow.mass_flow_kg_s(1e-6, 7e5, 7e5 * below, T)
    assert np.unique(flows[[0, 2, 3, 4]]).size == 1


def test_both_sides_of_equal_pressures() -> None:
    p = 6e5
    gaps = p * np.array([1e-15, 1e-12, 1e-9, 1e-6])
    forwards, backwards = flow.mass_flow_kg_s(1e-6, p + gaps, p, T), flow.mass_flow_kg_s(1e-6, p, p + gaps, T)
    assert float(flow.mass_flow_kg_s(1e-6, p, p, T)) == 0.0
    assert forwards == pytest.approx(-backwards, rel=1e-15)
    # √(2·ρ·Δp)·A, Bernoulli, is the law in the limit; Δp as the numbers hold it
    real_gaps = (p + gaps) - p
    assert forwards == pytest.approx(1e-6 * np.sqrt(2.0 * p / (flow.AIR_GAS_CONSTANT * T) * real_gaps), rel=2e-6)


@pytest.mark.parametrize("closeness", [1e-3, 1e-6, 1e-9, 1e-12, 1e-15])
def test_a_gas_whose_gamma_comes_close_to_one(closeness: float) -> None:
    # γ → 1: both critical ratio and choked constant go to e^(−1/2), with a slope of the order of 1
    assert float(flow.critical_pressure_ratio(1.0 + closeness)) == pytest.approx(math.exp(-0.5), abs=closeness)
    assert float(flow.choked_flow_constant(1.0 + closeness)) == pytest.approx(math.exp(-0.5), abs=closeness)


def test_no_leak_and_next_to_none() -> None:
    areas = np.array([0.0, 5e-324, 1e-30, 1e-15, 1e-12])
    leakage = flow.leakage_percent_of_area(areas, RESTRICTOR_M2, 551_580.0, ATM)
    assert leakage[0] == 0.0
    assert np.all(np.diff(leakage) >= 0.0)
    assert leakage[-1] == pytest.approx(100.0 * _small_share(1e-12), rel=1e-3)
    small = np.array([1e-10, 1e-12, 1e-14])
    over_square = flow.leakage_percent_of_area(small, RESTRICTOR_M2, 551_580.0, ATM) / small**2
    assert over_square == pytest.approx([float(over_square[2])] * 3, rel=1e-6)
    assert float(flow.leak_area_m2(RESTRICTOR_M2, 551_580.0, 551_580.0, ATM)) == 0.0
    just_under = np.nextafter(551_580.0, 0.0)
    assert 0.0 < float(flow.leak_area_m2(RESTRICTOR_M2, 551_580.0, just_under, ATM)) < 1e-13


def _small_share(leak_m2: float) -> float:
    # Bernoulli over the restrictor against the choked leak: Δp = (0.6847·A_leak·p/A)²/(2·p); share of the gauge pressure
    p = 551_580.0 + ATM
    return (0.684731456 * leak_m2 / RESTRICTOR_M2) ** 2 * p / 2.0 / 551_580.0


@pytest.mark.parametrize("which", ["leak unchokes", "restrictor unchokes"])
def test_leak_area_where_either_nozzle_unchokes(which: str) -> None:
    regulated = 551_580.0
    at = UNCHOKES_ABS_PA - ATM if which == "leak unchokes" else CRITICAL * (regulated + ATM) - ATM
    steps = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    areas = flow.leak_area_m2(RESTRICTOR_M2, regulated, at + steps, ATM)  # 1 Pa apart
    slopes = np.diff(areas)
    assert slopes == pytest.approx([float(np.mean(slopes))] * 4, rel=1e-4)
    back = flow.leakage_percent_of_area(areas, RESTRICTOR_M2, regulated, ATM)
    assert back == pytest.approx(100.0 * (regulated - at - steps) / regulated, rel=1e-12)


# ---------------------------------------------------------------- decay


def _decay(t: Any, start: float = 790_325.0, area: float = 1e-6, n: float = 1.0) -> np.ndarray:
    return flow.decay_pressure_abs_pa(t, start, area, 500e-6, ATM, T, n)


@pytest.mark.parametrize("over", [1e-15, 1e-12, 1e-9, 1e-6, 1e-3])
def test_isothermal_is_where_the_polytropes_end(over: float) -> None:
    t = np.linspace(0.0, 8.0, 81)
    difference = np.abs(_decay(t, n=1.0 + over) - _decay(t))
    assert np.all(difference <= 1e-9 * 790_325.0 + 1.0 * over * 790_325.0)


def test_adiabatic_is_where_the_polytropes_begin() -> None:
    t = np.linspace(0.0, 8.0, 81)
    assert _decay(t, n=1.4 - 1e-12) == pytest.approx(_decay(t, n=1.4), rel=1e-9)
    with pytest.raises(ValueError, match="polytropic"):
        _decay(t, n=1.4 + 1e-12)
    with pytest.raises(ValueError, match="polytropic"):
        _decay(t, n=1.0 - 1e-12)


@pytest.mark.parametrize("n", [1.0, 1.0 + 1e-12, 1.2, 1.4])
def test_value_and_slope_where_the_decay_unchokes(n: float) -> None:
    low, high = 0.0, 8.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if float(_decay(middle, n=n)) > UNCHOKES_ABS_PA else (low, middle)
    around = low + np.array([-2e-4, -1e-4, -1e-8, 0.0, 1e-8, 1e-4, 2e-4])
    values = _decay(around, n=n)
    assert values[3] == pytest.approx(UNCHOKES_ABS_PA, rel=1e-9)
    assert np.all(np.diff(values) < 0.0)
    before, after = (values[1] - values[0]) / 1e-4, (values[6] - values[5]) / 1e-4
    cooled = T * (UNCHOKES_ABS_PA / 790_325.0) ** ((n - 1.0) / n)
    law = -n * flow.AIR_GAS_CONSTANT * cooled / 500e-6 * float(flow.mass_flow_kg_s(1e-6, UNCHOKES_ABS_PA, ATM, cooled))
    assert [before, after] == pytest.approx([law, law], rel=1e-3)


@pytest.mark.parametrize("n", [1.0, 1.4])
def test_a_start_at_the_pressure_that_unchokes(n: float) -> None:
    t = np.linspace(0.0, 3.0, 31)
    under, at, over = (_decay(t, UNCHOKES_ABS_PA * (1.0 + side * 1e-12), n=n) for side in (-1.0, 0.0, 1.0))
    assert under == pytest.approx(at, rel=1e-9)
    assert over == pytest.approx(at, rel=1e-9)


@pytest.mark.parametrize("gap", [1.5e-11, 1e-9, 1e-3, 1.0, 100.0])
@pytest.mark.parametrize("n", [1.0, 1.4])
def test_a_start_just_over_ambient(gap: float, n: float) -> None:
    # close to ambient √gap falls evenly: p − ambient = (√gap − k·t)², k = n·√(R·T)·A/V·√(p/2) (Bernoulli)
    start = ATM + gap
    k = n * math.sqrt(flow.AIR_GAS_CONSTANT * T) * 1e-6 / 500e-6 * math.sqrt(ATM / 2.0)
    shares = np.array([0.0, 0.25, 0.5, 1.1])
    values = _decay(shares * math.sqrt(start - ATM) / k, start, n=n)
    assert np.all(np.isfinite(values))
    expected = (start - ATM) * np.maximum(1.0 - shares, 0.0) ** 2
    assert values - ATM == pytest.approx(expected, rel=1e-2, abs=5e-11)


def test_the_end_is_met_without_a_corner() -> None:
    # p − ambient goes as (t_end − t)² there: value and slope both go to zero
    end_s = 5.892035  # 500 cm³, 1 mm², 20 °C, 689 kPa gauge [C]
    values = _decay(end_s + np.array([-2e-3, -1e-3, 0.0, 1e-3, 1.0])) - ATM
    assert values[0] / values[1] == pytest.approx(4.0, rel=5e-3)
    assert values[2:].tolist() == pytest.approx([0.0] * 3, abs=1e-6)


def test_no_leak_is_where_small_leaks_end() -> None:
    assert _decay([0.0, 1e4], area=0.0).tolist() == [790_325.0] * 2
    fall = 790_325.0 - _decay(1.0, area=1e-15)
    law = flow.AIR_GAS_CONSTANT * T / 500e-6 * float(flow.mass_flow_kg_s(1e-15, 790_325.0, ATM, T))
    assert float(fall) == pytest.approx(law, rel=1e-5)


# ---------------------------------------------------------------- crank


@pytest.mark.parametrize("offset", [0.0, 0.001, -0.008])
def test_travel_and_torque_through_tdc(offset: float) -> None:
    angles = np.array([-1e-3, -1e-9, 0.0, 1e-9, 1e-3])
    travel = crank.piston_travel_m(angles, 0.086, 0.143, offset)
    assert travel[2] == 0.0
    assert np.all(travel >= 0.0)
    assert travel[0] == pytest.approx(travel[4], rel=1e-5)
    torque = crank.gas_torque_nm(angles, 0.086, 0.086, 0.143, 551_580.0, offset)
    assert float(torque[2]) == pytest.approx(0.0, abs=1e-12)
    assert np.all(np.diff(torque) > 0.0)
    assert torque[0] == pytest.approx(-torque[4], rel=1e-5)


def test_travel_through_bdc_and_a_full_turn() -> None:
    around = crank.piston_travel_m(180.0 + np.array([-1e-3, 0.0, 1e-3]), 0.086, 0.143)
    assert around == pytest.approx([0.086] * 3, abs=1e-11)
    assert crank.piston_travel_m([359.0, 361.0, -721.0], 0.086, 0.143) == pytest.approx(
        crank.piston_travel_m([-1.0, 1.0, -1.0], 0.086, 0.143), rel=1e-9
    )


def test_the_shortest_rod() -> None:
    with pytest.raises(ValueError, match=r"^rod_m: "):
        crank.piston_travel_m(0.0, 0.086, 0.043)
    with pytest.raises(ValueError, match=r"^rod_m: "):
        crank.piston_travel_m(0.0, 0.5, 0.375, -0.125)  # exact in binary: as long as throw and offset together
    barely = float(np.nextafter(0.375, 1.0))
    assert np.all(np.isfinite(crank.piston_travel_m(np.arange(-180.0, 181.0, 10.0), 0.5, barely, -0.125)))


def test_window_where_the_ceiling_takes_over() -> None:
    at_ceiling = 2.0 * float(crank.gas_torque_nm(1.5, 0.086, 0.086, 0.143, 551_580.0))
    windows = [crank.tdc_window_deg(0.086, 0.086, 0.143, 551_580.0, at_ceiling * (1.0 + side * 1e-9)) for side in (-1.0, 0.0, 1.0)]
    assert windows[0] < 1.5
    assert windows == pytest.approx([1.5] * 3, rel=2e-9)
    assert windows[1:] == [1.5, 1.5]


def test_no_pressure_leaves_the_ceiling() -> None:
    assert crank.tdc_window_deg(0.086, 0.086, 0.143, 0.0, 0.0) == 1.5
    assert crank.tdc_window_deg(0.086, 0.086, 0.143, 1e-9, 0.0) == 0.0


def test_window_with_an_offset_pin_minds_the_harder_side() -> None:
    for offset in (0.0, 0.02, -0.02):
        window = crank.tdc_window_deg(0.086, 0.086, 0.143, 551_580.0, 5.0, 0.0, offset)
        both = np.abs(crank.gas_torque_nm([-window, window], 0.086, 0.086, 0.143, 551_580.0, offset))
        assert float(np.max(both)) == pytest.approx(2.5, rel=1e-9)


@pytest.mark.parametrize("n", [1.0, 1.0 + 1e-12, 1.4])
def test_squeeze_from_a_closing_at_tdc_is_nothing(n: float) -> None:
    peak = crank.squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, 30e-6, ATM, 1e-6, n)
    assert 0.0 <= peak < 1e-5
    full = [crank.squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, 30e-6, ATM, 180.0 - side) for side in (0.0, 1e-6)]
    assert full[0] == pytest.approx(full[1], rel=1e-9)


def test_stop_middle_at_both_ends() -> None:
    ends = crank.stop_middle_late_deg([0.0, 1e-9, 180.0], 0.086, 0.143, 0.008)
    assert ends[:2] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert ends[2] > 0.0
    apart = 60.0 + np.array([-1e-3, 0.0, 1e-3])
    assert np.diff(crank.stop_middle_late_deg(apart, 0.086, 0.143, 0.008), n=2) == pytest.approx([0.0], abs=1e-9)


# ---------------------------------------------------------------- refusals that have no place elsewhere


NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: flow.leakage_percent(5e5, -110_000.0), "p_cylinder_gauge_pa"),
        (lambda: flow.leakage_percent(INF, 5e5), "p_regulated_gauge_pa"),
        (lambda: flow.leakage_percent(5e5, [4e5, NAN]), "p_cylinder_gauge_pa"),
        (lambda: flow.critical_pressure_ratio(NAN), "gamma"),
        (lambda: flow.choked_flow_constant(0.9), "gamma"),
        (lambda: flow.mass_flow_kg_s(INF, 5e5, ATM, T), "area_m2"),
        (lambda: flow.mass_flow_kg_s(1e-6, 5e5, ATM, NAN), "t_up_k"),
        (lambda: flow.leak_area_m2(1e-6, 5e5, 4e5, ATM, NAN), "t_supply_k"),
        (lambda: flow.leak_area_m2(1e-6, 0.0, 4e5, ATM), "p_regulated_gauge_pa"),
        (lambda: flow.leak_area_m2(NAN, 5e5, 4e5, ATM), "restrictor_area_m2"),
        (lambda: flow.leakage_percent_of_area(1e-6, 0.0, 5e5, ATM), "restrictor_area_m2"),
        (lambda: flow.leakage_percent_of_area(1e-6, 1e-6, 5e5, 0.0), "p_ambient_abs_pa"),
        (lambda: flow.leakage_percent_of_area(1e-6, 1e-6, 5e5, ATM, 0.0), "t_supply_k"),
        (lambda: flow.leakage_percent_of_area(1e-6, 1e-6, 5e5, ATM, T, INF), "t_cylinder_k"),
        (lambda: flow.decay_pressure_abs_pa([0.0, NAN], 5e5, 1e-6, 1e-4, ATM, T), "t_s"),
        (lambda: flow.decay_pressure_abs_pa(1.0, INF, 1e-6, 1e-4, ATM, T), "p_start_abs_pa"),
        (lambda: flow.decay_pressure_abs_pa(1.0, 5e5, 1e-6, 1e-4, 0.0, T), "p_ambient_abs_pa"),
        (lambda: flow.decay_pressure_abs_pa(1.0, 5e5, 1e-6, 1e-4, ATM, 0.0), "t_gas_k"),
        (lambda: flow.decay_pressure_abs_pa(1.0, 5e5, 1e-6, 1e-4, ATM, T, NAN), "polytropic"),
        (lambda: flow.mass_flow_iso6358_kg_s(-1e-8, 0.3, 2e5, 1e5, T), "conductance_m3_s_pa"),
        (lambda: flow.mass_flow_iso6358_kg_s(1e-8, -0.1, 2e5, 1e5, T), "critical_ratio"),
        (lambda: flow.mass_flow_iso6358_kg_s(1e-8, 0.3, 0.0, 0.0, T), "p_up_abs_pa"),
        (lambda: flow.mass_flow_iso6358_kg_s(1e-8, 0.3, 2e5, -1.0, T), "p_down_abs_pa"),
        (lambda: flow.mass_flow_iso6358_kg_s(1e-8, 0.3, 2e5, 1e5, -T), "t_up_k"),
        (lambda: flow.ANR.volume_flow_m3_s(NAN), "mass_flow_kg_s"),
        (lambda: flow.ANR.mass_flow_kg_s([1.0, INF]), "volume_flow_m3_s"),
        (lambda: crank.gas_torque_nm(1.0, 0.086, 0.086, 0.143, -110_000.0), "p_gauge_pa"),
        (lambda: crank.gas_torque_nm(1.0, -0.086, 0.086, 0.143, 5e5), "bore_m"),
        (lambda: crank.piston_travel_m(1.0, 0.086, NAN), "rod_m"),
        (lambda: crank.piston_travel_m(1.0, 0.086, 0.143, INF), "pin_offset_m"),
        (lambda: crank.piston_travel_m(1.0, 0.086, 0.143, 0.1), "rod_m"),
        (lambda: crank.tdc_window_deg(0.086, 0.086, 0.143, NAN, 5.0), "p_gauge_pa"),
        (lambda: crank.squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, -1e-6, ATM, 125.0), "hose_volume_m3"),
        (lambda: crank.squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, 0.0, 0.0, 125.0), "p_ambient_abs_pa"),
        (lambda: crank.squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, 0.0, ATM, 0.0), "closes_before_tdc_deg"),
        (lambda: crank.stop_middle_late_deg(-1.0, 0.086, 0.143, 0.0), "apart_deg"),
        (lambda: crank.stop_middle_late_deg(181.0, 0.086, 0.143, 0.0), "apart_deg"),
        (lambda: crank.stop_middle_late_deg(60.0, 0.086, 0.04, 0.0), "rod_m"),
        (lambda: crank.true_tdc_count([(0.0, NAN)], 1440), "stop_contacts"),
        (lambda: crank.true_tdc_count([(0.0, 1.0, 2.0)], 1440), "stop_contacts"),  # type: ignore[list-item]
        (lambda: crank.true_tdc_count([(0.0, 100.0)], 1440, 2), "running_sign"),  # type: ignore[arg-type]
        (lambda: crank.true_tdc_count([(0.0, 100.0)], 1440, 1, [0.1, 0.2]), "middle_late_deg"),
        (lambda: crank.true_tdc_count([(0.0, 100.0)], 1440, 1, NAN), "middle_late_deg"),
    ],
)
def test_bad_arguments_are_named(call: Callable[[], Any], argument: str) -> None:
    with pytest.raises(ValueError, match=rf"^{argument}: "):
        call()
