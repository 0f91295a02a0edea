"""True TDC of an engine with an offset piston pin, by the piston stop at the simulated rig."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewright.core.crank import stop_middle_late_deg
from borewright.core.kept import TdcKept, kept_of
from borewright.service.bench import Bench
from borewright.service.engines import engine_from_document
from borewright.simrig.person import Person

OFFSET = """
schema_version = 1
like = "hillclimb-before"
name = "offset"
engine = "offset_engine.toml"
"""


def found_tdc_counts(folder: Path, offset_mm: float) -> tuple[float, float, float]:
    """True TDC after the index, its uncertainty in degrees, and the counts per turn."""
    central = (files("boresim.scenarios") / "larch_four_engine.toml").read_text("utf-8")
    (folder / "offset_engine.toml").write_text(central.replace("rod_mm = ", f"pin_offset_mm = {offset_mm}\nrod_mm = "), "utf-8")
    (folder / "offset.toml").write_text(OFFSET, "utf-8")
    scenario = load_scenario(str(folder / "offset.toml"))
    port = SimEndpoint(SimRig(scenario))
    engine = engine_from_document(scenario.engine_document, scenario.name)
    bench = Bench(port, None, wall_clock=lambda: 1.8e9 + port.monotonic(), tell=lambda _: None, engine=engine, read_s=0.032)
    person = Person(bench, port)
    person.wait(2.5)
    person.at_the_rig("hose off")
    person.find_true_tdc(1)
    tdc, crank = bench.state.tdc, bench.state.crank
    assert tdc is not None
    assert crank is not None
    check = bench.state.checks["tdc"].result
    assert engine.pin_offset_m == offset_mm / 1e3
    late = float(stop_middle_late_deg(80.0, engine.stroke_m, engine.rod_m, engine.pin_offset_m))
    assert check["middle_late_deg"] == pytest.approx(late, abs=0.02)
    kept: TdcKept = kept_of(bench.state.checks["tdc"])  # as a calibration file reads it
    assert len(kept.readings) >= 2
    return tdc.counts_after_index, tdc.u_deg, float(crank.counts_per_rev)


def test_an_offset_pin_does_not_move_true_tdc(tmp_path: Path) -> None:
    central, u_central_deg, counts_per_rev = found_tdc_counts(tmp_path, 0.0)
    for offset_mm in (8.0, -8.0):
        found, u_deg, _ = found_tdc_counts(tmp_path, offset_mm)
        apart_deg = ((found - central + counts_per_rev / 2.0) % counts_per_rev - counts_per_rev / 2.0) / counts_per_rev * 360.0
        assert abs(apart_deg) <= 2.0 * (u_deg**2 + u_central_deg**2) ** 0.5
        assert abs(apart_deg) < 0.1  # uncorrected it would be 0.18
