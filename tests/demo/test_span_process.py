"""The transducers calibrated against a reference gauge, over a network port, by a person who follows the prompts."""

from __future__ import annotations

import json
from pathlib import Path

from borewright.store import Store

from .rig_processes import Process, Served


def test_span_over_a_network_port(tmp_path: Path) -> None:
    db = tmp_path / "span.db"
    rig = Served("--tcp", "127.0.0.1:0")
    points = ("--pressure", "150 kPa", "--pressure", "550 kPa", "--rising-only")
    paper = ("--gauge-serial", "G-114", "--gauge-u", "0.06 %", "--gauge-step", "0.1 kPa")
    process = Process("rig", "span", "--port", rig.port, "--db", db, "--ambient", "98.9 kPa", *points, *paper, "--json")
    try:
        assert process.end(rig.person) == 0, process.text
        rig.person.do("wait 1")
        assert rig.person.gauges_kpa() == (0.0, 0.0)
    finally:
        process.clear_up()
        rig.close()
    found = json.loads(process.said[-1])
    assert (found["check"], found["passed"]) == ("span", True)
    readings = [point["reference_gauge_pa"] for point in found["result"]["regulated"]["points"]]
    assert readings[0] == 0.0
    assert [round(reading / 1e4) for reading in readings] == [0, 15, 55]
    with Store.open(db, create=False) as store:
        assert store.latest_rig_checks(found["rig"])["span"].result == found["result"]
