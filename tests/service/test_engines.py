"""Engine files: the host and the simulator take and refuse the same ones, and understand the same by them."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from boresim.engine import load_engine as load_sim_engine
from borewire.engine_file import EngineFileError
from borewright.errors import UseError
from borewright.service.engines import engine_from_document, load_engine

VECTORS = Path(__file__).resolve().parents[2] / "firmware_protocol" / "vectors"
ACCEPT = sorted((VECTORS / "engine_accept").glob("*.toml"))
REJECT = sorted((VECTORS / "engine_reject").glob("*.toml"))


def test_there_are_vectors() -> None:
    assert len(ACCEPT) >= 6
    assert len(REJECT) >= 30


@pytest.mark.parametrize("path", ACCEPT, ids=lambda path: path.stem)
def test_host_and_simulator_understand_the_same(path: Path) -> None:
    engine, document = load_engine(path)
    sim = load_sim_engine(document, path.name)
    assert engine.firing_order == sim.firing_order
    assert engine.cycle_deg == sim.cycle_deg
    assert engine.clearance_m3 == pytest.approx(sim.clearance_m3, rel=1e-12)
    for cylinder in engine.cylinders:
        assert engine.firing_angle_deg(cylinder) == pytest.approx(sim.firing_angles_deg[cylinder])
    assert engine_from_document(document, "the record") == engine


@pytest.mark.parametrize("path", REJECT, ids=lambda path: path.stem)
def test_host_and_simulator_refuse_with_file_and_reason(path: Path) -> None:
    with pytest.raises(UseError) as refused:
        load_engine(path)
    text = str(refused.value)
    assert str(path) in text
    assert "\n" not in text
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError:
        return
    with pytest.raises(EngineFileError) as refused_by_sim:
        load_sim_engine(document, str(path))
    assert str(refused_by_sim.value) == text


def test_a_file_that_is_not_there_or_not_text(tmp_path: Path) -> None:
    with pytest.raises(UseError, match=r"none\.toml: the engine file cannot be read"):
        load_engine(tmp_path / "none.toml")
    (tmp_path / "picture.toml").write_bytes(b"\x89PNG\xff")
    with pytest.raises(UseError, match="not UTF-8"):
        load_engine(tmp_path / "picture.toml")
