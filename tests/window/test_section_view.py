"""The section on the screen: labels as buttons, their words, marks that differ without colour, both looks."""

from __future__ import annotations

from dataclasses import replace

import pytest
from borewright.app.draw.section_view import PlaceMark, SectionView
from borewright.app.theme.look import dress, load_letters
from borewright.app.theme.palette import DARK, LIGHT, Palette
from borewright.core.engine import Engine
from borewright.core.heard import STRENGTHS
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

FOUR = Engine("four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
TWIN = Engine("twin", "two-stroke", (1, 2), (180.0, 180.0), 0.054, 0.0545, 0.110, 12e-6)


def view(qtbot: QtBot, qapp: QApplication, engine: Engine, palette: Palette = LIGHT, scale: int = 100) -> SectionView:
    load_letters()
    dress(qapp, palette, scale)
    made = SectionView(palette, lambda _event: None)
    qtbot.addWidget(made)
    made.show_engine(engine)
    made.resize(440, 420)
    made.show()
    qtbot.waitExposed(made)
    return made


def marks(engine: Engine, strength: str) -> dict[str, PlaceMark]:
    return {
        place: PlaceMark(place.replace("_", " "), "X", strength, "at 2, 3" if "ne" in place else "", "64 to 78 %")
        for place in engine.places
    }


@pytest.mark.parametrize("engine", [FOUR, TWIN, replace(FOUR, assembly="bare_head"), replace(FOUR, assembly="short_block")])
@pytest.mark.parametrize("width", [260, 400, 900])
@pytest.mark.parametrize("scale", [100, 150])
def test_labels_with_real_letters_do_not_touch(qtbot: QtBot, qapp: QApplication, engine: Engine, width: int, scale: int) -> None:
    shown = view(qtbot, qapp, engine, scale=scale)
    shown.show_marks(marks(engine, "strong"))
    shown.resize(width, 300)
    qapp.processEvents()
    boxes = [shown.button(place).geometry() for place in engine.places]
    for k, box in enumerate(boxes):
        assert not any(box.intersects(other) for other in boxes[k + 1 :])
        assert shown.rect().contains(box)


def test_a_label_says_all_of_it_to_a_screen_reader(qtbot: QtBot, qapp: QApplication) -> None:
    shown = view(qtbot, qapp, FOUR)
    shown.show_marks(
        {"neighbours": PlaceMark("neighbours", "H", "strong", "at 2, 3", "64 to 78 %"), "intake": PlaceMark("intake", "I")}
    )
    assert shown.button("neighbours").accessibleName() == "neighbours: strong at 2, 3, 64 to 78 % of the leak"
    assert shown.button("intake").accessibleName() == "intake: not looked at"


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_every_strength_looks_different_in_grey(qtbot: QtBot, qapp: QApplication, palette: Palette) -> None:
    """By the pattern beside the word and by the waves in the sketch: each differs by itself with the colour taken out."""
    shown = view(qtbot, qapp, replace(FOUR, only_places=("intake",)), palette)
    patterns, waves = [], []
    for strength in ("", *STRENGTHS):
        shown.show_marks({"intake": PlaceMark("intake", "I", strength)})
        qapp.processEvents()
        grey = shown.grab().toImage().convertToFormat(QImage.Format.Format_Grayscale8)
        label = shown.button("intake").geometry()
        patterns.append(grey.copy(label.x() + 4, label.center().y() + 2, 16, label.height() // 2 - 8))
        assert shown.arrangement is not None
        x, y = shown.arrangement.at((14.0, 73.0))
        waves.append(grey.copy(round(x) - 24, round(y) - 24, 40, 40))
    for pictures in (patterns, waves):
        for k, picture in enumerate(pictures):
            assert all(picture != other for other in pictures[k + 1 :]), STRENGTHS[k - 1]


def test_air_that_is_on_is_drawn_otherwise(qtbot: QtBot, qapp: QApplication) -> None:
    shown = view(qtbot, qapp, FOUR)
    before = shown.grab().toImage()
    shown.show_air(True)
    assert shown.grab().toImage() != before


def test_another_engine_takes_the_place_of_the_first(qtbot: QtBot, qapp: QApplication) -> None:
    shown = view(qtbot, qapp, FOUR)
    shown.choose("intake")
    shown.show_engine(TWIN)
    assert shown.place == ""
    shown.choose("intake")  # it has none
    assert shown.place == ""
    with qtbot.waitSignal(shown.chosen) as told:
        shown.choose("crankcase")
    assert told.args == ["crankcase"]
    shown.show_engine(None)
    assert not shown.grab().isNull()
