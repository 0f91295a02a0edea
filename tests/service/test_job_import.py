"""What an imported file says is believed only as far as it can be: rigs that could be, numbers that every reader can read."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from borewright.core.rig import RigCheck, RigSetup
from borewright.core.samples import SampleColumns
from borewright.errors import UseError
from borewright.service.job_import import checked_job_file
from borewright.store import Store
from borewright.store.job_export import outgoing
from borewright.store.job_file import zip_bytes

ENGINE = {"schema_version": 1, "name": "Larch single (invented)", "cycle": "four-stroke", "firing_order": [1], "bore_mm": 81.5}
ENGINE |= {"stroke_mm": 76.6, "rod_mm": 134.0, "compression_ratio": 11.2}
RESULT = {
    "leakage_percent": 10.04,
    "leak_area_mm2": 0.3712,
    "p_regulated_gauge_pa": 551_000.0,
    "p_cylinder_gauge_pa": 495_700.0,
    "t75_s": 0.2,
    "t50_s": 0.52,
    "t25_s": None,
    "steady": True,
}
LAWS = {"restrictor_area_m2": 8.1e-7, "p_ambient_abs_pa": 101_325.0, "t_supply_k": 293.15, "t_engine_k": 293.15}
ZERO = {"zero_regulated_pa": 120.0, "zero_cylinder_pa": -80.0}


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    with Store.open(tmp_path_factory.mktemp("record") / "shop.db", clock=lambda: 1.8e9) as store:
        job = store.create_job("hill-climb 7", "before", store.save_engine("Larch single (invented)", ENGINE))
        store.save_rig("BW-7", RigSetup())
        capture = store.begin_capture(job, 1, device_serial="BW-7", laws=LAWS)
        steps = np.arange(40, dtype=np.int64)
        raw = np.full((2, 40), 500, np.uint16)
        store.append_chunk(capture, SampleColumns(steps * 1000, steps, steps, raw, np.zeros(40, np.uint16), 1_000_000))
        store.finish_capture(capture, RESULT)
        return outgoing(store, [store.get_job(job)]).document | {"samples": None}


@pytest.fixture
def refused(document: dict[str, Any], tmp_path: Path) -> Callable[[Callable[[dict[str, Any]], None]], str]:
    """The sentence with which a file is refused whose document was changed so."""

    def of(change: Callable[[dict[str, Any]], None]) -> str:
        path = written(document, tmp_path, change)
        with pytest.raises(UseError) as wrong:
            checked_job_file(path)
        said = str(wrong.value)
        assert said.startswith(f"{path}: ")
        assert "\n" not in said
        return said

    return of


def written(document: dict[str, Any], folder: Path, change: Callable[[dict[str, Any]], None]) -> Path:
    made = {key: deepcopy(value) for key, value in document.items() if key != "samples"}
    change(made)
    path = folder / "job.zip"
    steps = np.arange(40, dtype=np.int64)
    columns = SampleColumns(steps * 1000, steps, steps, np.full((2, 40), 500, np.uint16), np.zeros(40, np.uint16), 1_000_000)
    path.write_bytes(zip_bytes(made, {made["jobs"][0]["captures"][0]["uid"]: columns}, {}))
    return path


def capture(document: dict[str, Any]) -> dict[str, Any]:
    of_it: dict[str, Any] = document["jobs"][0]["captures"][0]
    return of_it


def test_a_sound_file_is_taken_in(document: dict[str, Any], tmp_path: Path) -> None:
    file = checked_job_file(written(document, tmp_path, lambda _: None))
    with Store.open(tmp_path / "other.db") as store:
        (job,) = store.take_in(file)
        (kept,) = store.list_captures(job.id)
        assert kept.result == RESULT
        assert store.get_rig("BW-7") == RigSetup()


SETUPS = {
    "no words for numbers": dict.fromkeys(asdict(RigSetup()), "many"),
    "none for numbers": dict.fromkeys(asdict(RigSetup())),
    "a rating that no hose has": asdict(replace(RigSetup(), rated_cylinder_side_gauge_pa=1e12)),
    "a limit that is none": asdict(replace(RigSetup(), regulated_high_gauge_pa=1e12)),
    "an unknown key": asdict(RigSetup()) | {"colour": "red"},
}


@pytest.mark.parametrize("setup", SETUPS.values(), ids=SETUPS)
def test_a_rig_that_cannot_be_is_refused_before_a_test_believes_it(refused: Callable[..., str], setup: dict[str, Any]) -> None:
    said = refused(lambda document: document["rigs"].update({"BW-7": setup}))
    assert "the rig 'BW-7' of this job file cannot be right (setup" in said


@pytest.mark.parametrize(
    "check",
    [
        RigCheck("zero", 1.8e9, "ada", "BW-7", True, {"zero": 1}),
        RigCheck("restrictor", 1.8e9, "ada", "BW-7", True, {"area_m2": "wide"}),
        RigCheck("magic", 1.8e9, "ada", "BW-7", True, ZERO),  # type: ignore[arg-type] # that is the point
    ],
)
def test_a_check_that_cannot_be_is_refused(refused: Callable[..., str], check: RigCheck) -> None:
    assert "of this job file cannot be right" in refused(lambda document: document["rig_checks"].append(asdict(check)))


HOSTILE: dict[str, Callable[[dict[str, Any]], None]] = {
    "a number past all floats": lambda document: capture(document)["result"].update(leakage_percent=10**400),
    "a leakage of words": lambda document: capture(document)["result"].update(leakage_percent="much"),
    "a fit that is a number": lambda document: capture(document)["result"].update(fit=-1),
    "a purpose that is a number": lambda document: capture(document)["laws"].update(purpose=5),
    "stops that are no list": lambda document: capture(document)["laws"].update(purpose={"stopped": True}),
    "a temperature in a list": lambda document: capture(document)["laws"].update(t_engine_k=[None]),
    "budgets of nothing": lambda document: capture(document)["result"].update(budgets=[{"quantity": "leakage"}]),
    "an engine that is none": lambda document: document["jobs"][0]["engine"].update(document={"x": 1}),
    "a name of two lines": lambda document: document["jobs"][0].update(name="a\nb"),
    "a name of spaces": lambda document: document["jobs"][0].update(name="   "),
    "a name with spaces around it": lambda document: document["jobs"][0].update(name=" a "),
    "a uid with an end of line": lambda document: document["jobs"][0].update(uid="0" * 31 + "\n"),
}


@pytest.mark.parametrize("change", HOSTILE.values(), ids=HOSTILE)
def test_what_a_reader_would_stumble_over_is_not_taken_in(refused: Callable[..., str], change: Callable[..., None]) -> None:
    assert refused(change)
