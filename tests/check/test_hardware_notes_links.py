"""hardware_notes hangs together: links lead somewhere, every page is in the index, every drawing is shown and says what it is."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from .hardware_pages import DRAWINGS, NOTES, PAGES, heading_anchors, links_in

SVG = "{http://www.w3.org/2000/svg}"
DRAWN = sorted(DRAWINGS.glob("*.svg"))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_link_leads_somewhere(page: Path) -> None:
    wrong = []
    for target in links_in(page.read_text("utf-8")):
        if re.match(r"https?://", target):
            continue
        name, _, anchor = target.partition("#")
        there = (page.parent / name).resolve() if name else page
        if not there.exists() or (anchor and anchor not in heading_anchors(there.read_text("utf-8"))):
            wrong.append(target)
    assert wrong == []


def test_the_index_has_every_page() -> None:
    linked = set(links_in((NOTES / "README.md").read_text("utf-8")))
    assert {page.name for page in PAGES} - {"README.md"} <= linked


def test_every_drawing_is_shown_with_words_for_those_who_cannot_see_it() -> None:
    shown = set()
    for page in PAGES:
        for words, target in re.findall(r"!\[([^\]]*)\]\(([^)\s]+)\)", page.read_text("utf-8")):
            assert len(words) > 20, f"{page.name}: say in words what {target} shows"
            shown.add((page.parent / target).resolve())
    assert set(DRAWN) == shown
    assert len(DRAWN) >= 8


def is_grey(colour: str) -> bool:
    """Of three or six hexadecimal digits: the same red, green and blue."""
    size = len(colour) // 3
    return colour == colour[:size] * 3


@pytest.mark.parametrize("drawing", DRAWN, ids=lambda drawing: drawing.stem)
def test_a_drawing_is_readable_by_itself(drawing: Path) -> None:
    """Title and description, a white ground for dark viewers, text not under 12 px, nothing fetched, nothing told by colour."""
    root = ET.parse(drawing).getroot()
    assert root.tag == f"{SVG}svg"
    for tag, least in (("title", 10), ("desc", 100)):
        found = root.find(f"{SVG}{tag}")
        assert found is not None
        assert found.text is not None
        assert len(found.text) >= least
    width, height = root.get("width"), root.get("height")
    assert root.get("viewBox") == f"0 0 {width} {height}"
    ground = next(child for child in root if child.tag == f"{SVG}rect")
    assert (ground.get("width"), ground.get("height"), ground.get("fill")) == (width, height, "#fff")
    text = drawing.read_text("utf-8")
    assert min(float(size) for size in re.findall(r"font-size: ([\d.]+)px", text)) >= 12.0
    assert "href" not in text
    colours = re.findall(r"#([0-9a-f]{6}|[0-9a-f]{3})\b", text)
    assert [colour for colour in colours if not is_grey(colour)] == [], "only black, white and greys"


@pytest.mark.parametrize("drawing", DRAWN, ids=lambda drawing: drawing.stem)
def test_no_text_of_a_drawing_is_cut_off(drawing: Path) -> None:
    """A line of a wide sans-serif takes at most 0.58 of its size for each letter: measured on these drawings 0.49 to 0.55."""
    root = ET.parse(drawing).getroot()
    width = float(root.get("width", "0"))
    over = []
    for text in root.iter(f"{SVG}text"):
        classes = (text.get("class") or "").split()
        size = 17.0 if "head" in classes else 12.0 if "small" in classes else 13.0
        long = 0.58 * size * len(text.text or "")
        start = float(text.get("x", "0")) - {"middle": 0.5, "end": 1.0}.get(text.get("text-anchor") or "", 0.0) * long
        if start < 0.0 or start + long > width:
            over.append(text.text)
    assert over == []
