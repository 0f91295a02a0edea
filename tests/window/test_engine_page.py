"""The engine page by what a person does: a fault is shown at its field, mended, and kept; the crank is turned."""

from __future__ import annotations

from pathlib import Path

import pytest
from borewright.app.pages.engine_page import EnginePage
from borewright.service.unit_settings import SYSTEMS
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractSpinBox,
    QComboBox,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
    QWidget,
)

from .engine_hand import FOUR, HOSTILE, Make, choose, kept, make, names, page, press, record, settle, shown, write

__all__ = ["make", "page", "record"]  # fixtures


def test_a_new_engine_is_written_its_fault_shown_mended_and_kept_and_changed_as_a_new_version(make: Make) -> None:
    page = make()
    press(page, page.library._new)
    assert page.form.rows["name"].editor.hasFocus()
    assert shown(page) == {}  # nobody has been at any field yet
    write(page, "name", "Alder four")
    choose(page, "cycle", "four-stroke")
    for key, text in (("firing_order", "1-3-4-2"), ("bore_mm", "3.4 in"), ("stroke_mm", "86"), ("rod_mm", "40")):
        write(page, key, text)
    press(page, page.acts.save)
    # the first that is missing has the focus, though the rod is not looked at before every value is right by itself
    assert shown(page) == {"compression_ratio": "⚠ compression_ratio: give either compression_ratio or clearance_cm3, and not both"}
    assert page.form.rows["compression_ratio"].editor.hasFocus()
    write(page, "compression_ratio", "10.5")
    assert shown(page) == {
        "rod_mm": "⚠ rod_mm: must be longer than half the stroke and the pin offset together, 43 mm, or the crank cannot turn"
    }
    assert page.form.rows["rod_mm"]._label.text() == "⚠ Rod length"
    press(page, page.acts.save)
    assert page.form.rows["rod_mm"].editor.hasFocus()
    assert names(page) == []
    write(page, "rod_mm", "143")
    assert shown(page) == {}
    assert page.acts.save.text() == "&Save as a new engine"
    press(page, page.acts.save)
    first = {"name": "Alder four", "cycle": "four-stroke", "firing_order": [1, 3, 4, 2], "bore_mm": 86.36, "stroke_mm": 86}
    first |= {"schema_version": 1, "rod_mm": 143, "compression_ratio": 10.5}
    assert kept(page, "Alder four") == [first]
    assert page.head.state.text() == "✓ as it is kept"
    write(page, "coolant_cap_kpa", "13 psi")
    assert page.acts.save.text() == "&Save as version 2"
    press(page, page.acts.save)
    assert kept(page, "Alder four")[1] == first | {"coolant_cap_kpa": pytest.approx(89.6318448)}  # 13 · 6.894757… kPa, NIST SP 811
    assert page.head.versions.count() == 2


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
            press(page, page.acts.save)
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
    turns = page.head.turns.values() if page.head.turns["values"].isVisible() else [None]
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
