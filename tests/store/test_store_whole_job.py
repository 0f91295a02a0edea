"""Jobs that are changed, put away and brought back; findings and photos; the library; what is searched for."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from borewright.core.rig import RigCheck
from borewright.errors import StoreError
from borewright.store import Store
from borewright.store.search import found_in
from hypothesis import given
from hypothesis import strategies as st

FLOW = {
    "orifice_area_m2": 1e-6,
    "u_orifice_relative": 0.01,
    "p_place_gauge_pa": 900.0,
    "u_p_place_pa": 10.0,
    "p_cylinder_gauge_pa": 4.9e5,
}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    ticking = iter(range(1_700_000_000, 1_800_000_000))
    with Store.open(tmp_path / "shop.borewright", clock=lambda: float(next(ticking))) as opened:
        yield opened


@pytest.fixture
def job(store: Store) -> int:
    return store.create_job("climb 7", "before", store.save_engine("four", {}), "C-12", "Ada", {"hours": "310 h"})


def names(store: Store, **wanted: Any) -> list[str]:
    return [found.name for found in store.list_jobs(**wanted)]


def test_a_change_is_made_and_what_was_there_before_is_in_the_log(store: Store, job: int) -> None:
    uid = store.get_job(job).uid
    store.change_job(job, name="climb 8", technician="Bo", details={"hours": "311 h"})
    store.change_job(job, name="climb 8", technician="Bo")
    now = store.get_job(job)
    assert (now.name, now.technician, now.customer_reference, now.details, now.uid) == (
        "climb 8",
        "Bo",
        "C-12",
        {"hours": "311 h"},
        uid,
    )
    (change,) = store.job_changes(job)
    assert change.detail["was"] == {"name": "climb 7", "technician": "Ada", "details": {"hours": "310 h"}}
    assert change.detail["now"] == {"name": "climb 8", "technician": "Bo", "details": {"hours": "311 h"}}
    other = store.create_job("climb 9", "before", now.engine_id)
    assert store.job_changes(other) == ()


def test_a_name_that_is_taken_is_refused_and_nothing_is_changed(store: Store, job: int) -> None:
    other = store.create_job("climb 8", "before", store.get_job(job).engine_id)
    store.create_job("climb 7", "after", store.get_job(job).engine_id)
    with pytest.raises(StoreError, match="already"):
        store.change_job(other, name="climb 7", technician="Bo")
    assert (store.get_job(other).name, store.get_job(other).technician) == ("climb 8", "")
    assert store.job_changes(other) == ()


def test_an_archived_job_is_out_of_the_list_and_can_be_found(store: Store, job: int) -> None:
    store.archive_job(job, True)
    store.archive_job(job, True)
    assert (names(store), names(store, archived=True), names(store, search="climb")) == ([], ["climb 7"], [])
    found = store.find_job("climb 7", "before")
    assert found is not None
    assert found.archived_at_unix_s is not None
    store.archive_job(job, False)
    assert names(store) == ["climb 7"]
    assert len(store.job_changes(job)) == 2


def test_deleting_is_undone_unless_the_name_is_taken_meanwhile(store: Store, job: int) -> None:
    with pytest.raises(StoreError, match="no deleted job"):
        store.restore_job(job)
    store.delete_job(job, "a slip")
    assert store.get_job(job).deleted_reason == "a slip"
    with pytest.raises(StoreError, match="could be changed"):
        store.change_job(job, name="x")
    with pytest.raises(StoreError, match="could be changed"):
        store.archive_job(job, True)
    other = store.create_job("climb 7", "before", store.get_job(job).engine_id)
    with pytest.raises(StoreError, match=r"already; rename that one"):
        store.restore_job(job)
    store.change_job(other, name="another")
    store.restore_job(job)
    assert (names(store), store.get_job(job).deleted_reason) == (["climb 7", "another"], None)
    assert [change.detail["was"] for change in store.job_changes(job)][-1] == {"deleted": True, "reason": "a slip"}


@pytest.mark.usefixtures("job")
def test_jobs_are_searched_in_what_people_wrote_and_every_character_means_itself(store: Store) -> None:
    boat = store.create_job("=1+1", "routine", store.save_engine("V-twin of a boat", {}), "Müller 100 %_x", "Zoë")
    assert [names(store, search=text) for text in ("CLIMB", "ada", "müller", "ZOË", "v-TWIN", "0 %_", " four ")] == [
        ["climb 7"],
        ["climb 7"],
        ["=1+1"],
        ["=1+1"],
        ["=1+1"],
        ["=1+1"],
        ["climb 7"],
    ]
    assert [names(store, search=text) for text in ("%", "_", "climb_7", "c%7", "'", "\\")] == [["=1+1"], ["=1+1"], [], [], [], []]
    store.delete_job(boat, "x")
    assert (names(store, search="zoe\u0308"), names(store, search="zoe\u0308", deleted=True)) == ([], ["=1+1"])


@given(st.text(max_size=6), st.text(max_size=6), st.text(max_size=6))
def test_a_part_of_a_text_is_found_in_either_case(before: str, part: str, after: str) -> None:
    text = before + part + after
    assert found_in(text.strip(), text)
    assert found_in(part, "x", before + " " + part.strip() + " " + after)


def test_tests_are_counted_for_each_job(store: Store, job: int) -> None:
    empty = store.create_job("empty", "routine", store.get_job(job).engine_id)
    kept = [store.begin_capture(job, cylinder, purpose="wet" if cylinder == 3 else "test") for cylinder in (1, 2, 3)]
    store.begin_capture(None, 0, purpose="sealed")
    store.delete_capture(kept[0], "twice")
    assert store.count_captures() == {job: 2}
    assert empty not in store.count_captures()


def test_findings_come_back_and_deleting_them_is_undone(store: Store, job: int) -> None:
    capture = store.begin_capture(job, 2, purpose="stop_off")
    said = [
        store.add_finding(job, 2, "heard", place="exhaust", detail={"strength": "strong"}, said_by="Ada", capture_id=capture),
        store.add_finding(job, 2, "flow", place="breather", detail=FLOW, said_by="Ada"),
        store.add_finding(
            job, 2, "stop_gauge", place="breather", detail={"p_place_gauge_pa": 4000}, said_by="", capture_id=capture
        ),
        store.add_finding(job, 0, "note", detail={"text": "oil in the\ncoolant"}, said_by="Ada"),
    ]
    listed = store.list_findings(job)
    assert [finding.id for finding in listed] == said
    assert (listed[0].cylinder, listed[0].place, listed[0].detail, listed[0].capture_id) == (
        2,
        "exhaust",
        {"strength": "strong"},
        capture,
    )
    assert len({finding.uid for finding in listed}) == 4
    photo = store.add_photo(said[3], "sludge.jpg", "image/jpeg", 640, 480, b"\xff\xd8not really")
    assert [(one.id, one.name, one.size) for one in store.list_photos(job)] == [(photo, "sludge.jpg", 12)]
    store.delete_finding(said[3], "the other engine")
    assert ([one.id for one in store.list_findings(job)], store.list_photos(job)) == (said[:3], ())
    assert store.list_findings(job, deleted=True)[3].deleted_at_unix_s is not None
    store.restore_finding(said[3])
    assert (store.list_findings(job), store.get_photo(photo)) == (listed, b"\xff\xd8not really")


@pytest.mark.parametrize(
    ("cylinder", "kind", "place", "detail", "key"),
    [
        (-1, "note", None, {"text": "x"}, "cylinder"),
        (1, "seen", "intake", {}, "kind"),
        (1, "heard", None, {"strength": "faint"}, "place"),
        (1, "heard", "intake", {"strength": "loud"}, "strength"),
        (1, "flow", "intake", {**FLOW, "u_p_place_pa": None}, "u_p_place_pa"),
        (1, "flow", "intake", {**FLOW, "p_place_gauge_pa": float("inf")}, "p_place_gauge_pa"),
        (1, "stop_gauge", "intake", {"p_place_gauge_pa": "5 kPa"}, "p_place_gauge_pa"),
        (1, "note", None, {"text": 5}, "text"),
    ],
)
def test_what_is_no_finding_is_not_kept(
    store: Store, job: int, cylinder: int, kind: Any, place: Any, detail: Any, key: str
) -> None:
    with pytest.raises(ValueError, match=f"^{key}: "):
        store.add_finding(job, cylinder, kind, place=place, detail=detail, said_by="Ada")
    assert store.list_findings(job) == ()


def test_what_is_not_there_is_said(store: Store, job: int) -> None:
    with pytest.raises(StoreError, match="no job 99"):
        store.add_finding(99, 1, "note", detail={"text": "x"}, said_by="")
    with pytest.raises(StoreError, match="no finding 99"):
        store.add_photo(99, "a", "image/png", 1, 1, b"")
    with pytest.raises(StoreError, match="no photo 99"):
        store.get_photo(99)
    with pytest.raises(StoreError, match="no deleted finding"):
        store.restore_finding(store.add_finding(job, 1, "note", detail={"text": "x"}, said_by=""))


def test_each_column_of_a_finding_but_its_tombstone_is_guarded(store: Store, job: int) -> None:
    store.add_finding(job, 1, "note", detail={"text": "x"}, said_by="Ada")
    raw = sqlite3.connect(store.path)
    columns = [row[1] for row in raw.execute("PRAGMA table_info(findings)")]
    for column in columns:
        if column.startswith("deleted_"):
            raw.execute(f"UPDATE findings SET {column} = NULL")
        else:
            with pytest.raises(sqlite3.IntegrityError, match="kept as they were recorded"):
                raw.execute(f"UPDATE findings SET {column} = 5")
    raw.close()
    assert len(columns) == 12


def test_a_declared_reading_is_a_complete_test_without_samples(store: Store, job: int) -> None:
    number = store.add_declared(
        job, 1, result={"leakage_percent": 12.0}, declared={"pair": "80/70"}, laws={"purpose": "test"}, marks=["declared"]
    )
    kept = store.get_capture(number)
    assert (kept.state, kept.purpose, kept.device_serial, kept.marks) == ("complete", "test", "", ("declared",))
    assert (kept.result, kept.declared, kept.ended_at_unix_s) == (
        {"leakage_percent": 12.0},
        {"pair": "80/70"},
        kept.started_at_unix_s,
    )
    with pytest.raises(StoreError, match="no samples"):
        store.load_columns(number)


def test_the_library_keeps_every_version(store: Store) -> None:
    first = store.save_in_library({"name": "four", "bore_mm": 86.0})
    assert store.save_in_library({"name": "four", "bore_mm": 86.0}) == first
    second = store.save_in_library({"name": "four", "bore_mm": 86.5})
    store.save_in_library({"name": "Étude"})
    assert [entry.name for entry in store.list_library()] == ["four", "Étude"]
    assert [entry.name for entry in store.list_library("étude")] == ["Étude"]
    assert (store.find_in_library("four"), store.library_versions("four")) == (second, (first, second))
    store.remove_from_library("four")
    assert (store.find_in_library("four"), store.list_library(removed=True)) == (None, (second,))
    with pytest.raises(StoreError, match="no engine 'four'"):
        store.remove_from_library("four")
    store.restore_in_library("four")
    assert store.find_in_library("four") == second
    with pytest.raises(StoreError, match="never an engine"):
        store.restore_in_library("six")
    with pytest.raises(ValueError, match=r"^name: "):
        store.save_in_library({"bore_mm": 1})


def test_checks_of_the_rig_as_they_were_at_a_moment(store: Store) -> None:
    for kind, at, passed in (("sealed", 10.0, True), ("sealed", 20.0, False), ("zero", 15.0, True), ("sealed", 30.0, True)):
        store.add_rig_check(RigCheck(kind, at, "Ada", "S1", passed))  # type: ignore[arg-type]
    store.add_rig_check(RigCheck("zero", 1.0, "Ada", "S2", True))
    then = store.rig_checks_before("S1", 20.0)
    assert {kind: (check.made_at_unix_s, check.passed) for kind, check in then.items()} == {
        "sealed": (20.0, False),
        "zero": (15.0, True),
    }
    assert store.rig_checks_before("S1", 9.0) == {}
