"""Contradictions of a capture: each fault by its kind, sound ones silent, and the two coarse estimators against drawn captures."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from borewright.core.crank import piston_travel_m
from borewright.core.restrictor import Restrictor
from borewright.core.witness import (
    CLEARANCE_SPREAD,
    U_CLEARANCE,
    Equalisation,
    Figure,
    Geometry,
    Statement,
    contradictions,
    restrictor_from_equalisation,
    volume_from_fill,
)
from scipy.integrate import solve_ivp
from scipy.stats import chi2 as chi_square

R_AIR, AMBIENT_PA, T_K = 287.05287, 101_325.0, 293.15
GEOMETRY = Geometry(0.086, 0.086, 0.143)
CHAMBER_M3, HOSE_M3 = 55e-6, 34e-6
SOUND = Statement(
    trapped_m3=Figure(CHAMBER_M3 + HOSE_M3 * 1.01375, 0.9e-6),
    leak_area_m2=Figure(5e-7, 5e-9),
    leakage_percent=9.8,
    hose_m3=Figure(HOSE_M3, 0.7e-6),
    restrictor_m2=Figure(8.1e-7, 4e-9),
    clearance_m3=Figure(CHAMBER_M3, U_CLEARANCE * CHAMBER_M3),
    geometry=GEOMETRY,
    chi2_reduced=1.0,
    degrees_of_freedom=130,
)


def others(volume_m3: float) -> dict[int, Figure]:
    return {number: Figure(volume_m3, 0.9e-6) for number in (2, 3, 4)}


def kinds(statement: Statement) -> list[str]:
    return [one.kind for one in contradictions(statement)]


def volume(extra_m3: float) -> Figure:
    return Figure(SOUND.trapped_m3.value + extra_m3, 0.9e-6) if SOUND.trapped_m3 else Figure(0.0, 0.0)


def test_sound_captures_say_nothing():
    assert contradictions(SOUND) == ()
    assert contradictions(replace(SOUND, others_m3=others(89e-6))) == ()
    assert contradictions(replace(SOUND, trapped_m3=None, clearance_m3=None, chi2_reduced=None)) == ()


@pytest.mark.parametrize("off_deg", [15.0, 20.0, 30.0])
@pytest.mark.parametrize("beside", [{}, others(89.5e-6)])
def test_a_piston_off_tdc_is_told_with_its_angle(off_deg: float, beside: dict[int, Figure]):
    room = math.pi / 4 * 0.086**2 * float(piston_travel_m(off_deg, 0.086, 0.143))
    (found,) = contradictions(replace(SOUND, trapped_m3=volume(room), others_m3=beside))
    assert found.kind == "off_tdc"
    told = float(found.words.split("stood ")[1].split("°")[0])
    assert told == pytest.approx(off_deg, abs=2.0)


def test_degrees_off_tdc_turn_back_into_the_volume():
    for angle in (2.0, 20.0, 95.0, 170.0):
        room = math.pi / 4 * 0.086**2 * float(piston_travel_m(angle, 0.086, 0.143))
        assert GEOMETRY.off_tdc_deg(room) == pytest.approx(angle, abs=1e-6)


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        ({"trapped_m3": volume(200e-6)}, "wrong_hole"),
        ({"trapped_m3": volume(600e-6)}, "wrong_hole"),
        ({"trapped_m3": volume(-17e-6)}, "clearance"),
        ({"trapped_m3": volume(17e-6), "others_m3": others(106e-6)}, "clearance"),
        ({"trapped_m3": volume(-17e-6), "others_m3": others(89e-6)}, "other_cylinders"),
        ({"trapped_m3": Figure(30.5e-6, 0.5e-6), "leak_area_m2": Figure(1e-10, 1e-10)}, "capped_hose"),
        ({"trapped_m3": Figure(34.4e-6, 0.5e-6), "leak_area_m2": Figure(1e-10, 1e-10)}, "plugged_adapter"),
        ({"trapped_m3": Figure(34e-6, 3.4e-6), "others_m3": others(89e-6)}, "plugged_adapter"),
        ({"equalisation": Equalisation(1.85e-6, 0.1e-6, True)}, "restrictor"),
        ({"equalisation": Equalisation(0.36e-6, 0.02e-6, True)}, "restrictor"),
        ({"chi2_reduced": 4.0}, "fit"),
    ],
)
def test_each_fault_by_its_kind(change: dict[str, Any], kind: str):
    assert kinds(replace(SOUND, **change))[0] == kind


@pytest.mark.parametrize(
    ("change", "kind"),
    [({"leakage_percent": 94.0}, "near_everything"), ({"leak_area_m2": Figure(1e-10, 1e-9)}, "near_nothing")],
)
def test_sanity_is_a_question_and_no_contradiction(change: dict[str, Any], kind: str):
    (found,) = contradictions(replace(SOUND, **change))
    assert (found.kind, found.question) == (kind, True)


def test_a_wrong_restrictor_takes_the_volume_that_it_explains_with_it():
    """0.060 in entered for 0.040 in: area and volume come out 2.25 times as large, and only the restrictor is to blame."""
    wrong = replace(SOUND, restrictor_m2=Figure(1.8225e-6, 9e-9), equalisation=Equalisation(0.81e-6, 0.04e-6, True))
    assert kinds(replace(wrong, trapped_m3=Figure(2.25 * 89.5e-6, 2e-6))) == ["restrictor"]
    assert set(kinds(replace(wrong, trapped_m3=Figure(1.3 * 89.5e-6, 2e-6)))) == {"restrictor", "off_tdc"}


def test_a_dead_volume_between_isothermal_and_adiabatic_is_no_contradiction():
    for factor in (1.0, 1.2, 1.4):
        assert contradictions(replace(SOUND, equalisation=Equalisation(factor * 8.1e-7, 0.04e-6, True))) == ()
    assert contradictions(replace(SOUND, equalisation=Equalisation(math.nan, math.inf, False, "too little"))) == ()


def test_wet_test_oil_is_no_contradiction():
    wet = replace(SOUND, trapped_m3=volume(-5e-6), wet_oil_m3=Figure(5e-6, 0.3e-6), others_m3=others(89.5e-6))
    assert contradictions(wet) == ()


def test_false_alarms_of_all_comparisons_together_stay_under_one_percent():
    """4000 sound captures, every figure drawn from its own uncertainty, χ² from its distribution: at most 1 %, 3 σ of the count."""
    random = np.random.default_rng(8)
    false = 0
    chi2 = chi_square.rvs(130, size=4000, random_state=random) / 130
    for number in range(4000):
        chamber = CHAMBER_M3 * (1.0 + U_CLEARANCE * random.standard_normal())
        hose = (HOSE_M3 + 0.7e-6 * random.standard_normal()) * (1.0 + 0.0275 * random.random())
        own = chamber * (1.0 + CLEARANCE_SPREAD * random.standard_normal()) + hose
        rest = {
            n: chamber * (1.0 + CLEARANCE_SPREAD * random.standard_normal()) + hose + 0.9e-6 * random.standard_normal()
            for n in (2, 3, 4)
        }
        area = 8.1e-7 * random.uniform(1.0, 1.4) * (1.0 + 0.05 * random.standard_normal())
        statement = replace(
            SOUND,
            trapped_m3=Figure(own + 0.9e-6 * random.standard_normal(), 0.9e-6),
            others_m3={n: Figure(value, 0.9e-6) for n, value in rest.items()},
            equalisation=Equalisation(area, 0.05 * area, True),
            chi2_reduced=float(chi2[number]),
        )
        false += bool(contradictions(statement))
    assert false <= 0.01 * 4000 + 3 * math.sqrt(40)


@pytest.mark.parametrize("change", [{"trapped_m3": Figure(math.nan, 1e-6)}, {"hose_m3": Figure(3e-5, -1.0)}, {"adapter_m3": -1e-6}])
def test_bad_figures_are_named(change: dict[str, Any]):
    with pytest.raises(ValueError, match=next(iter(change))):
        replace(SOUND, **change)


def shut_off(jet: Restrictor, leakage: float, polytropic: float, noise_pa: float, seed: int) -> tuple[np.ndarray, ...]:
    """Dead volume 20 cm³ and cylinder 90 cm³ after the shut, by scipy's integrator: an oracle with its own stepping."""
    start = 551_580.0
    leak = float(jet.mass_flow_kg_s(start + AMBIENT_PA, (1 - leakage) * start + AMBIENT_PA, T_K))
    per_abs = leak / ((1 - leakage) * start + AMBIENT_PA)  # choked enough: the leak goes as the absolute pressure

    def rates(_: float, p: np.ndarray) -> list[float]:
        flow = float(jet.mass_flow_kg_s(p[0], p[1], T_K))
        return [-polytropic * R_AIR * T_K / 20e-6 * flow, R_AIR * T_K / 90e-6 * (flow - per_abs * p[1])]

    t = np.arange(0.0, 0.5, 1e-3)
    first = [start + AMBIENT_PA, (1 - leakage) * start + AMBIENT_PA]
    after = np.maximum(t - 0.05, 0.0)
    p = solve_ivp(rates, (0.0, 0.5), first, t_eval=np.unique(after), method="LSODA", rtol=1e-8, atol=1.0).y
    index = np.searchsorted(np.unique(after), after)
    noise = np.random.default_rng(seed).normal(0.0, noise_pa, (2, len(t)))
    return t, p[0][index] - AMBIENT_PA + noise[0], p[1][index] - AMBIENT_PA + noise[1]


@pytest.mark.parametrize("bore_in", [0.040, 0.060])
@pytest.mark.parametrize("leakage", [0.15, 0.4, 0.8])
def test_the_restrictor_by_the_dead_volume(bore_in: float, leakage: float):
    """Restrictors of the FAA Safety Team tip, Nov 2011, as ideal nozzles; an isothermal dead volume gives their own area."""
    jet = Restrictor(math.pi / 4 * (bore_in * 0.0254) ** 2)
    t, regulated, cylinder = shut_off(jet, leakage, 1.0, 1000.0, seed=5)
    found = restrictor_from_equalisation(t, regulated, cylinder, 20e-6, 0.0)
    assert found.identifiable
    assert abs(found.area_m2 - jet.area_m2) < 3.0 * found.standard_m2 + 0.02 * jet.area_m2
    assert found.standard_m2 < 0.1 * jet.area_m2


def test_a_dead_volume_without_heat_exchange_reads_up_to_gamma_more():
    t, regulated, cylinder = shut_off(Restrictor(8.107e-7), 0.4, 1.4, 1000.0, seed=6)
    assert restrictor_from_equalisation(t, regulated, cylinder, 20e-6).area_m2 / 8.107e-7 == pytest.approx(1.4, abs=0.04)


def test_hardly_any_leakage_shows_no_restrictor():
    found = restrictor_from_equalisation(*shut_off(Restrictor(8.107e-7), 0.005, 1.0, 1000.0, seed=7), 20e-6)
    assert (found.identifiable, bool(found.reason)) == (False, True)


@pytest.mark.parametrize("volume_m3", [34e-6, 90e-6, 300e-6])
@pytest.mark.parametrize("polytropic", [1.0, 1.4])
def test_the_volume_by_the_fill_holds_the_truth_whatever_the_walls_do(volume_m3: float, polytropic: float):
    jet, t = Restrictor(8.107e-7), np.arange(0.0, 3.0, 1e-3)

    def rates(_: float, p: np.ndarray) -> list[float]:
        return [polytropic * R_AIR * T_K / volume_m3 * float(jet.mass_flow_kg_s(650e3, max(p[0], 1e4), T_K))]

    cylinder = solve_ivp(rates, (0.0, 3.0), [AMBIENT_PA], t_eval=t, method="LSODA", rtol=1e-8, atol=1.0).y[0] - AMBIENT_PA
    found = volume_from_fill(t, np.full(len(t), 650e3 - AMBIENT_PA), cylinder, jet)
    assert found is not None
    value, standard = found
    assert abs(value - volume_m3) < math.sqrt(3.0) * standard + 0.01 * volume_m3


def test_no_rise_no_volume():
    t = np.arange(0.0, 1.0, 1e-3)
    assert volume_from_fill(t, np.full(1000, 5e5), np.full(1000, 5e5), Restrictor(8.1e-7)) is None


def test_air_that_leaves_before_the_restrictor_is_told_beyond_what_chance_makes():
    assert kinds(replace(SOUND, lost_before_restrictor=2.5)) == []
    assert kinds(replace(SOUND, lost_before_restrictor=-5.0)) == []
    (found,) = contradictions(replace(SOUND, lost_before_restrictor=4.0))
    assert found.kind == "before_restrictor"
    assert "does the vent close tightly?" in found.ask
