"""The cycle ring, painted: labels keep apart, text goes into its place, and what it shows is also said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from math import cos, dist, radians, sin

import numpy as np
import pytest
from borewright.app.desk import Desk
from borewright.app.draw.fitted import fits
from borewright.app.draw.ring_model import RingMark, RingModel, Saying
from borewright.app.draw.ring_view import (
    ARROW_AT,
    CHOSEN_LARGER,
    INNER,
    LABEL_AT,
    MIDDLE,
    OUTER,
    RingView,
    label_places,
    middle_boxes,
    overlap_box,
)
from borewright.app.theme.look import load_letters, qcolor
from PySide6.QtGui import QColor, QImage
from pytestqt.qtbot import QtBot

SIZES = (220, 360, 440, 900)
FIRING = {
    "one": (720.0,),
    "uneven twin": (270.0, 450.0),
    "narrow twin": (45.0, 675.0),
    "both at once": (0.0, 720.0),
    "four": (180.0,) * 4,
    "uneven six": (90.0, 150.0) * 3,
    "eight": (90.0,) * 8,
    "uneven ten": (54.0, 90.0) * 5,
    "twelve": (60.0,) * 12,
    "twelve in pairs": (0.0, 120.0) * 6,
}
SAYINGS = (
    Saying("turn", "Turn on", "719°", "anticlockwise, to compression TDC"),
    Saying("turn", "Turn back", "189°", "anticlockwise, then up again"),
    Saying("turn", "Turn back", "179.9°", "anticlockwise, to the stored TDC"),
    Saying("turn", "Turn on", "", "anticlockwise, to the index pulse"),
    Saying("stand", "At the stored TDC", "0.0°", "look at the crank's own mark"),
    Saying("stand", "Cylinder 12", "180°", "before compression TDC"),
    Saying("at_tdc", "At TDC", "1.5°", "before compression TDC"),
    Saying("ready", "Ready for air", "0.3°", "before compression TDC"),
    Saying("armed", "Air is coming", "0.3°", "keep clear"),
    Saying("pressurised", "PRESSURISED", "0.3°", "air stays on: look and listen"),
    Saying("pressurised", "PRESSURISED", "0.3°", "do not turn or undo anything"),
    Saying("pressurised", "PRESSURISED", "", "supply shut, bleeding away"),
    Saying("squeeze", "Squeeze", "", "stop turning, open the vent"),
    Saying("unknown", "Stroke not shown yet", "", "the crank is at one of the two marks"),
    Saying("unknown", "Crank angle not known"),
    Saying("unknown", "No link to the rig", "", "where the crank stands is not known"),
)


def ring(intervals: tuple[float, ...], **changes: object) -> RingModel:
    """The first cylinder chosen, the crank 6 degrees before its TDC."""
    at = [sum(intervals[:i]) for i in range(len(intervals))]
    usual = RingModel(
        marks=tuple(RingMark(i + 1, at_deg, i == 0) for i, at_deg in enumerate(at)),
        pointers_deg=(714.0,),
        turn_deg=6.0,
        overlap_of=1,
        fine_of=1,
        off_deg=-6.0,
        window_deg=1.5,
        saying=SAYINGS[0],
        sentence="said",
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


@pytest.fixture
def make_ring(desk: Desk, qtbot: QtBot) -> Callable[..., RingView]:
    """Makes a ring of a size that shows a model."""

    def make(model: RingModel, size: int = 440) -> RingView:
        view = RingView(desk)
        qtbot.addWidget(view)
        view.resize(size, size)
        view.set_model(model)
        return view

    return make


def picture(view: RingView) -> QImage:
    return view.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)


def share_of(image: QImage, colour: QColor) -> float:
    """How much of the picture has this very colour."""
    pixels = np.frombuffer(image.constBits(), dtype=np.uint32)  # rows of four octets a pixel have no padding
    return float(np.mean(pixels & 0xFFFFFF == colour.rgb() & 0xFFFFFF))


@pytest.mark.parametrize("firing", FIRING, ids=str)
def test_labels_keep_apart_and_inside_of_the_band(firing: str) -> None:
    half, places = label_places(ring(FIRING[firing]))
    centres = [(LABEL_AT * sin(radians(place)), -LABEL_AT * cos(radians(place))) for place in places]
    assert LABEL_AT + half * CHOSEN_LARGER <= OUTER
    assert LABEL_AT - half * CHOSEN_LARGER >= INNER
    for (i, one), (_, other) in combinations(enumerate(centres), 2):
        reach = half * (1.0 + CHOSEN_LARGER) if i == 0 else 2.0 * half  # the first one is chosen, so it is larger
        assert dist(one, other) > reach


@pytest.mark.parametrize("saying", SAYINGS, ids=lambda saying: f"{saying.above}: {saying.below}")
@pytest.mark.parametrize("size", SIZES)
def test_what_is_said_goes_into_the_middle(qapp: object, saying: Saying, size: int) -> None:
    assert qapp is not None
    load_letters()
    above, figure, below = middle_boxes(size / 100.0, bool(saying.figure))
    assert fits(saying.above, above, lines=1 if saying.figure else 2)
    assert fits(saying.figure, figure)
    assert fits(saying.below, below, bold=False, lines=2)
    assert fits("overlap TDC", overlap_box(size / 100.0), bold=False)


def test_the_texts_in_the_middle_do_not_overlap_each_other_or_the_ring() -> None:
    for with_figure in (True, False):
        boxes = [box for box in middle_boxes(1.0, with_figure) if not box.isEmpty()]
        assert not any(one.adjusted(0.0, 0.5, 0.0, -0.5).intersects(other) for one, other in combinations(boxes, 2))
        corners = [point for box in boxes for point in (box.topLeft(), box.topRight(), box.bottomLeft(), box.bottomRight())]
        assert max(dist((0.0, 0.0), (point.x(), point.y())) for point in corners) < MIDDLE + 0.1
    overlap = overlap_box(1.0)
    assert overlap.top() > MIDDLE
    assert dist((0.0, 0.0), (overlap.right(), overlap.bottom())) < ARROW_AT - 1.8 * 1.35 + 0.2  # an arrow's head


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("firing", ["one", "four", "twelve in pairs"])
def test_it_is_painted_at_every_size(make_ring: Callable[..., RingView], firing: str, size: int) -> None:
    view = make_ring(ring(FIRING[firing]), size)
    image = picture(view)
    assert image.width() == size
    assert share_of(image, qcolor("#ffffff")) < 0.9  # something stands there
    assert share_of(image, QColor(view._desk.palette.accent)) > 0.003  # the chosen one, the arrow, the window


def test_pressurised_cannot_be_overlooked(make_ring: Callable[..., RingView], desk: Desk) -> None:
    usual = picture(make_ring(ring(FIRING["four"])))
    air = picture(make_ring(ring(FIRING["four"], turn_deg=None, saying=SAYINGS[9])))
    assert share_of(usual, QColor(desk.palette.air)) == 0.0
    assert share_of(air, QColor(desk.palette.air)) > 0.1


def test_the_arc_opens_near_tdc_alone(make_ring: Callable[..., RingView], desk: Desk) -> None:
    far = ring(FIRING["one"], pointers_deg=(690.0,), off_deg=-30.0, turn_deg=None)
    near = ring(FIRING["one"], pointers_deg=(719.0,), off_deg=-1.0, turn_deg=None)
    accent = QColor(desk.palette.accent)
    assert share_of(picture(make_ring(near)), accent) > share_of(picture(make_ring(far)), accent) + 0.01


def test_two_places_are_shown_where_the_crank_may_be_at_either(make_ring: Callable[..., RingView]) -> None:
    unknown = ring(FIRING["four"], off_deg=None, fine_of=None, turn_deg=None, saying=SAYINGS[13])
    pictures = [
        picture(make_ring(replace(unknown, pointers_deg=pointers))) for pointers in ((), (100.0,), (100.0, 460.0))
    ]  # the ink of the marks
    assert pictures[0] != pictures[1] != pictures[2]


def test_it_says_what_it_shows(make_ring: Callable[..., RingView]) -> None:
    view = make_ring(ring(FIRING["four"]))
    assert view.accessibleName() == "Cycle ring"
    assert view.accessibleDescription() == "said"
    view.set_model(ring(FIRING["four"], sentence="said again"))
    assert view.accessibleDescription() == "said again"


def test_another_palette_is_taken_at_once(make_ring: Callable[..., RingView], desk: Desk) -> None:
    view = make_ring(ring(FIRING["four"]))
    light = picture(view)
    desk.change_setting(theme="dark")
    assert picture(view) != light
    assert share_of(picture(view), QColor(desk.palette.accent)) > 0.003
