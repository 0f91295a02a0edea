"""The pages of a report: what can be read off them, where it stands, and what hostile content does to them."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pymupdf
import pypdf
import pytest
from borewright.report.model import Fact, Photo, Report
from borewright.report.pdf import render
from borewright.report.sheet import PAGES, PageName
from PIL import Image

from .reports import four, of_many

PAPERS: tuple[PageName, ...] = ("A4", "letter")
BY_HAND = (
    "import hashlib, sys\n"
    f"sys.path.insert(0, {str(Path(__file__).parent)!r})\n"
    "from reports import four\n"
    "from borewright.report.pdf import render\n"
    "print(hashlib.sha256(render(four()) + render(four(), 'letter')).hexdigest())\n"
)
HOSTILE = "<b>Ann</b> & Sons \x1b[31m\u202e\N{AUTOMOBILE}\N{AUTOMOBILE} σ Δp² 0.5 µm₂ ±1°"


def pages_of(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def flat(data: bytes) -> str:
    return " ".join(" ".join(pages_of(data)).split())


def assert_inside(data: bytes, paper: PageName) -> None:
    """Every word lies inside of the paper's margins, with half a point for what the font's own boxes add."""
    page, edge = PAGES[paper], 2.5
    for drawn in pymupdf.open(stream=data, filetype="pdf"):
        for x0, y0, x1, y1, word, *_ in drawn.get_text("words"):
            assert x0 >= page.side - edge, word
            assert x1 <= page.width - page.side + edge, word
            assert y0 >= page.top - edge, word
            assert y1 <= page.height, word


@pytest.mark.parametrize("paper", PAPERS)
def test_four_cylinders_before_and_after_take_two_pages(paper: PageName) -> None:
    data = render(four(), paper)
    pages = pages_of(data)
    assert len(pages) == 2
    for number, text in enumerate(pages, start=1):
        assert f"page {number} of 2" in text
        assert "Larch hill-climb four" in text
        assert "An aid to judgement." in text
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert [round(float(edge)) for edge in reader.pages[0].mediabox[2:]] == [
        round(edge) for edge in (PAGES[paper].width, PAGES[paper].height)
    ]
    assert_inside(data, paper)


def test_all_that_it_says_can_be_read_off_it() -> None:
    report, text = four(), flat(render(four()))
    for row in report.results:
        for shown in (row.leakage.value, row.leakage.expanded, row.pair_psi, row.pair_kpa, row.area.value, row.volume.expanded):
            assert shown in text
    said = [report.shop, report.engine, report.scope.title, *report.scope.lines, *report.summary, *report.table_notes]
    said += [words for change in report.changes for words in (change.verdict, *change.changes)]
    said += [place.name for one in report.places for place in one.places] + [step.who for step in report.steps]
    said += [report.voids[0].reason, report.marks[0].words, *report.shared_marks, report.rig[1].certificate]
    said += [fact.words for fact in report.identity] + list(report.signatures)
    for words in said:
        assert " ".join(words.split()) in text, words
    for share in ("88 %", "(84 to 92)"):
        assert share in text


def test_faces_are_in_the_file_and_curves_are_lines() -> None:
    reader = pypdf.PdfReader(io.BytesIO(render(four())))
    fonts = [font.get_object() for page in reader.pages for font in page["/Resources"]["/Font"].values()]  # type: ignore[index]
    assert fonts
    assert all("/FontFile2" in font["/FontDescriptor"] and "/ToUnicode" in font for font in fonts)
    assert not any(list(page.images) for page in reader.pages)
    curves = [item for item in pymupdf.open(stream=render(four()), filetype="pdf")[0].get_drawings() if len(item["items"]) > 20]
    assert len(curves) == 4 * 4  # a filling and a decay of each cylinder at each stage
    dashed = [item for item in curves if item["dashes"].startswith("[ 2.6")]
    assert len(dashed) == 8  # told apart without colour


def test_no_text_is_drawn_in_a_face_that_the_reader_has_to_supply() -> None:
    spans = [
        span["font"]
        for page in pymupdf.open(stream=render(four()), filetype="pdf")
        for block in page.get_text("dict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
    ]
    assert {name.split("+")[-1] for name in spans} == {"DejaVuSansCondensed", "DejaVuSansCondensed-Bold"}


def test_the_same_octets_in_any_process() -> None:
    said = [
        subprocess.run(
            [sys.executable, "-c", BY_HAND], env=os.environ | {"PYTHONHASHSEED": seed, "TZ": zone}, capture_output=True, check=True
        ).stdout
        for seed, zone in (("1", "UTC"), ("271828", "Asia/Tokyo"))
    ]
    assert said[0] == said[1]


def test_it_is_dated_by_the_record_and_names_no_machine() -> None:
    about = pypdf.PdfReader(io.BytesIO(render(four()))).metadata
    assert about is not None
    assert about["/CreationDate"] == about["/ModDate"] == "D:20261128141450+00'00'"
    assert (about["/Producer"], about["/Creator"]) == ("Borewright", "Borewright")


@pytest.mark.parametrize("paper", PAPERS)
def test_words_of_any_kind_are_letters_and_no_markup(paper: PageName) -> None:
    base = four()
    report = replace(
        base,
        job=HOSTILE,
        engine=HOSTILE,
        shop=HOSTILE,
        summary=(HOSTILE, "w" * 700),
        table_notes=(HOSTILE * 20,),
        results=tuple(replace(row, band=HOSTILE, stage=HOSTILE, pair_kpa=row.pair_kpa) for row in base.results),
        changes=tuple(replace(change, verdict=HOSTILE, changes=(HOSTILE,)) for change in base.changes),
        facts=tuple(replace(group, facts=(Fact(HOSTILE, "W" * 900), Fact("x", HOSTILE * 5))) for group in base.facts),
        places=tuple(replace(one, words=HOSTILE * 4, lines=("\n".join(["a note", HOSTILE] * 60),)) for one in base.places),
        voids=tuple(replace(one, reason=HOSTILE * 9) for one in base.voids),
        marks=(Fact("a", HOSTILE * 30),),
        identity=(Fact("job", "f" * 500),),
    )
    data = render(report, paper)
    text = flat(data)
    assert "<b>Ann</b> & Sons □[31m□□□" in text
    assert "σ Δp² 0.5 µm₂ ±1°" in text
    assert "□ stands for a letter that cannot be printed here." in pages_of(data)[-1]
    assert_inside(data, paper)


def test_where_every_letter_can_be_printed_nothing_is_said_of_missing_ones() -> None:
    assert "□" not in flat(render(four()))


def test_what_is_read_from_right_to_left_stands_so() -> None:
    words = "\N{HEBREW LETTER ALEF}\N{HEBREW LETTER BET} \N{HEBREW LETTER GIMEL} 7"
    data = render(replace(four(), subtitle=words))
    letters = [
        letter
        for block in pymupdf.open(stream=data, filetype="pdf")[0].get_text("rawdict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
        for letter in span["chars"]
        if "\N{HEBREW LETTER ALEF}" <= letter["c"] <= "\N{HEBREW LETTER TAV}"
    ]
    across = [letter["c"] for letter in sorted(letters, key=lambda letter: letter["bbox"][0])]
    assert across == ["\N{HEBREW LETTER GIMEL}", "\N{HEBREW LETTER BET}", "\N{HEBREW LETTER ALEF}"]


@pytest.mark.parametrize(("cylinders", "paper"), [(1, "A4"), (8, "letter"), (24, "A4"), (24, "letter")])
def test_engines_of_any_size_fill_pages_and_lose_nothing(cylinders: int, paper: PageName) -> None:
    data = render(of_many(cylinders), paper)
    text = flat(data)
    for cylinder in range(1, cylinders + 1):
        assert text.count(f"Cylinder {cylinder} half gone") == 1
        assert f"Cylinder {cylinder}, before" in text
    pages = pages_of(data)
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        if "better" in page:  # a table that goes on has its headings again
            assert "leak area" in page
    assert_inside(data, paper)


def bare() -> Report:
    """A report of nothing but its frame."""
    return replace(
        four(),
        shop="",
        shop_contact="",
        summary=(),
        results=(),
        changes=(),
        charts=(),
        places=(),
        steps=(),
        voids=(),
        rig=(),
        marks=(),
        shared_marks=(),
    )


def test_a_report_without_tests_has_its_frame_and_cautions() -> None:
    text = flat(render(bare()))
    assert "Scope and cautions" in text
    assert "page 1 of 1" in text
    for empty in ("Where the air goes", "Next steps", "Photos", "Tests that do not count", "Checks of the rig", "Filling"):
        assert empty not in text


def octets(width: int, height: int, kind: str = "JPEG", mode: str = "RGB", **more: Any) -> bytes:
    made = io.BytesIO()
    Image.new(mode, (width, height)).save(made, kind, **more)
    return made.getvalue()


def test_photos_are_shown_small_upright_and_without_what_the_camera_wrote() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # stored lying on its side
    exif[0x010E] = "taken at the customer's house"
    photo = Photo(octets(3000, 1000, exif=exif), "1  cylinder 3, exhaust")
    data = render(replace(four(), photos=(photo,)))
    shown = [image for page in pypdf.PdfReader(io.BytesIO(data)).pages for image in page.images]
    assert len(shown) == 1
    width, height = shown[0].image.size  # type: ignore[union-attr]
    assert (width < height, height <= 500) == (True, True)
    assert b"customer's house" not in shown[0].data
    assert "cylinder 3, exhaust" in flat(data)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "it is no picture that can be read"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", "it is no picture that can be read"),
        (octets(64, 64)[:300], "it is no picture that can be read"),
        (octets(8001, 8000, "PNG", "1"), "it has more than 64 million dots"),
    ],
)
def test_a_photo_that_is_none_is_said_in_words(data: bytes, why: str) -> None:
    text = flat(render(replace(four(), photos=(Photo(data, "2  cylinder 1"), Photo(octets(60, 40), "3  cylinder 2")))))
    assert f"This photo is not shown: {why}." in text
    assert "2 cylinder 1" in text


def test_a_logo_stands_on_white_whatever_it_stood_on() -> None:
    made = io.BytesIO()
    Image.new("RGBA", (300, 100), (0, 0, 0, 0)).save(made, "PNG")
    data = render(replace(four(), logo=made.getvalue()))
    shown = [image for page in pypdf.PdfReader(io.BytesIO(data)).pages for image in page.images]
    assert len(shown) == 1
    assert shown[0].image.getpixel((10, 10)) == (255, 255, 255)  # type: ignore[union-attr]
