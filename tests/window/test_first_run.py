"""A newcomer's first job: what the strip says next, and that somebody who does no more than that comes to the end in time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from borewright.app.builtin.first_run import FirstRunStrip
from borewright.app.builtin.first_run_model import CHAPTERS, Coaching, FirstRunFacts, coaching
from borewright.app.builtin.operator_air import HoldSwitch
from borewright.app.builtin.operator_panel import OperatorPanel
from borewright.app.builtin.operator_places import PlaceControls
from borewright.app.desk import Desk
from borewright.app.step_panel import StepPanel
from borewright.app.window import Window
from borewright.service.snapshot import LinkView
from borewright.simrig.builtin import BuiltInView
from borewright.simrig.practice import PracticeJob
from borewright.store.records import FindingRecord
from borewright.store.store import Store
from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QPushButton, QWidget

from .virtual_desk import bench_time, bench_until

FIVE_MINUTES_S = 300.0
READS_S = 1.5  # a sentence, before it is done what it says


@pytest.fixture
def window(desk: Desk) -> Iterator[Window]:
    made = Window(desk, lambda: None)
    made.show()
    made.activateWindow()
    made.show_page("Test")
    made.begin_first_run()
    bench_time(desk, 0.3)
    yield made
    made.close()
    made.deleteLater()  # before anybody deletes the menus that its plots keep beside it
    QCoreApplication.sendPostedEvents(made, QEvent.Type.DeferredDelete)


def strip_of(window: Window) -> FirstRunStrip:
    found = window.findChild(FirstRunStrip)
    assert found is not None
    return found


def findings_of(desk: Desk) -> tuple[FindingRecord, ...]:
    assert desk.job is not None
    with Store.open(desk.record) as store:
        return store.list_findings(desk.job.id)


class Newcomer:
    """Does what the strip says, with keys and the mouse, and nothing else."""

    def __init__(self, window: Window, desk: Desk) -> None:
        self._window, self._desk = window, desk
        self.chapters: list[str] = []

    def go_on(self) -> Coaching:
        """Read the strip and do it; gives what it said."""
        said = strip_of(self._window).coaching
        assert said is not None
        if said.chapter not in self.chapters:
            self.chapters.append(said.chapter)
        bench_time(self._desk, READS_S)
        if strip_of(self._window).coaching == said:  # it may have been done meanwhile
            self._do(said)
        bench_time(self._desk, 0.4)
        return said

    def _do(self, said: Coaching) -> None:
        if said.act:
            button = next(one for one in strip_of(self._window).findChildren(QPushButton) if one.text() == said.button)
            QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        elif said.key == "panel":
            self._key(Qt.Key.Key_6, Qt.KeyboardModifier.ControlModifier)
        elif said.key == "give_air":
            self._foot()
        elif said.key in ("choose", "next"):
            if "(F8)" in said.what:
                self._shown()
            self._enter()
        elif said.key == "restrain":
            self._typed(said.what.split()[1].rstrip(","))
        elif said.key == "read_back_hose":
            self._typed(str(self._seen().hose_at))
        elif "Press F8" in said.what:
            self._shown()
            if "Enter" in said.what or "confirm" in said.what:
                self._enter()
        elif said.key == "filling, hold":
            self._at_the_test(Qt.Key.Key_H)
        elif said.key == "hold":
            self._listen()
        elif "Enter" in said.what:
            self._enter()

    def _seen(self) -> BuiltInView:
        seen = self._desk.snapshot.rig
        assert isinstance(seen, BuiltInView)
        return seen

    def _shown(self) -> None:
        self._key(Qt.Key.Key_F8)
        bench_time(self._desk, 0.2)
        bench_until(self._desk, lambda: not self._seen().busy)

    def _enter(self) -> None:
        self._key(Qt.Key.Key_1, Qt.KeyboardModifier.ControlModifier)
        self._key(Qt.Key.Key_Return)
        focus = QApplication.focusWidget()
        if (
            isinstance(focus, QPushButton) and focus.text().replace("&", "") == "Read and seen to"
        ):  # the caution before the first air
            self._key(Qt.Key.Key_Return)

    def _at_the_test(self, *keys: Qt.Key) -> None:
        self._key(Qt.Key.Key_1, Qt.KeyboardModifier.ControlModifier)
        for key in keys:
            self._key(key)

    def _listen(self) -> None:
        """Go from place to place on the panel; note the loudest as strong, go on."""
        places = self._window.findChild(PlaceControls)
        assert places is not None
        places.listen()
        heard = {one.place: one.strength for one in self._seen().heard}
        loud = list(heard).index(next(place for place in heard if heard[place] == "strong"))
        self._at_the_test(Qt.Key(Qt.Key.Key_1 + loud), Qt.Key.Key_R, Qt.Key.Key_G)

    def _typed(self, text: str) -> None:
        self._key(Qt.Key.Key_1, Qt.KeyboardModifier.ControlModifier)
        QTest.keyClicks(self._focus(), text)
        self._key(Qt.Key.Key_Return)

    def _foot(self) -> None:
        switch = self._window.findChild(HoldSwitch)
        assert switch is not None
        foot = next(one for one in switch.findChildren(QPushButton) if one.isCheckable())
        if not foot.isChecked():
            QTest.mouseClick(foot, Qt.MouseButton.LeftButton)

    def _key(self, key: Qt.Key, held: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        QTest.keyClick(self._focus(), key, held)

    def _focus(self) -> QWidget:
        return QApplication.focusWidget() or self._window


def test_who_does_what_the_strip_says_has_a_whole_job_within_five_minutes(window: Window, desk: Desk) -> None:
    newcomer = Newcomer(window, desk)
    while not desk.settings.first_run_done:
        said = newcomer.go_on()
        assert desk.snapshot.read_at_s < FIVE_MINUTES_S, f"still at: {said}"
    assert not strip_of(window).isVisible()
    tests = [one.done for one in desk.snapshot.done if one.done.purpose.kind == "test"]
    assert [one.purpose.cylinder for one in tests] == [1, 3]
    assert [one.analysed.void_reason for one in tests] == [None, None]
    assert [CHAPTERS.index(chapter) for chapter in newcomer.chapters] == sorted(map(CHAPTERS.index, newcomer.chapters))
    assert newcomer.chapters[-1] == "report"
    assert [(one.place, one.detail["strength"]) for one in findings_of(desk)] == [("exhaust", "strong")]
    assert desk.job is not None
    assert desk.job.name.startswith("Practice: ")


def test_it_can_be_put_away_and_goes_on_where_things_are(window: Window, desk: Desk) -> None:
    strip = strip_of(window)
    before = strip.coaching
    assert before is not None
    assert before.key == "prepare"  # the panel is opened with the strip
    away = next(one for one in strip.findChildren(QPushButton) if one.accessibleName() == "Put the first job away")
    QTest.mouseClick(away, Qt.MouseButton.LeftButton)
    assert not strip.isVisible()
    assert not desk.settings.first_run_done
    bench_time(desk, 1.0)
    window.begin_first_run()
    bench_time(desk, 0.3)
    assert strip.isVisible()
    assert strip.coaching == before


def test_in_a_low_window_the_reason_gives_its_room_to_the_page(window: Window, desk: Desk) -> None:
    strip = strip_of(window)
    assert strip.coaching is not None
    for height, shown in ((540, False), (800, True)):
        window.resize(960, height)
        bench_time(desk, 0.2)
        labels = [one for one in strip.findChildren(QLabel) if one.text() == strip.coaching.why]
        assert [one.isVisible() for one in labels] == [shown]
    assert strip.coaching.why in [one.toolTip() for one in strip.findChildren(QLabel)]


# ---------------------------------------------------------------------- what is said, without a window


@pytest.fixture
def facts(desk: Desk) -> FirstRunFacts:
    assert desk.builtin is not None
    return FirstRunFacts(desk.snapshot, PracticeJob(None, False, ()), desk.builtin.facts)


def test_what_is_said_follows_what_is_so(facts: FirstRunFacts) -> None:
    def key(**changes: object) -> str:
        return coaching(replace(facts, **changes)).key  # type: ignore[arg-type]  # fields by name

    assert key(panel=False) == "panel"
    assert key(snapshot=replace(facts.snapshot, link=LinkView("lost", "", "the rig is gone"))) == "link"
    assert key() == "prepare"
    assert key(practice=PracticeJob(None, True, ())) == "open"
    assert key(preparing=True) == "preparing"
    assert key(job_open=True, practice=PracticeJob(1, False, ())) == "check zero"
    assert key(job_open=True, practice=PracticeJob(1, False, (1, 3))) == "check zero"


def test_without_prepared_checks_it_leads_through_each_of_them(facts: FirstRunFacts) -> None:
    state = facts.snapshot.state
    assert state is not None
    said = coaching(replace(facts, job_open=True, practice=PracticeJob(1, False, ())))
    assert said.page == "Rig"
    assert "zeros" in said.what


def test_every_sentence_is_one_and_every_chapter_is_known(facts: FirstRunFacts) -> None:
    from borewright.app.builtin import first_run_model  # noqa: PLC0415 -- its tables are looked through

    texts = [*first_run_model._CHECKS.values(), *first_run_model._AIR_ON.values()]
    texts += [(what, why) for _, what, why in first_run_model._STEPS.values()]
    for what, why in texts:
        assert what[0].isupper()
        assert not what.endswith(".")
        assert why.endswith(".")
        assert len(what) < 140
    assert {chapter for chapter, _, _ in first_run_model._STEPS.values()} <= set(CHAPTERS)
    assert isinstance(facts, FirstRunFacts)


def test_the_panel_and_the_step_are_where_the_strip_says(window: Window, desk: Desk) -> None:
    Newcomer(window, desk).go_on()
    panel = window.findChild(OperatorPanel)
    assert panel is not None
    assert panel.isVisible()
    assert window.findChild(StepPanel) is not None
