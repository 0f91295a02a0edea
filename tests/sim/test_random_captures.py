"""The maker of random captures that accuracy is measured with: the same for a seed, true to its plant, drawn as it says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from boresim.plant import Plant
from borewright.core.capture import analyse_capture

from ..bench_module import bench_module

captures = bench_module("parts/random_captures.py")


def test_a_seed_gives_its_capture_again_and_another_one_another() -> None:
    first, again, other = (captures.make_capture(captures.draw_case(seed)) for seed in (3, 3, 4))
    assert first.columns.raw.tobytes() == again.columns.raw.tobytes()
    assert (first.truth, first.instrument, first.laws) == (again.truth, again.instrument, again.laws)
    assert first.truth != other.truth
    assert first.instrument != other.instrument


@pytest.mark.parametrize("heat", ["constant", "fill", "pressure"])
def test_the_truth_is_what_a_long_run_of_the_plant_comes_to(heat: str) -> None:
    for seed in (20, 21):
        case = captures.draw_case(seed, heat=heat)
        truth = captures.settled_truth(case)
        plant = Plant(captures.scenario_of(case))
        plant.set_restraint(captures.RESTRAINT_NM)
        plant.set_regulator(case.set_gauge_pa)
        plant.attach_hose(1)
        plant.set_vent(False)
        plant.set_supply(True)
        plant.advance(40_000, 0.001)
        regulated, cylinder = plant.p_regulated_gauge_pa, plant.p_cylinder_gauge_pa
        assert 100.0 * (1.0 - cylinder / regulated) == pytest.approx(truth.leakage_percent, abs=1e-3)
        assert regulated == pytest.approx(truth.p_regulated_gauge_pa, rel=1e-5)
        assert cylinder == pytest.approx(truth.settled_cylinder_gauge_pa, rel=1e-5)
        flow = plant.flows_kg_s()["outlets"]
        up = cylinder + case.p_ambient_abs_pa
        unit = captures.nozzle_flow_kg_s(1.0, up, case.p_ambient_abs_pa, plant.t_cylinder_k)
        assert flow / unit == pytest.approx(truth.leak_area_m2, rel=1e-3)
        volume = (plant.mass_kg - in_dead_volume_kg(case, regulated)) * 287.05287 * plant.t_cylinder_k / up
        assert volume == pytest.approx(truth.trapped_volume_m3, rel=1e-3)
        assert 1e-2 < truth.leakage_percent < 99.0


def in_dead_volume_kg(case: object, regulated_gauge_pa: float) -> float:
    air, ambient = captures.scenario_of(case).rig.air, captures.scenario_of(case).ambient
    return float((regulated_gauge_pa + ambient.pressure_abs_pa) * air.dead_volume_m3 / (287.05287 * ambient.air_k))


def test_a_case_settles_at_the_leakage_drawn_and_its_exponent_is_that_of_its_area() -> None:
    leakages = [captures.settled_truth(captures.draw_case(seed)).leakage_percent for seed in range(60)]
    assert 0.5 <= min(leakages) < 5.0
    assert 85.0 < max(leakages) <= 95.0
    case = captures.draw_case(8, leakage=(20.0, 20.0))
    truth = captures.settled_truth(case)
    assert truth.leakage_percent == pytest.approx(20.0, abs=1e-6)
    more = captures.settled_truth(replace(case, set_gauge_pa=1.01 * case.set_gauge_pa))
    slope = np.log(more.leak_area_m2 / truth.leak_area_m2)
    slope /= np.log(more.settled_cylinder_gauge_pa / truth.settled_cylinder_gauge_pa)
    assert slope == pytest.approx(truth.pressure_exponent, abs=1e-3)


def test_the_same_leak_reads_less_on_a_larger_restrictor() -> None:
    case = captures.draw_case(9, leakage=(20.0, 40.0))
    larger = replace(case, restrictor_conductance_m3_s_pa=2.25 * case.restrictor_conductance_m3_s_pa)  # 0.060 for 0.040 in
    assert captures.settled_truth(larger).leakage_percent < 0.6 * captures.settled_truth(case).leakage_percent


def test_what_the_host_knows_is_off_by_what_the_instrument_says() -> None:
    off = []
    for seed in range(150):
        case = captures.draw_case(seed, restrictor_u=0.01)
        known, air = captures.instrument_of(case), captures.scenario_of(case).rig.air
        hose = air.hose_volume_m3 + air.adapter_volume_m3
        off.append(
            [
                (case.p_ambient_abs_pa - known.p_ambient_abs_pa) / known.u_p_ambient_pa,
                (case.air_k - known.t_supply_k) / known.u_t_supply_k,
                (case.engine_k - known.t_cylinder_k) / known.u_t_cylinder_k,
                (air.dead_volume_m3 / known.dead_volume_m3 - 1.0) / known.u_dead_volume,
                (hose / known.hose_volume_m3 - 1.0) / known.u_hose_volume,
                (case.restrictor_conductance_m3_s_pa / known.restrictor.conductance_m3_s_pa - 1.0) / 0.01,
            ]
        )
    # σ/√(2n) of 150 is 6 %, σ/√n of the mean 8 %
    assert np.std(np.array(off), axis=0) == pytest.approx(np.ones(6), rel=0.2)
    assert np.abs(np.mean(np.array(off), axis=0)).max() < 0.3


def test_the_samples_are_a_capture_with_its_phases_and_flags() -> None:
    case = replace(captures.draw_case(5, leakage=(10.0, 10.0)), puff_s=None)
    made = captures.make_capture(case)
    gauge = made.laws["cylinder"].gauge_pa(made.columns.raw[1])
    supply = (made.columns.flags & 1) != 0
    assert np.all(np.diff(made.columns.tick) == 1000)
    assert np.std(gauge[:1900]) == pytest.approx(1000.0, rel=0.1)  # 0.1 % of 1000 kPa and the step of 12 bits
    assert supply.sum() == pytest.approx(1000.0 * case.fill_s, abs=1)
    steady = np.flatnonzero(supply)[-1000:]
    assert np.mean(gauge[steady]) - np.mean(gauge[:1900]) == pytest.approx(made.truth.settled_cylinder_gauge_pa, abs=3000.0)
    end = gauge[np.flatnonzero(supply)[-1] + 1 :]
    assert np.mean(end[-500:]) - np.mean(gauge[:1900]) == pytest.approx(0.0, abs=600.0)


def test_of_sound_captures_no_slow_valve_and_no_leak_that_grew_is_told() -> None:
    for seed in range(12):
        made = captures.make_capture(captures.draw_case(seed))
        read = analyse_capture(made.columns, made.laws, made.instrument.restrictor.area_m2, 101_325.0, 293.15)
        troubles = ("the leak grew", "the decay was fed", "the supply valve", "the vent")
        told = [mark for mark in read.marks if mark.startswith(troubles)]
        assert (told, read.leak_grew) == ([], False), seed
