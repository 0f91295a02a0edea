"""The strip, painted: places beside each other or in rows, chosen by mouse or keys, bands told apart without colour."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import numpy as np
import numpy.typing as npt
import pytest
from borewright.app.desk import Desk
from borewright.app.draw.strip_model import StripModel, StripPlace
from borewright.app.draw.strip_view import LEAST_WIDTH, StripView
from borewright.app.settings import Settings
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

BANDS = ("leave it closed", "use it, and test it again in time", "open it up")
PLACES = (
    StripPlace(1, False, 6.3, 0.4, BANDS[0], (0,), 1),
    StripPlace(3, True, 22.4, 0.7, BANDS[2], (2,), 3, ("not steady",)),
    StripPlace(4, False, 9.8, 0.6, f'between "{BANDS[0]}" and "{BANDS[1]}"', (0, 1), 2),
    StripPlace(2, void="the crank left its window while air was on"),
)


def strip(count: int = 4) -> StripModel:
    """So many cylinders; from the fifth on they are not tested."""
    more = tuple(StripPlace(number) for number in range(5, count + 1))
    return StripModel((*PLACES, *more)[:count], 30.0, (10.0, 20.0), "common practice", 3)


@pytest.fixture
def make_strip(desk: Desk, qtbot: QtBot) -> Callable[..., StripView]:
    """Makes a strip in a layout that is so wide, as pages have it."""

    pages: list[QWidget] = []

    def make(model: StripModel, width: int = 1240) -> StripView:
        page = QWidget()
        qtbot.addWidget(page)
        pages.append(page)  # it holds what is on it
        view = StripView(desk)
        column = QVBoxLayout(page)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(view)
        column.addStretch(1)
        page.resize(width, 700)
        view.set_model(model)
        page.show()
        qtbot.waitUntil(lambda: view.width() == width)
        return view

    return make


def grey(image: QImage) -> npt.NDArray[np.uint8]:
    """Rows of brightness."""
    made = image.convertToFormat(QImage.Format.Format_Grayscale8)
    rows = np.frombuffer(made.constBits(), dtype=np.uint8).reshape(made.height(), made.bytesPerLine())
    return rows[:, : made.width()].copy()  # the picture goes when this returns


@pytest.mark.parametrize(
    ("count", "width", "rows"), [(1, 600, 1), (4, 1240, 1), (8, 1240, 1), (8, 920, 2), (12, 920, 2), (12, 420, 4)]
)
def test_places_do_not_overlap_and_are_wide_enough(make_strip: Callable[..., StripView], count: int, width: int, rows: int) -> None:
    view = make_strip(strip(count), width)
    boxes = [button.geometry() for button in view.buttons]
    assert len(boxes) == count
    assert not any(one.intersects(other) for one, other in combinations(boxes, 2))
    assert all(view.rect().contains(box) for box in boxes)
    assert min(box.width() for box in boxes) >= LEAST_WIDTH - 1
    assert len({box.top() for box in boxes}) == rows


def test_the_firing_order_goes_from_left_to_right(make_strip: Callable[..., StripView]) -> None:
    view = make_strip(strip())
    assert [button.place.cylinder for button in sorted(view.buttons, key=lambda button: button.x())] == [1, 3, 4, 2]


def test_a_click_chooses(make_strip: Callable[..., StripView], qtbot: QtBot) -> None:
    view = make_strip(strip())
    with qtbot.waitSignal(view.chosen) as told:
        qtbot.mouseClick(view.buttons[2], Qt.MouseButton.LeftButton)
    assert told.args == [4]


def test_enter_chooses_and_space_is_left_to_the_air_key(make_strip: Callable[..., StripView], qtbot: QtBot) -> None:
    view = make_strip(strip())
    told: list[int] = []
    view.chosen.connect(told.append)
    button = view.buttons[3]
    qtbot.keyClick(button, Qt.Key.Key_Space)
    assert told == []
    qtbot.keyClick(button, Qt.Key.Key_Return)
    assert told == [2]
    assert button.focusPolicy() & Qt.FocusPolicy.TabFocus


def test_each_place_says_what_it_shows(make_strip: Callable[..., StripView]) -> None:
    view = make_strip(strip())
    assert [button.accessibleName() for button in view.buttons] == ["Cylinder 1", "Cylinder 3", "Cylinder 4", "Cylinder 2"]
    assert "void: the crank left its window" in view.buttons[3].accessibleDescription()
    assert view.buttons[1].toolTip() == PLACES[1].sentence
    assert view.accessibleDescription() == view.model.sentence


def test_another_model_changes_the_places_that_are_there(make_strip: Callable[..., StripView]) -> None:
    view = make_strip(strip(8))
    kept = view.buttons[0]
    view.set_model(strip(4))
    assert view.buttons[0] is kept
    assert len(view.buttons) == 4
    view.set_model(StripModel())
    assert view.buttons == []


def test_places_of_different_bands_differ_in_grey(make_strip: Callable[..., StripView]) -> None:
    """The stretch of each band on the scale has its own pattern, so no two look alike without any colour."""
    view = make_strip(strip())
    button = view.buttons[0]
    picture = grey(button.grab().toImage())
    row = slice(button.height() - 33, button.height() - 26)
    stretches = [picture[row, round(button.width() * at) - 18 : round(button.width() * at) + 18] for at in (0.1, 0.5, 0.86)]
    seen = [(float(part.mean()), float(part.std())) for part in stretches]
    assert all(abs(a[0] - b[0]) > 10.0 or abs(a[1] - b[1]) > 3.0 for a, b in combinations(seen, 2))
    assert seen[1][1] > 3.0  # dots, not a plain grey


def test_the_chosen_place_differs_by_shape(make_strip: Callable[..., StripView]) -> None:
    plain = make_strip(StripModel((replace(PLACES[0], chosen=False),), 30.0, (10.0, 20.0), "x", 3), 200)
    chosen = make_strip(StripModel((replace(PLACES[0], chosen=True),), 30.0, (10.0, 20.0), "x", 3), 200)
    corner = slice(11, 15)  # of the number's box: outside of a circle, inside of a square
    a, b = (grey(view.buttons[0].grab().toImage())[corner, corner] for view in (plain, chosen))
    assert abs(float(a.mean()) - float(b.mean())) > 50.0


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("scale", [100, 200])
def test_larger_letters_make_larger_places(make_desk: Callable[..., Desk], qtbot: QtBot, theme: str, scale: int) -> None:
    desk = make_desk(settings=Settings(theme=theme, scale_percent=scale))  # type: ignore[arg-type]
    view = StripView(desk)
    qtbot.addWidget(view)
    view.resize(1240, 300)
    view.set_model(strip(8))
    assert view.height() == (112 if scale == 100 else 2 * 224 + 12)
    assert not view.grab().isNull()
