"""What `compare` and `job declare` print, write and refuse."""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from borewright.cli import exits, job_declare
from borewright.core.plain import to_plain
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns
from borewright.core.uncertainty import Budget, Item
from borewright.errors import UseError
from borewright.service.engines import load_engine
from borewright.store import Store

SCENARIOS = Path(__file__).resolve().parents[2] / "simulator" / "scenarios"
ENGINE = load_engine(SCENARIOS / "larch_four_engine.toml")[1]
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)


def result(area_mm2: float, leakage_percent: float) -> dict[str, Any]:
    noise = Item("noise of the readings", 0.002 * area_mm2, 40.0, "A")
    return {
        "leakage_percent": leakage_percent,
        "leak_area_mm2": area_mm2,
        "p_regulated_gauge_pa": 551_580.6,
        "p_cylinder_gauge_pa": 551_580.6 * (1.0 - leakage_percent / 100.0),
        "zero_regulated_pa": 0.0,
        "zero_cylinder_pa": 0.0,
        "phases": {
            "baseline": [0, 10],
            "puff": None,
            "fill": [20, 60],
            "steady": [60, 1000],
            "isolated": [1000, 2900],
            "vent": [2900, 3000],
        },
        "budgets": [
            Budget("leakage", "%", leakage_percent, (Item("noise of the readings", 0.02, 40.0, "A"),)).as_dict(),
            Budget("leak area", "mm²", area_mm2, (noise,)).as_dict(),
        ],
    }


def rows_of(table: Path) -> list[dict[str, str]]:
    with table.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def samples() -> SampleColumns:
    """Air on for a second, then two seconds of decay."""
    t = np.arange(3000)
    shape = np.where(t < 20, 0.0, np.where(t < 1000, 1.0, np.exp(-(t - 1000.0) / 500.0)))
    raw = 410 + np.stack([1500 * shape, 1300 * shape]).round().astype(np.uint16)
    return SampleColumns(t * 1000, t, t * 0, raw, np.zeros(3000, np.uint16), 1_000_000)


def laws() -> dict[str, Any]:
    from borewright.core.instrument import Instrument  # noqa: PLC0415 -- only here
    from borewright.core.restrictor import Restrictor  # noqa: PLC0415

    jet = Restrictor(8.107e-7)
    return {
        "regulated": to_plain(LAW),
        "cylinder": to_plain(LAW),
        "regulated_channel": 0,
        "cylinder_channel": 1,
        "restrictor_area_m2": jet.area_m2,
        "restrictor": to_plain(jet),
        "regulated_range_gauge_pa": [0.0, 1e6],
        "p_ambient_abs_pa": 101_325.0,
        "t_supply_k": 293.15,
        "t_engine_k": 293.15,
        "instrument": to_plain(Instrument(jet)),
        "assumed": [],
    }


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """A pump before and after: cylinder 1 cured, 2 the same, 3 tested before only."""
    path = tmp_path / "shop.db"
    with Store.open(path) as store:
        engine = store.save_engine(ENGINE["name"], ENGINE)
        stages: tuple[tuple[Any, tuple[tuple[int, float, float], ...]], ...] = (
            ("before", ((1, 0.507, 10.0), (1, 0.51, 10.1), (2, 0.312, 4.0), (2, 0.31, 3.95), (3, 0.3, 3.7))),
            ("after", ((1, 0.2, 1.6), (1, 0.202, 1.63), (2, 0.311, 3.98))),
        )
        for stage, tests in stages:
            job = store.create_job("=pump", stage, engine)
            for cylinder, area_mm2, leakage_percent in tests:
                capture = store.begin_capture(job, cylinder, device_serial="A1", laws=laws())
                store.append_chunk(capture, samples())
                store.finish_capture(capture, result(area_mm2, leakage_percent))
    return path


def test_stages_before_and_after_of_a_job(record: Path, command: Callable[..., Any]) -> None:
    ended = command("compare", "=pump", "--db", record)
    assert ended.code == exits.OK
    one, two, three = (next(line for line in ended.out.splitlines() if line.startswith(f"{n} ")) for n in (1, 2, 3))
    assert one.endswith("better")
    assert two.endswith("no shown difference")
    assert three.endswith("not compared")
    assert "  cylinder 3: has no test after; test it to compare it" in ended.out
    assert "Better: cylinder 1." in ended.out
    inch = command("compare", "=pump", "--db", record, "--units", "inch").out
    assert "leak area in² before" in inch
    assert "0.00079" in inch  # 0.5085 mm², carried from 496 to 543 kPa as p^0.05


def test_json_with_curves_and_the_picture(record: Path, command: Callable[..., Any], tmp_path: Path) -> None:
    plain = json.loads(command("compare", "=pump", "--db", record, "--json").out)
    assert "curves" not in plain
    assert [one["verdict"] for one in plain["cylinders"]] == ["better", "no shown difference", None, None]
    assert plain["cylinders"][0]["area"]["change"] == pytest.approx(0.201 - 0.5085, abs=0.02)
    picture = tmp_path / "decays.svg"
    drawn = json.loads(command("compare", "=pump", "--db", record, "--json", "--curves", picture).out)
    curve = drawn["curves"][0]["before"]
    assert curve["shut_s"] == pytest.approx(0.98)
    after_s = [t_s - curve["shut_s"] for t_s in curve["t_s"]]
    assert all(later > earlier for earlier, later in pairwise(after_s))
    # the samples' own law: 1300 raw steps, 0.8 · 4096 of which are 1 MPa, falling by e in half a second
    expected = 1300.0 / 3276.8 * 1e6 * np.exp(-np.maximum(after_s, 0.0) / 0.5)
    middle = slice(30, -2)
    assert curve["p_cylinder_gauge_pa"][middle] == pytest.approx(expected[middle], rel=0.02, abs=400.0)
    assert len(ElementTree.parse(picture).findall("{*}polyline")) == 5
    assert "=pump" in picture.read_text()


def test_files_that_are_there_are_left_alone(record: Path, command: Callable[..., Any], tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    assert command("compare", "=pump", "--db", record, "--csv", table).code == exits.OK
    rows = rows_of(table)
    assert rows[0]["before"] == "'=pump, before"
    assert (rows[0]["verdict"], rows[3]["verdict"]) == ("better", "")
    before = table.read_bytes()
    assert "left alone" in command("compare", "=pump", "--db", record, "--csv", table).refusal(exits.USE)
    assert table.read_bytes() == before
    assert command("compare", "=pump", "--db", record, "--csv", table, "--force").code == exits.OK
    missing = tmp_path / "nowhere" / "table.csv"
    command("compare", "=pump", "--db", record, "--csv", missing).refusal(exits.RECORD)


def test_the_trend(record: Path, command: Callable[..., Any], tmp_path: Path) -> None:
    table = tmp_path / "trend.csv"
    out = command("compare", "=pump", "--trend", "--db", record, "--csv", table).out
    assert "2 jobs, oldest first" in out
    assert any(line.startswith("1 ") and "after" in line and line.endswith("better") for line in out.splitlines())
    assert len(rows_of(table)) == 5
    found = json.loads(command("compare", "=pump", "--trend", "--db", record, "--json").out)
    assert found["comparisons"] == 2
    assert found["points"][1]["since_before"]["verdict"] == "better"


def half(record: Path) -> None:
    """A job that has one stage only, of the same engine."""
    with Store.open(record) as store:
        engine = next(job for job in store.list_jobs() if job.name == "=pump").engine_id
        job = store.create_job("half", "routine", engine)
        store.finish_capture(store.begin_capture(job, 1, device_serial="A1", laws=laws()), result(0.8, 13.0))


def test_one_stage_for_both_of_two_jobs(record: Path, command: Callable[..., Any]) -> None:
    half(record)
    for words, stages in (
        (("=pump", "half", "--stage", "before"), ("before", "routine")),  # half has one stage only, so it can only mean that
        (("half", "=pump", "--stage", "before"), ("routine", "before")),
        (("=pump", "=pump", "--stage", "before", "--stage-b", "after"), ("before", "after")),
    ):
        found = json.loads(command("compare", *words, "--db", record, "--json").out)
        assert (found["before"]["stage"], found["after"]["stage"]) == stages
    ended = command("compare", "=pump", "--trend", "--stage", "before", "--db", record)
    assert (ended.code, ended.err) == (exits.OK, "")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("boat",), "there is no job 'boat'"),
        (("=pump", "=pump"), "say which one with --stage"),
        (("=pump", "half", "--stage", "routine"), "there is no job '=pump' at stage 'routine'"),
        (("=pump", "--stage", "before"), "--stage is that of both of two jobs"),
        (("=pump", "--stage-b", "routine"), "there is no job '=pump' at stage 'routine'"),
        (("=pump", "--stage-b", "before"), "cannot be compared with itself"),
        (("=pump", "=pump", "--trend"), "a trend is of one engine"),
        (("=pump", "--trend", "--curves", "x.svg"), "not of a trend"),
    ],
)
def test_what_cannot_be_compared(record: Path, command: Callable[..., Any], words: tuple[str, ...], said: str) -> None:
    half(record)
    assert said in command("compare", *words, "--db", record).refusal(exits.USE)


def declare(record: Path, *more: str, capsys: pytest.CaptureFixture[str]) -> str:
    parser = argparse.ArgumentParser()
    job_declare.add_arguments(parser)
    usual = {
        "--stage": "after",
        "--cylinder": "3",
        "--regulated": "80 psi",
        "--cylinder-pressure": "78 psi",
        "--gauge-error": "1.6 % of 160 psi",
        "--read-to": "1 psi",
        "--when": "2026-03-31",
        "--how": "two gauges, cold",
        "--who": "Ada",
    }
    words = [word for pair in (usual | dict(zip(more[::2], more[1::2], strict=True))).items() for word in pair]
    assert job_declare.run(parser.parse_args(["=pump", "--db", str(record), *words])) == exits.OK
    return capsys.readouterr().out


def test_a_declared_reading_is_shown_with_its_marks_and_compared(
    record: Path, command: Callable[..., Any], capsys: pytest.CaptureFixture[str]
) -> None:
    said = declare(record, "--restrictor-bore", "0.040 in", capsys=capsys)
    assert said.startswith("test 9, job =pump, after, cylinder 3: leakage 2.5 ± 5.3 %")
    assert "declared: a pair of gauges read elsewhere on 2026-03-31 by Ada: two gauges, cold" in said
    out = command("compare", "=pump", "--db", record).out
    assert next(line for line in out.splitlines() if line.startswith("3 ")).endswith("no shown difference")
    assert "cylinder 3: declared: a pair of gauges read elsewhere" in out
    shown = command("job", "show", "=pump", "--db", record, "--stage", "after")
    assert (shown.code, "declared: a pair of gauges" in shown.out) == (exits.OK, True)


def test_a_declared_reading_of_a_tested_cylinder_is_said_not_to_be_used(
    record: Path, command: Callable[..., Any], capsys: pytest.CaptureFixture[str]
) -> None:
    unused = "the declared reading (test 9) is not used: the cylinder was tested"
    before = command("compare", "=pump", "--db", record).out.splitlines()
    assert unused in declare(record, "--cylinder", "1", capsys=capsys)
    out = command("compare", "=pump", "--db", record).out.splitlines()
    assert [line for line in out if line not in before] == [f"  cylinder 1: {unused}"]
    shown = command("job", "show", "=pump", "--db", record, "--stage", "after").out
    assert unused in next(line for line in shown.splitlines() if "two gauges, cold" in line)


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--when", "31.3.2026", "is no day"),
        ("--gauge-error", "class 1.6", "--gauge-error"),
        ("--regulated", "80 psia", "--regulated"),
        ("--restrictor-bore", "0.040", "--restrictor-bore"),
    ],
)
def test_words_that_are_no_reading(record: Path, capsys: pytest.CaptureFixture[str], option: str, value: str, said: str) -> None:
    with pytest.raises(UseError, match=said):
        declare(record, option, value, capsys=capsys)
