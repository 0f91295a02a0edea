"""The main job, end to end: the demo on the solenoid rig, with another seed, and on the rig whose valves are turned by hand."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from borewright.service.analysis import analysed_as_dict, computed_anew
from borewright.service.comparing import compare_jobs
from borewright.service.laws import laws_from_record
from borewright.service.path import path_of_job
from borewright.simrig.demo import StageReport, demo_scenarios, place_truth, run_stage
from borewright.store import Store
from borewright.store.records import LoadedCapture

from .demo_run import Shown, demo

FIRING_ORDER = [1, 3, 4, 2]
CYLINDERS = {(stage, cylinder) for stage in ("before", "after") for cylinder in FIRING_ORDER}
RUNS: dict[str, tuple[object, ...]] = {"solenoid": (), "seed 2026": ("--seed", 2026), "hand valves": ("--hand-valves",)}
RECORDED_S = 4.0  # the shortest test: baseline, puff, 3 s of steady reading

# issue 2, "How good"
MOST_LEAKAGE_OFF_POINTS = 0.3
MOST_AREA_OFF = 0.03


@pytest.fixture(scope="module")
def runs() -> Iterator[Callable[[str], Shown]]:
    """Each run of the demo, made when it is first asked for."""
    made: dict[str, Shown] = {}
    with ExitStack() as until_then:

        def of(name: str) -> Shown:
            if name not in made:
                made[name] = until_then.enter_context(demo(*RUNS[name]))
            return made[name]

        yield of


@pytest.fixture(params=RUNS)
def shown(request: pytest.FixtureRequest, runs: Callable[[str], Shown]) -> Shown:
    return runs(request.param)


@pytest.fixture
def solenoid(runs: Callable[[str], Shown]) -> Shown:
    return runs("solenoid")


# ---------------------------------------------------------------------- what it prints


def is_number(value: Any) -> bool:
    return isinstance(value, float) and np.isfinite(value)


def test_the_json_has_the_promised_keys_and_types(shown: Shown) -> None:
    document = shown.document
    assert set(document) == {"jobs", "refusals", "database", "files"}
    assert [job["stage"] for job in document["jobs"]] == ["before", "after"]
    for job in document["jobs"]:
        assert set(job) == {"stage", "engine", "cylinders"}
        assert job["engine"] == "Larch 1600 hill-climb four (invented)"
        assert [row["cylinder"] for row in job["cylinders"]] == FIRING_ORDER
        for row in job["cylinders"]:
            assert row.keys() >= {"cylinder", "leakage_percent", "leak_area_mm2", "decay", "readiness", "truth"}
            assert all(is_number(row[key]) for key in ("leakage_percent", "leak_area_mm2"))
            assert set(row["truth"]) == {"leakage_percent", "leak_area_mm2"}
            assert all(is_number(value) for value in row["truth"].values())
            assert set(row["decay"]) == {"t75_s", "t50_s", "t25_s"}
            assert set(row["readiness"]) == {"stroke_evidence", "hose_evidence", "position_deg", "window_deg"}
            assert all(is_number(row["readiness"][key]) for key in ("position_deg", "window_deg"))
            assert row["void_reason"] is None
    for refused in document["refusals"]:
        assert set(refused) == {"cylinder", "reasons"}
        assert refused["cylinder"] in FIRING_ORDER
        assert refused["reasons"]
        assert all(isinstance(reason, str) and reason for reason in refused["reasons"])


def test_the_bar_goes_to_the_error_stream_step_by_step(shown: Shown) -> None:
    said = [line.rpartition("  ")[2] for line in shown.err.splitlines()]
    flows = [step for step in said if "flow at" in step]
    assert said[4:8] == [f"before: cylinder {n}" for n in FIRING_ORDER]
    assert said[8 : 8 + len(flows)] == flows
    assert said[8 + len(flows)] == "after: zero"
    assert len(said) == 2 * (4 + len(FIRING_ORDER)) + len(flows) + 1
    assert said[-1].endswith("100%")


# ---------------------------------------------------------------------- how good it is


def test_leakage_and_leak_area_are_within_the_bounds_of_the_truth(shown: Shown) -> None:
    rows = shown.cylinders()
    assert set(rows) == CYLINDERS
    for row in rows.values():
        truth = row["truth"]
        assert abs(row["leakage_percent"] - truth["leakage_percent"]) <= MOST_LEAKAGE_OFF_POINTS, row
        assert abs(row["leak_area_mm2"] / truth["leak_area_mm2"] - 1.0) <= MOST_AREA_OFF, row


def test_the_decay_goes_down_and_the_leakier_cylinder_is_the_quicker(shown: Shown) -> None:
    rows = shown.cylinders()
    for row in rows.values():
        decay = row["decay"]
        assert 0.0 < decay["t75_s"] < decay["t50_s"] < decay["t25_s"]
    before = [row for (stage, _), row in rows.items() if stage == "before"]
    by_area = [row["cylinder"] for row in sorted(before, key=lambda row: -row["truth"]["leak_area_mm2"])]
    assert [row["cylinder"] for row in sorted(before, key=lambda row: row["decay"]["t25_s"])] == by_area


def test_each_cylinder_was_shown_and_stood_inside_its_window(shown: Shown) -> None:
    """By a squeeze in the first; then carried over where a puff can prove the hose, squeezed again where hands turn the valves."""
    with shown.record() as store:
        has_valves = any(line.kind == "command" for test in store.list_captures() for line in store.load_events(test.id))
    for (_, cylinder), row in shown.cylinders().items():
        readiness = row["readiness"]
        squeezed = cylinder == FIRING_ORDER[0] or not has_valves
        assert readiness["stroke_evidence"] == ("squeeze" if squeezed else "carried")
        assert readiness["hose_evidence"] == "squeeze" or (has_valves and readiness["hose_evidence"] == "puff_read_back")
        assert 0.0 < readiness["window_deg"] <= 3.0
        assert abs(readiness["position_deg"]) <= readiness["window_deg"]


def test_what_must_be_refused_is_refused_with_its_reason(shown: Shown) -> None:
    neighbour, wrong_tdc, turning = (refused["reasons"] for refused in shown.document["refusals"])
    assert [refused["cylinder"] for refused in shown.document["refusals"]] == [1, 1, 1]
    assert "the hose is in the wrong hole" in neighbour[0]
    assert "in step with cylinder 2 or 3, not 1" in neighbour[0]
    assert len(wrong_tdc) == 1
    assert "wrong TDC: overlap, 3" in wrong_tdc[0]
    assert any("counts in the last second" in reason for reason in turning)


# ---------------------------------------------------------------------- what it leaves behind


def test_the_record_holds_tests_checks_raw_samples_and_the_log(shown: Shown) -> None:
    assert Path(shown.document["database"]).parent == shown.folder
    with shown.record() as store:
        jobs = store.list_jobs()
        assert [job.stage for job in jobs] == ["before", "after"]
        tests = [capture for capture in store.list_captures() if capture.purpose == "test"]
        assert {(job.stage, test.cylinder) for job in jobs for test in tests if test.job_id == job.id} == CYLINDERS
        assert {test.state for test in tests} == {"complete"}
        assert len(tests) == 8
        (rig,) = store.checked_rigs()
        checks = store.latest_rig_checks(rig)
        assert set(checks) == {"zero", "sealed", "restrictor", "tdc"}
        assert all(check.passed for check in checks.values())
        refused = [line.detail for line in store.load_events(None) if line.kind == "air_refused"]
        assert [line["reasons"] for line in refused] == [each["reasons"] for each in shown.document["refusals"]]
        for test in tests:
            loaded = store.load_capture(test.id)
            columns = loaded.columns
            assert int(columns.tick[-1] - columns.tick[0]) / columns.tick_rate_hz > RECORDED_S
            assert set(np.diff(columns.index).tolist()) == {1}
            went = [line.detail["after"] for line in loaded.events if line.kind == "readiness"]
            assert went[-3:] == ["isolated", "venting", "vented"]


def test_a_test_computed_anew_from_its_raw_samples_gives_the_same_numbers(shown: Shown) -> None:
    rows = shown.cylinders()
    with shown.record() as store:
        stages = {job.id: job.stage for job in store.list_jobs()}
        for test in store.list_captures():
            if test.job_id is None:
                continue
            loaded = store.load_capture(test.id)
            anew = json.loads(json.dumps(analysed_as_dict(computed_anew(loaded.columns, laws_from_record(loaded.meta.laws)))))
            assert anew == test.result
            if test.purpose != "test":
                continue
            row = rows[stages[test.job_id], test.cylinder]
            assert (anew["leakage_percent"], anew["leak_area_mm2"]) == (row["leakage_percent"], row["leak_area_mm2"])
            assert {name: anew[name] for name in row["decay"]} == row["decay"]


def test_sound_tests_are_fitted_and_contradict_nothing(shown: Shown) -> None:
    with shown.record() as store:
        tests = [capture for capture in store.list_captures() if capture.purpose == "test"]
    assert len(tests) == 8
    for test in tests:
        assert test.result is not None
        assert abs(test.result["fit"]["chi2_reduced"] - 1.0) < 0.6
        assert not [mark for mark in test.marks if "contradiction" in mark or "steady part" in mark]


def test_a_table_for_each_stage_says_the_same_as_the_json(shown: Shown) -> None:
    *files, report = [Path(name) for name in shown.document["files"]]
    assert [file.name for file in (*files, report)] == ["demo-before.csv", "demo-after.csv", "demo-report.pdf"]
    assert report.read_bytes().startswith(b"%PDF-")
    rows = shown.cylinders()
    for file, stage in zip(files, ("before", "after"), strict=True):
        with file.open(encoding="utf-8", newline="") as text:
            lines = [line for line in csv.DictReader(text) if line["purpose"] == "test"]
        assert [int(line["cylinder"]) for line in lines] == FIRING_ORDER
        for line in lines:
            row = rows[stage, int(line["cylinder"])]
            assert (line["stage"], line["state"]) == (stage, "complete")
            assert float(line["leakage_percent"]) == row["leakage_percent"]
            assert float(line["leak_area_mm2"]) == row["leak_area_mm2"]


# ---------------------------------------------------------------------- what it depends on, and what not


def stage_without_truth(file: Path) -> tuple[StageReport, list[dict[str, Any]], list[LoadedCapture]]:
    """The first stage of the demo, its scenario's truth deleted: the report, its rows, and the tests in the record."""
    scenario = replace(demo_scenarios("solenoid", None)[0], truth={})
    with Store.open(file) as store:
        report = run_stage(scenario, store, "without truth", 1.8e9, lambda _: None, show_refusals=True)
        kept = [store.load_capture(test.id) for test in store.list_captures()]
    return report, report.as_dict(scenario.truth)["cylinders"], kept


def test_with_the_truth_deleted_not_a_bit_changes(solenoid: Shown, tmp_path: Path) -> None:
    report, rows, kept = stage_without_truth(tmp_path / "without.db")
    assert [row.pop("truth") for row in rows] == [None] * 4
    with_truth = json.loads(json.dumps(solenoid.document["jobs"][0]["cylinders"]))
    assert all(row.pop("truth") for row in with_truth)
    assert json.loads(json.dumps(rows)) == with_truth
    assert [list(refused.reasons) for refused in report.refusals] == [each["reasons"] for each in solenoid.document["refusals"]]
    with solenoid.record() as store:
        theirs = [store.load_capture(test.id) for test in store.list_captures()][: len(kept)]
    for mine, other in zip(kept, theirs, strict=True):
        assert np.array_equal(mine.columns.raw, other.columns.raw)
        assert np.array_equal(mine.columns.crank_count, other.columns.crank_count)
        assert np.array_equal(mine.columns.tick, other.columns.tick)


def test_another_seed_gives_other_readings(runs: Callable[[str], Shown]) -> None:
    mine, theirs = runs("solenoid").cylinders(), runs("seed 2026").cylinders()
    for key in CYLINDERS:
        assert mine[key]["truth"] == theirs[key]["truth"]
        assert mine[key]["leakage_percent"] != theirs[key]["leakage_percent"]


def test_the_hand_valve_rig_takes_no_command_and_is_waited_for(runs: Callable[[str], Shown]) -> None:
    """Nothing reaches its valves over the wire; the person tells when the supply is shut."""
    with runs("hand valves").record() as store:
        for test in store.list_captures():
            lines = store.load_capture(test.id).events
            assert not [line for line in lines if line.kind in ("command", "air")]
            assert "SayShut" in [line.detail["act"] for line in lines if line.kind == "act"]


# ---------------------------------------------------------------------- where the air goes, before against after


def test_the_place_that_leaks_most_is_found_with_its_share(shown: Shown) -> None:
    """The share may be off by 5 points and the interval has to hold it (issue 4, "How good"); the truth is the simulator's."""
    scenario, _ = demo_scenarios("solenoid", None)
    with shown.record() as store:
        job = store.find_job("Larch hill-climb four", "before")
        assert job is not None
        found = path_of_job(store, job)
    for cylinder, main in ((3, "exhaust"), (2, "breather")):
        path, truth = found.cylinders[cylinder], place_truth(scenario, cylinder)
        assert (path.decided, path.main) == (True, main)
        measured = {place.place: place.share for place in path.places if place.share is not None and place.share.looked_at}
        assert main in measured
        for place, share in measured.items():
            assert abs(share.percent - truth[place]) <= 5.0, (cylinder, place)
        assert any(line.cylinder == cylinder and main_words(main) in line.open for line in found.advice)


def main_words(place: str) -> str:
    return {"exhaust": "exhaust valve", "breather": "rings"}[place]


def test_the_rebuild_is_shown_to_have_cured_the_bad_cylinders(shown: Shown) -> None:
    with shown.record() as store:
        before, after = (store.find_job("Larch hill-climb four", stage) for stage in ("before", "after"))
        assert before is not None
        assert after is not None
        verdicts = {one.cylinder: one.verdict for one in compare_jobs(store, before, after).cylinders}
    assert (verdicts[2], verdicts[3]) == ("better", "better")
    assert "worse" not in verdicts.values()
