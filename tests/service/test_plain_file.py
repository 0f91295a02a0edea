"""Files that a person names: folders, devices, pipes and endless ones are refused at once, by every reader, in one sentence."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from boresim.scenario import ScenarioError, load_scenario
from borewright.errors import BorewrightError
from borewright.service.calibration_file import load_calibration
from borewright.service.engines import find_engine, load_engine
from borewright.service.job_import import checked_job_file
from borewright.service.limit_files import find_limits
from borewright.service.photos import read_photo
from borewright.service.rig_file import load_rig_file
from borewright.service.shop import read_logo
from borewright.store import Store

READERS: dict[str, Callable[[Path], Any]] = {
    "engine": load_engine,
    "engine or name": lambda path: find_engine(str(path), None),
    "limits": lambda path: find_limits(str(path)),
    "rig": load_rig_file,
    "calibration": load_calibration,
    "photo": read_photo,
    "logo": read_logo,
    "job file": checked_job_file,
    "record": lambda path: Store.open(path, create=False),
    "scenario": lambda path: load_scenario(str(path)),
}


@pytest.fixture(params=["pipe", "device", "link to a device", "folder", "too long a name", "a zero in it", "nothing"])
def no_file(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path = tmp_path / "odd.toml"
    match request.param:
        case "pipe":
            os.mkfifo(path)
        case "device":
            path = Path("/dev/zero")
        case "link to a device":
            path.symlink_to("/dev/zero")
        case "folder":
            path.mkdir()
        case "too long a name":
            path = tmp_path / ("x" * 5000 + ".toml")
        case "a zero in it":
            path = tmp_path / "a\0b.toml"
    return path


@pytest.mark.skipif(os.name == "nt", reason="pipes and devices have no names in a folder there")
@pytest.mark.parametrize("reader", READERS)
def test_what_is_no_file_is_refused_by_every_reader(reader: str, no_file: Path) -> None:
    with pytest.raises((BorewrightError, ScenarioError)) as refused:
        READERS[reader](no_file)
    said = str(refused.value)
    assert said.isprintable()
    assert len(said) < 600


@pytest.mark.parametrize("name", ["../engine", "/etc/engine", "..", ".", "a/b", "a\\b", "c:x", "a\0b", ""])
@pytest.mark.parametrize("key", ["like", "engine", "rig"])
def test_a_scenario_names_only_files_beside_it(tmp_path: Path, key: str, name: str) -> None:
    for path in (tmp_path / "engine.toml", tmp_path / "in" / "odd.toml"):
        path.parent.mkdir(exist_ok=True)
        path.write_text("schema_version = 1\n", encoding="utf-8")
    quoted = '"' + name.replace("\\", "\\\\").replace("\0", "\\u0000") + '"'
    text = "schema_version = 1\n" + ("" if key == "like" else 'like = "hillclimb-before"\n')
    text += f"rig = {{ like = {quoted} }}\n" if key == "rig" else f"{key} = {quoted}\n"
    (tmp_path / "in" / "odd.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError, match=r"no name of a file beside it|there is no") as refused:
        load_scenario(str(tmp_path / "in" / "odd.toml"))
    assert str(refused.value).isprintable()
