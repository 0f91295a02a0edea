"""borewright place show: the path of the leak as a person and as a program reads it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from borewright.cli import exits
from borewright.core.uncertainty import Budget, Item
from borewright.store import Store

ENGINE = """schema_version = 1
name = "invented generator twin"
cycle = "four-stroke"
firing_order = [1, 2]
bore_mm = 81.5
stroke_mm = 76.6
rod_mm = 134.0
compression_ratio = 10.5
cooling = "air"
"""
FLOW = {
    "orifice_area_m2": 25e-6,
    "u_orifice_relative": 0.01,
    "p_place_gauge_pa": 400.0,
    "u_p_place_pa": 3.0,
    "p_cylinder_gauge_pa": 440e3,
}
Run = Callable[..., Any]


def result(leakage_percent: float, area_mm2: float) -> dict[str, Any]:
    leakage = Budget("leakage", "%", leakage_percent, (Item("noise of the readings", 0.02, 45.0, "A"), Item("restrictor", 0.04)))
    area = Budget("leak area", "mm²", area_mm2, (Item("noise of the readings", 0.002, 45.0, "A"), Item("restrictor", 0.003)))
    return {
        "leakage_percent": leakage_percent,
        "leak_area_mm2": area_mm2,
        "p_regulated_gauge_pa": 551e3,
        "p_cylinder_gauge_pa": 551e3 * (1.0 - leakage_percent / 100.0),
        "budgets": [leakage.as_dict(), area.as_dict()],
    }


@pytest.fixture
def show(tmp_path: Path, command: Run) -> Run:
    """Shows a job whose cylinder 1 seals, and whose cylinder 2 leaks by its exhaust valve."""
    path = tmp_path / "shop.db"
    with Store.open(path) as store:
        engine_id = store.save_engine("invented generator twin", tomllib.loads(ENGINE))
        for stage in ("before", "after"):
            job = store.create_job("quarry pump", stage, engine_id)
        for cylinder, found in ((1, result(4.0, 0.3)), (2, result(20.5, 0.75))):
            store.finish_capture(store.begin_capture(job, cylinder, device_serial="1", laws={"p_ambient_abs_pa": 101_325.0}), found)
        for place in ("intake", "exhaust", "breather", "neighbours", "outside"):
            detail = {"strength": "strong" if place == "exhaust" else "none"}
            store.add_finding(job, 2, "heard", place=place, detail=detail, said_by="AB")
        store.add_finding(job, 2, "flow", place="exhaust", detail=FLOW, said_by="AB")
        note = store.add_finding(job, 2, "note", detail={"text": "it hisses"}, said_by="AB")
        store.add_photo(note, "valve.jpg", "image/jpeg", 4, 3, b"a picture")
        store.add_finding(job, 0, "note", detail={"text": "from a quarry"}, said_by="AB")
    return lambda *words: command("place", "show", "quarry pump", "--db", path, *words)


def test_a_table_with_shares_what_imitates_and_what_to_open(show: Run) -> None:
    ended = show("--stage", "after")
    assert ended.code == exits.OK, ended
    first, second = ended.out.split("cylinder 2\n")
    assert "nothing needs opening on this evidence" in " ".join(first.split())
    assert "place" not in first.split("cylinder 1")[1].split("advice")[0], "nobody had to look at a cylinder that seals"
    (line,) = [line for line in second.splitlines() if line.strip().startswith("exhaust  ")]
    assert "strong" in line
    assert "% (" in line
    assert "#2, #6" in line
    assert "note        #8 from a quarry" in ended.out
    for word in (
        "decided",
        "note        #7 it hisses (1 photo)",
        "or only",
        "points to: open the cylinder head, for the exhaust valve",
        "because",
    ):
        assert word in second
    assert "cylinder 2's exhaust" not in second
    assert "aid to judgement" in ended.out
    assert max(map(len, ended.out.splitlines())) <= 132


def test_places_where_nothing_comes_out_are_a_line_in_the_table_unless_all_is_asked_for(show: Run) -> None:
    out = " ".join(show("--stage", "after").out.split())
    assert "Listen with a tube at the tail pipe" in out
    assert "intake: " not in out
    assert "outside: " not in out
    one = show("--stage", "after", "--cylinder", "1").out
    assert "  intake " in one
    assert "not looked at" in one
    assert "No fingers and no gloved hand" not in one
    assert "cylinder 2\n" not in one
    every = " ".join(show("--stage", "after", "--cylinder", "1", "--all").out.split())
    assert "No fingers and no gloved hand in the intake" in every
    assert "outside: " in every


def test_as_json(show: Run) -> None:
    (told,) = json.loads(show("--stage", "after", "--json").out)["jobs"]
    assert (told["job"], told["stage"]) == ("quarry pump", "after")
    second = told["cylinders"][1]
    assert (second["main"], second["decided"], second["notes"][0]["text"]) == ("exhaust", True, "it hisses")
    assert (second["notes"][0]["finding"], second["notes"][0]["photos"]) == (7, 1)
    assert [note["text"] for note in told["notes"]] == ["from a quarry"]
    share = {place["place"]: place["share"] for place in second["places"]}["exhaust"]
    assert share["low_percent"] <= share["percent"] <= share["high_percent"]
    assert {line["cylinder"] for line in told["advice"]} == {1, 2}


def test_what_cannot_be_shown(show: Run) -> None:
    assert [line.split(", ")[1] for line in show().out.splitlines() if line.startswith("job ")] == ["before", "after"]
    assert "this engine has no cylinder 7; it has 1, 2" in show("--stage", "after", "--cylinder", "7").refusal(exits.USE)
    assert "nothing has been tested or heard in it yet" in show("--stage", "before").out
