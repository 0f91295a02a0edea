"""Faults by word, by scenario file and at their moments; and what each hook does to the plant."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from importlib.resources import files
from typing import Any

import pytest
from boresim.faults import FAULTS, Moment
from boresim.faults.physical import PHYSICAL
from boresim.plant import Plant
from boresim.reader import ScenarioError
from boresim.rig import SimRig
from boresim.scenario import load_scenario, read_scenario
from borewire.messages import SupplyShut, VentOpen

FAULT = "hose-comes-off"


def rig() -> SimRig:
    return SimRig(load_scenario("hillclimb-before"))


def test_the_person_begins_arms_ends_and_lists_by_word() -> None:
    at = rig()
    assert at.operator.do(f"fault {FAULT}").startswith("ok ")
    assert at.faults.active == (FAULT,)
    assert f"{FAULT} (on)" in at.operator.do("fault list")
    assert at.operator.do(f"fault {FAULT}").startswith("no: ")
    assert at.operator.do(f"fault {FAULT} off").startswith("ok ")
    assert at.operator.do(f"fault {FAULT} off").startswith("no: ")
    assert at.operator.do(f"fault {FAULT} at full").startswith("ok ")
    assert (at.faults.active, at.faults.armed) == ((), (FAULT,))
    assert f"{FAULT} (will come)" in at.operator.do("fault list")
    assert at.operator.do(f"fault {FAULT} off").startswith("ok ")
    assert (at.faults.armed, at.faults.waiting) == ((), False)


@pytest.mark.parametrize("words", ["fault", "fault nothing-known", f"fault {FAULT} at noon", f"fault {FAULT} on", "fault list all"])
def test_what_is_not_understood_is_refused_in_one_line(words: str) -> None:
    at = rig()
    answer = at.operator.do(words)
    assert answer.startswith("no: ")
    assert "\n" not in answer
    assert at.faults.active == ()


def test_each_row_can_be_told_of_in_words() -> None:
    at = rig()
    listed = at.operator.do("fault list")
    for fault in FAULTS:
        assert fault.name in listed
        assert fault.what.endswith(".")


def document(**fault: Any) -> dict[str, Any]:
    plain = tomllib.loads((files("boresim.scenarios") / "two-stroke-single.toml").read_text(encoding="utf-8"))
    return plain | {"faults": [fault]}


def test_a_scenario_file_brings_its_faults() -> None:
    scenario = read_scenario(document(name=FAULT, at="puff", after_s=0.05), "mine.toml")
    at = SimRig(scenario)
    assert at.faults.armed == (FAULT,)
    planned = scenario.faults[0]
    assert (planned.at, planned.after_s) == (Moment.PUFF, 0.05)


@pytest.mark.parametrize(
    ("fault", "key"),
    [
        ({"name": "nothing-known"}, "faults[0].name"),
        ({"name": FAULT, "at": "noon"}, "faults[0].at"),
        ({"name": FAULT, "after_s": -1.0}, "faults[0].after_s"),
        ({"name": FAULT, "colour": "grey"}, "faults[0].colour"),
        ({}, "faults[0].name"),
    ],
)
def test_a_fault_of_a_file_is_read_strictly(fault: dict[str, Any], key: str) -> None:
    with pytest.raises(ScenarioError) as refused:
        read_scenario(document(**fault), "mine.toml")
    assert refused.value.key == key


@pytest.mark.parametrize("moment", [Moment.START, Moment.PUFF, Moment.FULL, Moment.DECAY, Moment.VENT])
def test_a_fault_begins_at_its_moment_and_not_before(make_bench: Any, moment: Moment) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.rig.faults.arm(FAULT, moment, 0.0)
    reached = []
    acts: list[tuple[Moment, Callable[[], object]]] = [
        (Moment.START, lambda: None),
        (Moment.PUFF, lambda: bench.ask(bench.opening(1, 200))),
        (Moment.FULL, lambda: (bench.run(1.0), bench.ask(bench.opening(2)))),
        (Moment.DECAY, lambda: (bench.run(0.5), bench.ask(SupplyShut(3, 5000)))),
        (Moment.VENT, lambda: bench.ask(VentOpen(4))),
    ]
    for at, act in acts:
        act()
        bench.run(0.1)
        if bench.rig.faults.active:
            reached.append(at)
    assert reached == [at for at, _ in acts][[at for at, _ in acts].index(moment) :]


def pressurised(**scenario: Any) -> Plant:
    """Cylinder 1 at its TDC with the supply open for three seconds."""
    loaded = load_scenario("hillclimb-before")
    plant = Plant(replace(loaded, crank=replace(loaded.crank, start_deg=0.0), **scenario))
    plant.attach_hose(1)
    plant.set_restraint(60.0)
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(3000, 0.001)
    return plant


def test_a_jammed_valve_goes_as_far_as_it_can_and_no_further() -> None:
    plant = pressurised()
    plant.jam_supply(1.0, 1.0)
    plant.set_supply(False)
    plant.advance(1000, 0.001)
    assert not plant.supply_open
    assert plant.flows_kg_s()["supply"] > 1e-4
    plant.jam_supply(0.0, 1.0)
    plant.advance(200, 0.001)
    assert plant.flows_kg_s()["supply"] == 0.0
    plant.jam_vent(0.0, 0.0)
    plant.set_vent(True)
    before = plant.p_cylinder_gauge_pa
    plant.advance(100, 0.001)
    assert plant.p_cylinder_gauge_pa > 0.8 * before
    with pytest.raises(ValueError, match="a valve cannot be held"):
        plant.jam_vent(0.7, 0.2)


def test_a_plant_that_becomes_another_and_itself_again_ends_where_it_was() -> None:
    plant = pressurised()
    scenario = plant.scenario
    settled = plant.p_cylinder_gauge_pa
    before = plant.snapshot()
    plant.become(replace(scenario, leaks={**scenario.leaks, 1: (*scenario.leaks[1], *scenario.leaks[3])}))
    plant.advance(2000, 0.001)
    leaking = plant.p_cylinder_gauge_pa
    assert leaking < 0.8 * settled
    plant.restore(before)
    assert plant.scenario is scenario
    plant.advance(2000, 0.001)
    assert plant.p_cylinder_gauge_pa == pytest.approx(settled, rel=2e-3)


def test_in_a_room_of_another_pressure_the_regulator_keeps_what_it_is_set_to() -> None:
    plant = pressurised()
    ambient = plant.scenario.ambient
    plant.become(replace(plant.scenario, ambient=replace(ambient, pressure_abs_pa=ambient.pressure_abs_pa - 2000.0)))
    plant.advance(500, 0.001)
    assert plant.regulator_gauge_pa == pytest.approx(plant.scenario.rig.air.set_gauge_pa)
    assert plant.p_regulated_gauge_pa == pytest.approx(plant.regulator_gauge_pa, abs=6e3)


def test_a_knock_moves_a_crank_that_was_at_rest() -> None:
    plant = pressurised()
    before = plant.crank_deg
    plant.knock(2.0)
    plant.advance(500, 0.001)
    assert plant.crank_deg > before + 0.05


@pytest.mark.parametrize("fault", PHYSICAL, ids=lambda fault: fault.name)
def test_each_fault_can_begin_and_end_and_leaves_the_scenario_as_it_was(fault: Any) -> None:
    at = SimRig(load_scenario(fault.scenario))
    at.faults.begin(fault.name)
    at.advance(0.3)
    at.faults.end(fault.name)
    at.advance(0.1)
    assert at.plant.scenario == at.scenario
    assert (at.faults.active, at.faults.waiting) == ((), False)
