"""A rig that is not the reference rig: its own setup, an encoder that counts backwards, checks made with another setup."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewright.core.rig import RigCheck, RigSetup
from borewright.service import acts
from borewright.service.bench import Bench
from borewright.service.engines import engine_from_document
from borewright.simrig.person import Person

BACKWARDS = """
schema_version = 1
like = "hillclimb-before"
name = "backwards"

[rig.encoder]
sign = -1
"""


def at(scenario_path: str, setup: RigSetup) -> tuple[Bench, Person, SimEndpoint]:
    scenario = load_scenario(scenario_path)
    port = SimEndpoint(SimRig(scenario))
    engine = engine_from_document(scenario.engine_document, scenario.name)
    bench = Bench(port, None, wall_clock=lambda: 1.8e9 + port.monotonic(), tell=lambda _: None, engine=engine, read_s=0.032)
    person = Person(bench, port)
    person.wait(2.5)
    bench.use_setup(setup)
    return bench, person, port


def test_a_whole_test_with_an_encoder_that_counts_backwards(tmp_path: Path) -> None:
    path = tmp_path / "backwards.toml"
    path.write_text(BACKWARDS)
    bench, person, port = at(str(path), replace(RigSetup(), running_sign=-1))
    person.take_zero()
    person.carry_out(acts.Purpose("sealed"))
    person.carry_out(acts.Purpose("restrictor", orifice_area_m2=0.8e-6))
    person.at_the_rig("hose off")
    person.find_true_tdc(1)
    for cylinder in (1, 3):
        person.carry_out(acts.Purpose("test", cylinder))
        done = bench.done[-1]
        assert done.analysed.void_reason is None
        assert done.analysed.result is not None
        truth = port.rig.scenario.truth[cylinder]
        assert done.analysed.result.leakage_percent == pytest.approx(truth.leakage_percent, abs=0.3)


def test_checks_made_with_another_setup_do_not_hold() -> None:
    bench, _, _ = at("hillclimb-before", RigSetup())
    other = replace(RigSetup(), transducer_high_gauge_pa=700_000.0)
    kept = {"zero_regulated_pa": 100.0, "zero_cylinder_pa": 200.0}
    for setup, holds in ((RigSetup(), True), (other, False)):
        check = RigCheck("zero", 1.8e9, "tester", "BW-REF-0001", True, {"setup": setup.fingerprint, **kept})
        bench.use_setup(RigSetup())
        bench.know_checks({"zero": check})
        assert ("zero" in bench.state.checks) is holds
        assert bench.state.transducers is not None
        assert bench.state.transducers.cylinder.zero_pa == (200.0 if holds else 0.0)
