"""The report on the page: the same octets as `borewright report` writes, every page of it, saved as the command saves."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
import pytest
from borewright.report.pdf import render
from borewright.service.report_data import report_of
from borewright.store.store import Store
from PIL import Image
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from .jobs_hand import JobsHand, at_page, hand

__all__ = ["at_page", "hand"]


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The shop's heading is kept in a folder of this test."""
    for variable in ("XDG_CONFIG_HOME", "APPDATA"):
        monkeypatch.setenv(variable, str(tmp_path / "settings"))


def pages_of(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data))


def test_it_is_the_commands_report_with_as_many_pages(hand: JobsHand) -> None:
    hand.act("report")
    sheet = hand.page.report
    with Store.open(hand.desk.record, create=False) as store:
        before, after = sorted(store.list_jobs(), key=lambda job: job.id)
        expected = render(report_of(store, before, after), "A4")
    assert sheet.made is not None
    assert sheet.made.data == expected
    pages = len(pages_of(expected).pages)
    assert len(sheet.view.sizes_in) == pages
    assert sheet.where.text() == f"page 1 of {pages}"


def test_pages_are_turned_by_button_and_key_to_the_last(hand: JobsHand) -> None:
    hand.act("report")
    sheet = hand.page.report
    pages = len(sheet.view.sizes_in)
    assert pages > 1
    assert not sheet.back_page.isEnabled()
    hand.click(sheet.next_page)
    assert sheet.image is not None
    assert (sheet.image.number, sheet.view.number) == (1, 1)
    hand.key(sheet.view, Qt.Key.Key_Home)
    assert sheet.view.number == 0
    for _ in range(60):  # page down goes through a page before it goes to the next
        hand.key(sheet.view, Qt.Key.Key_PageDown)
        if sheet.view.number == pages - 1:
            break
    assert sheet.where.text() == f"page {pages} of {pages}"
    assert not sheet.next_page.isEnabled()
    hand.key(sheet.view, Qt.Key.Key_PageUp)
    hand.key(sheet.view, Qt.Key.Key_PageUp)
    assert sheet.view.number < pages - 1 or sheet.view.verticalScrollBar().maximum() > 0


def test_a_page_is_as_wide_as_there_is_room_and_has_its_ink(hand: JobsHand) -> None:
    hand.act("report")
    sheet = hand.page.report
    assert sheet.image is not None
    assert sheet.image.width_px == sheet.view.width_px
    picture = Image.frombytes("RGB", (sheet.image.width_px, sheet.image.height_px), sheet.image.data)
    assert picture.height / picture.width == pytest.approx(297 / 210, rel=0.005)  # A4: ISO 216
    ink = picture.convert("L").point(lambda grey: 255 if grey < 128 else 0)
    assert ink.getbbox() is not None
    narrow = sheet.image.width_px
    hand.page.resize(1300, 700)
    hand.look()
    assert sheet.image.width_px > narrow


def test_one_stage_alone_on_letter_by_other_limits(hand: JobsHand) -> None:
    hand.act("report")
    sheet = hand.page.report
    both = sheet.made
    for box in (sheet.of, sheet.paper):
        box.setFocus()
        hand.key(box, Qt.Key.Key_Down)
    sheet.limits.setFocus()
    hand.key(sheet.limits, Qt.Key.Key_Home)
    hand.key(sheet.limits, Qt.Key.Key_Up)
    made = sheet.made
    assert made is not None
    assert both is not None
    assert made.wanted.job_ids == (2,)
    page = pages_of(made.data).pages[0]
    # letter: 8.5 in by 11 in, ANSI/ASME Y14.1 size A
    assert (float(page.mediabox.width), float(page.mediabox.height)) == (612.0, 792.0)
    assert made.wanted.limits == sheet.limits.currentText()


def test_the_shops_name_is_kept_and_printed(hand: JobsHand, tmp_path: Path) -> None:
    hand.act("report")
    sheet = hand.page.report
    assert sheet.shop_panel.isHidden()
    hand.click(sheet.heading)
    assert sheet.shop_panel.name.hasFocus()
    QTest.keyClicks(sheet.shop_panel.name, "Alder Lane Engine Works")
    logo = tmp_path / "logo.png"
    Image.new("RGB", (80, 40), "#123456").save(logo)
    hand.files.opened = [logo]
    hand.click(next(b for b in sheet.shop_panel.findChildren(type(sheet.save)) if b.text() == "Choose a lo&go…"))
    hand.click(sheet.shop_panel.keep)
    assert sheet.shop_panel.isHidden()
    assert sheet.made is not None
    assert "Alder Lane Engine Works" in pages_of(sheet.made.data).pages[0].extract_text()
    assert sheet.made.wanted.shop.logo == logo.read_bytes()
    assert (tmp_path / "settings" / "borewright" / "shop.toml").read_text() == 'name = "Alder Lane Engine Works"\n'


def test_a_logo_that_is_no_picture_is_refused_at_its_place(hand: JobsHand, tmp_path: Path) -> None:
    hand.act("report")
    panel = hand.page.report.shop_panel
    hand.click(hand.page.report.heading)
    logo = tmp_path / "logo.png"
    logo.write_text("no picture")
    hand.files.opened = [logo]
    hand.click(next(b for b in panel.findChildren(type(panel.keep)) if b.text() == "Choose a lo&go…"))
    hand.click(panel.keep)
    assert f"{logo}: the logo cannot be used" in panel.fault.text()
    assert not panel.isHidden()


def test_it_is_saved_and_what_is_there_is_written_over_only_on_request(hand: JobsHand, tmp_path: Path) -> None:
    hand.act("report")
    sheet = hand.page.report
    assert sheet.made is not None
    hand.files.save_to = tmp_path / "hillclimb"
    hand.click(sheet.save)
    path = tmp_path / "hillclimb.pdf"
    assert path.read_bytes() == sheet.made.data
    assert hand.said.startswith(f"{path} is written, ")
    path.write_text("something else")
    hand.files.save_to = path
    hand.click(sheet.save)
    assert hand.said == f"{path} is there already and was left alone."
    assert path.read_text() == "something else"
    hand.answer("Yes, write over it")
    assert path.read_bytes() == sheet.made.data
    hand.files.save_to = hand.desk.record.with_suffix(".pdf")
    hand.files.save_to.write_bytes(hand.desk.record.read_bytes())
    hand.click(sheet.save)
    hand.answer("Yes, write over it")
    assert "is a record file and is never written over" in hand.said
