"""Leakage carried to another restrictor, pressure, ambient or temperature."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from borewright.core.convert import UNKNOWN_EXPONENT, Leak, Place, convert_leakage
from borewright.core.flow import leakage_percent_of_area
from borewright.core.restrictor import Restrictor
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

PSI = 6_894.757_293_168
JET_040, JET_060 = (Restrictor(math.pi / 4 * (bore * 0.0254) ** 2) for bore in (0.040, 0.060))
USUAL = Place(JET_040, 80 * PSI)


def leak(area_mm2: float = 0.30, at_pa: float = 80 * PSI * (1 - 0.0369), **more: Any) -> Leak:
    return Leak(area_mm2 * 1e-6, 0.01 * area_mm2 * 1e-6, at_pa, **{"exponent": 0.0, "u_exponent": 0.0, **more})


@pytest.mark.parametrize(
    ("to", "percent"),
    [
        (USUAL, 3.690),
        (replace(USUAL, restrictor=JET_060), 0.746),
        (replace(USUAL, p_regulated_gauge_pa=100 * PSI), 3.575),
        (replace(USUAL, p_ambient_abs_pa=84_556.0), 3.595),
    ],
)
def test_tester_physics(to: Place, percent: float):
    """Regression values, ideal nozzles in series, 0.040 in, 80 psi, 101.325 kPa, 20 °C: computed only, no outside evidence."""
    assert convert_leakage(leak(), USUAL, to).leakage_percent == pytest.approx(percent, abs=5e-4)


@given(
    area_mm2=st.floats(0.05, 3.0),
    p_gauge_pa=st.floats(300e3, 900e3),
    ambient_pa=st.floats(70e3, 105e3),
    jet_mm2=st.floats(0.4, 3.0),
)
def test_a_fixed_hole_reads_what_two_nozzles_in_series_do(area_mm2: float, p_gauge_pa: float, ambient_pa: float, jet_mm2: float):
    expected = float(leakage_percent_of_area(area_mm2 * 1e-6, jet_mm2 * 1e-6, p_gauge_pa, ambient_pa))
    to = Place(Restrictor(jet_mm2 * 1e-6), p_gauge_pa, ambient_pa)
    at_pa = p_gauge_pa * (1.0 - expected / 100.0)
    found = convert_leakage(leak(area_mm2, at_pa=at_pa), USUAL, to)
    # above a pressure ratio of 0.999 the restrictor is linear, and a leakage under a tenth of a percent lies there
    assert found.leakage_percent == pytest.approx(expected, abs=0.05 if expected < 0.2 else 1e-6)


def test_the_curve_of_iso_6358_against_a_root_finder():
    """The form of ISO 6358-1 written out here a second time: C·ρ0·p1·√(T0/T1)·√(1 − ((r − b)/(1 − b))²), ρ0 1.185, T0 293.15 K."""
    c, b, p1, ambient, area = 1.6e-9, 0.4, 651_325.0, 101_325.0, 1.1e-6

    def balance(p2: float) -> float:
        inflow = c * 1.185 * p1 * math.sqrt(1 - max((p2 / p1 - b) / (1 - b), 0.0) ** 2)
        return inflow - area * p2 / math.sqrt(287.05287 * 293.15) * 0.684731456  # choked out of the cylinder

    p2 = float(brentq(balance, 250e3, p1))
    to = Place(Restrictor.from_conductance(c, b), p1 - ambient, ambient)
    found = convert_leakage(leak(1.1, at_pa=p2 - ambient), USUAL, to)
    assert found.p_cylinder_gauge_pa == pytest.approx(p2 - ambient, rel=1e-4)


def test_back_again_is_where_it_came_from():
    there = Place(JET_060, 70 * PSI, 90e3, 285.0, 285.0)
    over = convert_leakage(leak(exponent=0.2), USUAL, there)
    area_there = 0.30e-6 * (over.p_cylinder_gauge_pa / leak().reference_gauge_pa) ** 0.2
    back = convert_leakage(leak(area_there * 1e6, over.p_cylinder_gauge_pa, exponent=0.2), there, USUAL)
    assert back.leakage_percent == pytest.approx(convert_leakage(leak(exponent=0.2), USUAL, USUAL).leakage_percent, abs=1e-6)


def test_hot_walls_pass_less_air():
    """Air that leaves hotter leaves slower through the same hole, at most as √(293.15/353.15) of the area."""
    cold = convert_leakage(leak(1.0, 400e3, wall_w_k=1.0), USUAL, USUAL)
    hot = convert_leakage(leak(1.0, 400e3, wall_w_k=1.0), USUAL, replace(USUAL, t_cylinder_k=353.15))
    least = leakage_percent_of_area(1e-6, JET_040.area_m2, 80 * PSI, 101_325.0, 293.15, 353.15)
    assert float(least) < hot.leakage_percent < cold.leakage_percent


def test_the_uncertainty_against_drawing():
    """First order beside 200 draws of area, exponent and the other restrictor, which show a deviation to 5 %."""
    there = replace(USUAL, restrictor=replace(JET_060, u_relative=0.01), p_regulated_gauge_pa=70 * PSI)
    whole = leak(1.0, 300e3, u_exponent=0.1)
    found = convert_leakage(whole, USUAL, there)
    random = np.random.default_rng(2)
    drawn = [
        convert_leakage(
            replace(whole, area_m2=1e-6 * (1 + 0.01 * random.standard_normal()), exponent=0.1 * float(random.standard_normal())),
            USUAL,
            replace(there, restrictor=Restrictor(JET_060.area_m2 * (1 + 0.01 * float(random.standard_normal())))),
        ).leakage_percent
        for _ in range(200)
    ]
    assert found.standard_percent == pytest.approx(float(np.std(drawn)), rel=0.15)


def test_the_same_restrictor_drops_out_of_the_uncertainty():
    known = leak(1.0, 450e3, u_restrictor=0.0099)
    same = convert_leakage(known, USUAL, replace(USUAL, p_ambient_abs_pa=90e3))
    other = convert_leakage(known, USUAL, replace(USUAL, p_ambient_abs_pa=90e3, restrictor=replace(JET_040, u_relative=0.0051)))
    assert same.standard_percent < 0.2 * other.standard_percent


def test_what_was_converted_is_said():
    to = Place(JET_060, 690e3, 84.5e3, 283.15, 353.15)
    assert convert_leakage(leak(), USUAL, to).words == (
        "converted to a restrictor of 1.82 mm² (measured with 0.81 mm²), 690.0 kPa regulated (measured at 551.6 kPa), 84.5 kPa "
        "ambient (measured at 101.3 kPa), 10 °C of the air (measured at 20 °C) and 80 °C of the cylinder (measured at 20 °C)"
    )
    assert convert_leakage(leak(), USUAL, USUAL).words == "as measured, nothing converted"


def test_an_unknown_exponent_counts_widely_and_is_said():
    found = convert_leakage(leak(exponent=None), USUAL, replace(USUAL, p_regulated_gauge_pa=100 * PSI))
    assert f"{UNKNOWN_EXPONENT[1]:g}" in found.words
    known = convert_leakage(leak(), USUAL, replace(USUAL, p_regulated_gauge_pa=100 * PSI))
    assert found.standard_percent > 3.0 * known.standard_percent


@pytest.mark.parametrize(
    ("what", "to", "why"),
    [
        (leak(void="the crank moved"), USUAL, "void"),
        (leak(exponent=None), replace(USUAL, p_regulated_gauge_pa=170 * PSI), "does not show how it changes"),
        (leak(), replace(USUAL, p_regulated_gauge_pa=170 * PSI), "nearer"),
        (leak(), replace(USUAL, p_regulated_gauge_pa=18 * PSI), "nearer"),
    ],
)
def test_what_cannot_be_converted_is_refused(what: Leak, to: Place, why: str):
    with pytest.raises(ValueError, match=why):
        convert_leakage(what, USUAL, to)


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: Leak(math.nan, 0.0, 5e5), "area_m2"),
        (lambda: Leak(-1e-7, 0.0, 5e5), "area_m2"),
        (lambda: Leak(1e-7, 0.0, 0.0), "reference_gauge_pa"),
        (lambda: Leak(1e-7, -1.0, 5e5), "u_area_m2"),
        (lambda: Leak(1e-7, 0.0, 5e5, wall_w_k=-1.0), "wall_w_k"),
        (lambda: Place(JET_040, 0.0), "p_regulated_gauge_pa"),
        (lambda: Place(JET_040, 5e5, t_supply_k=-1.0), "t_supply_k"),
    ],
)
def test_bad_arguments_are_named(make: Any, name: str):
    with pytest.raises(ValueError, match=name):
        make()


def test_no_leak_reads_nothing_anywhere():
    assert convert_leakage(Leak(0.0, 1e-9, 5e5, exponent=0.0), USUAL, USUAL).leakage_percent == 0.0
