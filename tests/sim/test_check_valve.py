"""A check valve left in the adapter: what the rig reads, and what stays in the cylinder that it does not read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from boresim.check_valve import CheckValve
from boresim.gas import R_J_KG_K
from boresim.plant import Plant
from boresim.rig import SimRig
from boresim.scenario import Scenario, load_scenario
from boresim.truth import plant_truth, settled_state

PERIOD_S = 0.001


def plant_of(name: str, start_deg: float = 0.0, *, held: bool = True) -> Plant:
    scenario = load_scenario(name)
    scenario = replace(scenario, crank=replace(scenario.crank, start_deg=start_deg))
    plant = Plant(scenario)
    plant.attach_hose(1)
    plant.set_vent(False)
    if held:
        plant.set_restraint(500.0)
    return plant


def sound(scenario: Scenario) -> Scenario:
    return replace(scenario, rig=replace(scenario.rig, air=replace(scenario.rig.air, check_valve=None)))


def test_it_opens_one_way_beyond_its_difference_of_pressures_and_fully_at_twice_that() -> None:
    into, out = (CheckValve(way, 3e-6, 5e3) for way in ("into_cylinder", "out_of_cylinder"))
    assert into.flow_kg_s(105e3, 290.0, 100e3, 290.0) == out.flow_kg_s(100e3, 290.0, 105e3, 290.0) == 0.0
    assert into.flow_kg_s(107e3, 290.0, 100e3, 290.0) == -out.flow_kg_s(100e3, 290.0, 107e3, 290.0) > 0.0
    assert into.flow_kg_s(100e3, 290.0, 600e3, 290.0) == out.flow_kg_s(600e3, 290.0, 100e3, 290.0) == 0.0
    part, full = (into.flow_kg_s(100e3 + ahead, 290.0, 100e3, 290.0) for ahead in (7.5e3, 10e3))
    assert part == pytest.approx(0.5 * full * (7.5 / 10.0) ** 0.5, rel=0.02)


@pytest.mark.parametrize("name", ["check-valve-left-in", "check-valve-holds-in"])
def test_the_plant_with_a_check_valve_settles_at_its_truth(name: str) -> None:
    plant = plant_of(name)
    plant.set_supply(True)
    plant.advance(40_000, PERIOD_S)
    regulated, inside = plant.p_regulated_gauge_pa, plant.p_cylinder_gauge_pa
    assert 100.0 * (regulated - inside) / regulated == pytest.approx(plant_truth(plant.scenario)[1].leakage_percent, abs=1e-3)
    settled = settled_state(plant.scenario, 1)
    ambient = plant.scenario.ambient.pressure_abs_pa
    assert plant.p_piston_gauge_pa == pytest.approx(settled.p_piston_abs_pa - ambient, abs=20.0)


@pytest.mark.parametrize("name", ["check-valve-left-in", "check-valve-holds-in"])
def test_no_air_is_lost_or_made_at_the_valve(name: str) -> None:
    scenario = load_scenario(name)
    # both valves are shut until 134 degrees after TDC
    tight = replace(scenario, leaks={1: ()}, crank=replace(scenario.crank, start_deg=-120.0))
    plant = Plant(tight)
    plant.attach_hose(1)
    plant.set_regulator(20e3)  # which friction holds
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(1000, PERIOD_S)
    plant.set_supply(False)
    plant.advance(1000, PERIOD_S)
    mass = plant.mass_kg
    plant.turn_by(250.0, 12.0)
    pressures = plant.advance(4000, PERIOD_S).p_cylinder_abs_pa
    assert np.ptp(pressures) > 1e3
    assert plant.mass_kg == pytest.approx(mass, rel=1e-9)


def test_left_in_only_the_hose_is_filled_and_nothing_leaks() -> None:
    """The wrong reading that design calls by its name: near nothing, with the volume of the hose."""
    plant = plant_of("check-valve-left-in")
    plant.set_supply(True)
    plant.advance(10_000, PERIOD_S)
    assert plant.p_piston_gauge_pa < 100.0
    air = plant.scenario.rig.air
    ambient = plant.scenario.ambient
    state = plant._steps.air.state
    volume = state[2] * R_J_KG_K * plant.t_cylinder_k / state[1]
    assert volume == pytest.approx(air.hose_volume_m3 + air.adapter_volume_m3, rel=0.03)  # the hose's stretch on top
    plant.set_supply(False)
    trace = plant.advance(10_000, PERIOD_S)
    assert trace.p_cylinder_abs_pa[-1] > 0.99 * (ambient.pressure_abs_pa + air.set_gauge_pa)


def test_left_in_a_squeeze_goes_up_and_holds() -> None:
    plant = plant_of("check-valve-left-in", -150.0, held=False)
    plant.turn_by(300.0, 20.0)
    held = plant.advance(6000, PERIOD_S).p_cylinder_abs_pa
    plain = Plant(replace(sound(plant.scenario)))
    plain.attach_hose(1)
    plain.set_vent(False)
    plain.turn_by(300.0, 20.0)
    fell = plain.advance(6000, PERIOD_S).p_cylinder_abs_pa
    peak = held.max() - plant.scenario.ambient.pressure_abs_pa
    assert peak > 50e3
    assert held[-1] - plant.scenario.ambient.pressure_abs_pa > 0.75 * peak  # it cools
    assert held[-2000] - held[-1] < 0.005 * peak
    assert fell[-1] - plant.scenario.ambient.pressure_abs_pa < 0.2 * peak


def test_holding_in_no_squeeze_comes_out_and_a_vented_hose_says_nothing_of_the_cylinder() -> None:
    turned = plant_of("check-valve-holds-in", -150.0, held=False)
    turned.turn_by(300.0, 20.0)
    seen = turned.advance(6000, PERIOD_S).p_cylinder_abs_pa - turned.scenario.ambient.pressure_abs_pa
    assert seen.max() < 500.0
    assert seen.min() > -40e3  # the suction of the way down comes through
    plant = plant_of("check-valve-holds-in")
    plant.set_supply(True)
    plant.advance(10_000, PERIOD_S)
    plant.set_supply(False)
    plant.set_vent(True)
    plant.advance(2000, PERIOD_S)
    assert plant.p_cylinder_gauge_pa < 100.0
    assert plant.p_piston_gauge_pa > 300e3
    plant.set_restraint(0.0)
    plant.turn_by(5.0, 5.0)  # off TDC it does what a charged cylinder does
    plant.advance(3000, PERIOD_S)
    assert abs(plant.crank_deg) > 30.0


def test_whoever_undoes_that_adapter_gets_it_in_the_hand() -> None:
    scenario = load_scenario("check-valve-holds-in")
    rig = SimRig(replace(scenario, rig=replace(scenario.rig, valves="hand", hold_switch=False)))
    done(rig, "hose 1", "to tdc 1", "restrain 500", "vent shut", "supply open", "wait 8", "supply shut", "vent open", "wait 1")
    assert rig.plant.p_cylinder_gauge_pa < 100.0
    assert "cylinder 0 kPa" in rig.operator.do("look")
    done(rig, "hose off")
    assert len(rig.operator.troubles) == 1
    assert "the adapter was undone with" in rig.operator.troubles[0]
    done(rig, "check-valve out", "hose 1", "vent shut", "supply open", "wait 3")
    assert rig.plant.p_piston_gauge_pa == pytest.approx(rig.plant.p_cylinder_gauge_pa, abs=50.0)  # now the rig reads the cylinder


def done(rig: SimRig, *acts: str) -> None:
    """Tells the person these, one by one, and lets time pass until they are done."""
    for words in acts:
        assert rig.operator.do(words).startswith("ok ")
        while rig.operator.busy:
            rig.advance(0.1)


def test_bits_do_not_depend_on_how_time_is_cut_nor_on_coming_back() -> None:
    def run(cuts: int) -> bytes:
        plant = plant_of("check-valve-holds-in", -100.0, held=False)
        plant.turn_by(95.0, 12.0)
        out = b""
        for _ in range(3000 // cuts):
            moment = plant.snapshot()
            plant.advance(cuts, PERIOD_S)
            plant.restore(moment)
            out += plant.advance(cuts, PERIOD_S).p_cylinder_abs_pa.tobytes()
        plant.wet(1, 2.0)
        plant.set_supply(True)
        return out + plant.advance(2000, PERIOD_S).p_cylinder_abs_pa.tobytes()

    assert run(3000) == run(50) == run(1000)


def test_one_that_comes_in_while_the_hose_is_in_a_cylinder_parts_it_from_there_on() -> None:
    rig = SimRig(load_scenario("hillclimb-after"))
    rig.operator.do("hose 1")
    rig.advance(10.0)
    rig.faults.begin("check-valve-left-in")
    rig.advance(1.0)
    assert rig.plant.check_valve_in
    assert abs(rig.plant.p_piston_gauge_pa) < 100.0
    rig.faults.end("check-valve-left-in")
    rig.advance(1.0)
    assert not rig.plant.check_valve_in
