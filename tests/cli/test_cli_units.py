"""borewright units, and the choice at work: in the commands that show numbers, never in JSON."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from borewright.cli import exits
from borewright.cli.shown import VARIABLE
from borewright.core.rig import RigCheck
from borewright.core.uncertainty import Budget, Item
from borewright.service.shown_units import ShownUnits
from borewright.store import Store
from borewright.units import UNITS, Dimension, parse

RESULT = {
    "leakage_percent": 10.04,
    "leak_area_mm2": 0.3712,
    "p_regulated_gauge_pa": 551_000.0,  # 79.9 psi
    "p_cylinder_gauge_pa": 495_700.0,  # 71.9 psi
}
BUDGETS = [Budget("leak area", "mm²", 0.3712, (Item("all of it", 0.002),)).as_dict()]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's own folder, empty."""
    folder = tmp_path / "config"
    monkeypatch.setenv("XDG_CONFIG_HOME", str(folder))
    monkeypatch.setenv("APPDATA", str(folder))
    return folder / "borewright" / "units.toml"


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "shop.db"
    zeros = {"zero_regulated_pa": 510.0, "zero_cylinder_pa": -1000.0}
    sealed = {"own_leak_area_m2": 1.9e-9, "tie_share": -0.0003, "p_regulated_gauge_pa": 550_730.0}
    with Store.open(path, clock=lambda: 1_700_000_000.0) as store:
        job = store.create_job("larch", "before", store.save_engine("Larch four", {"bore_mm": 86.0}))
        store.finish_capture(store.begin_capture(job, 1), RESULT)
        store.finish_capture(store.begin_capture(job, 2), RESULT | {"budgets": BUDGETS})
        store.add_rig_check(RigCheck("zero", 1.7e9, "ada", "BW-1", True, zeros))
        store.add_rig_check(RigCheck("sealed", 1.7e9, "ada", "BW-1", True, sealed))
        store.add_rig_check(RigCheck("restrictor", 1.7e9, "ada", "BW-1", True, {"area_m2": 8.098e-7}))
    return path


def test_a_choice_is_kept_shown_and_forgotten(command: Callable[..., Any], home: Path) -> None:
    assert str(home) in command("units").out
    assert not home.exists()
    ended = command("units", "set", "pressure", "BAR")
    assert (ended.code, ended.out, ended.err) == (exits.OK, "pressure is shown in bar\n", "")
    command("units", "set", "area", "in^2")
    assert json.loads(command("units", "show", "--json").out) == {
        "file": str(home),
        "notice": None,
        "units": {"pressure": "bar", "area": "in²"},
    }
    command("units", "set", "all", "metric")
    assert json.loads(command("units", "show", "--json").out)["units"]["pressure"] == "kPa"
    command("units", "reset")
    assert not home.exists()
    assert "nothing has been chosen" in command("units").out


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("pressure", "psia"), "there are psi, kPa, bar"),
        (("flow", "L/min"), "there are L/min ANR"),
        (("weight", "kg"), "there are pressure, ambient"),
        (("all", "imperial"), "there are metric and inch"),
    ],
)
def test_what_cannot_be_chosen(words: tuple[str, ...], why: str, command: Callable[..., Any], home: Path) -> None:
    assert why in command("units", "set", *words).refusal(exits.USE)
    assert not home.exists()


def test_a_corrupt_file_gives_a_notice_and_the_usual_units(command: Callable[..., Any], home: Path, record: Path) -> None:
    plain = command("job", "show", "larch", "--db", record)
    home.parent.mkdir(parents=True)
    home.write_bytes(b"\x00\xffpressure")
    ended = command("job", "show", "larch", "--db", record)
    assert (ended.code, ended.out) == (exits.OK, plain.out)
    assert ended.err.startswith(f"{home}: not all of it can be used (it is not UTF-8 text)")
    assert ended.err.count("\n") == 1
    assert "not UTF-8" in command("units").out
    command("units", "set", "pressure", "bar")
    assert command("job", "show", "larch", "--db", record).err == ""


def test_a_job_in_the_units_that_were_chosen(command: Callable[..., Any], record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    show = ("job", "show", "larch", "--db", record)
    usual = command(*show).out
    for words in (" psi ", "leak area mm²", "80/72", "0.371 ", "0.3712 ± 0.0040"):
        assert words in usual
    command("units", "set", "pressure", "bar")
    assert "5.51/4.96" in command(*show).out
    assert "leak area mm²" in command(*show).out
    monkeypatch.setenv(VARIABLE, "inch")  # over what is kept
    inch = command(*show).out
    for words in ("80/72", "leak area in²", "0.000575 ", "0.0005754 ± 0.0000062"):  # 1 in = 25.4 mm exactly
        assert words in inch
    metric = command(*show, "--units", "metric,area=in2").out  # over the variable
    assert "551/496" in metric
    assert "leak area in²" in metric


def test_json_is_the_same_whatever_was_chosen(command: Callable[..., Any], record: Path) -> None:
    for words in (("job", "show", "larch", "--db", record, "--json"), ("rig", "show", "--db", record, "--json")):
        command("units", "reset")
        before = command(*words).out
        command("units", "set", "all", "inch")
        assert command(*words).out == before
        assert command(*words, "--units", "pressure=bar").out == before


def test_the_rig_in_the_units_that_were_chosen(command: Callable[..., Any], record: Path) -> None:
    usual = command("rig", "show", "--db", record).out
    for words in ("+0.51 kPa", "-1.00 kPa", "own leak 0.0019 mm²", "effective area 0.8098 mm²"):
        assert words in usual
    inch = command("rig", "show", "--db", record, "--units", "inch").out
    for words in ("+0.07 psi", "-0.15 psi", "own leak 0.0000029 in²", "effective area 0.0012552 in²"):
        assert words in inch


@pytest.mark.parametrize("words", [("job", "show", "larch"), ("rig", "show")], ids=" ".join)
def test_units_that_are_none_are_refused(
    words: tuple[str, ...], command: Callable[..., Any], record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = command(*words, "--db", record, "--units", "pressure=psia").refusal(exits.USE)
    assert said.startswith("--units: 'psia' is no unit that the gauge pressure is shown in")
    monkeypatch.setenv(VARIABLE, "old")
    assert command(*words, "--db", record).refusal(exits.USE).startswith(f"{VARIABLE}: 'old' chooses no units")


@pytest.mark.parametrize(("dimension", "unit"), [(dimension, unit) for dimension, units in UNITS.items() for unit in units])
def test_every_unit_can_be_shown_and_reads_back(dimension: Dimension, unit: str) -> None:
    si = parse(f"3000 {unit}", dimension)
    for units in (ShownUnits({dimension: unit}), ShownUnits()):
        assert parse(units.text(si, dimension, unit), dimension) == pytest.approx(si, rel=1e-9)
        assert units.text(si, dimension, unit, 2).split(".")[0] == units.text(si, dimension, unit).split(".")[0].split(" ")[0]
