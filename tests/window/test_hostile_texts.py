"""Names that are markup, on the screen: shown letter by letter, for Qt alone would take them for a picture, a link, a page."""

from __future__ import annotations

import re
from pathlib import Path

import borewright.app
import pytest
from borewright.app.pages.jobs_report import file_name
from borewright.app.plain_label import PlainLabel, plain_tip
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import Qt
from PySide6.QtGui import Qt as QtGuiOnly
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QWidget
from pytestqt.qtbot import QtBot

from .jobs_hand import JobsHand, at_page, hand

__all__ = ["at_page", "hand"]

APP = Path(next(iter(borewright.app.__path__)))
HOSTILE = "<img src='file:///etc/hostname'><b>hill</b> & climb <a href='x'>7</a>"


def test_every_label_is_of_the_kind_that_knows_no_markup() -> None:
    for path in APP.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if path.name != "plain_label.py":
            assert not re.search(r"(?<!Plain)\bQLabel\(", text), path
        if path.name != "cylinder_conditions.py":  # its words are its own, and escaped
            assert "RichText" not in text.replace("mightBeRichText", ""), path
        assert not re.search(r"setHtml|appendHtml|QTextBrowser|insertHtml|QMessageBox|QInputDialog|QProgressDialog", text), path


@pytest.mark.parametrize("text", [HOSTILE, "<h1>x", "<!DOCTYPE html>", "plain"])
def test_a_label_shows_the_letters(text: str, qtbot: QtBot) -> None:
    label = PlainLabel(text)
    qtbot.addWidget(label)
    assert label.textFormat() is Qt.TextFormat.PlainText
    label.setText(text + text)
    assert label.text() == text + text


@given(st.text(max_size=60) | st.sampled_from([HOSTILE, "<b>", "<?xml", "a\n<p>b"]))
def test_a_tip_is_never_the_text_taken_as_markup(text: str) -> None:
    tip = plain_tip(text)
    assert tip == text or (tip.startswith("<qt>") and "<" not in tip[4:-5].replace("<br>", ""))
    assert tip != text or not QtGuiOnly.mightBeRichText(tip)


@given(st.text(max_size=80) | st.sampled_from(["../../x", "/etc/passwd", "a\0b", "C:\\x", "..", "\U00020000" * 80, HOSTILE]))
def test_a_name_leads_to_a_file_in_the_chosen_folder(name: str) -> None:
    said = file_name(name)
    assert said
    assert len(f"{said}-routine-report.pdf".encode()) < 255
    assert re.fullmatch(r"[^\W_]+(-[^\W_]+)*-?", said)


def test_a_job_whose_name_is_markup_is_shown_as_it_was_typed(hand: JobsHand, qtbot: QtBot) -> None:
    page = hand.page
    hand.key(page, Qt.Key.Key_N, Qt.KeyboardModifier.AltModifier)
    qtbot.waitUntil(lambda: page.sheets.currentWidget() is page.form)
    hand.look()
    QTest.keyClicks(page.form.fields.of("name"), HOSTILE)
    QTest.keyClicks(page.form.fields.of("customer"), HOSTILE)
    hand.key(page.form.fields.of("customer"), Qt.Key.Key_Return)
    assert (HOSTILE, "before") in hand.lines
    hand.choose(hand.lines.index((HOSTILE, "before")))
    shown = [label for top in QApplication.topLevelWidgets() for label in top.findChildren(QLabel) if "<img" in label.text()]
    assert shown
    assert all(label.textFormat() is Qt.TextFormat.PlainText for label in shown)
    tips = [one.toolTip() for top in QApplication.topLevelWidgets() for one in top.findChildren(QWidget)]
    assert not any("<img" in tip for tip in tips)
    model = page.list.table.model()
    cells = [model.data(model.index(row, 0), Qt.ItemDataRole.ToolTipRole) for row in range(model.rowCount())]
    assert any("&lt;img" in str(cell) for cell in cells)
    assert not any("<img" in str(cell) for cell in cells)
