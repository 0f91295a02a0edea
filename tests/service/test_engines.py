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
    assert engine.places == sim.places
    assert (engine.valve_gear == "fitted") == sim.valves_move
    assert engine.clearance_m3 == pytest.approx(sim.clearance_m3, rel=1e-12)
    for cylinder in engine.cylinders:
        assert engine.firing_angle_deg(cylinder) == pytest.approx(sim.firing_angles_deg[cylinder])
    assert engine_from_document(document, "the record") == engine


def test_the_angles_of_each_tdc_say_what_the_intervals_say() -> None:
    engine, _ = load_engine(VECTORS / "engine_accept" / "tdc_angles_uneven_eight.toml")
    # by hand: in the order 1 8 4 3 6 5 7 2 the file's angles are 30 120 210 300 390 465 555 645, and 720 + 30 - 645 = 105
    assert engine.firing_intervals_deg == (90.0, 90.0, 90.0, 90.0, 75.0, 90.0, 90.0, 105.0)
    assert (engine.coolant_cap_pa, engine.numbering.split()[:2]) == (90e3, ["left", "bank"])


def test_what_an_engine_lacks_is_no_place_of_it() -> None:
    single = {"schema_version": 1, "name": "invented", "cycle": "four-stroke", "firing_order": [1], "bore_mm": 70, "stroke_mm": 60}
    single |= {"rod_mm": 110, "compression_ratio": 9}
    four = single | {"firing_order": [1, 3, 4, 2]}
    assert engine_from_document(single | {"cooling": "air"}, "it").places == ("intake", "exhaust", "breather", "outside")
    assert engine_from_document(four | {"assembly": "short_block"}, "it").places == ("breather", "coolant", "neighbours", "outside")
    assert "breather" not in engine_from_document(four | {"assembly": "bare_head"}, "it").places
    named = engine_from_document(four | {"places": ["breather", "intake"]}, "it")
    assert named.places == ("intake", "breather")
    two = single | {"cycle": "two-stroke"}
    assert engine_from_document(two, "it").places == ("exhaust_port", "crankcase", "coolant", "outside")


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
