"""Slider-crank: against the plain formula, against differences, at the edges."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from borewright.core import crank
from hypothesis import given
from hypothesis import strategies as st

GEOMETRY = {"stroke_m": 0.086, "rod_m": 0.143}


def test_travel_is_the_textbook_formula() -> None:
    theta = np.radians(np.linspace(-360.0, 360.0, 1441))
    r, rod = 0.043, 0.143
    plain = r + rod - (r * np.cos(theta) + np.sqrt(rod**2 - (r * np.sin(theta)) ** 2))
    assert crank.piston_travel_m(np.degrees(theta), **GEOMETRY) == pytest.approx(plain, abs=1e-15)


def test_micrometres_close_to_tdc() -> None:
    # r·θ²/2·(1 + r/l) in the limit
    tiny = float(crank.piston_travel_m(1e-6, **GEOMETRY))
    assert tiny == pytest.approx(0.043 * math.radians(1e-6) ** 2 / 2.0 * (1.0 + 0.043 / 0.143), rel=1e-9)


@given(offset=st.floats(-0.02, 0.02), stroke=st.floats(0.03, 0.12), ratio=st.floats(0.85, 3.0))
def test_offset_pin_still_has_its_top_at_zero(offset: float, stroke: float, ratio: float) -> None:
    rod = stroke * ratio
    if rod <= stroke / 2.0 + abs(offset):
        with pytest.raises(ValueError, match="rod_m"):
            crank.piston_travel_m(0.0, stroke, rod, offset)
        return
    angles = np.linspace(-180.0, 180.0, 721)
    travel = crank.piston_travel_m(angles, stroke, rod, offset)
    assert float(travel[360]) == 0.0
    assert np.all(travel >= 0.0)
    # from the plain formula, shifted to its own top
    top = math.asin(offset / (rod + stroke / 2.0))
    theta = np.radians(angles) + top
    height = stroke / 2.0 * np.cos(theta) + np.sqrt(rod**2 - (stroke / 2.0 * np.sin(theta) - offset) ** 2)
    assert travel == pytest.approx(height[360] - height, abs=1e-13)


@pytest.mark.parametrize("offset", [0.0, 0.001, -0.004])
def test_torque_is_work_per_angle(offset: float) -> None:
    angles = np.array([-60.0, -1.0, 0.0, 0.5, 90.0, 170.0])
    step = 1e-4
    volume = [crank.cylinder_volume_m3(angles + side * step, 0.086, 0.086, 0.143, 55e-6, offset) for side in (-1.0, 1.0)]
    work = 551_580.0 * (volume[1] - volume[0]) / math.radians(2.0 * step)
    assert crank.gas_torque_nm(angles, 0.086, 0.086, 0.143, 551_580.0, offset) == pytest.approx(work, rel=1e-6, abs=1e-6)


def test_volume_runs_from_clearance_to_the_swept_volume() -> None:
    top, bottom = crank.cylinder_volume_m3([0.0, 180.0], 0.086, 0.086, 0.143, 55e-6)
    assert top == 55e-6
    assert bottom - top == pytest.approx(math.pi / 4.0 * 0.086**3)


def test_window_is_where_half_the_holding_torque_is_reached() -> None:
    for holding in (0.5, 2.0, 5.0, 9.0):
        window = crank.tdc_window_deg(0.086, 0.086, 0.143, 551_580.0, holding)
        assert float(crank.gas_torque_nm(window, 0.086, 0.086, 0.143, 551_580.0)) == pytest.approx(holding / 2.0, rel=1e-9)


def test_window_has_a_ceiling_that_slack_lifts_and_torque_still_bounds() -> None:
    assert crank.tdc_window_deg(0.086, 0.086, 0.143, 551_580.0, 1000.0) == 1.5
    assert crank.tdc_window_deg(0.086, 0.086, 0.143, 551_580.0, 1000.0, restraint_slack_deg=0.7) == pytest.approx(2.2)
    tight = crank.tdc_window_deg(0.086, 0.086, 0.143, 551_580.0, 5.0)
    assert crank.tdc_window_deg(0.086, 0.086, 0.143, 551_580.0, 5.0, restraint_slack_deg=0.7) == pytest.approx(tight)


def test_nothing_held_means_no_window() -> None:
    assert crank.tdc_window_deg(0.086, 0.086, 0.143, 551_580.0, 0.0) == pytest.approx(0.0, abs=1e-12)


def test_squeeze_peak_falls_with_hose_and_rises_with_exponent() -> None:
    common = (0.086, 0.086, 0.143, 55e-6)
    peaks = [crank.squeeze_peak_gauge_pa(*common, hose, 101_325.0, 125.0) for hose in (0.0, 30e-6, 100e-6)]
    assert peaks[0] > peaks[1] > peaks[2] > 0.0
    slow = crank.squeeze_peak_gauge_pa(*common, 30e-6, 101_325.0, 125.0, polytropic=1.0)
    closed, top = (float(crank.cylinder_volume_m3(angle, *common)) + 30e-6 for angle in (125.0, 0.0))
    assert slow == pytest.approx(101_325.0 * (closed / top - 1.0), rel=1e-12)
    assert slow < peaks[1]


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: crank.piston_travel_m(1.0, 0.086, 0.040), "rod_m"),
        (lambda: crank.piston_travel_m(1.0, -0.086, 0.143), "stroke_m"),
        (lambda: crank.piston_travel_m(float("inf"), 0.086, 0.143), "crank_deg"),
        (lambda: crank.cylinder_volume_m3(1.0, 0.0, 0.086, 0.143, 55e-6), "bore_m"),
        (lambda: crank.cylinder_volume_m3(1.0, 0.086, 0.086, 0.143, -1e-6), "clearance_m3"),
        (lambda: crank.gas_torque_nm(1.0, 0.086, 0.086, 0.143, float("nan")), "p_gauge_pa"),
        (lambda: crank.tdc_window_deg(0.086, 0.086, 0.143, 5e5, -1.0), "holding_torque_nm"),
        (lambda: crank.tdc_window_deg(0.086, 0.086, 0.143, -5e5, 1.0), "p_gauge_pa"),
        (lambda: crank.tdc_window_deg(0.086, 0.086, 0.143, 5e5, 1.0, -0.1), "restraint_slack_deg"),
        (lambda: crank.squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, 0.0, 1e5, 181.0), "closes_before_tdc_deg"),
        (lambda: crank.squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 0.0, 0.0, 1e5, 125.0), "clearance_m3"),
        (lambda: crank.squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, 0.0, 1e5, 125.0, 0.9), "polytropic"),
    ],
)
def test_bad_arguments_are_named(call: Callable[[], Any], argument: str) -> None:
    with pytest.raises(ValueError, match=rf"^{argument}: "):
        call()
