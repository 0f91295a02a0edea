"""The plant's air against scipy, closed forms and the conservation of mass."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from boresim.air import AirSide
from boresim.gas import CP_J_KG_K, GAMMA, R_J_KG_K, nozzle_flow_kg_s, restrictor_flow_kg_s
from boresim.outlets import Ways
from boresim.plant import Plant
from boresim.scenario import Scenario, load_scenario
from boresim.truth import plant_truth, settled_state


def at_tdc(scenario: Scenario, cylinder: int, off_deg: float = 0.0) -> Scenario:
    start = scenario.engine.firing_angles_deg[cylinder] + off_deg
    return replace(scenario, crank=replace(scenario.crank, start_deg=start))


def with_air(scenario: Scenario, **changes: Any) -> Scenario:
    return replace(scenario, rig=replace(scenario.rig, air=replace(scenario.rig.air, **changes)))


def tight(scenario: Scenario) -> Scenario:
    return replace(scenario, leaks=dict.fromkeys(scenario.leaks, ()))


def without_walls(scenario: Scenario) -> Scenario:
    ambient = replace(scenario.ambient, engine_wall_w_k=0.0, engine_wall_w_k_pa=0.0)
    return with_air(replace(scenario, ambient=ambient), hose_wall_w_k=0.0, hose_stretch_per_pa=0.0)


@pytest.mark.parametrize("name", ["hillclimb-before", "hillclimb-after", "two-stroke-single"])
def test_the_plant_settles_at_the_truth(name: str) -> None:
    scenario = load_scenario(name)
    for cylinder, truth in plant_truth(scenario).items():
        plant = Plant(at_tdc(scenario, cylinder))
        plant.attach_hose(cylinder)
        plant.set_vent(False)
        plant.set_supply(True)
        plant.advance(25_000, 0.001)
        regulated, inside = plant.p_regulated_gauge_pa, plant.p_cylinder_gauge_pa
        assert 100.0 * (regulated - inside) / regulated == pytest.approx(truth.leakage_percent, abs=1e-6)
        ambient = scenario.ambient
        unit = nozzle_flow_kg_s(1.0, inside + ambient.pressure_abs_pa, ambient.pressure_abs_pa, ambient.air_k)
        assert plant.flows_kg_s()["restrictor"] / unit == pytest.approx(truth.leak_area_m2, rel=1e-6)
        assert plant.crank_deg == scenario.engine.firing_angles_deg[cylinder]


def test_the_truth_of_a_hot_engine_is_that_of_the_plant() -> None:
    scenario = load_scenario("hillclimb-before")
    scenario = at_tdc(replace(scenario, ambient=replace(scenario.ambient, engine_k=353.0)), 2)
    plant = Plant(scenario)
    plant.attach_hose(2)
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(40_000, 0.001)
    assert plant.t_cylinder_k > 295.0
    part = 1.0 - plant.p_cylinder_gauge_pa / plant.p_regulated_gauge_pa
    assert 100.0 * part == pytest.approx(plant_truth(scenario)[2].leakage_percent, abs=1e-6)


def test_fill_and_decay_agree_with_scipy() -> None:
    """The same balance written anew and solved by an implicit method of order 5."""
    from scipy.integrate import solve_ivp  # noqa: PLC0415

    scenario = at_tdc(load_scenario("hillclimb-before"), 2)
    scenario = replace(scenario, ambient=replace(scenario.ambient, engine_k=330.0))
    air, ambient = scenario.rig.air, scenario.ambient
    p_a, t_a = ambient.pressure_abs_pa, ambient.air_k
    volume_0 = air.hose_volume_m3 + air.adapter_volume_m3 + scenario.engine.clearance_m3
    stretch = air.hose_volume_m3 * air.hose_stretch_per_pa
    leaks = [(leak.area_m2, leak.pressure_exponent) for leak in scenario.leaks[2]]

    def rates(_t: float, y: npt.NDArray[np.float64], supply: float) -> list[float]:
        mass_d, mass_c, heat_c = y  # masses and the internal energy of the cylinder side
        p_d = mass_d * R_J_KG_K * t_a / air.dead_volume_m3
        # the energy p·V(p)/(γ−1) solved for p
        b = volume_0 - stretch * p_a
        p_c = (-b + math.sqrt(b * b + 4.0 * stretch * (GAMMA - 1.0) * heat_c)) / (2.0 * stretch)
        t_c = p_c * (b + stretch * p_c) / (mass_c * R_J_KG_K)
        through = restrictor_flow_kg_s(
            air.restrictor_conductance_m3_s_pa,
            air.restrictor_critical_ratio,
            max(p_d, p_c),
            min(p_d, p_c),
            t_a if p_d > p_c else t_c,
        )
        through = through if p_d > p_c else -through
        relative = max((p_c - p_a) / air.set_gauge_pa, 0.01)
        area = sum(part * (relative**exponent if exponent else 1.0) for part, exponent in leaks)
        leaving = nozzle_flow_kg_s(area, p_c, p_a, t_c) if p_c > p_a else 0.0
        p_set = p_a + air.set_gauge_pa
        entering = 0.0
        if supply and p_d < p_set:
            entering = min(nozzle_flow_kg_s(supply * air.supply_area_m2, p_set, p_d, t_a), (p_set - p_d) / air.droop_pa_s_kg)
        heat = (ambient.engine_wall_w_k + ambient.engine_wall_w_k_pa * max(0.0, p_c - p_a)) * (ambient.engine_k - t_c)
        heat += air.hose_wall_w_k * (t_a - t_c)
        enthalpy = CP_J_KG_K * (through * (t_a if through > 0 else t_c) - leaving * t_c)
        rate_c = (GAMMA - 1.0) * (enthalpy + heat) / (b + stretch * p_c + GAMMA * p_c * stretch)
        work = p_c * stretch * rate_c  # that the gas does on the hose
        return [entering - through, through - leaving, enthalpy + heat - work]

    plant = Plant(scenario)
    plant.attach_hose(2)
    plant.advance(4096, 1 / 1024)  # the gas takes its temperature
    plant.set_vent(False)
    plant.advance(64, 1 / 1024)
    plant.set_supply(True)
    start = plant._steps.air.state
    fill = plant.advance(6 * 1024, 1 / 1024)
    plant.set_supply(False)
    decay = plant.advance(1024, 1 / 1024)

    p_d, p_c, mass = start
    y = np.array([p_d * air.dead_volume_m3 / (R_J_KG_K * t_a), mass, p_c * (volume_0 + stretch * (p_c - p_a)) / (GAMMA - 1.0)])
    options: dict[str, Any] = {"method": "Radau", "rtol": 1e-8, "atol": 1e-12}

    def pressure(heat_c: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        b = volume_0 - stretch * p_a
        root: npt.NDArray[np.float64] = np.sqrt(b * b + 4.0 * stretch * (GAMMA - 1.0) * heat_c)
        return (root - b) / (2.0 * stretch)

    travel = air.supply_travel_s
    opening = solve_ivp(lambda t, s: rates(t, s, min(1.0, t / travel)), (0.0, 0.0625), y, **options)
    times = np.arange(65, 6 * 1024 + 1) / 1024
    filling = solve_ivp(lambda t, s: rates(t, s, 1.0), (0.0625, 6.0), opening.y[:, -1], t_eval=times, **options)
    assert np.abs(fill.p_cylinder_abs_pa[64:] - pressure(filling.y[2])).max() < 60.0
    assert abs(fill.p_cylinder_abs_pa[-1] - pressure(filling.y[2])[-1]) < 0.5
    shutting = solve_ivp(lambda t, s: rates(t, s, max(0.0, 1.0 - t / travel)), (0.0, 0.0625), filling.y[:, -1], **options)
    times = np.arange(65, 1024 + 1) / 1024
    falling = solve_ivp(lambda t, s: rates(t, s, 0.0), (0.0625, 1.0), shutting.y[:, -1], t_eval=times, **options)
    assert np.abs(decay.p_cylinder_abs_pa[64:] - pressure(falling.y[2])).max() < 60.0
    assert decay.p_cylinder_abs_pa[-1] < fill.p_cylinder_abs_pa[-1] - 200e3


@pytest.mark.parametrize(("wall_w_k", "half_s", "within"), [(0.0, 1.072669, 0.003), (400.0, 1.441162, 0.01)])
def test_blowdown_takes_the_time_of_the_closed_form(wall_w_k: float, half_s: float, within: float) -> None:
    # computed, analytic and scipy agree: 500 cm³, 1 mm², 20 °C, 689 kPa gauge: half the gauge pressure is left at 1.072669 s
    # without heat and at 1.441162 s at constant temperature
    scenario = without_walls(load_scenario("hillclimb-before"))
    scenario = replace(scenario, ambient=replace(scenario.ambient, pressure_abs_pa=101_325.0, air_k=293.15, engine_k=293.15))
    scenario = with_air(
        scenario, hose_volume_m3=500e-6, adapter_volume_m3=0.0, hose_wall_w_k=wall_w_k, dead_volume_m3=1e-9,
        restrictor_conductance_m3_s_pa=1e-13,
    )  # fmt: skip
    plant = Plant(scenario)
    plant.attach_hose(1e-6)
    plant.set_vent(False)
    plant.advance(128, 1 / 1024)
    volume, air = 500e-6, plant._steps.air
    air.state = (790_325.0, 790_325.0, 790_325.0 * volume / (R_J_KG_K * 293.15))
    trace = plant.advance(3 * 1024, 1 / 1024)
    gauge = trace.p_cylinder_abs_pa - 101_325.0
    elapsed = trace.t_s[int(np.argmax(gauge < 0.5 * 689_000.0))] - trace.t_before_s
    assert elapsed == pytest.approx(half_s, rel=within)


def test_nothing_is_lost_from_a_tight_cylinder_at_rest_or_turning() -> None:
    plant = Plant(at_tdc(tight(load_scenario("hillclimb-before")), 1, -90.0))
    plant.attach_hose(1)
    plant.set_vent(False)
    plant.advance(100, 0.001)
    mass = plant.mass_kg
    plant.turn_by(80.0, 10.0)
    squeeze = plant.advance(2000, 0.001)
    assert squeeze.p_cylinder_abs_pa.max() > 200e3
    assert plant.mass_kg == pytest.approx(mass, rel=1e-12)
    plant.advance(5000, 0.001)
    assert plant.mass_kg == pytest.approx(mass, rel=1e-12)


def test_what_enters_less_what_leaves_is_what_stays() -> None:
    """The flows, summed step by step over the fill once the supply valve is open, are the gain of mass."""
    plant = Plant(at_tdc(load_scenario("hillclimb-before"), 3))
    plant.attach_hose(3)
    plant.set_vent(False)
    plant.advance(64, 1 / 1024)
    plant.set_supply(True)
    plant.advance(64, 1 / 1024)
    steps = plant._steps
    rates, times, before = [], [], plant.mass_kg
    while steps.end < 128 + 3 * 1024:
        flows = plant.flows_kg_s()
        rates.append(flows["supply"] - flows["vent"] - flows["outlets"])
        times.append(steps.end / 1024)
        after = plant.mass_kg
        steps.step(None)
    gained = float(np.sum((np.array(rates)[1:] + np.array(rates)[:-1]) / 2.0 * np.diff(times)))
    assert after - before > 1e-4
    assert gained == pytest.approx(after - before, rel=0.001)


def test_a_tight_squeeze_without_walls_is_adiabatic() -> None:
    scenario = at_tdc(without_walls(tight(load_scenario("hillclimb-before"))), 1, -100.0)
    scenario = with_air(scenario, restrictor_conductance_m3_s_pa=1e-13)
    plant = Plant(scenario)
    plant.attach_hose(1)
    plant.set_vent(False)
    plant.advance(100, 0.001)
    plant.turn_by(100.0, 20.0)
    trace = plant.advance(900, 1 / 1024)
    fixed = scenario.rig.air.hose_volume_m3 + scenario.rig.air.adapter_volume_m3
    volumes = np.array([fixed + scenario.engine.volume_and_slope(angle)[0] for angle in trace.crank_deg])
    start = fixed + scenario.engine.volume_and_slope(-100.0)[0]
    expected = scenario.ambient.pressure_abs_pa * (start / volumes) ** GAMMA
    on_grid = np.abs(trace.t_s * 1024 - np.round(trace.t_s * 1024)) < 1e-6
    assert trace.p_cylinder_abs_pa[-1] > 250e3
    assert np.allclose(trace.p_cylinder_abs_pa[on_grid], expected[on_grid], rtol=1e-6)


def test_a_leaking_squeeze_agrees_with_scipy() -> None:
    """Along the crank's own path, with a leak, heat and the dead volume behind the restrictor."""
    from scipy.integrate import solve_ivp  # noqa: PLC0415

    scenario = with_air(at_tdc(load_scenario("hillclimb-before"), 3, -100.0), hose_stretch_per_pa=0.0)
    air, ambient = scenario.rig.air, scenario.ambient
    plant = Plant(scenario)
    plant.attach_hose(3)
    plant.set_vent(False)
    plant.advance(128, 1 / 1024)
    p_d, p_c, mass = plant._steps.air.state
    plant.turn_by(200.0, 15.0)
    trace = plant.advance(2 * 1024, 1 / 1024)
    t = np.concatenate(([trace.t_before_s], trace.t_s))
    crank = np.concatenate(([trace.crank_before_deg], trace.crank_deg))
    p_a, t_a, top = ambient.pressure_abs_pa, ambient.air_k, scenario.engine.firing_angles_deg[3]

    def rates(now: float, y: npt.NDArray[np.float64]) -> list[float]:
        m_d, m_c, p = y
        at = min(int(np.searchsorted(t, now, side="right")) - 1, len(t) - 2)
        speed = (crank[at + 1] - crank[at]) / (t[at + 1] - t[at])
        angle = crank[at] + speed * (now - t[at]) - top
        volume, slope = scenario.engine.volume_and_slope(angle)
        volume += air.hose_volume_m3 + air.adapter_volume_m3
        travel = scenario.engine.travel_and_slope(angle)[0]
        p_up = m_d * R_J_KG_K * t_a / air.dead_volume_m3
        t_c = p * volume / (m_c * R_J_KG_K)
        law = air.restrictor_conductance_m3_s_pa, air.restrictor_critical_ratio
        through = restrictor_flow_kg_s(*law, p_up, p, t_a) if p_up > p else -restrictor_flow_kg_s(*law, p, p_up, t_c)
        area = 0.0
        for leak in scenario.leaks[3]:
            worn = 1.0 - leak.worn_top_share * (1.0 - math.exp(-travel / leak.worn_top_m))
            relative = max((p - p_a) / air.set_gauge_pa, 0.01)
            area += leak.area_m2 * worn * (relative**leak.pressure_exponent if leak.pressure_exponent else 1.0)
        leaving = nozzle_flow_kg_s(area, p, p_a, t_c) if p > p_a else -nozzle_flow_kg_s(area, p_a, p, t_a)
        heat = (ambient.engine_wall_w_k + ambient.engine_wall_w_k_pa * max(0.0, p - p_a)) * (ambient.engine_k - t_c)
        heat += air.hose_wall_w_k * (t_a - t_c)
        enthalpy = CP_J_KG_K * (through * (t_a if through > 0 else t_c) - leaving * (t_c if leaving > 0 else t_a))
        rate = ((GAMMA - 1.0) * (enthalpy + heat) - GAMMA * p * slope * math.radians(speed)) / volume
        return [-through, through - leaving, rate]

    y = np.array([p_d * air.dead_volume_m3 / (R_J_KG_K * t_a), mass, p_c])
    expected = solve_ivp(rates, (t[0], t[-1]), y, method="Radau", t_eval=t[1:], max_step=0.004, rtol=1e-7, atol=1e-12).y[2]
    peak = expected.max() - p_a
    assert peak > 20e3
    assert np.abs(trace.p_cylinder_abs_pa - expected).max() < 0.01 * peak


def test_the_regulator_droops_with_the_flow_and_lets_air_out_when_turned_down() -> None:
    scenario = load_scenario("hillclimb-before")
    plant = Plant(scenario)
    plant.attach_hose(1e-6)
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(8000, 0.001)
    air = scenario.rig.air
    assert air.set_gauge_pa - plant.p_regulated_gauge_pa == pytest.approx(
        air.droop_pa_s_kg * plant.flows_kg_s()["supply"], rel=1e-4
    )
    plant.attach_hose("capped")
    plant.advance(8000, 0.001)
    plant.set_regulator(200e3)
    plant.advance(8000, 0.001)
    assert plant.p_cylinder_gauge_pa == pytest.approx(200e3, abs=200.0)
    stubborn = Plant(with_air(scenario, relieving=False))
    stubborn.attach_hose("capped")
    stubborn.set_vent(False)
    stubborn.set_supply(True)
    stubborn.advance(8000, 0.001)
    stubborn.set_regulator(200e3)
    stubborn.advance(8000, 0.001)
    assert stubborn.p_cylinder_gauge_pa > 540e3


def test_the_vent_empties_both_sides_after_its_travel() -> None:
    plant = Plant(load_scenario("hillclimb-before"))
    plant.attach_hose("capped")
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(5000, 0.001)
    plant.set_supply(False)
    plant.set_vent(True)
    trace = plant.advance(500, 0.001)
    assert trace.p_cylinder_abs_pa[1] > 500e3
    gauge = trace.p_cylinder_abs_pa - plant.scenario.ambient.pressure_abs_pa
    emptied = int(np.argmax(gauge < 100.0))
    assert 10 < emptied < 100
    assert np.all(np.diff(gauge[:emptied]) < 0.0)
    assert 0.0 <= gauge[emptied:].min() <= gauge[emptied:].max() < 100.0
    assert plant.p_cylinder_gauge_pa < 5e3 > plant.p_regulated_gauge_pa
    plant.advance(5000, 0.001)
    assert (plant.p_cylinder_gauge_pa, plant.p_regulated_gauge_pa) == (0.0, 0.0)


def test_a_hand_valve_takes_its_time() -> None:
    rises = []
    for name in ("hillclimb-before", "hillclimb-before-hand"):
        plant = Plant(load_scenario(name))
        plant.attach_hose("capped")
        plant.set_vent(False)
        plant.advance(1000, 0.001)
        plant.set_supply(True)
        trace = plant.advance(1000, 0.001)
        rises.append(int(np.argmax(trace.p_regulated_abs_pa - 98_900.0 > 500e3)))
    assert 5 < rises[0] < 60 < rises[1]


def test_the_relief_valve_bounds_the_cylinder_side() -> None:
    scenario = with_air(load_scenario("hillclimb-before"), relief_gauge_pa=300e3)
    plant = Plant(scenario)
    plant.attach_hose("capped")
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(8000, 0.001)
    assert 300e3 < plant.p_cylinder_gauge_pa < 330e3


def test_a_leaking_seat_fills_the_rig_with_the_supply_shut() -> None:
    plant = Plant(with_air(load_scenario("hillclimb-before"), supply_seat_leak_m2=0.05e-6))
    plant.attach_hose("capped")
    plant.set_vent(False)
    plant.advance(10_000, 0.001)
    assert plant.p_regulated_gauge_pa > 50e3


def test_undoing_the_hose_loses_its_pressure() -> None:
    plant = Plant(at_tdc(load_scenario("hillclimb-before"), 1))
    plant.attach_hose("capped")
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(4000, 0.001)
    plant.set_supply(False)
    plant.attach_hose("off")
    plant.advance(400, 0.001)
    assert plant.hose_at == "off"
    assert abs(plant.p_cylinder_gauge_pa) < 5e3


def test_stopping_the_exhaust_shows_in_the_leakage_unless_the_pipe_ends_elsewhere() -> None:
    scenario = load_scenario("hillclimb-before")

    def leakage(shared: tuple[str, ...], stop: bool) -> float:
        plant = Plant(at_tdc(replace(scenario, openings=replace(scenario.openings, shared_pipes=shared)), 3))
        plant.attach_hose(3)
        plant.stop_place(3, "exhaust", stop)
        plant.set_vent(False)
        plant.set_supply(True)
        plant.advance(12_000, 0.001)
        if stop and not shared:
            assert plant.place_gauge_pa("exhaust") > 100e3
            assert plant.place_flows_kg_s()["exhaust"] < plant.place_flows_kg_s()["breather"]
        return 1.0 - plant.p_cylinder_gauge_pa / plant.p_regulated_gauge_pa

    free = leakage((), False)
    assert leakage((), True) < 0.6 * free
    assert leakage(("exhaust",), True) == pytest.approx(free, rel=0.01)


def test_oil_closes_worn_rings_for_a_while() -> None:
    scenario = at_tdc(load_scenario("hillclimb-before"), 2)

    def leakage(oil_cm3: float, turns: int) -> float:
        plant = Plant(scenario)
        plant.attach_hose(2)
        if oil_cm3:
            plant.wet(2, oil_cm3)
        if turns:
            plant.turn_by(720.0 * turns, 60.0)
            while plant.turning:
                plant.advance(100, 0.001)
        plant.set_restraint(100.0)
        plant.set_vent(False)
        plant.set_supply(True)
        plant.advance(12_000, 0.001)
        return 1.0 - plant.p_cylinder_gauge_pa / plant.p_regulated_gauge_pa

    dry, wet, later = leakage(0.0, 0), leakage(4.0, 0), leakage(4.0, 8)
    assert wet < 0.5 * dry
    assert wet < later < dry


def test_a_manual_decompression_device_that_is_on_spoils_everything() -> None:
    scenario = at_tdc(load_scenario("hillclimb-after"), 1)
    scenario = replace(scenario, engine=replace(scenario.engine, decompression="manual"))

    def inside(on: bool) -> float:
        openings = replace(scenario.openings, decompression_on=on, decompression_m2=8e-6)
        plant = Plant(replace(scenario, openings=openings))
        plant.attach_hose(1)
        plant.set_vent(False)
        plant.set_supply(True)
        plant.advance(6000, 0.001)
        return plant.p_cylinder_gauge_pa

    assert inside(True) < 0.2 * inside(False)


def test_an_automatic_decompression_device_weakens_the_squeeze() -> None:
    base = load_scenario("hillclimb-after")
    peaks = []
    for kind in ("none", "automatic"):
        scenario = replace(base, engine=replace(base.engine, decompression=kind))
        scenario = at_tdc(replace(scenario, openings=replace(base.openings, decompression_m2=6e-6)), 1, -150.0)
        plant = Plant(scenario)
        plant.attach_hose(1)
        plant.set_vent(False)
        plant.turn_by(150.0, 12.0)
        peaks.append(plant.advance(3000, 0.001).p_cylinder_abs_pa.max() - base.ambient.pressure_abs_pa)
    assert 0.05 * peaks[0] < peaks[1] < 0.6 * peaks[0]


@pytest.mark.parametrize("name", ["hillclimb-before", "two-stroke-single"])
def test_the_joined_openings_are_the_sum_of_the_single_ones(name: str) -> None:
    scenario = load_scenario(name)
    for cylinder in scenario.engine.firing_order:
        ways = Ways(scenario, cylinder)
        for angle in range(0, 720, 7):
            travel, _ = scenario.engine.travel_and_slope(angle - scenario.engine.firing_angles_deg[cylinder])
            plain, bending, stopped = ways.at(float(angle), travel, 0.0)
            joined = plain + sum(area for area, _ in bending)
            assert joined == pytest.approx(sum(outlet.area_m2 for outlet in ways.every(float(angle), travel, 0.0)), rel=1e-12)
            assert stopped == ()


def test_a_vent_that_empties_a_small_hose_within_a_step_does_not_swing_under_ambient() -> None:
    scenario = with_air(
        load_scenario("hillclimb-before"), vent_cylinder_area_m2=200e-6, vent_regulated_area_m2=200e-6, vent_travel_s=0.0,
        hose_volume_m3=2e-6, dead_volume_m3=1e-6,
    )  # fmt: skip
    plant = Plant(scenario)
    plant.attach_hose("capped")
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(3000, 0.001)
    assert plant.p_cylinder_gauge_pa > 500e3
    plant.set_supply(False)
    plant.set_vent(True)
    trace = plant.advance(100, 0.001)
    assert trace.p_cylinder_abs_pa.min() > scenario.ambient.pressure_abs_pa - 1e3
    assert trace.p_cylinder_abs_pa[-1] == pytest.approx(scenario.ambient.pressure_abs_pa, abs=1.0)


def stirred(scenario: Scenario, stir: float) -> Scenario:
    return replace(scenario, ambient=replace(scenario.ambient, engine_k=353.0, engine_wall_stir=stir))


def test_air_that_streams_in_stirs_and_the_plant_settles_at_that_truth() -> None:
    scenario = load_scenario("hillclimb-before")
    plain, more = (settled_state(stirred(scenario, stir), 3) for stir in (0.0, 2.0))
    assert more.t_gas_k > plain.t_gas_k + 3.0  # a hot engine warms it more
    plant = Plant(at_tdc(stirred(scenario, 2.0), 3))
    plant.attach_hose(3)
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(25_000, 0.001)
    ambient = scenario.ambient.pressure_abs_pa
    assert plant.p_cylinder_gauge_pa + ambient == pytest.approx(more.p_cylinder_abs_pa, abs=0.5)
    assert plant.p_regulated_gauge_pa + ambient == pytest.approx(more.p_regulated_abs_pa, abs=0.5)
    assert plant.t_cylinder_k == pytest.approx(more.t_gas_k, abs=1e-3)


@pytest.mark.parametrize("stir", [0.0, 0.5, 2.0])
def test_a_choked_inflow_multiplies_the_walls_conductance(stir: float) -> None:
    # the definition of the key: 1 + stir · (inflow / choked inflow), for the engine's walls and not the hose's
    side = AirSide(with_air(stirred(load_scenario("hillclimb-before"), stir), hose_wall_w_k=0.0))
    side.engine_wall_w_k = 0.4
    parts = side.parts
    flow = restrictor_flow_kg_s(parts.restrictor_conductance_m3_s_pa, parts.restrictor_critical_ratio, 650e3, 100e3, side.t_room)
    still = 0.4 * (353.0 - 300.0)
    assert side.heat_w(650e3, 100e3, 300.0, flow) == pytest.approx(still * (1.0 + stir), rel=1e-12)
    assert side.heat_w(650e3, 400e3, 300.0, 0.5 * flow) == pytest.approx(still * (1.0 + 0.5 * stir), rel=1e-12)
    assert side.heat_w(650e3, 660e3, 300.0, -0.1 * flow) == still
