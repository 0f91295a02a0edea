"""The values of the marked numbers in hardware_notes, each worked out by the project's own code, its tables, or a stated formula.

Sources of formulae: choked ideal nozzle and ISO 6358 as in `borewright.core.flow`; RC corner 1/(2·π·R·C); current of a coil
that is switched off, i = (I + U/R)·e^(−t·R/L) − U/R (any text on circuits). Figures that describe parts stand here by name, as on
the pages.
"""

from __future__ import annotations

import tomllib
from math import exp, log, pi, sqrt

import numpy as np
from borewire.interlock import TABLE
from borewright.core.crank import cylinder_volume_m3, gas_torque_nm, squeeze_peak_gauge_pa
from borewright.core.flow import (
    AIR_GAS_CONSTANT,
    ANR,
    choked_flow_constant,
    decay_pressure_abs_pa,
    leakage_percent_of_area,
    mass_flow_kg_s,
)
from borewright.core.limits import Limits
from borewright.core.restrictor import Restrictor
from borewright.core.restrictor_fit import restrictor_of_bore
from borewright.core.rig import ChannelLaw, RigSetup
from borewright.core.volumes import VALVE_CLOSED_S
from scipy.optimize import brentq

from .hardware_pages import ROOT

AMBIENT_PA, ROOM_K = 101_325.0, 293.15
SETUP, LIMITS = RigSetup(), Limits()
SET_PA = SETUP.set_pressure_gauge_pa
SHOP_AIR_PA, SHOP_AIR_USUAL_PA = 1_000_000.0, 800_000.0
BORE_040_M, BORE_060_M = 0.040 * 0.0254, 0.060 * 0.0254
RELIEF_REGULATED_FULL_PA, RELIEF_CYLINDER_FULL_PA = 1.1 * 700_000.0, 1.1 * 900_000.0
RELIEF_CYLINDER_M2 = 12e-6
LEAK_M2 = 0.507e-6
HOSE_M3, CLEARANCE_M3 = SETUP.hose_volume_m3, 56e-6
REFERENCE_RIG = tomllib.loads((ROOT / "simulator/scenarios/reference_rig.toml").read_text("utf-8"))


def circle_m2(diameter_m: float) -> float:
    return pi / 4.0 * diameter_m**2


def flow_kg_s(area_m2: float, from_gauge_pa: float, to_abs_pa: float = AMBIENT_PA) -> float:
    return float(mass_flow_kg_s(area_m2, from_gauge_pa + AMBIENT_PA, to_abs_pa, ROOM_K))


def area_for_m2(flow: float, at_gauge_pa: float) -> float:
    """The effective area that passes a flow from a gauge pressure into the open."""
    return flow / flow_kg_s(1.0, at_gauge_pa)


def drop_pa(area_m2: float, flow: float, from_gauge_pa: float) -> float:
    """Pressure lost in an opening that a flow passes without choking."""
    high = from_gauge_pa + AMBIENT_PA
    return high - float(brentq(lambda low: flow_kg_s(area_m2, from_gauge_pa, low) - flow, 0.53 * high, high - 1.0))


def emptied_s(volume_m3: float, area_m2: float) -> float:
    """Time from the set pressure to what counts as vented."""
    t_s = np.linspace(0.0, 30.0, 300_001)
    p = decay_pressure_abs_pa(t_s, SET_PA + AMBIENT_PA, area_m2, volume_m3, AMBIENT_PA, ROOM_K)
    return float(t_s[np.argmax(p <= LIMITS.vented_gauge_pa + AMBIENT_PA)])


def conductance(area_m2: float) -> float:
    """C of ISO 6358 in dm³/(s·bar)."""
    return Restrictor(area_m2).conductance_m3_s_pa * 1e8


def kv_m3_h(area_m2: float) -> float:
    """By its definition: m³ of water an hour at a difference of 1 bar, through A·√(2·Δp/ρ)."""
    return area_m2 * sqrt(2.0 * 1e5 / 1000.0) * 3600.0


def cv_gal_min(area_m2: float) -> float:
    """US gallons of water a minute at 1 psi; 0.865 converts (common practice, no source)."""
    return kv_m3_h(area_m2) / 0.865


VALVE_FIGURES = {"c": conductance, "kv": kv_m3_h, "cv": cv_gal_min}


def reads_percent(restrictor_m2: float, leak_m2: float = LEAK_M2) -> float:
    return float(leakage_percent_of_area(leak_m2, restrictor_m2, SET_PA, AMBIENT_PA))


def law(range_pa: float) -> ChannelLaw:
    """The reference firmware's raw words: sums of four 10-bit codes, measured against the transducer's own 5 V."""
    return ChannelLaw(0.0, 5.0 / 4096.0, 5.0, 0.0, range_pa)


def of_flow() -> dict[str, float]:
    limiting = {bore: flow_kg_s(circle_m2(bore), SHOP_AIR_PA) for bore in (1.5e-3, 2e-3, 3e-3)}
    test = {bore: flow_kg_s(circle_m2(bore), SET_PA) for bore in (BORE_040_M, BORE_060_M)}
    needed = area_for_m2(limiting[2e-3], RELIEF_REGULATED_FULL_PA)
    air_in_kg = 0.050 * test[BORE_040_M]
    return {
        "regulated_low_kpa": SETUP.regulated_low_gauge_pa / 1e3,
        "regulated_high_kpa": SETUP.regulated_high_gauge_pa / 1e3,
        "squeeze_vent_percent": 100.0 * LIMITS.squeeze_vent_fraction,
        "limiting_flow_g_s": 1e3 * limiting[2e-3],
        "limiting_flow_15_g_s": 1e3 * limiting[1.5e-3],
        "limiting_flow_30_g_s": 1e3 * limiting[3e-3],
        "limiting_flow_anr_dm3_min": limiting[2e-3] / ANR.density_kg_m3 * 1e3 * 60.0,
        "limiting_drop_20_kpa": drop_pa(circle_m2(2e-3), test[BORE_060_M], SHOP_AIR_USUAL_PA) / 1e3,
        "limiting_drop_30_kpa": drop_pa(circle_m2(3e-3), test[BORE_060_M], SHOP_AIR_USUAL_PA) / 1e3,
        "limiting_drop_15_kpa": drop_pa(circle_m2(1.5e-3), test[BORE_060_M], SHOP_AIR_USUAL_PA) / 1e3,
        "relief_regulated_area_mm2": 1e6 * needed,
        "relief_regulated_c": conductance(needed),
        "relief_area_15_mm2": 1e6 * area_for_m2(limiting[1.5e-3], RELIEF_REGULATED_FULL_PA),
        "relief_area_30_mm2": 1e6 * area_for_m2(limiting[3e-3], RELIEF_REGULATED_FULL_PA),
        "relief_cylinder_area_mm2": 1e6 * area_for_m2(limiting[2e-3], RELIEF_CYLINDER_FULL_PA),
        "relief_cylinder_c": conductance(RELIEF_CYLINDER_M2),
        "test_flow_040_g_s": 1e3 * test[BORE_040_M],
        "test_flow_060_g_s": 1e3 * test[BORE_060_M],
        "supply_valve_drop_kpa": drop_pa(8e-6, test[BORE_060_M], SET_PA) / 1e3,
        "air_in_50_ms_mg": 1e6 * air_in_kg,
        "air_in_50_ms_kpa": air_in_kg * AIR_GAS_CONSTANT * ROOM_K / (HOSE_M3 + CLEARANCE_M3) / 1e3,
        "leak_03_percent": reads_percent(circle_m2(BORE_040_M), 0.30e-6),
        "leak_031_percent": reads_percent(circle_m2(BORE_040_M), 0.31e-6),
        **{f"{name}_{area}": value(1e-6 * area) for area in (4, 8, 16, 20) for name, value in VALVE_FIGURES.items()},
    }


def of_squeeze() -> dict[str, float]:
    """What relief 14 must pass: the swept volume a second at its pressure, the air taken as not warmer than the room."""
    found = {}
    for name, bore_m, stroke_m, rod_m, ratio in (
        ("a", 0.086, 0.086, 0.143, 10.0),
        ("b", 0.100, 0.100, 0.165, 11.0),
        ("c", 0.130, 0.150, 0.250, 17.0),
    ):
        clearance = circle_m2(bore_m) * stroke_m / (ratio - 1.0)
        found[f"squeeze_{name}_peak_kpa"] = (
            squeeze_peak_gauge_pa(bore_m, stroke_m, rod_m, clearance, HOSE_M3, AMBIENT_PA, 180.0) / 1e3
        )
        deg = np.linspace(-180.0, 0.0, 36_001)
        volume = cylinder_volume_m3(deg, bore_m, stroke_m, rod_m, clearance) + HOSE_M3
        reached = AMBIENT_PA * (volume[0] / volume) ** 1.4 >= RELIEF_CYLINDER_FULL_PA + AMBIENT_PA
        m3_per_rad = float(np.max(-np.gradient(volume, np.radians(deg))[reached]))
        for rpm in (60, 250):
            m3_s = m3_per_rad * 2.0 * pi * rpm / 60.0
            found[f"squeeze_{name}_{rpm}_mm2"] = 1e6 * m3_s / float(choked_flow_constant() * np.sqrt(AIR_GAS_CONSTANT * ROOM_K))
    return found


def of_venting() -> dict[str, float]:
    dead, restrictor = SETUP.dead_volume_m3, circle_m2(BORE_040_M)
    return {
        "empty_dead_vent_s": emptied_s(dead, 4e-6),
        "empty_dead_restrictor_s": emptied_s(dead, restrictor),
        "empty_tdc_vent_s": emptied_s(HOSE_M3 + CLEARANCE_M3, 16e-6),
        "empty_bdc_vent_s": emptied_s(HOSE_M3 + 500e-6, 16e-6),
        "empty_bdc_restrictor_s": emptied_s(HOSE_M3 + 500e-6, restrictor),
        "hose_6_mm_cm3_per_m": 1e6 * circle_m2(6e-3),
        "hose_8_mm_cm3_per_m": 1e6 * circle_m2(8e-3),
        "hose_stretch_cm3": REFERENCE_RIG["air"]["hose_stretch_per_bar"] * REFERENCE_RIG["air"]["hose_volume_cm3"] * SET_PA / 1e5,
        "half_time_ratio": (HOSE_M3 + CLEARANCE_M3) / CLEARANCE_M3,
    }


def of_restrictor() -> dict[str, float]:
    found = {
        "area_040_mm2": 1e6 * circle_m2(BORE_040_M),
        "area_060_mm2": 1e6 * circle_m2(BORE_060_M),
        "area_100_smaller_percent": 100.0 * (1.0 - (1.00e-3 / BORE_040_M) ** 2),
        "leak_on_040_percent": reads_percent(circle_m2(BORE_040_M)),
        "leak_on_060_percent": reads_percent(circle_m2(BORE_060_M)),
        "bore_short_u_percent": 200.0 * restrictor_of_bore(BORE_040_M, "short cylinder").u_relative,
        "bore_unknown_u_percent": 200.0 * restrictor_of_bore(BORE_040_M, "unknown").u_relative,
    }
    for name, bore_m in (("040", BORE_040_M), ("060", BORE_060_M)):
        found[f"reads_{name}_0"] = reads_percent(circle_m2(bore_m))
        for micrometres in (-20, -10, 10, 20, 50):
            there = f"{name}_{'m' if micrometres < 0 else 'p'}{abs(micrometres)}"
            area = circle_m2(bore_m + 1e-6 * micrometres)
            found[f"area_{there}"] = 100.0 * (area / circle_m2(bore_m) - 1.0)
            found[f"reads_{there}"] = reads_percent(area)
    for tenths_mm2 in (4, 8, 16):
        found[f"orifice_{tenths_mm2:02d}_percent"] = reads_percent(circle_m2(BORE_040_M), 1e-7 * tenths_mm2)
    return found


def of_wiring() -> dict[str, float]:
    per_raw = law(SETUP.transducer_high_gauge_pa)
    wire_v = 0.010 * 2.0 * 0.0172 / 0.25  # 10 mA in 2 m of copper of 0.25 mm²; 0.0172 Ω·mm²/m: from memory of tables
    found = {
        "filter_corner_khz": 1.0 / (2.0 * pi * 1e3 * 100e-9) / 1e3,
        "kickback_mv": 1e3 * 4.0 * 14e-12 / 100e-9,
        "encoder_fall_us": 1e6 * 1e3 * 1e-9,
        "encoder_rise_us": 1e6 * (1e3 + 2.2e3) * 1e-9,
        "edge_spacing_us": 1e6 / 30_000.0,
        "raw_at_zero": per_raw.raw_at(0.0),
        "raw_at_full": per_raw.raw_at(1e6),
        "cable_drop_mv": 1e3 * wire_v,
        "cable_zero_kpa": wire_v / (5.0 / 4096.0) * per_raw.pa_per_raw / 1e3,
        "host_silence_ms": TABLE.host_silence_ms,
        "reaction_ms": TABLE.reaction_ms,
        "sensor_fault_samples": TABLE.sensor_fault_samples,
        "time_limit_max_s": TABLE.time_limit_max_ms / 1e3,
        "isolate_max_s": TABLE.isolate_max_ms / 1e3,
    }
    for name, range_pa in (("", SETUP.transducer_high_gauge_pa), ("_700", 700e3), ("_1600", 1600e3)):
        found[f"kpa_per_raw{name}"] = law(range_pa).pa_per_raw / 1e3
        found[f"kpa_per_code{name}"] = 4.0 * law(range_pa).pa_per_raw / 1e3
    return found


def released_ms(clamp_v: float) -> float:
    """Time until the current of the pages' coil (12 V, 8 W, 0.1 H) is a quarter, with so many volts across it while it falls."""
    ohm, henry, full = 12.0**2 / 8.0, 0.1, 8.0 / 12.0
    t_s = henry / ohm * log((full + clamp_v / ohm) / (0.25 * full + clamp_v / ohm))
    assert abs((full + clamp_v / ohm) * exp(-t_s * ohm / henry) - clamp_v / ohm - 0.25 * full) < 1e-9
    return 1e3 * t_s


def of_valves_and_crank() -> dict[str, float]:
    diode_v = 0.8
    counts = REFERENCE_RIG["encoder"]["counts_per_rev"]

    def torque(deg: float) -> float:
        return float(gas_torque_nm(deg, 0.086, 0.086, 0.143, SET_PA))

    found = {
        "reference_supply_travel_ms": REFERENCE_RIG["air"]["supply_travel_ms"],
        "reference_vent_travel_ms": REFERENCE_RIG["air"]["vent_travel_ms"],
        "valve_closed_ms": 1e3 * VALVE_CLOSED_S,
        "clamp_diode_v": 12.0 + diode_v,
        "clamp_zener_v": 12.0 + 24.0 + diode_v,
        "clamp_zener_24_v": 24.0 + 33.0 + diode_v,
        "release_diode_ms": released_ms(diode_v),
        "release_zener_ms": released_ms(24.0 + diode_v),
        "torque_1_nm": torque(1.0),
        "torque_15_nm": torque(1.5),
        "torque_10_nm": torque(10.0),
        "window_count": counts * LIMITS.window_deg / 360.0,
        "counts_s_60_rpm": counts * 60.0 / 60.0,
        "rpm_10k": 10_000.0 / counts * 60.0,
        "rpm_30k": 30_000.0 / counts * 60.0,
        "index_tolerance_count": LIMITS.index_tolerance_count,
        "slip_late_deg": LIMITS.squeeze_peak_late_deg,
        "slip_late_count": counts * LIMITS.squeeze_peak_late_deg / 360.0,
        "mark_half_degree_mm": pi * 150.0 * 0.5 / 360.0,
    }
    for lines in (360, 1024, 2500):
        found[f"counts_{lines}"] = 4.0 * lines
        found[f"deg_per_count_{lines}"] = 360.0 / (4.0 * lines)
    return found


def all_values() -> dict[str, float]:
    """Every value that a page may state, by its name."""
    return of_flow() | of_squeeze() | of_venting() | of_restrictor() | of_wiring() | of_valves_and_crank()
