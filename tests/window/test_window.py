"""The window around the pages: starts that are hard, who is at the rig, units and size, the log, and going away."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from borewright.app import main
from borewright.app.desk import Desk
from borewright.app.keys import KEYS
from borewright.app.notices import LogList, save_log
from borewright.app.pages.cylinder_page import CylinderPage
from borewright.app.settings import Settings, load_settings
from borewright.app.surroundings import SurroundingsPanel
from borewright.app.theme.palette import DARK
from borewright.app.window import PAGES, Window
from borewright.service import acts
from borewright.service.snapshot import Snapshot
from borewright.service.unit_settings import SYSTEMS, load_units
from borewright.store.migrations.versions import v0001_base
from borewright.store.opening import _engine
from borewright.store.store import Store
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit, QPushButton, QWidget

from .virtual_desk import AnsweredFiles, bench_time, bench_until


@pytest.fixture
def window(desk: Desk) -> Iterator[Window]:
    """The window on a new record, its built-in rig streaming."""
    made = Window(desk, lambda: None)
    made.show()
    made.activateWindow()
    made.show_page("Test")
    bench_time(desk, 0.3)
    yield made
    made.close()


def seen(widget: QWidget) -> str:
    return "\n".join(label.text() for label in widget.findChildren(QLabel) if label.isVisible())


def press(window: Window, key: Qt.Key, held: Qt.KeyboardModifier = Qt.KeyboardModifier.ControlModifier) -> None:
    QTest.keyClick(QApplication.focusWidget() or window, key, held)
    bench_time(window.desk, 0.2)


# ---------------------------------------------------------------------- starting


@pytest.fixture
def started(qapp: QApplication, tmp_path: Path) -> Iterator[Callable[[Path], Window]]:
    """Starts the program as the command does, with its threads and processes, on a record and whatever settings lie there."""
    leaves: list[Callable[[], None]] = []

    def start(record: Path) -> Window:
        settings, notice = load_settings(tmp_path / "window.toml")
        options = main.Options(tmp_path / "window.toml", tmp_path / "units.toml", record=record, scenario="hillclimb-before")
        leaves.append(main._begin(options, settings, notice))
        return next(widget for widget in qapp.topLevelWidgets() if isinstance(widget, Window) and widget.isVisible())

    yield start
    for leave in leaves:
        leave()


def test_a_corrupt_settings_file_does_not_stop_the_start(started: Callable[[Path], Window], tmp_path: Path) -> None:
    (tmp_path / "window.toml").write_bytes(b"theme = \xff\xff ]]")
    window = started(tmp_path / "shop.borewright")
    assert "not all of it can be used" in seen(window)
    assert window.desk.settings.last_page == "Test"


def test_a_record_of_version_1_is_brought_up_and_shown(started: Callable[[Path], Window], tmp_path: Path) -> None:
    record = tmp_path / "old.borewright"
    engine = _engine(record, 1.0)
    with engine.execution_options(writes=True).begin() as connection:
        with Operations.context(MigrationContext.configure(connection)):
            v0001_base.upgrade()
        connection.exec_driver_sql("INSERT INTO engines VALUES (1, 'four', ?, '{\"bore_mm\":86.0}', 1.0)", ("a" * 64,))
        connection.exec_driver_sql("INSERT INTO jobs VALUES (1, 'Larch, as it was', 'before', 1, 'C-12', 'Ada', 3.0, NULL, NULL)")
        connection.exec_driver_sql("PRAGMA user_version = 1")
    engine.dispose()
    window = started(record)
    with Store.open(record, create=False) as store:
        assert [job.name for job in store.list_jobs()] == ["Larch, as it was"]
    window.show_page("Jobs")
    assert window.page is not None


def test_a_scenario_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    options = main.Options(tmp_path / "window.toml", tmp_path / "units.toml", record=tmp_path / "a.db", scenario="no-such-engine")
    with pytest.raises(main.BorewrightError, match="no-such-engine"):
        main.Program(options, Settings())


# ---------------------------------------------------------------------- what serves everywhere


def test_every_page_has_its_key_and_a_name(window: Window) -> None:
    for number, title in enumerate(PAGES, 1):
        press(window, Qt.Key(Qt.Key.Key_0 + number))
        assert window.page is not None
        assert window.page.title == title
        assert window.page.accessibleName() == title


def test_every_control_in_view_has_a_name_for_a_screen_reader(window: Window) -> None:
    nameless = []
    for number in range(1, 6):
        press(window, Qt.Key(Qt.Key.Key_0 + number))
        for kind in (QPushButton, QLineEdit):
            for one in window.findChildren(kind):
                inside = one.parent()  # the line of a box that may be typed into has the box's name
                names = [one.accessibleName(), inside.accessibleName() if isinstance(inside, QWidget) else ""]
                words = one.text() if isinstance(one, QPushButton) else one.placeholderText()
                if one.isVisible() and not any([*names, words]):
                    nameless.append((number, kind.__name__, one.objectName()))
    assert nameless == []


def test_units_are_switched_live_and_kept(window: Window, tmp_path: Path) -> None:
    assert isinstance(window.page, CylinderPage)
    press(window, Qt.Key.Key_U)
    press(window, Qt.Key.Key_U)
    assert "psi" in "\n".join(window.page.figures.words)
    assert load_units(tmp_path / "units.toml") == (SYSTEMS["inch"], None)
    press(window, Qt.Key.Key_U)
    assert "kPa" in "\n".join(window.page.figures.words)


def test_look_and_size_are_switched_live_and_kept(window: Window, tmp_path: Path) -> None:
    press(window, Qt.Key.Key_T)
    press(window, Qt.Key.Key_Plus)
    assert window.desk.palette == DARK
    kept, _ = load_settings(tmp_path / "window.toml")
    assert (kept.theme, kept.scale_percent) == ("dark", 110)
    press(window, Qt.Key.Key_0)
    assert window.desk.settings.scale_percent == 100


def test_the_keys_are_shown_by_f1(window: Window) -> None:
    press(window, Qt.Key.Key_F1, Qt.KeyboardModifier.NoModifier)
    assert all(what in seen(window) for _, what in KEYS)


def test_the_log_is_saved_with_one_key(window: Window, tmp_path: Path) -> None:
    desk = window.desk
    assert isinstance(desk.files, AnsweredFiles)
    desk.files.save_to = tmp_path / "log.txt"
    desk.notice("warning", "a sentence\nwith a break in it")
    press(window, Qt.Key.Key_L)
    text = (tmp_path / "log.txt").read_text(encoding="utf-8")
    assert "warning  a sentence with a break in it" in text
    assert "device: serial BW-REF" in text
    assert "PySide6-Essentials 6" in text
    desk.files.save_to = tmp_path / "no such folder" / "log.txt"
    save_log(desk)
    assert "cannot be saved there" in seen(window)
    desk.files.save_to = None
    save_log(desk)  # thought better of it


def test_what_was_said_before_is_in_the_list_of_messages(window: Window) -> None:
    window.desk.notice("note", "said before the list was opened")
    press(window, Qt.Key.Key_M)
    log = window.findChild(LogList)
    assert log is not None
    window.desk.notice("alarm", "said after")
    text = log.text
    assert "said before the list was opened" in text
    assert "said after" in text


def test_an_alarm_is_not_talked_over(window: Window) -> None:
    window.desk.notice("alarm", "shut the supply by hand")
    window.desk.notice("note", "something else")
    assert "‼  Shut the supply by hand" in seen(window)


# ---------------------------------------------------------------------- surroundings


def test_who_air_and_limits_are_taken_and_faults_are_said(window: Window) -> None:
    desk = window.desk
    press(window, Qt.Key.Key_7)
    panel = window.findChild(SurroundingsPanel)
    assert panel is not None
    fields = {line.accessibleName(): line for line in panel.findChildren(QLineEdit) if line.accessibleName()}
    for name, text in (("Who is at the rig", "Ada Birch"), ("Air pressure around", "98.9 kPa"), ("Engine", "82 degC")):
        fields[name].setFocus()
        fields[name].selectAll()
        QTest.keyClicks(fields[name], text)
        QTest.keyClick(fields[name], Qt.Key.Key_Return)
        bench_time(desk, 0.2)
    assert desk.snapshot.state is not None
    assert desk.snapshot.state.who == "Ada Birch"
    assert desk.ambient.p_ambient_abs_pa == pytest.approx(98_900.0)
    assert desk.ambient.t_engine_k == pytest.approx(355.15)
    assert desk.ambient.assumed == ("assumed: air temperature",)
    fields["Air pressure around"].selectAll()
    QTest.keyClicks(fields["Air pressure around"], "12 furlongs")
    QTest.keyClick(fields["Air pressure around"], Qt.Key.Key_Return)
    assert "✕ " in seen(panel)
    assert desk.ambient.p_ambient_abs_pa == pytest.approx(98_900.0)


# ---------------------------------------------------------------------- going away


def test_a_rig_with_hand_valves_is_not_left_under_pressure_unseen(make_desk: Callable[..., Desk]) -> None:
    desk = make_desk(scenario="hillclimb-before-hand")
    left: list[bool] = []
    window = Window(desk, lambda: left.append(True))
    window.show()
    window.show_page("Test")
    bench_time(desk, 1.0)
    for words in ("hose capped", "vent shut", "supply open"):  # too early: nobody was ready for it
        desk.at_rig(words)
    bench_until(desk, lambda: desk.snapshot.state is not None and desk.snapshot.state.pressurised)
    window.close()
    assert window.isVisible()
    assert left == []
    assert "SHUT THE SUPPLY AND OPEN THE VENT BY HAND" in seen(window)
    window.close()  # the person insists
    assert left == [True]


def test_a_window_that_is_closed_under_pressure_goes_once_it_is_vented(make_desk: Callable[..., Desk]) -> None:
    desk = make_desk(scenario="hillclimb-before-hand")
    left: list[bool] = []
    window = Window(desk, lambda: left.append(True))
    window.show()
    window.show_page("Test")
    bench_time(desk, 1.0)
    for words in ("hose capped", "vent shut", "supply open"):
        desk.at_rig(words)
    bench_until(desk, lambda: desk.snapshot.state is not None and desk.snapshot.state.readiness.locked)
    window.close()
    assert left == []
    for words in ("supply shut", "vent open"):
        desk.at_rig(words)
    bench_until(desk, lambda: left == [True])
    assert not window.isVisible()


def test_no_file_is_asked_for_under_pressure(make_desk: Callable[..., Desk], tmp_path: Path) -> None:
    desk = make_desk(scenario="hillclimb-before-hand")
    bench_time(desk, 1.0)
    assert isinstance(desk.files, AnsweredFiles)
    desk.files.save_to, desk.files.opened = tmp_path / "log.txt", [tmp_path / "a.toml"]
    assert desk.save_as("", "", "") == tmp_path / "log.txt"
    assert desk.open_files("", "") == [tmp_path / "a.toml"]
    for words in ("hose capped", "vent shut", "supply open"):
        desk.at_rig(words)
    bench_until(desk, lambda: desk.snapshot.state is not None and desk.snapshot.state.readiness.locked)
    before = desk.settings, desk.palette
    desk.change_setting(theme="dark", scale_percent=150)
    desk.look_again()
    assert (desk.settings, desk.palette) == before  # dressing takes a second, in which nothing would be heard
    assert desk.save_as("", "", "") is None  # Esc would close the question and not the air
    assert desk.open_files("", "") == []


class StillStation:
    """A station whose thread has died: the snapshot stays as it was."""

    def __init__(self, snapshot: Snapshot) -> None:
        self._snapshot = snapshot

    def snapshot(self) -> Snapshot:
        return self._snapshot


def test_figures_that_nobody_renews_are_not_shown_as_live(window: Window, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = window.desk
    now = [desk._clock()]
    monkeypatch.setattr(desk, "_clock", lambda: now[0])
    desk.refresh()
    monkeypatch.setattr(desk, "station", StillStation(desk.snapshot))
    desk.refresh()
    for _ in range(100):
        now[0] += 0.033
        desk.refresh()
    assert desk.snapshot.link.kind == "lost"
    assert "does not read the rig any more" in seen(window)
    assert [line.level for line in desk.log.last(50)].count("alarm") == 1


def test_window_state_is_kept(window: Window, tmp_path: Path) -> None:
    window.resize(780, 640)  # within the screen that there is without a screen
    window.show_page("Jobs")
    window.close()
    kept, _ = load_settings(tmp_path / "window.toml")
    assert kept.last_page == "Jobs"
    window.desk.settings = kept
    other = Window(window.desk, lambda: None)
    assert (other.width(), other.height()) == (780, 640)


def test_a_caution_is_recorded_and_asked_once_for_a_job(window: Window) -> None:
    desk, done = window.desk, []
    desk.caution("a test", "Mind the belt.", lambda: done.append(1))
    assert "Mind the belt." in seen(window)
    QTest.keyClick(QApplication.focusWidget() or window, Qt.Key.Key_Return)
    bench_time(desk, 0.2)
    desk.caution("a test", "Mind the belt.", lambda: done.append(2))
    assert done == [1, 2]
    with Store.open(desk.record) as store:
        read = [event for event in store.load_events(None) if event.kind == "caution_read"]
    assert [(event.detail["caution"], event.detail["text"]) for event in read] == [("a test", "Mind the belt.")]


def test_a_caution_that_is_left_does_nothing(window: Window) -> None:
    done: list[int] = []
    window.desk.caution("a test", "Mind the belt.", lambda: done.append(1))
    QTest.keyClick(QApplication.focusWidget() or window, Qt.Key.Key_Tab)
    QTest.keyClick(QApplication.focusWidget() or window, Qt.Key.Key_Return)
    assert window.caution is None
    assert done == []


def test_an_act_without_a_rig_is_answered(window: Window) -> None:
    window.desk.station.disconnect()
    bench_time(window.desk, 0.2)
    window.desk.tell(acts.TakeZero())
    bench_time(window.desk, 0.2)
    assert "no rig is connected" in seen(window)
