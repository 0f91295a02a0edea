"""The engine page by what a person does: keys, clicks, and nothing else; a fault is shown at its field, mended, and kept."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, cast

import pytest
from borewright.app.desk import Desk
from borewright.app.pages.engine_page import EnginePage
from borewright.app.settings import Settings
from borewright.service.unit_settings import SYSTEMS
from borewright.service.view_engine import engine_of, list_engines, save_engine
from borewright.store.store import Store
from PySide6.QtCore import QEvent, QPoint, Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
    QWidget,
)

from .virtual_desk import AnsweredFiles

VECTORS = Path(__file__).resolve().parents[2] / "firmware_protocol" / "vectors"
FOUR = tomllib.loads((VECTORS / "engine_accept" / "inline_four.toml").read_text("utf-8")) | {"name": "Larch four"}
TWO = tomllib.loads((VECTORS / "engine_accept" / "two_stroke_single.toml").read_text("utf-8")) | {"name": "Aspen single"}
HOSTILE = ("\x00\x1b[31m\x07\u202e", "1e999", "nan", "a" * 10_000, "9" * 10_000)
Make = Callable[..., EnginePage]


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """A record with two engines, one of them in two versions."""
    path = tmp_path / "shop.borewright"
    with Store.open(path) as store:
        save_engine(store, FOUR | {"bore_mm": 80.0}, None)
        save_engine(store, FOUR, "Larch four")
        save_engine(store, TWO, None)
    return path


@pytest.fixture
def make(make_desk: Callable[..., Desk], qapp: QApplication) -> Iterator[Make]:
    pages: list[EnginePage] = []

    def made(record: Path | None = None, size: tuple[int, int] = (1280, 720), **changes: Any) -> EnginePage:
        page = EnginePage(make_desk(record, settings=Settings(**({"theme": "light"} | changes))))
        pages.append(page)
        page.resize(*size)
        page.show()
        page.activateWindow()
        page.entered()
        settle(page)
        return page

    yield made
    for page in pages:
        page.close()
        page.deleteLater()
    # no loop runs that would do it; pages that stay are dressed anew with every desk, which took half a minute at the end
    qapp.sendPostedEvents(None, QEvent.Type.DeferredDelete)


@pytest.fixture
def page(make: Make, record: Path) -> EnginePage:
    """The page on that record; it opens the first engine by itself."""
    made = make(record)
    assert made.edit.name == "Aspen single"
    open_engine(made, "Larch four")
    return made


def settle(page: EnginePage) -> None:
    """Let answers come and layouts be made."""
    for _ in range(4):
        page.desk.refresh()
        QApplication.processEvents()


def files(page: EnginePage) -> AnsweredFiles:
    return cast(AnsweredFiles, page.desk.files)


def kept(page: EnginePage, name: str) -> list[dict[str, Any]]:
    with Store.open(page.desk.record) as store:
        return [version.document for version in engine_of(store, name).versions]


def names(page: EnginePage, removed: bool = False) -> list[str]:
    with Store.open(page.desk.record) as store:
        return [line.name for line in list_engines(store, removed=removed)]


def open_engine(page: EnginePage, name: str) -> None:
    """As with the keys: to the list, to the name, Enter."""
    listed = page.library.names
    listed.setFocus()
    rows = [listed.item(at).text().split("\n")[0] for at in range(listed.count())]
    QTest.keyClick(listed, Qt.Key.Key_Home)
    for _ in range(rows.index(name)):
        QTest.keyClick(listed, Qt.Key.Key_Down)
    QTest.keyClick(listed, Qt.Key.Key_Return)
    settle(page)


def write(page: EnginePage, key: str, text: str, *, leave: bool = True) -> None:
    """Write over a field, and go on to the next."""
    row = page.form.rows[key]
    for box in page.form._sections:
        if row in box.rows and not box.is_open:
            QTest.keyClick(box._heading, Qt.Key.Key_Space)
    editor = row.editor
    assert isinstance(editor, QLineEdit | QPlainTextEdit)
    editor.setFocus()
    editor.selectAll()
    QTest.keyClick(editor, Qt.Key.Key_Delete)
    if text and (len(text) > 100 or not text.isprintable()):
        QApplication.clipboard().setText(text)
        QTest.keySequence(editor, QKeySequence(QKeySequence.StandardKey.Paste))
    else:
        QTest.keyClicks(editor, text)
    if leave:
        QTest.keyClick(editor, Qt.Key.Key_Tab)
    settle(page)


def choose(page: EnginePage, key: str, words: str) -> None:
    """By the keyboard, as a person does it."""
    combo = page.form.rows[key].editor
    assert isinstance(combo, QComboBox)
    combo.setFocus()
    QTest.keyClick(combo, Qt.Key.Key_Home)
    for _ in range(combo.findText(words)):
        QTest.keyClick(combo, Qt.Key.Key_Down)
    settle(page)
    assert combo.currentText() == words


def press(page: EnginePage, button: QAbstractButton) -> None:
    assert button.isVisible()
    assert button.isEnabled()
    button.setFocus()
    QTest.keyClick(button, Qt.Key.Key_Space)
    settle(page)


def shown(page: EnginePage) -> dict[str, str]:
    """The faults that stand at the fields, as they are painted."""
    return {
        key: row._fault_label.text()
        for key, row in page.form.rows.items()
        if row._fault_label.isVisibleTo(row) and row._fault_label.text()
    }


def test_a_new_engine_is_written_its_fault_shown_mended_and_kept_and_changed_as_a_new_version(make: Make) -> None:
    page = make()
    press(page, page.library._new)
    assert page.form.rows["name"].editor.hasFocus()
    assert shown(page) == {}  # nobody has been at any field yet
    write(page, "name", "Alder four")
    choose(page, "cycle", "four-stroke")
    for key, text in (("firing_order", "1-3-4-2"), ("bore_mm", "3.4 in"), ("stroke_mm", "86"), ("rod_mm", "40")):
        write(page, key, text)
    press(page, page.save)
    # the first that is missing has the focus, though the rod is not looked at before every value is right by itself
    assert shown(page) == {"compression_ratio": "⚠ compression_ratio: give either compression_ratio or clearance_cm3, and not both"}
    assert page.form.rows["compression_ratio"].editor.hasFocus()
    write(page, "compression_ratio", "10.5")
    assert shown(page) == {
        "rod_mm": "⚠ rod_mm: must be longer than half the stroke and the pin offset together, 43 mm, or the crank cannot turn"
    }
    assert page.form.rows["rod_mm"]._label.text() == "⚠ Rod length"
    press(page, page.save)
    assert page.form.rows["rod_mm"].editor.hasFocus()
    assert names(page) == []
    write(page, "rod_mm", "143")
    assert shown(page) == {}
    assert page.save.text() == "&Save as a new engine"
    press(page, page.save)
    first = {"name": "Alder four", "cycle": "four-stroke", "firing_order": [1, 3, 4, 2], "bore_mm": 86.36, "stroke_mm": 86}
    first |= {"schema_version": 1, "rod_mm": 143, "compression_ratio": 10.5}
    assert kept(page, "Alder four") == [first]
    assert page._state.text() == "✓ as it is kept"
    write(page, "coolant_cap_kpa", "13 psi")
    assert page.save.text() == "&Save as version 2"
    press(page, page.save)
    assert kept(page, "Alder four")[1] == first | {"coolant_cap_kpa": pytest.approx(89.6318448)}  # 13 · 6.894757… kPa, NIST SP 811
    assert page.versions.count() == 2


def test_a_fault_is_not_cried_while_somebody_is_still_writing(page: EnginePage) -> None:
    write(page, "bore_mm", "8", leave=False)
    write(page, "bore_mm", "3", leave=False)
    assert shown(page) == {}
    QTest.keyClick(page.form.rows["bore_mm"].editor, Qt.Key.Key_Tab)
    assert list(shown(page)) == ["bore_mm"]
    write(page, "bore_mm", "8", leave=False)
    assert shown(page) == {}  # and it goes at once
    assert page.edit.document["bore_mm"] == 8


def test_nothing_that_is_written_into_any_field_breaks_the_page(page: EnginePage) -> None:
    for key, row in page.form.rows.items():
        if not isinstance(row.editor, QLineEdit | QPlainTextEdit):
            continue
        for text in HOSTILE:
            write(page, key, text)
        page.grab()
        if page.edit.faults.count:
            press(page, page.save)
        write(page, key, "")
    assert kept(page, "Larch four")[-1] == FOUR
    assert [label.text() for label in page.findChildren(QLabel) if len(label.text()) > 400] == []


def test_units_switched_while_the_form_is_open_keep_the_value_to_the_last_bit(page: EnginePage) -> None:
    bore = page.form.rows["bore_mm"]
    assert isinstance(bore.editor, QLineEdit)
    for system in ("inch", "metric") * 5:
        page.desk.choose_units(SYSTEMS[system])
        bore.editor.setFocus()
        QTest.keyClick(bore.editor, Qt.Key.Key_Tab)
    assert page.edit.document == FOUR
    assert not page.edit.changed
    page.desk.choose_units(SYSTEMS["inch"])
    assert bore._unit.text() == "in"
    assert bore.editor.text() == f"{FOUR['bore_mm'] / 25.4:.7g}"
    write(page, "bore_mm", "0.1")
    assert shown(page)["bore_mm"].endswith("must be more than 5, not 2.54 (in mm, as in the engine file)")


def test_what_was_changed_is_asked_after_in_place_when_another_engine_is_opened(page: EnginePage) -> None:
    write(page, "bore_mm", "81")
    open_engine(page, "Aspen single")
    assert page.question.isVisible()
    assert page.edit.name == "Larch four"
    press(page, page.question.answers["Stay here"])
    assert not page.question.isVisible()
    assert page.edit.document["bore_mm"] == 81
    page.hide()  # another page is visited
    page.show()
    page.entered()
    settle(page)
    assert page.edit.document["bore_mm"] == 81
    open_engine(page, "Aspen single")
    press(page, page.question.answers["Save it, then go on"])
    assert page.edit.name == "Aspen single"
    assert kept(page, "Larch four")[-1]["bore_mm"] == 81
    write(page, "bore_mm", "41")
    open_engine(page, "Larch four")
    press(page, page.question.answers["Go on without saving"])
    assert page.edit.name == "Larch four"
    assert kept(page, "Aspen single") == [TWO]


def test_what_is_written_while_another_engine_is_on_its_way_is_not_lost(page: EnginePage) -> None:
    page.library.names.setFocus()
    QTest.keyClick(page.library.names, Qt.Key.Key_Home)
    QTest.keyClick(page.library.names, Qt.Key.Key_Return)
    write(page, "bore_mm", "81")
    assert page.edit.document["bore_mm"] == 81
    press(page, page.question.answers["Save it, then go on"])
    assert page.edit.name == "Aspen single"
    assert kept(page, "Larch four")[-1]["bore_mm"] == 81


def test_saving_first_what_has_a_fault_stays_at_the_fault(page: EnginePage) -> None:
    write(page, "bore_mm", "1")
    open_engine(page, "Aspen single")
    press(page, page.question.answers["Save it, then go on"])
    assert page.edit.name == "Larch four"
    assert page.form.rows["bore_mm"].editor.hasFocus()


def test_changes_that_were_undone_can_be_brought_back(page: EnginePage) -> None:
    write(page, "bore_mm", "81")
    press(page, page.undo)
    assert page.edit.document == FOUR
    press(page, page.undo)
    assert page.edit.document["bore_mm"] == 81


def test_an_engine_is_removed_and_brought_back_from_where_it_was_removed(page: EnginePage) -> None:
    page.library.names.setFocus()
    QTest.keyClick(page.library.names, Qt.Key.Key_Delete)
    settle(page)
    assert (names(page), names(page, removed=True)) == (["Aspen single"], ["Larch four"])
    assert "taken out" in page._state.text()
    assert not page.begin.isEnabled()
    press(page, page.question.answers["Bring it back"])
    assert names(page) == ["Aspen single", "Larch four"]
    assert page._state.text() == "✓ as it is kept"


def test_an_engine_that_was_removed_long_ago_is_found_among_those_that_were(page: EnginePage) -> None:
    press(page, page.library.remove)
    press(page, page.question.answers["Leave it out"])
    press(page, page.library.removed)
    assert [line.name for line in page.library.lines] == ["Larch four"]
    open_engine(page, "Larch four")
    press(page, page.library.remove)
    assert names(page) == ["Aspen single", "Larch four"]
    assert page.library.lines == ()


def test_the_library_is_searched_by_a_part_of_the_name(page: EnginePage) -> None:
    page.library.search.setFocus()
    QTest.keyClicks(page.library.search, "ASP")
    settle(page)
    assert [line.name for line in page.library.lines] == ["Aspen single"]
    QTest.keyClicks(page.library.search, "x")
    settle(page)
    assert page.library._empty.text() == "No engine has “ASPx” in its name."
    assert page.edit.name == "Larch four"


def test_an_older_version_is_opened_and_becomes_the_newest_by_saving(page: EnginePage) -> None:
    page.versions.setFocus()
    QTest.keyClick(page.versions, Qt.Key.Key_Down)
    settle(page)
    assert page.edit.document["bore_mm"] == 80.0
    assert page._state.text() == "version 1, not the newest"
    press(page, page.save)
    assert [document["bore_mm"] for document in kept(page, "Larch four")] == [80.0, FOUR["bore_mm"], 80.0]


def test_a_copy_gets_a_name_of_its_own_and_a_name_that_is_taken_is_refused_at_its_field(page: EnginePage) -> None:
    press(page, page.copy)
    editor = page.form.rows["name"].editor
    assert editor.hasFocus()
    QTest.keyClicks(editor, "Aspen single")  # over the name, which is selected
    QTest.keyClick(editor, Qt.Key.Key_Tab)
    press(page, page.save)
    assert shown(page) == {"name": "⚠ another engine 'Aspen single' is in the library; give this one another name"}
    assert editor.hasFocus()
    write(page, "name", "Larch four, bored out")
    assert shown(page) == {}
    press(page, page.save)
    assert kept(page, "Larch four, bored out") == [FOUR | {"name": "Larch four, bored out"}]
    assert kept(page, "Larch four")[-1] == FOUR


def test_a_file_with_faults_is_imported_mended_kept_and_exported(page: EnginePage, tmp_path: Path) -> None:
    path = tmp_path / "rowan.toml"
    path.write_text(
        (VECTORS / "engine_accept" / "inline_four.toml").read_text("utf-8") + "\n[maker_limit]\nx = 1\n", encoding="utf-8"
    )
    files(page).opened = [path]
    press(page, page.library._import)
    assert page.form._elsewhere.text() == "⚠ maker_limit: is not a key of an engine file; check the spelling"
    press(page, page.form._drop_unknown)
    write(page, "name", "Rowan")
    press(page, page.save)
    wanted = FOUR | {"name": "Rowan"}
    assert kept(page, "Rowan") == [wanted]
    files(page).save_to = tmp_path / "out.toml"
    press(page, page.export)
    assert tomllib.loads((tmp_path / "out.toml").read_text("utf-8")) == wanted


def test_a_file_that_is_no_toml_is_told_and_the_form_stays(page: EnginePage, tmp_path: Path) -> None:
    told: list[str] = []
    page.desk.noticed.connect(lambda _level, text: told.append(text))
    path = tmp_path / "not.toml"
    path.write_bytes(b"\x00\xff")
    files(page).opened = [path]
    press(page, page.library._import)
    assert ["not UTF-8" in text for text in told] == [True]
    assert page.edit.document == FOUR


def test_a_two_stroke_shows_its_ports_and_valve_events_that_are_left_over_can_be_left_out(page: EnginePage) -> None:
    for part, words in (("intake_opens_before_tdc", "10"), ("intake_closes_after_bdc", "50")):
        write(page, f"valve_events.{part}_deg", words)
    for part in ("exhaust_opens_before_bdc", "exhaust_closes_after_tdc"):
        write(page, f"valve_events.{part}_deg", "40")
    assert page.edit.faults.count == 0
    choose(page, "cycle", "two-stroke")
    box = next(box for box in page.form._sections if box.section.table == "valve_events")
    assert box._fault.text() == "⚠ valve_events: belongs to a four-stroke; a two-stroke has port_events"
    press(page, box._leave_out)
    assert "valve_events" not in page.edit.document
    assert not box.isVisible()


def test_places_are_all_or_those_that_are_ticked(page: EnginePage) -> None:
    box = next(box for box in page.form._sections if box.section.heading.startswith("Places"))
    QTest.keyClick(box._heading, Qt.Key.Key_Space)
    row = page.form.rows["places"]
    boxes = {one.text(): one for one in row.findChildren(QAbstractButton)}
    press(page, boxes["every place that it has"])
    places = page.edit.document["places"]
    assert places[0] == "intake"
    press(page, boxes["intake"])
    assert page.edit.document["places"] == places[1:]
    press(page, boxes["every place that it has"])
    assert "places" not in page.edit.document


def test_a_job_is_begun_with_the_engine_as_it_is_kept(page: EnginePage) -> None:
    asked: list[str] = []
    page.desk.page_asked.connect(asked.append)
    press(page, page.begin)
    assert (page.desk.chosen_engine, asked) == ("Larch four", ["Jobs"])
    write(page, "bore_mm", "81")
    press(page, page.begin)
    assert asked == ["Jobs"]
    press(page, page.question.answers["Save it and begin"])
    assert asked == ["Jobs", "Jobs"]
    assert kept(page, "Larch four")[-1]["bore_mm"] == 81


def test_the_crank_is_turned_with_keys_and_by_hand_in_both_drawings(page: EnginePage) -> None:
    drawings = page.drawings
    drawings.slider.setFocus()
    for key, angle in (
        (Qt.Key.Key_Right, 1.0),
        (Qt.Key.Key_PageUp, 11.0),
        (Qt.Key.Key_Left, 10.0),
        (Qt.Key.Key_PageDown, 0.0),
        (Qt.Key.Key_Left, 719.0),
        (Qt.Key.Key_Home, 0.0),
    ):
        QTest.keyClick(drawings.slider, key)
        assert drawings.crank_deg == angle
        assert drawings.angle.value() == angle
    QTest.keyClick(drawings.slider, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert drawings.crank_deg == pytest.approx(0.1)
    QTest.keyClick(drawings.firing, Qt.Key.Key_Down)
    assert drawings.cylinder.currentText() == str(FOUR["firing_order"][1])
    assert drawings._doing.text() == f"Cylinder {FOUR['firing_order'][1]}: compression, 179.9° before its TDC"
    QTest.keyClick(drawings.firing, Qt.Key.Key_Up)
    drawn = drawings.slider._drawn
    assert drawn is not None
    scale, centre = drawings.slider._place(drawn)
    at_90 = QPoint(round(centre.x() + drawn.throw_m * scale), round(centre.y()))
    QTest.mousePress(drawings.slider, Qt.MouseButton.LeftButton, pos=QPoint(round(centre.x()), round(centre.y() - 30)))
    QTest.mouseMove(drawings.slider, at_90)
    QTest.mouseRelease(drawings.slider, Qt.MouseButton.LeftButton, pos=at_90)
    settle(page)
    assert drawings.crank_deg == pytest.approx(90.0, abs=3.0)  # a pixel is two degrees or so
    left, width = drawings.firing._across()
    QTest.mouseClick(drawings.firing, Qt.MouseButton.LeftButton, pos=QPoint(round(left + width / 2.0), 30))
    assert drawings.crank_deg == pytest.approx(360.0, abs=2.0)


def test_what_has_a_fault_is_not_drawn_as_if_it_had_none(page: EnginePage) -> None:
    write(page, "rod_mm", "10")
    assert page.drawings.slider._drawn is None
    write(page, "rod_mm", "150")
    assert page.drawings.slider._drawn is not None


def test_every_control_has_a_name_for_screen_readers_and_no_two_share_a_mnemonic(page: EnginePage) -> None:
    controls = [
        widget
        for widget in page.findChildren(QWidget)
        if widget.focusPolicy() & Qt.FocusPolicy.TabFocus and not widget.objectName().startswith("qt_")
    ]
    assert len(controls) > 40
    page.grab()
    own = [widget for widget in controls if not isinstance(widget.parent(), QComboBox | QLineEdit | QAbstractSpinBox)]
    own = [widget for widget in own if not (isinstance(widget.window(), QWidget) and widget.window() is not page)]
    assert [(type(widget), widget.parent()) for widget in own if not widget.accessibleName()] == []
    assert [button.text() for button in page.findChildren(QPushButton) if button.isVisible() and not button.toolTip()] == []
    words = [*(one.text() for one in page.findChildren(QPushButton)), *(one.text() for one in page.findChildren(QLabel))]
    used = [key for key in (QKeySequence.mnemonic(one).toString() for one in words) if key]
    assert len(used) == len(set(used))


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1280, 690), (960, 430)])
def test_nothing_is_cut_off_at_the_sizes_that_a_screen_has(make: Make, record: Path, size: tuple[int, int], theme: str) -> None:
    page = make(record, size=size, theme=theme)
    turns = page._turns.values() if page._turns["values"].isVisible() else [None]
    for turn in turns:
        if turn is not None:
            press(page, turn)
        assert page.width() == size[0]
        for button in page.findChildren(QPushButton):
            if button.isVisible():
                assert button.width() >= button.minimumSizeHint().width(), button.text()
        for label in page.drawings.findChildren(QLabel):
            if label.isVisible() and not label.wordWrap():
                assert label.width() >= label.sizeHint().width(), label.text()
        for area in (page.form, page.drawings):
            inside = area.widget()
            assert inside is not None
            assert inside.width() <= area.viewport().width() or not area.isVisible()
