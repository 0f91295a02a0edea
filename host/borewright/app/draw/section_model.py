"""A plain section of one cylinder, as somebody draws it on the bench to show where air can leave: lines and places, without Qt.

Units of the sketch are its own: it is 200 wide, x to the right, y down. What is drawn follows the engine: with or without head or
block, cooled by water or by air, with its places and no others. Sizes say nothing; it shows where a place is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from borewright.app.draw.section_parts import (
    Kind,
    Point,
    Shape,
    adapter,
    bare_plate,
    block,
    crank_and_piston,
    crankcase,
    four_stroke_head,
    neighbour,
    top_plate,
    two_stroke_block,
    two_stroke_head,
    two_stroke_neighbour,
)
from borewright.core.engine import Engine

__all__ = [
    "WIDTH",
    "Box",
    "Kind",
    "LabelSize",
    "Layout",
    "Section",
    "Shape",
    "Target",
    "label_layout",
    "label_width",
    "least_height",
    "section_of",
]

WIDTH = 200.0
GAP_PX = 6.0
LEAST_SKETCH_PX = 76.0
MOST_LABEL_PART = 0.36  # of the width, each side


@dataclass(frozen=True, slots=True)
class Target:
    """A place in the sketch. anchor: where the air comes out; towards: which way, about 1 long; side: of its label."""

    place: str
    anchor: Point
    towards: Point
    side: Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Section:
    """What is drawn, from back to front, and the places. top, bottom: the span of y in use. what: in words, for screen readers."""

    shapes: tuple[Shape, ...]
    targets: tuple[Target, ...]
    top: float
    bottom: float
    what: str


def section_of(engine: Engine) -> Section:
    """The sketch for an engine.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> [target.place for target in section_of(four).targets] == list(four.places)
    True
    """
    shapes, anchors, top, bottom = _two_stroke(engine) if engine.cycle == "two-stroke" else _four_stroke(engine)
    targets = tuple(Target(place, *anchors[place]) for place in engine.places)
    return Section(tuple(shapes), targets, top, bottom, _what(engine))


Anchors = dict[str, tuple[Point, Point, Literal["left", "right"]]]


def _four_stroke(engine: Engine) -> tuple[list[Shape], Anchors, float, float]:
    liquid, several = engine.cooling == "liquid", len(engine.cylinders) > 1
    shapes: list[Shape] = []
    if engine.assembly != "bare_head":
        shapes += [*crankcase(breather=True), *block(liquid=liquid), *crank_and_piston()]
    if several:
        shapes += neighbour(bore=engine.assembly != "bare_head", head=engine.assembly != "short_block")
    shapes += top_plate() if engine.assembly == "short_block" else four_stroke_head(liquid=liquid)
    shapes += bare_plate() if engine.assembly == "bare_head" else []
    shapes += adapter(100.0 if engine.assembly == "short_block" else 94.0)
    bare = engine.assembly == "bare_head"
    anchors: Anchors = {
        "intake": ((14.0, 73.0), (-0.95, -0.3), "left"),
        "exhaust": ((186.0, 73.0), (0.95, -0.3), "right"),
        "outside": ((45.0, 112.0), (-1.0, 0.0), "left"),
        "coolant": ((57.0, 103.0) if bare else (60.0, 152.0), (-1.0, 0.25), "left"),
        "neighbours": ((171.0, 118.0), (1.0, 0.0), "right"),
        "breather": ((181.0, 212.0), (0.95, -0.3), "right"),
    }
    return shapes, anchors, 22.0, 130.0 if bare else 292.0


def _two_stroke(engine: Engine) -> tuple[list[Shape], Anchors, float, float]:
    liquid, several = engine.cooling == "liquid", len(engine.cylinders) > 1
    shapes = [*crankcase(breather=False), *two_stroke_block(liquid=liquid), *crank_and_piston(skirt=176.0)]
    if several:
        shapes += two_stroke_neighbour()
    shapes += [*two_stroke_head(liquid=liquid), *adapter(92.0)]
    anchors: Anchors = {
        "other_chambers": ((29.0, 118.0), (-1.0, 0.0), "left"),
        "crankcase": ((17.0, 224.0), (-0.95, -0.3), "left"),
        "outside": ((155.0, 112.0), (1.0, 0.0), "right"),
        "coolant": ((140.0, 134.0), (1.0, 0.15), "right"),
        "exhaust_port": ((186.0, 180.0), (0.95, 0.3), "right"),
    }
    return shapes, anchors, 22.0, 292.0


def _what(engine: Engine) -> str:
    form = {"complete": "cylinder", "short_block": "cylinder without its head, a plate on top", "bare_head": "bare head on a plate"}
    return f"section of a {engine.cycle} {form[engine.assembly]}, {engine.cooling}-cooled"


# ---------------------------------------------------------------------- labels beside it


@dataclass(frozen=True, slots=True)
class LabelSize:
    """How much room a label takes, in pixels; width at most what was asked for."""

    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in pixels."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: Box) -> bool:
        """Whether the two have any room in common.

        >>> Box(0, 0, 10, 10).overlaps(Box(9, 9, 5, 5)), Box(0, 0, 10, 10).overlaps(Box(10, 0, 5, 5))
        (True, False)
        """
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )


@dataclass(frozen=True, slots=True)
class Layout:
    """Where sketch and labels stand. scale: pixels to a unit; left, top: of the sketch's (0, 0); labels and leaders by place.

    leaders: a line from the label's edge to the anchor. fits: whether the labels found room in the height without touching.
    """

    scale: float
    left: float
    top: float
    labels: Mapping[str, Box]
    leaders: Mapping[str, tuple[Point, Point]]
    fits: bool

    def at(self, point: Point) -> Point:
        """A point of the sketch in pixels."""
        return self.left + self.scale * point[0], self.top + self.scale * point[1]


def label_width(section: Section, width_px: float) -> float:
    """How wide a label may be at most, so that the sketch between them keeps its room."""
    sides = len({target.side for target in section.targets})
    room = (width_px - LEAST_SKETCH_PX) / max(sides, 1) - 2.0 * GAP_PX
    return max(min(MOST_LABEL_PART * width_px, room), 40.0)


def label_layout(section: Section, width_px: float, height_px: float, sizes: Mapping[str, LabelSize]) -> Layout:
    """Labels in a column on either side, each as near to its place's height as the others let it, the sketch between them.

    sizes: of the labels at `label_width`. Labels never touch, whatever the height; where it is too little they go on below it and
    fits is False.
    """
    columns = {side: [one for one in section.targets if one.side == side] for side in ("left", "right")}
    wide = {side: max((sizes[one.place].width for one in those), default=0.0) for side, those in columns.items()}
    room_left = wide["left"] + 2.0 * GAP_PX if columns["left"] else GAP_PX
    room_right = wide["right"] + 2.0 * GAP_PX if columns["right"] else GAP_PX
    across = max(width_px - room_left - room_right, 1.0)
    tall = section.bottom - section.top
    scale = min(across / WIDTH, max(height_px - 2.0 * GAP_PX, 1.0) / tall)
    left = room_left + (across - scale * WIDTH) / 2.0
    top = (height_px - scale * tall) / 2.0 - scale * section.top
    labels: dict[str, Box] = {}
    leaders: dict[str, tuple[Point, Point]] = {}
    fits = True
    for side, those in columns.items():
        ordered = sorted(those, key=lambda one: (one.anchor[1], one.place))
        heights = [sizes[one.place].height for one in ordered]
        tops = _stacked([top + scale * one.anchor[1] for one in ordered], heights, height_px)
        for one, y, height in zip(ordered, tops, heights, strict=True):
            fits = fits and y + height <= height_px + 0.5
            width = sizes[one.place].width
            x = GAP_PX + wide["left"] - width if side == "left" else width_px - GAP_PX - wide["right"]
            labels[one.place] = Box(x, y, width, height)
            edge = x + width if side == "left" else x
            leaders[one.place] = (edge, y + height / 2.0), (left + scale * one.anchor[0], top + scale * one.anchor[1])
    return Layout(scale, left, top, labels, leaders, fits)


def _stacked(wanted: list[float], heights: list[float], room: float) -> list[float]:
    """Tops of boxes one under the other whose middles lie near what is wanted, none touching the next, all in the room if they can.

    >>> _stacked([10.0, 12.0], [20.0, 20.0], 100.0)
    [0.0, 26.0]
    >>> _stacked([90.0, 95.0], [20.0, 20.0], 100.0)
    [54.0, 80.0]
    """
    tops: list[float] = []
    at = 0.0
    for middle, height in zip(wanted, heights, strict=True):
        at = max(at, middle - height / 2.0)
        tops.append(at)
        at += height + GAP_PX
    below = room
    for index in range(len(tops) - 1, -1, -1):
        tops[index] = min(tops[index], below - heights[index])
        below = tops[index] - GAP_PX
    if tops and tops[0] < 0.0:  # too little room: from the top on, without gaps, beyond the end
        tops = [sum(heights[:index]) + index for index in range(len(heights))]
    return tops


def least_height(section: Section, sizes: Mapping[str, LabelSize]) -> float:
    """How much height the labels need."""
    of_sides = [[sizes[one.place].height for one in section.targets if one.side == side] for side in ("left", "right")]
    return (
        max(sum(heights) + GAP_PX * (len(heights) - 1) for heights in of_sides if heights) + 2.0 * GAP_PX
        if section.targets
        else 0.0
    )
