"""The simulator's own formulas against printed values."""

from __future__ import annotations

import math

import pytest
from boresim.engine import SimEngine, load_engine
from boresim.gas import hole_flow_kg_s, nozzle_flow_kg_s, restrictor_flow_kg_s, series_flow_kg_s

T = 293.15


def engine(**changes: object) -> SimEngine:
    document: dict[str, object] = {
        "schema_version": 1, "name": "test", "cycle": "four-stroke", "firing_order": [1],
        "bore_mm": 86.0, "stroke_mm": 86.0, "rod_mm": 143.0, "compression_ratio": 10.0,
    }  # fmt: skip
    return load_engine(document | changes, "test")


# p/pt and A/A*, isentropic table printed alike in two handbooks; choked flow is A/A* times the flow
@pytest.mark.parametrize(("p_ratio", "area_ratio"), [(0.9725, 2.9635), (0.8430, 1.3398), (0.7840, 1.1882), (0.6170, 1.0179)])
def test_a_nozzle_flows_as_the_isentropic_table_says(p_ratio: float, area_ratio: float) -> None:
    choked = nozzle_flow_kg_s(1e-6, 500e3, 100e3, T)
    assert choked / nozzle_flow_kg_s(1e-6, 500e3, 500e3 * p_ratio, T) == pytest.approx(area_ratio, rel=3e-4)


def test_a_choked_nozzle_passes_the_textbook_flow() -> None:
    # 0.0404147·A·p0/√T0: computed constant for air; White prints its dimensionless form as 0.685
    assert nozzle_flow_kg_s(1e-6, 700e3, 300e3, T) == pytest.approx(0.0404147 * 1e-6 * 700e3 / math.sqrt(T), rel=1e-6)


def test_a_restrictor_passes_what_the_iso_6358_row_says() -> None:
    # ISO 6358 form, quoted in simulation documentation: C 1e-8 m³/(s·Pa), b 0.35, 700 to 100 kPa: 0.008295 kg/s
    assert restrictor_flow_kg_s(1e-8, 0.35, 700e3, 100e3, T) == pytest.approx(0.008295, rel=1e-4)


@pytest.mark.parametrize("ratio", [0.528281788, 0.999, 1.0])
def test_the_nozzle_has_no_gap_at_its_break_points(ratio: float) -> None:
    under, over = (nozzle_flow_kg_s(1e-6, 1.0, ratio + step, T) for step in (-1e-9, 1e-9 if ratio < 1.0 else 0.0))
    assert under == pytest.approx(over, abs=2e-15)


@pytest.mark.parametrize("ratio", [0.4, 0.999])
def test_the_restrictor_has_no_gap_at_its_break_points(ratio: float) -> None:
    under, over = (restrictor_flow_kg_s(1e-9, 0.4, 1e5, 1e5 * (ratio + step), T) for step in (-1e-9, 1e-9))
    assert under == pytest.approx(over, rel=1e-5)


def test_flow_turns_round_with_the_pressures() -> None:
    assert hole_flow_kg_s(1e-6, 2e5, T, 1e5, 250.0) == nozzle_flow_kg_s(1e-6, 2e5, 1e5, T)
    assert hole_flow_kg_s(1e-6, 1e5, T, 2e5, 250.0) == -nozzle_flow_kg_s(1e-6, 2e5, 1e5, 250.0)


def test_two_holes_in_a_row_pass_the_same_flow() -> None:
    flow, between = series_flow_kg_s(1e-6, 3e-6, 6e5, 1e5, T)
    assert flow == pytest.approx(nozzle_flow_kg_s(3e-6, between, 1e5, T), rel=1e-9)
    assert flow == pytest.approx(nozzle_flow_kg_s(1e-6, 6e5, between, T), rel=1e-12)
    assert series_flow_kg_s(1e-6, 0.0, 6e5, 1e5, T) == (0.0, 6e5)
    assert series_flow_kg_s(1e-6, 1e-6, 1e5, 1e5, T) == (0.0, 1e5)


def test_the_piston_travels_as_a_slider_crank() -> None:
    # regression values computed for r 43, l 143
    assert engine().travel_and_slope(1.0)[0] == pytest.approx(0.008518e-3, rel=1e-4)
    assert engine().travel_and_slope(10.0)[0] == pytest.approx(0.848344e-3, rel=1e-6)


def test_torque_at_one_degree_is_the_regression_value() -> None:
    # computed: bore 86, stroke 86, rod 143, 80 psig: 3.12739 N·m at 1°, 31.01836 at 10°
    for angle, torque in ((1.0, 3.12739), (10.0, 31.01836)):
        assert 551_580.583 * engine().volume_and_slope(angle)[1] == pytest.approx(torque, rel=1e-5)


def test_torque_of_the_double_acting_engine_of_the_dynamics_textbook() -> None:
    # Abbott, Dynamics, example 3: bore 9 in, stroke 24 in, rod of 2 in, connecting rod 60 in, 40°, 160 and 32 psi: printed
    # 6110 lb·ft by the approximate form; the exact form gives 6117.5
    inch = 25.4
    _, slope = engine(bore_mm=9 * inch, stroke_mm=24 * inch, rod_mm=60 * inch).travel_and_slope(40.0)
    force_lb = 160.0 * math.pi / 4 * 81.0 - 32.0 * math.pi / 4 * (81.0 - 4.0)
    torque_lb_ft = force_lb * slope / 0.3048
    assert torque_lb_ft == pytest.approx(6117.5, abs=0.1)
    assert torque_lb_ft == pytest.approx(6110.0, rel=0.002)


def test_the_crank_angle_of_the_theory_of_machines_problem() -> None:
    # r 60, l 240, piston 20 down: printed 43.5° from a drawing, exact 43.432°
    assert engine(stroke_mm=120.0, rod_mm=240.0).travel_and_slope(43.432)[0] == pytest.approx(20e-3, abs=2e-7)


@pytest.mark.parametrize("pin_offset_mm", [-2.0, 0.0, 1.5])
def test_tdc_is_the_highest_point_whatever_the_pin_offset(pin_offset_mm: float) -> None:
    with_offset = engine(pin_offset_mm=pin_offset_mm)
    travel, slope = with_offset.travel_and_slope(0.0)
    assert travel == pytest.approx(0.0, abs=1e-15)
    assert slope == pytest.approx(0.0, abs=1e-15)
    for angle in (-120.0, -3.0, 40.0, 175.0):
        (before, _), (after, _) = (with_offset.travel_and_slope(angle + step) for step in (-1e-3, 1e-3))
        assert with_offset.travel_and_slope(angle)[1] == pytest.approx((after - before) / math.radians(2e-3), rel=1e-5, abs=1e-9)


def test_a_cylinder_is_closed_at_compression_tdc_and_open_at_overlap() -> None:
    four = engine()
    assert [four.opening("intake", angle) for angle in (0.0, 124.0, 596.0)] == [0.0, 0.0, 0.0]
    assert four.opening("exhaust", 360.0) > 0.0 < four.opening("intake", 360.0)
    assert engine(valve_gear="not_fitted").opening("exhaust", 360.0) == 0.0
    two = engine(cycle="two-stroke")
    assert two.opening("exhaust", 94.0) == 0.0 < two.opening("exhaust", 96.0)
    assert two.opening("intake", 114.0) == 0.0 < two.opening("intake", 246.0 - 3.0)
    assert two.opening("exhaust", 180.0) == 1.0


def test_an_inline_four_fires_every_half_turn() -> None:
    four = engine(firing_order=[1, 3, 4, 2])
    assert dict(four.firing_angles_deg) == {1: 0.0, 3: 180.0, 4: 360.0, 2: 540.0}
    assert four.cycle_angle_deg(3, 170.0) == 710.0
