"""Two stages held against each other on the page, and the trend: what the demo shows, in words, numbers and lines."""

from __future__ import annotations

from borewright.service.unit_settings import SYSTEMS
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QTableWidget, QWidget

from .jobs_hand import JobsHand, at_page, hand

__all__ = ["at_page", "hand"]


def cells_of(table: QTableWidget, row: int) -> list[str]:
    """The texts of a line."""
    items = [table.item(row, column) for column in range(table.columnCount())]
    return [item.text() for item in items if item is not None]


def colours_of(chart: QWidget, wanted: str) -> int:
    """How many points of a chart have this colour."""
    image = chart.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    rgb = int(wanted.removeprefix("#"), 16)
    return sum((image.pixel(QPoint(x, y)) & 0xFFFFFF) == rgb for x in range(image.width()) for y in range(image.height()))


def test_the_demos_verdict_stands_there_in_words_and_with_its_symbol(hand: JobsHand) -> None:
    hand.act("compare")
    sheet = hand.page.compare
    assert sheet.words.text().startswith("Better: cylinders 1, 3. Not compared: cylinders 2, 4.")
    drawn = sheet.areas.drawn
    assert drawn is not None
    assert [(row.cylinder, row.verdict) for row in drawn.rows] == [
        (1, "▼ better"),
        (2, "– not compared"),
        (3, "▼ better"),
        (4, "– not compared"),
    ]
    assert "cylinder 3: ▼ better" in sheet.areas.accessibleDescription()
    cells = cells_of(sheet.table, 2)
    assert cells[-1] == "▼ better"
    assert all("±" in cell for cell in cells[1:7])
    assert "cylinders 2, 4: has no test in either job; test it to compare it" in sheet.notes.text()


def test_both_stages_are_drawn_each_in_its_colour(hand: JobsHand) -> None:
    hand.act("compare")
    palette = hand.desk.palette
    sheet = hand.page.compare
    for chart in (sheet.areas, sheet.percents):
        assert colours_of(chart, palette.cylinder) > 20
        assert colours_of(chart, palette.regulated) > 20
    QTest.mouseClick(sheet.tabs.tabBar(), Qt.MouseButton.LeftButton, pos=sheet.tabs.tabBar().tabRect(1).center())
    hand.look()
    assert sheet.curves.isVisible()
    assert colours_of(sheet.curves, palette.regulated) > 20
    assert sheet.curves.drawn is not None
    assert [panel.cylinder for panel in sheet.curves.drawn.panels] == [1, 3]


def test_another_unit_and_another_look_are_taken_at_once(hand: JobsHand) -> None:
    hand.act("compare")
    sheet = hand.page.compare
    assert sheet.areas.drawn is not None
    mm2 = sheet.areas.drawn.rows[0].before
    hand.desk.choose_units(SYSTEMS["inch"])
    hand.look()
    assert sheet.areas.drawn.unit == "in²"
    in2 = sheet.areas.drawn.rows[0].before
    assert mm2 is not None
    assert in2 is not None
    assert abs(mm2.value / in2.value - 645.16) < 1e-6  # an inch is 25.4 mm by definition
    heading = sheet.table.horizontalHeaderItem(1)
    assert heading is not None
    assert heading.text() == "leak area in²"
    hand.desk.change_setting(theme="dark")
    hand.look()
    assert sheet.areas.palette_used == hand.desk.palette


def test_a_job_against_itself_is_refused_in_place(hand: JobsHand) -> None:
    hand.act("compare")
    sheet = hand.page.compare
    sheet.earlier.setFocus()
    hand.key(sheet.earlier, Qt.Key.Key_Down)
    assert sheet.words.text().startswith("✗ job 'Larch hill-climb four' at stage 'after' cannot be compared with itself")
    assert sheet.areas.drawn is None
    assert sheet.table.rowCount() == 0
    hand.key(sheet.earlier, Qt.Key.Key_Up)
    assert sheet.words.text().startswith("Better: cylinders 1, 3.")


def test_the_trend_shows_both_jobs_of_the_engine_with_what_changed(hand: JobsHand) -> None:
    hand.act("compare")
    sheet = hand.page.compare
    QTest.mouseClick(sheet.tabs.tabBar(), Qt.MouseButton.LeftButton, pos=sheet.tabs.tabBar().tabRect(3).center())
    hand.look()
    drawn = sheet.trend_areas.drawn
    assert drawn is not None
    assert [name for name, _ in drawn.jobs] == ["Larch hill-climb four, before", "Larch hill-climb four, after"]
    assert [(panel.cylinder, [spot.symbol for spot in panel.spots]) for panel in drawn.panels] == [(1, ["", "▼"]), (3, ["", "▼"])]
    assert sheet.trend_areas.isVisible()
    assert colours_of(sheet.trend_areas, hand.desk.palette.regulated) > 20
