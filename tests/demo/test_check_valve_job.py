"""A whole job with a check valve left in the adapter, on a short block, and with the piston too high for the stop at first.

The wire is read: no opening goes out while the hose is in a cylinder with the check valve in its adapter.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from boresim.rig import SimRig
from boresim.scenario import Scenario, load_scenario
from boresim.truth import plant_truth
from borewire.codec import Decoder
from borewire.messages import SupplyOpen, VentClose
from borewright.simrig.whole_job import JobRun, run_job
from borewright.store import Store

BEGUN_UNIX_S = 1.8e9
MOST_LEAKAGE_OFF_POINTS = 0.3  # issue 2, "How good"


class Wire:
    """What went to the device: each opening, each closing of the vent, and whether a check valve lay behind the hose then."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.opened_with_valve: list[bool] = []
        self.squeezed_with_valve: list[bool] = []
        heard = Decoder("device")
        receive = SimRig.receive

        def tapped(rig: SimRig, data: bytes) -> None:
            in_it = isinstance(rig.plant.hose_at, int) and rig.plant._steps.air.check is not None
            for message in heard.feed(data):
                if isinstance(message, SupplyOpen):
                    self.opened_with_valve.append(in_it)
                elif isinstance(message, VentClose):
                    self.squeezed_with_valve.append(in_it)
            receive(rig, data)

        monkeypatch.setattr(SimRig, "receive", tapped)


def run(scenario: Scenario, folder: Path, *cylinders: int) -> JobRun:
    with Store.open(folder / "job.db") as store:
        return run_job(scenario, store, "job", BEGUN_UNIX_S, cylinders=cylinders)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("check-valve-holds-in", "air goes into the cylinder and does not come back"),
        ("check-valve-left-in", "what is squeezed into the hose stays there while the piston goes down"),
    ],
)
def test_a_check_valve_in_the_adapter_is_named_taken_out_and_then_the_cylinder_is_tested(
    name: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wire = Wire(monkeypatch)
    scenario = load_scenario(name)
    done = run(scenario, tmp_path, 1)
    warnings = [word.text for word in done.said if word.level == "warning"]
    assert len(warnings) == 1
    assert told in warnings[0]
    assert wire.squeezed_with_valve == [True, False]
    assert True not in wire.opened_with_valve
    (visited,) = done.visits
    assert visited.stuck is None
    assert visited.done is not None
    assert visited.done.analysed.void_reason is None
    assert visited.done.analysed.result is not None
    without = replace(scenario, rig=replace(scenario.rig, air=replace(scenario.rig.air, check_valve=None)))
    true_percent = plant_truth(without)[1].leakage_percent
    assert visited.done.analysed.result.leakage_percent == pytest.approx(true_percent, abs=MOST_LEAKAGE_OFF_POINTS)


def test_a_short_block_is_squeezed_at_both_tdcs_and_nobody_is_sent_to_find_out_why(tmp_path: Path) -> None:
    done = run(load_scenario("short-block"), tmp_path, 1)
    about = [(word.level, word.text) for word in done.said if "both TDCs" in word.text]
    assert about == [("note", "the squeeze rises at both TDCs, as it does without valve gear; either TDC will do")]
    assert set(done.complete) == {1}


def test_valves_that_do_not_open_are_still_to_be_looked_into(tmp_path: Path) -> None:
    """The same block by a file that has its valve gear fitted: nothing opens, and that is a fault."""
    scenario = load_scenario("short-block")
    document = {key: value for key, value in scenario.engine_document.items() if key != "assembly"}
    done = run(replace(scenario, engine_document=document), tmp_path, 1)
    about = [(word.level, word.text) for word in done.said if "both TDCs" in word.text]
    assert len(about) == 1
    assert about[0][0] == "warning"
    assert "find out why" in about[0][1]


@pytest.mark.parametrize("start_deg", [-35.0, 30.0])
def test_with_the_piston_too_high_for_the_stop_the_person_turns_it_down_first(start_deg: float, tmp_path: Path) -> None:
    scenario = load_scenario("hillclimb-before")
    first = scenario.engine.firing_order[0]
    high = replace(scenario, crank=replace(scenario.crank, start_deg=360.0 + start_deg))
    done = run(high, tmp_path, first)
    assert done.stuck is None
    assert set(done.complete) == {first}
