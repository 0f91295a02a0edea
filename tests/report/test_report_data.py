"""What a report says of a record: numbers, marks, void tests, and records in which something is lacking."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date
from pathlib import Path
from typing import Any

import pytest
from borewright.errors import UseError
from borewright.report.model import Report
from borewright.service.declaring import DeclaredReading, declare
from borewright.service.report_data import report_of
from borewright.service.shop import Shop
from borewright.store import Store

from .shop_record import BEGAN_UNIX_S, LEAKAGE, add_test, engine, four_before_and_after, laws, open_record


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_record(tmp_path / "shop.db") as opened:
        yield opened


def report(store: Store, *ids: int, **more: Any) -> Report:
    jobs = [store.get_job(job_id) for job_id in ids]
    return report_of(store, jobs[0], jobs[1] if len(jobs) > 1 else None, zone=UTC, **more)


def test_each_cylinder_at_each_stage_with_what_the_record_holds(store: Store) -> None:
    found = report(store, *four_before_and_after(store))
    assert [(row.cylinder, row.stage, row.leakage.value) for row in found.results] == [
        (cylinder, stage, f"{LEAKAGE[stage][cylinder - 1]:.2f}") for cylinder in (1, 2, 3, 4) for stage in ("before", "after")
    ]
    third = found.results[4]
    assert (third.leakage.expanded, third.pair_psi, third.pair_kpa, third.band) == ("0.06", "79/74", "546/509", "leave it closed")
    assert (third.area.value, third.area.expanded, third.volume.value) == ("0.414", "0.013", "73.0")
    assert [change.verdict for change in found.changes][1] == "better"
    assert all(change.changes[0].endswith(" mm²") and change.changes[1].endswith(" points") for change in found.changes)
    assert found.subtitle == "Job hill-climb 7: before 2026-05-28, after 2026-05-28"
    assert found.made_unix_s > BEGAN_UNIX_S


def test_a_void_test_is_listed_with_its_reason_and_in_no_number(store: Store) -> None:
    before, after = four_before_and_after(store)
    found = report(store, before, after)
    assert [(one.cylinder, one.stage, one.reason) for one in found.voids] == [("3", "before", "the crank left its window")]
    assert found.voids[0].test not in [number for row in found.results for number in row.tests.split(", ")]


def test_marks_are_lettered_and_those_of_all_stand_once(store: Store) -> None:
    engine_id = store.save_engine("Larch four", engine())
    job = store.create_job("hill-climb 7", "routine", engine_id)
    for cylinder in (1, 2, 3, 4):
        add_test(store, job, cylinder, 8.0, ("tied at one pressure", "by eye") if cylinder == 2 else ("tied at one pressure",))
    found = report(store, job)
    assert found.shared_marks == ("tied at one pressure",)
    assert [(fact.label, fact.words) for fact in found.marks] == [("a", "by eye")]
    assert [row.letters for row in found.results] == ["", "a", "", ""]


def test_repeats_stand_as_their_mean(store: Store) -> None:
    engine_id = store.save_engine("Larch four", engine())
    job = store.create_job("hill-climb 7", "routine", engine_id)
    tests = [add_test(store, job, 1, leakage_percent) for leakage_percent in (10.0, 10.4)]
    row = report(store, job).results[0]
    assert (row.stage, row.tests, row.leakage.value) == ("routine ×2", ", ".join(map(str, tests)), "10.2")
    assert float(row.leakage.expanded) >= 2.5  # two repeats say little: t of one degree of freedom
    assert row.band.startswith("between")


def test_places_steps_photos_and_notes(store: Store) -> None:
    found = report(store, *four_before_and_after(store))
    heard = next(one for one in found.places if one.cylinder == 2)
    assert (heard.stage, heard.words) == ("before", "nothing noticed at intake")
    assert [(place.name, place.heard, place.strength) for place in heard.places] == [("exhaust", "strong", 3)]
    assert heard.lines[-1] == "note: exhaust: hiss at the tail pipe (A. Birch, 2026-05-28)"
    assert [photo.caption for photo in found.photos] == ["1  cylinder 2, exhaust, before: hiss at the tail pipe"]
    assert found.steps
    assert all(fact.words for step in found.steps for fact in step.lines)


def test_checks_of_the_rig_with_dates_and_certificates_and_those_never_made(store: Store) -> None:
    lines = {line.check: line for line in report(store, *four_before_and_after(store)).rig}
    assert lines["span"].certificate == "gauge no. G-7, certificate C-2026-12, of 2026-04-28"
    assert (lines["zero"].made, lines["zero"].found) == ("2026-05-28 20:16, A. Birch", "regulated 0.12 kPa, cylinder −0.34 kPa")
    assert lines["sealed check"].made == "never"


def test_condition_and_earlier_compression_stand_as_context(store: Store) -> None:
    facts = {fact.label: fact.words for fact in report(store, *four_before_and_after(store)).facts[2].facts}
    assert facts["before"] == "812 h, engine 41 °C"
    assert facts["context"] == "earlier compression 1: 190, 3: 142 psi"


def test_units_that_were_chosen(store: Store) -> None:
    before, _ = four_before_and_after(store)
    found = report(store, before, units={"area": "in²", "pressure_gauge": "bar", "volume": "in³"})
    assert (found.units, found.pressure_unit) == (("in²", "in³"), "bar")
    assert (found.results[0].area.value, found.results[0].volume.value) == ("0.000695", "4.5")
    assert (found.results[0].pair_psi, found.results[0].pair_kpa) == ("79/73", "546/504")  # always both
    assert max(found.charts[0].fills[0].pressure) == pytest.approx(5.02, abs=0.03)


def test_curves_run_from_the_opening_and_from_the_shut(store: Store) -> None:
    charts = report(store, *four_before_and_after(store)).charts
    assert [chart.cylinder for chart in charts] == [1, 2, 3, 4]
    for chart in charts:
        assert [(course.stage, course.later) for course in chart.decays] == [("before", False), ("after", True)]
        assert all(0.0 <= course.t_s[0] < 0.02 for course in (*chart.fills, *chart.decays))
        assert all(course.pressure[0] > course.pressure[-1] > 0.5 for course in chart.decays)  # not into the vent
    assert charts[1].words == "half gone after 0.13 s before, 0.60 s after"


def test_a_job_without_tests_and_one_with_void_ones_only(store: Store) -> None:
    engine_id = store.save_engine("Larch four", engine())
    job = store.create_job("hill-climb 7", "before", engine_id)
    empty = report(store, job)
    assert {row.nothing for row in empty.results} == {"not tested"}
    assert empty.summary == ("No test counts yet: this report shows no numbers.",)
    store.finish_capture(store.begin_capture(job, 1, device_serial="R-1", laws=laws()), void_reason="air shut off")
    found = report(store, job)
    assert found.results[0].nothing == "1 test, none of which counts: see below"
    assert (found.charts, found.changes, len(found.voids)) == ((), (), 1)


def test_a_half_finished_job_is_shown_without_a_comparison(store: Store) -> None:
    before, _ = four_before_and_after(store)
    other = store.create_job("hill-climb 8", "after", store.get_job(before).engine_id)
    found = report(store, before, other)
    assert found.changes == ()
    assert found.summary[0] == "There is no test after that counts yet, so nothing is compared."


def test_two_jobs_of_the_same_stage_are_told_apart(store: Store) -> None:
    engine_id = store.save_engine("Larch four", engine())
    jobs = [store.create_job(name, "routine", engine_id) for name in ("spring", "autumn")]
    for job in jobs:
        add_test(store, job, 1, 9.0)
    found = report(store, *jobs)
    assert [row.stage for row in found.results[:2]] == ["earlier", "later"]
    assert found.job == "spring / autumn"


def test_jobs_of_different_engines_are_refused(store: Store) -> None:
    before, _ = four_before_and_after(store)
    other = store.create_job("V", "after", store.save_engine("Larch six", engine(6) | {"name": "Larch six"}))
    add_test(store, other, 1, 9.0)
    with pytest.raises(UseError, match="not of the same engine"):
        report(store, before, other)


def test_a_declared_reading_says_so(store: Store) -> None:
    engine_id = store.save_engine("Larch four", engine())
    job = store.create_job("hill-climb 7", "before", engine_id)
    reading = DeclaredReading(551_580.0, 496_000.0, 17_600.0, 6_895.0, date(2026, 1, 2), "a pair of gauges", "A. Birch")
    declare(store, store.get_job(job), 1, reading, today=date(2026, 5, 1))
    found = report(store, job)
    assert found.results[0].leakage.value
    assert any("declared: a pair of gauges read elsewhere on 2026-01-02" in mark for mark in found.shared_marks)
    assert found.charts == ()


def test_the_limits_stand_with_their_source_and_departures(store: Store) -> None:
    before, _ = four_before_and_after(store)
    found = report(store, before, limits="AC 43.13-1B")
    assert any("FAA AC 43.13-1B, paragraph 8-14" in note for note in found.table_notes)
    assert any(mark.startswith("not the AC procedure") for mark in found.shared_marks)
    assert not {"pass", "fail", "passed", "failed"} & {word for row in found.results for word in row.band.split()}


def test_the_fingerprint_is_of_what_is_shown(store: Store) -> None:
    before, after = four_before_and_after(store)
    first = report(store, before, after)

    def of(found: Report) -> str:
        return next(fact.words for fact in found.identity if fact.label == "data shown")

    assert first == report(store, before, after)
    assert replace(report(store, before, after, shop=Shop("Alder Lane")), shop="") == first
    store.add_finding(before, 4, "heard", place="exhaust", detail={"strength": "faint"}, said_by="A. Birch")
    assert of(report(store, before, after)) != of(first)
