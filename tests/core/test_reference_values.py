"""Flow, crank and sensor law against values that nobody of this project computed.

Every check names its source. [R]: the printed value was read. [RI→C]: the inputs were read, the answer computed from the stated
formula. [C]: computed, a regression value only. [CP]: common practice.
"""

from __future__ import annotations

import math

import fluids
import numpy as np
import pytest
from borewright.core import crank, flow
from borewright.core.rig import ChannelLaw
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

PSI = 6894.757293168
ATM = 101_325.0
BORE_040 = math.pi / 4.0 * (0.040 * 0.0254) ** 2
BORE_060 = math.pi / 4.0 * (0.060 * 0.0254) ** 2


# ---------------------------------------------------------------- nozzle flow


def test_critical_pressure_ratio_of_air() -> None:
    # printed .5283 at M = 1 in the isentropic tables of two handbooks [R]; nine figures [C]
    assert float(flow.critical_pressure_ratio(1.4)) == pytest.approx(0.5283, abs=1e-4)
    assert float(flow.critical_pressure_ratio(1.4)) == pytest.approx(0.528281788, abs=1e-9)


def test_choked_flow_constant_of_air() -> None:
    # White, Fluid Mechanics, prints 0.685 [R]; nine figures [C]
    assert float(flow.choked_flow_constant(1.4)) == pytest.approx(0.685, abs=5e-4)
    assert float(flow.choked_flow_constant(1.4)) == pytest.approx(0.684731456, abs=1e-9)


def test_choked_flow_of_air_per_area_and_pressure() -> None:
    # ṁ = 0.0404147·A·p0/√T0; textbooks print 0.0404 [R], which is 0.036 % low
    at_one = float(flow.mass_flow_kg_s(1.0, 1.0, 0.0, 1.0))
    assert at_one == pytest.approx(0.0404147, abs=5e-8)
    assert at_one == pytest.approx(0.0404, rel=4e-4)


@pytest.mark.parametrize(
    ("mach", "pressure_ratio", "area_ratio"),
    [
        (0.05, 0.9983, 11.5914),
        (0.10, 0.9930, 5.8218),
        (0.20, 0.9725, 2.9635),
        (0.50, 0.8430, 1.3398),
        (0.60, 0.7840, 1.1882),
        (0.64, 0.7591, 1.1452),
        (0.86, 0.6170, 1.0179),
        (1.00, 0.5283, 1.0000),
    ],
)
def test_isentropic_table(mach: float, pressure_ratio: float, area_ratio: float) -> None:
    # isentropic table for γ = 1.4, four decimals, two handbooks agree [R]: at the throat's pressure ratio the flow per area is
    # A*/A of the choked one. The exact ratio of the Mach number is used; the printed one has too few figures close to 1.
    exact = (1.0 + 0.2 * mach**2) ** -3.5
    assert exact == pytest.approx(pressure_ratio, abs=1e-4)
    share = float(flow.flow_function(exact) / flow.choked_flow_constant())
    assert 1.0 / share == pytest.approx(area_ratio, abs=1e-4)


def test_choked_venturi_of_40_cfr_1065_642() -> None:
    # 40 CFR 1065.642(c), example: Cd .985, Cf .7219, A .00456 m², 98 836 Pa, M .0287805, R 8.314472, 378.15 K: 33.690 mol/s [R]
    molar_mass, gas_constant = 0.0287805, 8.314472
    printed = 0.985 * 0.7219 * 0.00456 * 98_836.0 / math.sqrt(molar_mass * gas_constant * 378.15)
    assert printed == pytest.approx(33.690, rel=1e-3)
    # ours has no approach velocity (β = 0) and dry air; the printed Cf .7219 is for β .7 and γ 1.399, ours .6847
    ours_kg_s = float(flow.mass_flow_kg_s(0.985 * 0.00456, 98_836.0, 0.4 * 98_836.0, 378.15))
    converted = ours_kg_s / molar_mass * (0.7219 / 0.684731456) * math.sqrt(flow.AIR_GAS_CONSTANT / (gas_constant / molar_mass))
    assert converted == pytest.approx(33.690, rel=1e-3)


def test_flow_coefficient_of_40_cfr_1065_642() -> None:
    # same, the coefficient itself: β .7, γ 1.399: .7219 [R]; solved for the throat's critical ratio with approach velocity
    gamma, beta = 1.399, 0.7
    low, high = 0.3, 0.9
    for _ in range(80):
        r = (low + high) / 2.0
        left = r ** ((1.0 - gamma) / gamma) + (gamma - 1.0) / 2.0 * beta**4 * r ** (2.0 / gamma)
        low, high = (r, high) if left > (gamma + 1.0) / 2.0 else (low, r)
    approach = 1.0 / math.sqrt(1.0 - beta**4 * r ** (2.0 / gamma))
    assert approach * float(flow.flow_function(r, gamma)) == pytest.approx(0.7219, abs=1e-4)


def test_choked_venturi_of_40_cfr_1066_630() -> None:
    # 40 CFR 1066.630(c): Kv .074954, 99.654 kPa, 353.15 K: 0.39748 m³/s at 20 °C and 101.325 kPa [R]; the flow goes as p/√T
    printed = 0.074954 * 99.654 / math.sqrt(353.15)
    assert printed == pytest.approx(0.39748, abs=5e-6)
    area = 0.39748 / float(flow.STANDARD_20C.volume_flow_m3_s(flow.mass_flow_kg_s(1.0, 99_654.0, 0.0, 353.15)))
    other = float(flow.STANDARD_20C.volume_flow_m3_s(flow.mass_flow_kg_s(area, 95_000.0, 0.0, 330.0)))
    assert other == pytest.approx(0.074954 * 95.0 / math.sqrt(330.0), rel=1e-4)


def test_small_orifice_is_choked_below_35_psig() -> None:
    # small-orifice tutorial: 80 psig inlet is choked below 35.30 psig outlet [R]; with 14.7 psi and .528, hence 0.1 %
    limit_psig = (float(flow.critical_pressure_ratio()) * (80.0 * PSI + ATM) - ATM) / PSI
    assert limit_psig + 14.7 == pytest.approx(35.30 + 14.7, rel=1e-3)
    under, over = (float(flow.mass_flow_kg_s(1e-6, 80.0 * PSI + ATM, p * PSI + ATM, 293.15)) for p in (35.2, 36.5))
    full = float(flow.mass_flow_kg_s(1e-6, 80.0 * PSI + ATM, 0.0, 293.15))
    assert under == full
    assert over < full


def test_hole_in_a_line_of_cengel_and_cimbala() -> None:
    # Çengel & Cimbala, Fluid Mechanics, ex. 12-5: 220 kPa gauge, atmosphere 94 kPa, 25 °C, 4 mm hole: 0.5543 kg/min [RI→C]
    kg_per_min = 60.0 * float(flow.mass_flow_kg_s(math.pi / 4.0 * 0.004**2, 314_000.0, 94_000.0, 298.15))
    assert kg_per_min == pytest.approx(0.5543, rel=1e-3)


def test_iso_6358_row() -> None:
    # simulation documentation quoting ISO 6358: C 1e-8 m³/(s·Pa), b .35, 700 → 100 kPa, T1 = T0: 0.008295 kg/s [R]
    assert float(flow.mass_flow_iso6358_kg_s(1e-8, 0.35, 700e3, 100e3, 293.15)) == pytest.approx(0.008295, abs=5e-7)


def test_iso_6358_pressure_drop() -> None:
    # same: C 3 dm³/(s·bar), 600 L/min ANR at 6 bar gauge: the drop is about 0.55 bar [R]; b 0.3 is what catalogues give [CP]
    wanted = float(flow.ANR.mass_flow_kg_s(600e-3 / 60.0))
    up = 6e5 + ATM
    drops = np.linspace(0.0, 2e5, 2001)
    flows = flow.mass_flow_iso6358_kg_s(3e-3 / 1e5, 0.3, up, up - drops, 293.15)
    assert float(drops[np.searchsorted(flows, wanted)]) == pytest.approx(0.55e5, abs=0.06e5)


def test_anr_density() -> None:
    # ISO 8778: 20 °C, 100 kPa, 65 % RH; ρ0 = 1.185 kg/m³ by definition [R2]
    assert flow.ANR.density_kg_m3 == 1.185
    references = [flow.ANR, flow.STANDARD_20C, flow.NORMAL_0C, flow.STANDARD_60F]
    litres = [float(reference.volume_flow_m3_s(1.0)) for reference in references]
    assert max(litres) / min(litres) == pytest.approx(1.09, abs=0.005)  # "differ by up to 9 %"


# ---------------------------------------------------------------- libraries as oracles


def test_against_real_air() -> None:
    # CoolProp, real gas, 1.016 mm at 80 psig and 20 °C: 1.253082e-3 kg/s; ideal 1.249459e-3
    p0, t0, area = 80.0 * PSI + ATM, 293.15, math.pi / 4.0 * 1.016e-3**2
    entropy = PropsSI("S", "P", p0, "T", t0, "Air")
    enthalpy = PropsSI("H", "P", p0, "T", t0, "Air")

    def flux(p: float) -> float:
        density = PropsSI("D", "P", p, "S", entropy, "Air")
        return float(density * math.sqrt(2.0 * (enthalpy - PropsSI("H", "P", p, "S", entropy, "Air"))))

    real = area * max(flux(p) for p in np.linspace(0.45 * p0, 0.6 * p0, 121))
    ours = float(flow.mass_flow_kg_s(area, p0, ATM, t0))
    assert real == pytest.approx(1.253082e-3, rel=1e-4)
    assert ours == pytest.approx(1.249459e-3, rel=1e-6)
    assert ours == pytest.approx(real, rel=5e-3)


def test_critical_flow_of_fluids() -> None:
    # fluids.compressible.P_critical_flow(790325, 1.4) = 417514.304
    assert fluids.compressible.P_critical_flow(790_325.0, 1.4) == pytest.approx(417_514.304, abs=1e-3)
    assert 790_325.0 * float(flow.critical_pressure_ratio()) == pytest.approx(417_514.304, abs=1e-3)


def test_nozzle_expansibility_of_fluids() -> None:
    # fluids.flow_meter.nozzle_expansibility for 1.016 mm, 80 → 70 psig: 0.94174020, hence 7.897365e-4 kg/s
    up, down, bore = 80.0 * PSI + ATM, 70.0 * PSI + ATM, 1.016e-3
    expansibility = fluids.flow_meter.nozzle_expansibility(D=1.0, Do=bore, P1=up, P2=down, k=1.4)
    assert expansibility == pytest.approx(0.94174020, abs=1e-7)
    density = up / (flow.AIR_GAS_CONSTANT * 293.15)
    theirs = math.pi / 4.0 * bore**2 * expansibility * math.sqrt(2.0 * density * (up - down))
    ours = float(flow.mass_flow_kg_s(math.pi / 4.0 * bore**2, up, down, 293.15))
    assert ours == pytest.approx(7.897365e-4, rel=1e-6)
    assert ours == pytest.approx(theirs, rel=1e-4)


@settings(max_examples=100, deadline=None)
@given(up=st.floats(1.2e5, 1.2e6), ratio=st.floats(0.55, 0.995), bore_mm=st.floats(0.2, 3.0))
def test_subcritical_flow_against_fluids_anywhere(up: float, ratio: float, bore_mm: float) -> None:
    bore = bore_mm * 1e-3
    expansibility = fluids.flow_meter.nozzle_expansibility(D=1.0, Do=bore, P1=up, P2=ratio * up, k=1.4)
    density = up / (flow.AIR_GAS_CONSTANT * 293.15)
    theirs = math.pi / 4.0 * bore**2 * expansibility * math.sqrt(2.0 * density * up * (1.0 - ratio))
    assert float(flow.mass_flow_kg_s(math.pi / 4.0 * bore**2, up, ratio * up, 293.15)) == pytest.approx(theirs, rel=1e-4)


@settings(max_examples=60, deadline=None)
@given(up=st.floats(2.5e5, 1.2e6), t_up=st.floats(250.0, 400.0), area_mm2=st.floats(0.01, 20.0))
def test_choked_flow_against_api_520_anywhere(up: float, t_up: float, area_mm2: float) -> None:
    # fluids.safety_valve.API520_A_g inverted; it carries rounded constants (13.315 and 520-1's unit factors), hence 0.1 %
    ours = float(flow.mass_flow_kg_s(area_mm2 * 1e-6, up, 0.2 * up, t_up))
    molar_mass = 8314.462618 / flow.AIR_GAS_CONSTANT
    area = fluids.safety_valve.API520_A_g(m=ours, T=t_up, Z=1.0, MW=molar_mass, k=1.4, P1=up, P2=0.2 * up, Kd=1.0, Kb=1.0, Kc=1.0)
    assert area == pytest.approx(area_mm2 * 1e-6, rel=1e-3)


def test_api_520_examples() -> None:
    # API 520-1 ex. 1 (docstring of fluids): 24 270 kg/h, 348 K, Z .90, MW 51, k 1.11, 670 kPa: 3699.0 mm²; Kd .975 [R]
    gas_constant = 0.90 * 8314.462618 / 51.0
    flux = 0.975 * 670e3 / math.sqrt(gas_constant * 348.0) * float(flow.choked_flow_constant(1.11))
    assert 24_270.0 / 3600.0 / flux * 1e6 == pytest.approx(3699.0, rel=3e-3)
    # ex. 2, subcritical, 532 kPa downstream: 4248.4 mm² [R]; the same nozzle law with its own rounding
    flux = 0.975 * 670e3 / math.sqrt(gas_constant * 348.0) * float(flow.flow_function(532.0 / 670.0, 1.11))
    assert 24_270.0 / 3600.0 / flux * 1e6 == pytest.approx(4248.4, rel=5e-3)


# ---------------------------------------------------------------- the tester


@pytest.mark.parametrize(
    ("reading_psig", "leakage", "area_mm2"),
    [
        (78, 2.5, 0.24577),
        (76, 5.0, 0.35109),
        (72, 10.0, 0.50697),
        (70, 12.5, 0.57294),
        (65, 18.75, 0.72157),
        (60, 25.0, 0.85821),
        (50, 37.5, 1.12171),
        (40, 50.0, 1.39609),
    ],
)
def test_leak_area_row(reading_psig: float, leakage: float, area_mm2: float) -> None:
    # two ideal nozzles in series, 0.040 in, 80 psig, 101.325 kPa, 20 °C [C]
    assert float(flow.leakage_percent(80.0 * PSI, reading_psig * PSI)) == pytest.approx(leakage, abs=1e-9)
    area = float(flow.leak_area_m2(BORE_040, 80.0 * PSI, reading_psig * PSI, ATM))
    assert area * 1e6 == pytest.approx(area_mm2, abs=6e-6)
    assert float(flow.leakage_percent_of_area(area, BORE_040, 80.0 * PSI, ATM)) == pytest.approx(leakage, rel=1e-10)


@pytest.mark.parametrize(
    ("restrictor_m2", "regulated_psig", "ambient_pa", "leakage"),
    [(BORE_040, 80.0, ATM, 3.690), (BORE_060, 80.0, ATM, 0.746), (BORE_040, 100.0, ATM, 3.575), (BORE_040, 80.0, 84_556.0, 3.595)],
)
def test_leakage_of_three_tenths_square_millimetre(
    restrictor_m2: float, regulated_psig: float, ambient_pa: float, leakage: float
) -> None:
    # a 0.30 mm² leak on other restrictors, pressures and at altitude [C]
    assert float(flow.leakage_percent_of_area(0.30e-6, restrictor_m2, regulated_psig * PSI, ambient_pa)) == pytest.approx(
        leakage, abs=5e-4
    )


def test_hot_engine_is_worth_ten_percent_of_area() -> None:
    # 80 °C engine and 20 °C air: √(353.15/293.15), about 10 % (design of the rig)
    cold = float(flow.leak_area_m2(BORE_040, 80.0 * PSI, 72.0 * PSI, ATM, 293.15))
    hot = float(flow.leak_area_m2(BORE_040, 80.0 * PSI, 72.0 * PSI, ATM, 293.15, 353.15))
    assert hot / cold == pytest.approx(math.sqrt(353.15 / 293.15), rel=1e-12)
    assert hot / cold == pytest.approx(1.10, abs=0.005)


# ---------------------------------------------------------------- blowdown


def test_blowdown_of_half_a_litre() -> None:
    # 500 cm³, 1 mm², 20 °C, 689 kPa gauge, isothermal [C, analytic = scipy]
    start, tau = 689_000.0 + ATM, 2.517235
    assert 500e-6 / (1e-6 * math.sqrt(flow.AIR_GAS_CONSTANT * 293.15) * float(flow.choked_flow_constant())) == pytest.approx(
        tau, abs=5e-7
    )
    times = {0.618823: 0.75, 1.441162: 0.50, 2.670456: 0.25, 3.865738: 0.10}
    pressures = flow.decay_pressure_abs_pa(list(times), start, 1e-6, 500e-6, ATM, 293.15)
    assert (pressures - ATM) / 689_000.0 == pytest.approx(list(times.values()), abs=1e-6)
    unchoked = float(flow.decay_pressure_abs_pa(3.564369, start, 1e-6, 500e-6, ATM, 293.15))
    assert unchoked == pytest.approx(191_801.0, abs=1.0)
    end = flow.decay_pressure_abs_pa([5.88, 5.892035, 6.0, 100.0], start, 1e-6, 500e-6, ATM, 293.15)
    assert end[0] > ATM + 0.1
    assert end[1:] == pytest.approx([ATM] * 3, abs=1e-3)
    # adiabatic: 50 % at 1.072669 s
    adiabatic = float(flow.decay_pressure_abs_pa(1.072669, start, 1e-6, 500e-6, ATM, 293.15, 1.4))
    assert (adiabatic - ATM) / 689_000.0 == pytest.approx(0.5, abs=1e-6)


def test_choked_blowdown_by_a_quarter() -> None:
    # White, Fluid Mechanics, P3.27: a fall by 25 % takes t = 0.420·V/(A·√(R·T0)) (formula read [R])
    volume, area, t_gas, start = 1.0, 1e-4, 300.0, 5e6
    quarter_s = 0.420 * volume / (area * math.sqrt(flow.AIR_GAS_CONSTANT * t_gas))
    left = float(flow.decay_pressure_abs_pa(quarter_s, start, area, volume, ATM, t_gas))
    assert left / start == pytest.approx(0.75, rel=1e-3)


def test_small_change_leak_rate() -> None:
    # 500 cm³, 10 kPa in 60 s: 0.0833333 Pa·m³/s [C]: what our decay loses in the first moment is the flow times R·T
    area = 0.0833333 / float(flow.mass_flow_kg_s(1.0, 790_325.0, ATM, 293.15)) / (flow.AIR_GAS_CONSTANT * 293.15)
    fall = 790_325.0 - float(flow.decay_pressure_abs_pa(0.6, 790_325.0, area, 500e-6, ATM, 293.15))
    assert fall / 0.6 * 60.0 == pytest.approx(10_000.0, rel=1e-3)


# ---------------------------------------------------------------- crank and sensor


def test_torque_of_abbott() -> None:
    # Abbott, Dynamics, ex. 3: bore 9 in, stroke 24, rod dia 2, l 60 in, θ 40°, 160 psi on the head, 32 on the rod side:
    # printed 6110 lb·ft by the approximate form; exact 6117.5 [R]
    inch, pound_foot = 0.0254, 1.3558179483
    head = crank.gas_torque_nm(40.0, 9.0 * inch, 24.0 * inch, 60.0 * inch, 160.0 * PSI)
    crank_side = crank.gas_torque_nm(40.0, math.sqrt(81.0 - 4.0) * inch, 24.0 * inch, 60.0 * inch, 32.0 * PSI)
    torque = float(head - crank_side) / pound_foot
    assert torque == pytest.approx(6117.5, abs=1.0)
    assert torque == pytest.approx(6110.0, rel=2e-3)


def test_crank_angle_of_a_given_travel() -> None:
    # theory-of-machines problem: r 60, l 240, x 20 mm: printed 43.5° (graphical), exact 43.432° [R]
    angles = np.linspace(40.0, 47.0, 70_001)
    found = float(np.interp(0.020, crank.piston_travel_m(angles, 0.120, 0.240), angles))
    assert found == pytest.approx(43.432, abs=1e-3)
    assert found == pytest.approx(43.5, abs=0.1)


def test_own_engine_row() -> None:
    # r 43, l 143, bore 86, 80 psig [C]
    travel = crank.piston_travel_m([1.0, 10.0], 0.086, 0.143)
    assert travel * 1e3 == pytest.approx([0.008518, 0.848344], abs=5e-7)
    torque = crank.gas_torque_nm([1.0, 10.0], 0.086, 0.086, 0.143, 80.0 * PSI)
    assert torque == pytest.approx([3.12739, 31.01836], abs=5e-6)


def test_dwell_at_tdc() -> None:
    # within 0.025 mm of TDC over ±1.71° [C]
    assert float(crank.piston_travel_m(1.71, 0.086, 0.143)) * 1e3 == pytest.approx(0.025, abs=2e-4)


def test_ratiometric_sensor() -> None:
    # 0/50/100 % at 0.1/0.5/0.9 of the supply; fraction = (V/Vs − 0.1)/0.8 [R]
    law = ChannelLaw(0.0, 5.0 / 4000.0, 5.0, 0.0, 1_000_000.0)
    assert law.gauge_pa([400, 2000, 3600]) == pytest.approx([0.0, 500_000.0, 1_000_000.0], abs=1e-6)
    other_supply = ChannelLaw(0.0, 4.8 / 4000.0, 4.8, 0.0, 1_000_000.0)
    assert other_supply.gauge_pa([400, 2000, 3600]) == pytest.approx(law.gauge_pa([400, 2000, 3600]), abs=1e-6)
