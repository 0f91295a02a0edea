"""The crank: running away, restraint, the hand, the piston stop."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from boresim.plant import Plant, PlantTrace
from boresim.scenario import Scenario, load_scenario
from hypothesis import given, settings
from hypothesis import strategies as st


def start_at(crank_deg: float, **crank: Any) -> Scenario:
    scenario = load_scenario("hillclimb-before")
    return replace(scenario, crank=replace(scenario.crank, start_deg=crank_deg, **crank))


def with_air_on(scenario: Scenario, cylinder: int, restraint_nm: float) -> tuple[Plant, PlantTrace]:
    plant = Plant(scenario)
    plant.attach_hose(cylinder)
    plant.set_restraint(restraint_nm)
    plant.set_vent(False)
    plant.set_supply(True)
    return plant, plant.advance(4000, 0.001)


def test_off_tdc_and_unrestrained_the_crank_runs_away() -> None:
    _, trace = with_air_on(start_at(12.0), 1, 0.0)
    assert trace.crank_deg[0] == 12.0
    assert trace.crank_deg.max() > 90.0
    speed = np.diff(trace.crank_deg) / np.diff(trace.t_s)
    assert speed.max() > 300.0  # degrees a second: faster than a hand can be drawn back
    assert trace.p_cylinder_abs_pa[-1] < 0.5 * trace.p_cylinder_abs_pa.max()  # and its valve has opened


def test_before_tdc_it_runs_away_backwards() -> None:
    _, trace = with_air_on(start_at(-12.0), 1, 0.0)
    assert trace.crank_deg.min() < -90.0


def test_a_restraint_holds_what_it_can_hold_and_no_more() -> None:
    _, held = with_air_on(start_at(10.0), 1, 40.0)
    assert (held.crank_deg.min(), held.crank_deg.max()) == (10.0, 10.0)
    scenario = start_at(10.0)
    _, slope = scenario.engine.volume_and_slope(10.0)
    plant, _ = with_air_on(scenario, 1, 1000.0)
    torque = plant.p_cylinder_gauge_pa * slope - scenario.crank.friction_nm
    for restraint, stands in ((1.02 * torque, True), (0.98 * torque, False)):
        _, trace = with_air_on(scenario, 1, restraint)
        assert bool(trace.crank_deg[-1] == 10.0) is stands


def test_a_loose_restraint_gives_way_by_its_slack() -> None:
    _, trace = with_air_on(start_at(8.0, restraint_slack_deg=1.0), 1, 200.0)
    assert 9.0 <= trace.crank_deg[-1] < 9.5
    assert trace.crank_deg[-1] == trace.crank_deg[-1000]


def test_at_tdc_nothing_moves_even_unrestrained() -> None:
    _, trace = with_air_on(start_at(0.3), 1, 0.0)
    assert (trace.crank_deg.min(), trace.crank_deg.max()) == (0.3, 0.3)


def test_the_work_of_the_gas_less_friction_is_the_energy_of_the_crank() -> None:
    scenario = start_at(15.0, viscous_nm_s=0.0)
    _, trace = with_air_on(scenario, 1, 0.0)
    moving = np.flatnonzero(np.diff(trace.crank_deg) > 0.0)
    first, last = int(moving[0]), int(np.flatnonzero(trace.crank_deg > 70.0)[0])
    torque = []
    for angle, pressure in zip(trace.crank_deg[first : last + 1], trace.p_cylinder_abs_pa[first : last + 1], strict=True):
        _, slope = scenario.engine.volume_and_slope(float(angle))
        torque.append((pressure - scenario.ambient.pressure_abs_pa) * slope - scenario.crank.friction_nm)
    angles = np.radians(trace.crank_deg[first : last + 1])
    work = float(np.sum((np.array(torque)[1:] + np.array(torque)[:-1]) / 2.0 * np.diff(angles)))
    speed = math.radians((trace.crank_deg[last + 1] - trace.crank_deg[last - 1]) / (trace.t_s[last + 1] - trace.t_s[last - 1]))
    assert 0.5 * scenario.crank.inertia_kg_m2 * speed**2 == pytest.approx(work, rel=0.05)


@pytest.mark.parametrize(("angle_deg", "rpm"), [(143.5, 12.0), (-180.0, 9.0), (720.0, 30.0), (0.5, 3.0)])
def test_the_hand_turns_where_it_wants_at_about_its_speed(angle_deg: float, rpm: float) -> None:
    plant = Plant(start_at(30.0))
    plant.turn_by(angle_deg, rpm)
    batches = 0
    while plant.turning:
        plant.advance(50, 0.001)
        batches += 1
    assert batches
    plant.advance(200, 0.001)
    assert plant.crank_deg == pytest.approx(30.0 + angle_deg, abs=0.1)
    if abs(angle_deg) > 100.0:
        assert abs(angle_deg) / (6.0 * rpm) == pytest.approx(plant.now_s, rel=0.3)
    rest = plant.advance(1000, 0.001)
    assert rest.crank_deg.min() == rest.crank_deg.max()


def test_the_hand_can_let_go_and_can_be_too_weak() -> None:
    plant = Plant(start_at(0.0))
    plant.turn_by(360.0, 10.0)
    plant.advance(1000, 0.001)
    plant.stop_turning()
    assert not plant.turning
    plant.advance(500, 0.001)
    assert plant.crank_deg < 90.0
    held = Plant(start_at(0.0))
    held.set_restraint(500.0)
    held.turn_by(30.0, 10.0)
    trace = held.advance(2000, 0.001)
    assert (held.turning, trace.crank_deg.max()) == (False, 0.0)


@pytest.mark.parametrize("pin_offset_m", [0.0, 0.008])
def test_the_stop_is_met_at_the_same_depth_on_both_sides(pin_offset_m: float) -> None:
    scenario = start_at(150.0)
    if pin_offset_m:
        engine, offset = scenario.engine, pin_offset_m
        reach = engine.crank_radius_m + engine.rod_m
        tilted = replace(
            engine, pin_offset_m=offset, tilt_rad=math.asin(offset / reach), top_m=math.sqrt(reach * reach - offset * offset)
        )
        scenario = replace(scenario, engine=tilted)
    plant = Plant(scenario)
    plant.insert_piston_stop(1, 40.0)
    assert plant.piston_stop_in == 1
    contacts = []
    for angle in (400.0, -400.0, 400.0, -400.0):
        plant.turn_by(angle, 8.0)
        while plant.turning:
            plant.advance(100, 0.001)
        contacts.append(plant.crank_deg)
    after, before = contacts[1] % 360.0, 360.0 - contacts[0] % 360.0
    travel = [scenario.engine.travel_and_slope(angle)[0] for angle in (after, -before)]
    assert travel[0] == pytest.approx(travel[1], rel=0.01)
    assert contacts[0] == pytest.approx(contacts[2], abs=0.1)
    assert 38.0 < after < 42.0
    assert abs(after - before) > 0.3 if pin_offset_m else abs(after - before) < 0.1
    plant.insert_piston_stop(None)
    plant.turn_by(400.0, 30.0)
    while plant.turning:
        plant.advance(100, 0.001)
    assert plant.crank_deg > contacts[1] + 390.0


def test_a_stop_cannot_go_in_while_the_piston_is_up() -> None:
    plant = Plant(start_at(10.0))
    with pytest.raises(ValueError, match="stands too high"):
        plant.insert_piston_stop(4)  # it goes up and down with cylinder 1
    assert plant.piston_stop_in is None
    plant.insert_piston_stop(3)


@pytest.mark.parametrize(
    "act",
    [
        lambda plant: plant.attach_hose(5),
        lambda plant: plant.attach_hose("on"),
        lambda plant: plant.attach_hose(2.0),
        lambda plant: plant.attach_hose(float("nan")),
        lambda plant: plant.stop_place(1, "crankcase", True),
        lambda plant: plant.stop_place(9, "intake", True),
        lambda plant: plant.wet(0, 1.0),
        lambda plant: plant.wet(1, -1.0),
        lambda plant: plant.turn_by(float("inf"), 5.0),
        lambda plant: plant.turn_by(10.0, 0.0),
        lambda plant: plant.set_restraint(-1.0),
        lambda plant: plant.set_regulator(float("nan")),
        lambda plant: plant.insert_piston_stop(1, 2.0),
        lambda plant: plant.advance(-1, 0.001),
        lambda plant: plant.advance(1, 0.0),
    ],
)
def test_what_cannot_be_done_is_refused_and_changes_nothing(act: Any) -> None:
    plant, same = Plant(start_at(90.0)), Plant(start_at(90.0))
    with pytest.raises(ValueError):
        act(plant)
    assert plant.snapshot() == same.snapshot()


ACTS: list[Any] = [
    lambda plant, x: plant.set_supply(x > 0.3),
    lambda plant, x: plant.set_vent(x > 0.5),
    lambda plant, x: plant.set_regulator(9e5 * x),
    lambda plant, x: plant.turn_by(900.0 * (x - 0.5), 1.0 + 60.0 * x),
    lambda plant, _: plant.stop_turning(),
    lambda plant, x: plant.set_restraint(100.0 * x if x > 0.4 else 0.0),
    lambda plant, x: plant.attach_hose([1, 2, 3, 4, "off", "capped", 0.0, 2e-6][int(7.99 * x)]),
    lambda plant, x: plant.stop_place(1 + int(3.99 * x), ["intake", "exhaust", "breather"][int(2.99 * x)], x < 0.8),
    lambda plant, x: plant.wet(1 + int(3.99 * x), 100.0 * x),
    lambda plant, x: plant.advance(1 + int(1500 * x), 0.001),
]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(ACTS), st.floats(0.0, 1.0)), max_size=25), st.sampled_from(["solenoid", "hand"]))
def test_whatever_people_do_the_air_stays_air(acts: list[tuple[Any, float]], valves: str) -> None:
    plant = Plant(load_scenario("hillclimb-before" if valves == "solenoid" else "hillclimb-before-hand"))
    plant.attach_hose(1)
    for act, x in acts:
        act(plant, x)
        trace = plant.advance(40, 0.001)
        for pressure in (trace.p_regulated_abs_pa, trace.p_cylinder_abs_pa):
            assert 5e3 < pressure.min() <= pressure.max() < 4e6
        assert 100.0 < plant.t_cylinder_k < 1000.0
        assert np.isfinite(trace.crank_deg).all()
