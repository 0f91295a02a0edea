"""The section of a cylinder without Qt: every kind of engine has its places, labels never lie over each other, the sketch fits."""

from __future__ import annotations

from dataclasses import replace

import pytest
from borewright.app.draw.section_model import WIDTH, LabelSize, Layout, Section, label_layout, label_width, least_height, section_of
from borewright.core.engine import Engine
from hypothesis import given
from hypothesis import strategies as st

FOUR = Engine("four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
TWIN = Engine("twin", "two-stroke", (1, 2), (180.0, 180.0), 0.054, 0.0545, 0.110, 12e-6)
ENGINES = {
    "four": FOUR,
    "air-cooled four": replace(FOUR, cooling="air"),
    "oil-cooled single": replace(FOUR, firing_order=(1,), firing_intervals_deg=(720.0,), cooling="oil"),
    "short block": replace(FOUR, assembly="short_block", valve_gear="not_fitted"),
    "bare head": replace(FOUR, assembly="bare_head", valve_gear="not_fitted"),
    "two-stroke twin": TWIN,
    "two-stroke single": replace(TWIN, firing_order=(1,), firing_intervals_deg=(360.0,), cooling="air"),
    "places named": replace(FOUR, only_places=("outside", "intake")),
}


def laid_out(section: Section, width: float, height: float, letter_px: float = 7.5) -> Layout:
    """With labels as long as their words, broken where they have to be."""
    most = label_width(section, width)
    sizes = {}
    for target in section.targets:
        wide = letter_px * (len(target.place) + 4)
        lines = max(1, -(-int(wide) // int(most)))
        sizes[target.place] = LabelSize(min(wide, most), (lines + 2) * 2.2 * letter_px)
    return label_layout(section, width, max(height, least_height(section, sizes)), sizes)


@pytest.mark.parametrize("name", ENGINES)
def test_there_is_a_target_for_each_place_and_for_no_other(name: str) -> None:
    engine = ENGINES[name]
    section = section_of(engine)
    assert tuple(target.place for target in section.targets) == engine.places
    for target in section.targets:
        assert 0.0 <= target.anchor[0] <= WIDTH
        assert section.top <= target.anchor[1] <= section.bottom
        assert 0.9 <= (target.towards[0] ** 2 + target.towards[1] ** 2) ** 0.5 <= 1.1


@pytest.mark.parametrize("name", ENGINES)
def test_all_that_is_drawn_lies_within_the_sketch(name: str) -> None:
    section = section_of(ENGINES[name])
    for shape in section.shapes:
        assert len(shape.points) >= (3 if shape.closed else 2)
        for x, y in shape.points:
            assert 0.0 <= x <= WIDTH
            assert section.top <= y <= section.bottom + 1.0


@pytest.mark.parametrize("name", ENGINES)
@pytest.mark.parametrize("width", [260, 320, 440, 640, 900])
def test_no_label_lies_over_another_or_over_the_edge(name: str, width: int) -> None:
    section = section_of(ENGINES[name])
    layout = laid_out(section, width, 0.8 * width)
    boxes = list(layout.labels.values())
    assert layout.fits
    for k, box in enumerate(boxes):
        assert box.x >= 0.0
        assert box.x + box.width <= width
        assert not any(box.overlaps(other) for other in boxes[k + 1 :])
    left, right = layout.at((0.0, 0.0))[0], layout.at((WIDTH, 0.0))[0]
    for target in section.targets:
        box = layout.labels[target.place]
        assert box.x + box.width <= left + 0.01 if target.side == "left" else box.x >= right - 0.01


@given(width=st.floats(260, 900), height=st.floats(100, 900), letter_px=st.floats(5, 16), name=st.sampled_from(sorted(ENGINES)))
def test_labels_never_touch_at_any_size(width: float, height: float, letter_px: float, name: str) -> None:
    layout = laid_out(section_of(ENGINES[name]), width, height, letter_px)
    boxes = list(layout.labels.values())
    assert not any(box.overlaps(other) for k, box in enumerate(boxes) for other in boxes[k + 1 :])


def test_too_little_height_is_said_and_labels_still_do_not_touch() -> None:
    section = section_of(FOUR)
    layout = label_layout(section, 440.0, 60.0, {place: LabelSize(80.0, 50.0) for place in FOUR.places})
    boxes = list(layout.labels.values())
    assert not layout.fits
    assert not any(box.overlaps(other) for k, box in enumerate(boxes) for other in boxes[k + 1 :])


def test_the_leaders_of_one_side_keep_the_order_of_their_places() -> None:
    for engine in ENGINES.values():
        section = section_of(engine)
        layout = laid_out(section, 440.0, 420.0)
        for side in ("left", "right"):
            those = sorted((t for t in section.targets if t.side == side), key=lambda t: t.anchor[1])
            tops = [layout.labels[target.place].y for target in those]
            assert tops == sorted(tops)


def test_what_is_not_there_is_not_drawn() -> None:
    def kinds(engine: Engine) -> list[str]:
        return [shape.kind for shape in section_of(engine).shapes]

    assert "liquid" in kinds(FOUR)
    assert "liquid" not in kinds(replace(FOUR, cooling="air"))
    assert len(kinds(replace(FOUR, assembly="bare_head"))) < len(kinds(FOUR))
    assert section_of(replace(FOUR, assembly="bare_head")).bottom < section_of(FOUR).bottom
    assert "two-stroke" in section_of(TWIN).what
