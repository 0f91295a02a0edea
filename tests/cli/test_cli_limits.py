"""Bands in job show: by which set, between which bands, what to ask, and never a number or a word that says pass or fail."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from borewright.cli import exits
from borewright.cli.judged import judgement_as_dict, judgement_lines
from borewright.core.judgement import judge
from borewright.core.limit_sets import Circumstances
from borewright.core.uncertainty import Budget, Item
from borewright.service.engines import load_engine
from borewright.service.limit_files import find_limits
from borewright.store import Store

SCENARIOS = Path(__file__).resolve().parents[2] / "simulator" / "scenarios"
OWN = """
schema_version = 1
name = "Larch shop"
kind = "own"
source = "our own engines"
spread_percent = [2, 4]
bands = [{ name = "hand it over", words = "tight", up_to_percent = 5 }, { name = "strip it", words = "leaks" }]
"""
LAWS = {"restrictor_area_m2": 7.5e-7, "t_engine_k": 360.0, "setup": {"hose_volume_m3": 30e-6}}


def result(leakage: float, standard: float | None) -> dict[str, Any]:
    kept: dict[str, Any] = {"leakage_percent": leakage, "p_regulated_gauge_pa": 551_580.6, "p_cylinder_gauge_pa": 500_000.0}
    if standard is not None:
        kept["budgets"] = [Budget("leakage", "%", leakage, (Item("all of it", standard),)).as_dict()]
    return kept


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "shop.db"
    engine, document = load_engine(SCENARIOS / "larch_four_engine.toml")
    with Store.open(path, clock=lambda: 1_700_000_000.0) as store:
        job = store.create_job("larch", "before", store.save_engine(engine.name, document))
        for cylinder, leakage, standard in ((1, 6.0, 0.05), (2, 10.1, 0.1), (3, 31.0, 0.1), (4, 98.0, None)):
            store.finish_capture(store.begin_capture(job, cylinder, laws=LAWS), result(leakage, standard))
        store.finish_capture(store.begin_capture(job, 1, laws=LAWS), result(50.0, 0.1), void_reason="the crank moved")
    return path


def test_each_complete_test_has_its_band_and_the_set_its_source(record: Path, command: Callable[..., Any]) -> None:
    ended = command("job", "show", "larch", "--db", record)
    assert (ended.code, ended.err) == (exits.OK, "")
    table, _, under = ended.out.partition("\n\n")
    rows = table.splitlines()[2:]
    for row, band in zip(
        rows,
        (
            "complete  leave it closed ",
            'complete  between "leave it closed" and "use it, and test it again in time"',
            "complete  open it up",
            'complete  "open it up", if the reading is right',
            "void      - ",
        ),
        strict=True,
    ):
        assert band in f"{row} "
    assert under.startswith("judged by common practice: common practice of engine builders; no document behind it\n")
    assert "between cylinders, before: uneven: 92.0 percentage points between cylinder 4 and cylinder 1" in under
    assert "test 4: Is it the right TDC, compression and not overlap?" in under
    assert "test 1:" not in under
    assert "\x1b" not in ended.out


def test_the_set_of_the_circular_speaks_as_the_circular_only_where_it_was_followed(
    record: Path, command: Callable[..., Any]
) -> None:
    said = command("job", "show", "larch", "--db", record, "--limits", "AC 43.13-1B").out
    assert "suspect, run it for at least 3 min and test again" in said
    assert "test 1, 2, 3, 4: made as AC 43.13-1B, paragraph 8-14, says (assumed: the restrictor is 0.250 in long" in said
    assert "It says nothing about airworthiness" in said
    with Store.open(record) as store:
        job = store.list_jobs()[0]
        cold = store.begin_capture(job.id, 2, laws=LAWS)
        store.finish_capture(cold, result(30.0, 0.1), marks=["assumed: engine temperature"])
    said = command("job", "show", "larch", "--db", record, "--limits", "AC 43.13-1B").out
    assert "test 1, 2, 3, 4: made as" in said
    assert "test 6: not the AC procedure: the engine's temperature was not stated" in said
    for word in ("pass", "fail", "60/80"):
        assert word not in said.lower()


def test_a_set_of_the_shops_own(record: Path, command: Callable[..., Any], tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN, encoding="utf-8")
    said = json.loads(command("job", "show", "larch", "--db", record, "--limits", path, "--json").out)
    (job,) = said["jobs"]
    assert job["limits"] == {"name": "Larch shop", "kind": "own", "source": "our own engines"}
    assert job["spread"]["highest_cylinder"] == 4
    first, second, *_, void = job["captures"]
    assert first["judgement"] | {"words": ""} == {
        "band": "strip it",
        "certain": True,
        "between": ["strip it"],
        "words": "",
        "limit_set": "Larch shop",
        "kind": "own",
        "source": "our own engines",
        "called": "",
        "caution": "",
        "questions": [],
        "before_opening": [],
    }
    assert second["judgement"]["band"] == "strip it"
    assert void["judgement"] is None


def test_limits_that_cannot_serve_are_refused(record: Path, command: Callable[..., Any], tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN.replace("kind", "colour"), encoding="utf-8")
    said = command("job", "show", "larch", "--db", record, "--limits", path).refusal(exits.USE)
    assert said.startswith(f"{path}: colour: is no key here")
    assert "has no limit of its maker" in command("job", "show", "larch", "--db", record, "--limits", "maker").refusal(exits.USE)
    assert "No such file" in command("job", "show", "larch", "--db", record, "--limits", "none").refusal(exits.USE)
    measure = ("measure", "--port", "loop://", "--engine", SCENARIOS / "larch_four_engine.toml", "--cylinder", 1, "--job", "x")
    assert "No such file" in command(*measure, "--db", tmp_path / "new.db", "--limits", "none").refusal(exits.USE)
    assert not (tmp_path / "new.db").exists()


def test_what_measure_prints_under_its_figures() -> None:
    judgement = judge(97.0, 0.2, find_limits("AC 43.13-1B"), Circumstances(decompression="manual"))
    lines = judgement_lines(judgement)
    assert lines[0] == (
        "  judged     suspect, run it for at least 3 min and test again: the loss is more than 25 % of the regulated pressure"
    )
    assert lines[1].strip().startswith("by AC 43.13-1B: FAA AC 43.13-1B, paragraph 8-14")
    assert lines[2].strip().startswith("not the AC procedure: the regulated pressure under flow is not known;")
    assert lines[3].strip().startswith("It says nothing about airworthiness")
    assert "  ask        Is the decompression device released?" in lines
    assert json.loads(json.dumps(judgement_as_dict(judgement)))["questions"] == list(judgement.questions)


def test_an_ambient_pressure_is_absolute(command: Callable[..., Any], tmp_path: Path) -> None:
    rig = ("rig", "zero", "--port", "loop://", "--db", tmp_path / "new.db")
    said = command(*rig, "--ambient", "14.7 psig").refusal(exits.USE)
    assert said.startswith("--ambient: '14.7 psig' is a gauge pressure; write the absolute pressure like")
    assert "is no air pressure on earth" in command(*rig, "--ambient", "989 kPa").refusal(exits.USE)
