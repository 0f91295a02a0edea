"""The list of jobs and what is done with one of them: searched, opened, begun, changed, put away and brought back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from borewright.app.desk import Desk
from borewright.store.store import Store
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QLabel, QWidget
from pytestqt.qtbot import QtBot

from .jobs_hand import JobsHand, at_page, hand, jobs_in
from .virtual_desk import bench_time

__all__ = ["at_page", "hand"]

NAME = "Larch hill-climb four"


def test_the_list_narrows_as_one_types_and_says_where_nothing_is_found(hand: JobsHand) -> None:
    page = hand.page
    assert hand.lines == [(NAME, "after"), (NAME, "before")]
    hand.type(page.list.search, "CLIMB")
    assert len(hand.lines) == 2
    hand.type(page.list.search, "pump")
    assert hand.lines == []
    assert page.list.count.text() == "No job has “pump” in its name, customer, technician or engine."
    assert not page.list.glance.offers("open")


def test_a_job_at_a_glance_says_what_is_tested_and_what_comes_next(hand: JobsHand) -> None:
    words = " ".join(label.text() for label in hand.page.list.glance.findChildren(QLabel))
    assert "Larch hill-climb four, after" in words
    assert "cylinder 4: not tested" in words
    assert "next: cylinder 4" in words
    assert "four-stroke, 4 cylinders, firing order 1-3-4-2" in words


def test_enter_in_the_list_opens_the_job_and_goes_to_the_test(hand: JobsHand) -> None:
    hand.choose(1)
    hand.key(hand.page.list.table, Qt.Key.Key_Return)
    assert hand.desk.job is not None
    assert (hand.desk.job.name, hand.desk.job.stage) == (NAME, "before")
    assert hand.asked_for == ["Test"]


def test_an_open_job_is_gone_on_with(hand: JobsHand) -> None:
    hand.act("open")
    assert hand.page.list.glance.button("open").text() == "&Go on with it"
    hand.act("open")
    assert hand.asked_for == ["Test", "Test"]


def test_a_new_job_by_the_keyboard_alone_is_begun_opened_and_in_the_list(hand: JobsHand, qtbot: QtBot) -> None:
    page = hand.page
    page.list.search.setFocus()
    hand.key(page, Qt.Key.Key_N, Qt.KeyboardModifier.AltModifier)
    qtbot.waitUntil(lambda: page.sheets.currentWidget() is page.form)  # a button pressed by its letter stays down for a moment
    hand.look()
    name = page.form.fields.of("name")
    QTest.keyClicks(name, "hill-climb 8")
    QTest.keyClicks(page.form.fields.of("customer"), "Birch & Sons")
    QTest.keyClicks(page.form.fields.of("oil_temperature"), "80 degC")
    hand.key(page.form.fields.of("customer"), Qt.Key.Key_Return)
    assert page.sheets.currentWidget() is page.list
    assert ("hill-climb 8", "before") in hand.lines
    assert hand.desk.job is not None
    assert hand.desk.job.name == "hill-climb 8"
    assert hand.desk.job.details == {"oil_temperature_k": pytest.approx(353.15)}
    assert hand.said == "hill-climb 8, before: begun."
    assert hand.asked_for == ["Test"]


def test_a_fault_is_said_under_its_field_and_nothing_is_begun(hand: JobsHand) -> None:
    page = hand.page
    hand.click(page.list.new_job)
    hand.type(page.form.fields.of("name"), "hill-climb 8")
    hand.type(page.form.fields.of("engine_temperature"), "80")
    hand.click(page.form.do_it)
    assert "engine temperature: '80' is not a number with a unit" in page.form.fields.fault_of("engine_temperature")
    assert page.form.fields.of("engine_temperature").hasFocus()
    assert len(jobs_in(hand.desk.record)) == 2


def test_a_name_that_is_taken_is_refused_in_the_form(hand: JobsHand) -> None:
    page = hand.page
    hand.click(page.list.new_job)
    hand.type(page.form.fields.of("name"), NAME)
    hand.click(page.form.do_it)
    assert f"job '{NAME}' at stage 'before' is in" in page.form.fault.text()
    assert page.sheets.currentWidget() is page.form
    assert len(jobs_in(hand.desk.record)) == 2


def test_without_any_engine_the_form_leads_to_the_engine_page(
    make_desk: Callable[..., Desk], at_page: Callable[[Desk], JobsHand]
) -> None:
    hand = at_page(make_desk())
    assert hand.page.list.count.text() == "There is no job yet. Begin one with “New job”, or import a job file."
    hand.click(hand.page.list.new_job)
    assert not hand.page.form.do_it.isEnabled()
    hand.click(hand.page.form.to_engines)
    assert hand.asked_for == ["Engine"]


def test_an_engine_that_was_handed_over_begins_a_new_job(hand: JobsHand) -> None:
    hand.desk.chosen_engine = "Larch 1600 hill-climb four (invented)"
    hand.page.entered()
    hand.look()
    assert hand.page.sheets.currentWidget() is hand.page.form
    assert hand.page.form.engine.currentData() == "Larch 1600 hill-climb four (invented)"
    assert hand.desk.chosen_engine == ""


def test_the_next_stage_is_one_act(make_desk: Callable[..., Desk], shop_record: Path, at_page: Callable[[Desk], JobsHand]) -> None:
    with Store.open(shop_record) as store:
        store.delete_job(next(job.id for job in store.list_jobs() if job.stage == "after"), "for this test")
    hand = at_page(make_desk(shop_record))
    assert hand.lines == [(NAME, "before")]
    hand.act("next_stage")
    assert hand.lines == [(NAME, "after"), (NAME, "before")]
    assert hand.desk.job is not None
    assert (hand.desk.job.stage, hand.desk.job.technician) == ("after", "demo")
    assert hand.asked_for == ["Test"]


def test_facts_are_changed_and_numbers_that_were_not_touched_stay(
    make_desk: Callable[..., Desk], shop_record: Path, at_page: Callable[[Desk], JobsHand]
) -> None:
    kept = {"engine_temperature_k": 313.956, "compression_gauge_pa": {"1": 1_234_567.0}}
    with Store.open(shop_record) as store:
        store.change_job(2, details=kept)
    hand = at_page(make_desk(shop_record))
    hand.key(hand.page.list.table, Qt.Key.Key_F2)
    form = hand.page.form
    assert form.fields.texts()["engine_temperature"] == "40.8 °C"
    hand.type(form.fields.of("hours"), "31 h")
    hand.click(form.do_it)
    changed = next(job for job in jobs_in(shop_record) if job.id == 2)
    assert changed.details == kept | {"hours": "31 h"}
    assert hand.said == f"{NAME}, after: the changes are kept."


def test_a_deletion_asks_why_and_is_undone_in_place(hand: JobsHand) -> None:
    hand.act("open")
    hand.choose(0)
    hand.key(hand.page.list.table, Qt.Key.Key_Delete)
    assert "Its tests are kept" in hand.said
    assert hand.page.strip.line.hasFocus()
    QTest.keyClicks(hand.page.strip.line, "wrong engine")
    hand.key(hand.page.strip.line, Qt.Key.Key_Return)
    assert hand.said == f"{NAME}, after: deleted (wrong engine)."
    assert hand.lines == [(NAME, "before")]
    assert hand.desk.job is None
    hand.answer("Undo")
    assert hand.lines == [(NAME, "after"), (NAME, "before")]
    assert hand.said == f"{NAME}, after: brought back."
    assert hand.desk.job is not None
    assert hand.desk.job.stage == "after"


def test_ctrl_z_undoes_too_and_leaving_it_deletes_nothing(hand: JobsHand) -> None:
    hand.act("delete")
    hand.answer("Leave as it was")
    assert len(hand.lines) == 2
    hand.act("delete")
    hand.answer("Yes, delete it")
    assert hand.said == f"{NAME}, after: deleted (deleted by hand)."
    hand.key(hand.page.list.table, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(hand.lines) == 2


def test_a_deleted_job_is_found_later_and_brought_back(hand: JobsHand) -> None:
    hand.act("delete")
    hand.answer("Yes, delete it")
    hand.click(hand.page.list.deleted)
    assert len(hand.lines) == 2
    hand.choose(0)
    assert not hand.page.list.glance.offers("open")
    hand.act("restore")
    assert all(job.deleted_at_unix_s is None for job in jobs_in(hand.desk.record))


def test_a_deleted_job_whose_name_is_taken_stays_deleted_and_says_so(hand: JobsHand) -> None:
    hand.act("delete")
    hand.answer("Yes, delete it")
    hand.act("next_stage")
    hand.click(hand.page.list.deleted)
    gone = next(at for at, row in enumerate(hand.page.list.model.rows) if row.job.deleted_at_unix_s is not None)
    hand.choose(gone)
    hand.act("restore")
    assert hand.said == f"Another job is called {NAME} at stage after by now: rename that one, and this one can come back."


def test_an_archived_job_leaves_the_list_and_comes_back(hand: JobsHand) -> None:
    hand.act("archive")
    assert hand.lines == [(NAME, "before")]
    hand.answer("Undo")
    assert len(hand.lines) == 2
    hand.act("archive")
    hand.click(hand.page.list.archived)
    hand.choose(0)
    hand.act("unarchive")
    hand.click(hand.page.list.archived)
    assert len(hand.lines) == 2


def test_a_declared_reading_is_kept_and_marked(hand: JobsHand) -> None:
    hand.act("declare")
    form = hand.page.declare
    assert form.cylinder.count() == 4
    hand.key(form.cylinder, Qt.Key.Key_4)
    for key, text in (("regulated", "80 psi"), ("cylinder_pressure", "72"), ("gauge_error", "1.6 % of 160 psi")):
        hand.type(form.fields.of(key), text)
    for key, text in (("read_to", "1 psi"), ("when", "2026-03-31"), ("how", "hand gauges, cold"), ("who", "Ada")):
        hand.type(form.fields.of(key), text)
    hand.click(form.do_it)
    assert "cylinder pressure: '72' is not a number with a unit" in form.fields.fault_of("cylinder_pressure")
    hand.type(form.fields.of("cylinder_pressure"), "72 psi")
    hand.click(form.do_it)
    assert "cylinder 4: the reading is kept as test" in hand.said
    words = " ".join(label.text() for label in hand.page.list.glance.findChildren(QLabel))
    # (80 − 72) / 80 = 10 %, by the definition of leakage
    assert "cylinder 4: 10.0" in words
    assert "declared" in words


def test_while_air_is_on_no_job_is_opened_put_away_or_deleted(
    make_desk: Callable[..., Desk], shop_record: Path, at_page: Callable[[Desk], JobsHand]
) -> None:
    desk = make_desk(shop_record)
    bench_time(desk, 1.0)
    hand = at_page(desk)
    hand.act("open")
    assert desk.snapshot.state is not None
    readiness = replace(desk.snapshot.state.readiness, pressurised=True)
    desk.snapshot = replace(desk.snapshot, state=replace(desk.snapshot.state, readiness=readiness))
    desk.station.snapshot = lambda: desk.snapshot  # type: ignore[method-assign] # nothing changes at the rig meanwhile
    hand.asked_for.clear()
    hand.act("delete")
    assert hand.said == f"Air is on in {NAME}, after; shut and vent first."
    hand.act("archive")
    assert len(hand.lines) == 2
    hand.choose(1)
    hand.act("open")
    assert "PRESSURISED: shut and vent before another job is opened" in hand.notices
    assert desk.job is not None
    assert desk.job.stage == "after"
    assert hand.asked_for == []


def test_alt_and_left_leads_back_from_every_sheet(hand: JobsHand) -> None:
    for act in ("compare", "report", "export", "facts", "declare"):
        hand.act(act)
        assert hand.page.sheets.currentWidget() is not hand.page.list
        hand.key(hand.page.sheets.currentWidget(), Qt.Key.Key_Left, Qt.KeyboardModifier.AltModifier)
        assert hand.page.sheets.currentWidget() is hand.page.list


def test_every_control_has_a_name_and_no_two_in_view_share_a_letter(hand: JobsHand) -> None:
    for act in ("", "compare", "report", "export", "facts", "declare", "new", "delete"):
        if act == "new":
            hand.page.begin_job()
        elif act:
            hand.page.show_list()
            hand.look()
            hand.act(act)
        hand.look()
        letters = [
            widget.text()[widget.text().index("&") + 1].lower()
            for widget in hand.page.findChildren(QWidget)
            if widget.isVisible()
            and isinstance(widget, QAbstractButton | QLabel)
            and "&" in widget.text().replace("&&", "")
            and (isinstance(widget, QAbstractButton) or widget.buddy() is not None)
        ]
        assert sorted(letters) == sorted(set(letters)), act
        unnamed = [
            widget
            for widget in hand.page.findChildren(QWidget)
            if widget.isVisible()
            and widget.focusPolicy() & Qt.FocusPolicy.TabFocus
            and not (widget.accessibleName() or (isinstance(widget, QAbstractButton) and widget.text()))
        ]
        assert unnamed == [], act
