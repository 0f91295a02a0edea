"""The parts of the section's sketch, each as lines and areas, in the sketch's own units. Without Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Literal

__all__ = [
    "Kind",
    "Point",
    "Shape",
    "adapter",
    "bare_plate",
    "block",
    "crank_and_piston",
    "crankcase",
    "four_stroke_head",
    "neighbour",
    "top_plate",
    "two_stroke_block",
    "two_stroke_head",
    "two_stroke_neighbour",
]

Point = tuple[float, float]
Kind = Literal["wall", "liquid", "part", "pipe", "air", "line", "fine", "hidden", "gasket"]


@dataclass(frozen=True, slots=True)
class Shape:
    """A line or an area. kind: wall: metal cut through, hatched; liquid: water; part: a part in view; pipe: a hollow passage;
    air: where the tested air stands; line, fine, hidden: drawn, thin and dashed lines; gasket: a thick line."""

    kind: Kind
    points: tuple[Point, ...]
    closed: bool = False


def _area(kind: Kind, *points: Point) -> Shape:
    return Shape(kind, points, closed=True)


def _line(kind: Kind, *points: Point) -> Shape:
    return Shape(kind, points)


def _mirrored(shapes: Sequence[Shape], about: float = 100.0) -> list[Shape]:
    return [Shape(one.kind, tuple((2.0 * about - x, y) for x, y in one.points), one.closed) for one in shapes]


def _circle(x: float, y: float, radius: float, kind: Kind = "part", steps: int = 28) -> Shape:
    turns = [2.0 * pi * k / steps for k in range(steps)]
    return Shape(kind, tuple((x + radius * cos(turn), y + radius * sin(turn)) for turn in turns), closed=True)


def _curve(a: Point, b: Point, c: Point, d: Point, steps: int = 12) -> list[Point]:
    """A cubic curve from a to d, drawn towards b and c."""
    found = []
    for k in range(steps + 1):
        t = k / steps
        weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
        found.append(
            (
                sum(w * p[0] for w, p in zip(weights, (a, b, c, d), strict=True)),
                sum(w * p[1] for w, p in zip(weights, (a, b, c, d), strict=True)),
            )
        )
    return found


def _break_line(x: float, top: float, bottom: float) -> Shape:
    """Where the sketch leaves off."""
    count = max(3, round((bottom - top) / 8.0))
    points = [(x + (2.0 if k % 2 else -2.0), top + (bottom - top) * k / count) for k in range(count + 1)]
    return Shape("fine", tuple(points))


# ---------------------------------------------------------------------- below the deck


def crankcase(*, breather: bool) -> list[Shape]:
    """The crankcase; breather: the four-stroke's on the right, else the two-stroke's inlet on the left."""
    case = _area(
        "wall",
        (46, 205), (38, 214), (38, 264), (52, 290), (148, 290), (162, 264), (162, 214), (154, 205),
        (146, 205), (155, 216), (155, 262), (144, 283), (56, 283), (45, 262), (45, 216), (54, 205),
    )  # fmt: skip
    if breather:
        pipe = [(158.0, 222.0), (180.0, 208.0), (183.0, 216.0), (158.0, 232.0)]
        return [case, _area("pipe", *pipe)]
    inlet = [(42.0, 240.0), (16.0, 230.0), (16.0, 216.0), (42.0, 224.0)]
    return [case, _area("pipe", *inlet), _line("line", (45, 224), (49, 240)), _line("fine", (45, 226), (53, 238))]


def _block_side(liquid: bool, foot: float = 180.0) -> list[Shape]:
    """The left side: bore wall with water jacket and outer wall, or with fins."""
    if liquid:
        return [
            _area("liquid", (54, 116), (66, 116), (66, foot), (54, foot)),
            _area("wall", (46, 112), (54, 112), (54, foot), (66, foot), (66, 112), (74, 112), (74, 205), (46, 205)),
        ]
    fins = [_area("wall", (50, y), (66, y), (66, y + 3), (50, y + 3)) for y in range(116, 184, 9)]
    return [*fins, _area("wall", (66, 112), (74, 112), (74, 205), (46, 205), (46, 194), (66, 194))]


def block(*, liquid: bool) -> list[Shape]:
    """Bore and block of a four-stroke."""
    side = _block_side(liquid)
    return [_area("air", (74, 112), (126, 112), (126, 118), (74, 118)), *side, *_mirrored(side)]


def crank_and_piston(skirt: float = 152.0) -> list[Shape]:
    """Piston at TDC, rod and crank. skirt: how far down the piston reaches."""
    weight = [(100 + 27 * cos(a), 258 + 24 * sin(a)) for a in [pi * (0.08 + 0.84 * k / 14) for k in range(15)]]
    web = _area("part", (92, 222), (108, 222), (110, 258), *weight, (90, 258))
    rod = _area("part", (96.5, 139), (103.5, 139), (106, 220), (94, 220))
    crown = 118.0
    inner = min(skirt - 6.0, 146.0)
    piston = _area(
        "part",
        (75, crown), (125, crown), (125, skirt), (117, skirt), (115, inner), (85, inner), (83, skirt), (75, skirt),
    )  # fmt: skip
    rings = [_line("line", (75, y), (125, y)) for y in (122.0, 126.0, 131.0)]
    return [
        web,
        _circle(100, 258, 8),
        piston,
        *rings,
        rod,
        _circle(100, 229, 9),
        _circle(100, 229, 5),
        _circle(100, 139, 5.5),
    ]


def neighbour(*, bore: bool, head: bool) -> list[Shape]:
    """The next cylinder, on the right, broken off."""
    found: list[Shape] = []
    if bore:
        found += [
            _area("pipe", (154, 112), (188, 112), (188, 205), (154, 205)),
            _area("part", (155, 152), (188, 152), (188, 186), (155, 186)),
            _line("line", (155, 156), (188, 156)),
            _line("line", (155, 161), (188, 161)),
        ]
    if head:
        found.append(_area("wall", (154, 112), (154, 98), (188, 98), (188, 104), (174, 100)))
    found.append(_line("gasket", (154, 112), (188, 112)))
    found.append(_break_line(188, 98 if head else 106, 205 if bore else 124))
    return found


# ---------------------------------------------------------------------- above the deck


def four_stroke_head(*, liquid: bool) -> list[Shape]:
    """Head with its two ports and valves, both shut, cam boxes, and the pipes."""
    lower = _curve((79, 108.5), (74, 96), (62, 92), (46, 92))
    upper = _curve((93, 98.8), (88, 86), (70, 78), (46, 78))
    below_port = _area("wall", (46, 112), *reversed(lower), (74, 112))
    pipe = _area("pipe", (46, 78), *_curve((46, 78), (34, 78), (24, 70), (13, 66), 8)[1:], (15, 80), (34, 91), (46, 92))
    stem = [_line("line", (86, 103.6), (56, 60.4)), _line("line", (79, 108.5), (93, 98.8)), _line("fine", (60, 70), (66, 65))]
    cam = [_area("pipe", (42, 62), (37, 48), (43, 36), (62, 36), (74, 48), (77, 62)), _circle(51, 52, 7), _circle(49, 50, 2.5)]
    left = [below_port, pipe, *cam, *stem]
    if liquid:
        left.insert(1, _area("liquid", (50, 97), (62, 97), (69, 103), (64, 108), (50, 108)))
    between = _area(
        "wall", (46, 78), *reversed(upper), (100, 94), *[(200 - x, y) for x, y in upper], (154, 78), (154, 62), (46, 62)
    )
    chamber = _area("air", (74, 112), (100, 94), (126, 112))
    return [chamber, between, *left, *_mirrored(left), _line("gasket", (46, 112), (154, 112))]


def two_stroke_head(*, liquid: bool) -> list[Shape]:
    """A head without valves."""
    dome = _curve((76, 112), (84, 92), (116, 92), (124, 112))
    head = _area("wall", (46, 112), (46, 84), (154, 84), (154, 112), *reversed(dome))
    water = [
        _area("liquid", (52, 90), (78, 90), (70, 106), (52, 106)),
        _area("liquid", (122, 90), (148, 90), (148, 106), (130, 106)),
    ]
    fins = [_area("wall", (x, 72), (x + 4, 72), (x + 4, 84), (x, 84)) for x in (48, 60, 72, 124, 136, 148)]
    return [_area("air", *dome), head, *(water if liquid else fins), _line("gasket", (46, 112), (154, 112))]


def top_plate() -> list[Shape]:
    """The plate that closes the bore where there is no head."""
    bolts = [_area("part", (x, 93), (x + 8, 93), (x + 8, 99), (x, 99)) for x in (52, 140)]
    return [_area("wall", (44, 111), (44, 99), (156, 99), (156, 111)), *bolts, _line("gasket", (46, 112), (154, 112))]


def bare_plate() -> list[Shape]:
    """The plate that closes the chamber where there is no block."""
    return [_area("wall", (44, 113), (156, 113), (156, 125), (44, 125))]


def adapter(foot: float) -> list[Shape]:
    """The adapter in the plug hole, with the hose. foot: how far down it reaches."""
    hose = _curve((100, 54), (100, 36), (104, 30), (126, 28), 10)
    return [
        Shape("hidden", tuple(hose)),
        Shape("line", tuple((x + 3.5, y + 3.0) for x, y in hose[1:])),
        Shape("line", tuple((x - 3.5, y - 3.0) for x, y in hose[1:])),
        _area("part", (96, foot), (96, 74), (92, 74), (92, 54), (108, 54), (108, 74), (104, 74), (104, foot)),
        _line("fine", (92, 60), (108, 60)),
        _line("fine", (92, 68), (108, 68)),
    ]


# ---------------------------------------------------------------------- two-stroke


def two_stroke_block(*, liquid: bool) -> list[Shape]:
    """Bore with its exhaust port on the right, which the piston covers at TDC, and a transfer passage on the left, behind."""
    left = _block_side(liquid, 150.0)
    if liquid:
        upper = [
            _area("liquid", (134, 116), (146, 116), (146, 146), (134, 146)),
            _area("wall", (126, 112), (134, 112), (134, 146), (146, 146), (146, 112), (154, 112), (154, 156), (126, 152)),
        ]
    else:
        upper = [_area("wall", (126, 112), (134, 112), (134, 154), (126, 152))]
        upper += [_area("wall", (134, y), (150, y), (150, y + 3), (134, y + 3)) for y in range(116, 146, 9)]
    pipe = _area("pipe", (126, 152), (154, 156), (187, 170), (184, 190), (154, 178), (126, 170))
    lower = _area("wall", (126, 170), (154, 178), (154, 205), (126, 205))
    passage = _curve((74, 162), (58, 166), (58, 180), (60, 208), 8)
    inner = _curve((74, 174), (66, 178), (66, 190), (68, 208), 8)
    air = _area("air", (74, 112), (126, 112), (126, 118), (74, 118))
    return [air, *left, *upper, pipe, lower, Shape("hidden", tuple(passage)), Shape("hidden", tuple(inner))]


def two_stroke_neighbour() -> list[Shape]:
    """The next cylinder, on the left, broken off."""
    return [
        _area("pipe", (12, 112), (46, 112), (46, 205), (12, 205)),
        _area("part", (12, 168), (45, 168), (45, 200), (12, 200)),
        _line("line", (12, 172), (45, 172)),
        _line("line", (12, 177), (45, 177)),
        _area("wall", (12, 112), (12, 98), (46, 98), (46, 112), (42, 112), (28, 103)),
        _line("gasket", (12, 112), (46, 112)),
        _break_line(12, 98, 205),
    ]
