"""Where everything is in the drawing of the crank and its pistons. Without Qt; lengths in pixels, y downwards."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, degrees, radians, sin

from borewright.simrig.rig_view import BuiltInView

__all__ = ["CrankPicture", "Slot", "crank_picture", "pointer_deg"]

_BESIDE = 0.42  # share of the width that the crank takes beside the pistons
_STROKE = 0.62  # share of a bore's height that its piston travels
_PISTON = 0.26
_WIDEST_BORE_PX = 46.0


@dataclass(frozen=True, slots=True)
class Slot:
    """One cylinder: its bore, and where its piston begins and how high it is."""

    cylinder: int
    x: float
    y: float
    width: float
    height: float
    piston_y: float
    piston_height: float
    hose: bool
    stop: bool


@dataclass(frozen=True, slots=True)
class CrankPicture:
    """The crank: centre, radius, where its handle with the mark is; and the cylinders beside it."""

    x: float
    y: float
    radius: float
    mark_x: float
    mark_y: float
    slots: tuple[Slot, ...]


def crank_picture(view: BuiltInView, width: float, height: float, text_px: float) -> CrankPicture:
    """The drawing for so much room; text_px: height of a line of text, over and under the bores.

    >>> from borewright.simrig.builtin import BuiltInRig
    >>> picture = crank_picture(BuiltInRig("hillclimb-before", speed=None).view(), 400.0, 200.0, 16.0)
    >>> round(picture.radius), [slot.cylinder for slot in picture.slots]
    (64, [1, 2, 3, 4])
    """
    wide = width * _BESIDE
    radius = max(10.0, min(wide / 2.0, height / 2.0) - 1.25 * text_px)
    x, y = wide / 2.0, height / 2.0 + 0.35 * text_px
    angle = radians(view.crank_deg % 360.0)
    mark_x, mark_y = x + radius * sin(angle), y - radius * cos(angle)
    top, bottom = 2.2 * text_px, height - 1.6 * text_px
    room = (width - wide) / max(1, len(view.pistons))
    bore = min(_WIDEST_BORE_PX, 0.74 * room)
    slots = []
    for at, (cylinder, down) in enumerate(view.pistons):
        tall = max(1.0, bottom - top)
        left = wide + at * room + (room - bore) / 2.0
        piston_y = top + tall * (0.06 + _STROKE * down)
        hose, stop = view.hose_at == cylinder, view.piston_stop_in == cylinder
        slots.append(Slot(cylinder, left, top, bore, tall, piston_y, _PISTON * tall, hose, stop))
    return CrankPicture(x, y, radius, mark_x, mark_y, tuple(slots))


def pointer_deg(picture: CrankPicture, x: float, y: float) -> float:
    """At which angle of the crank a point of the drawing lies, clockwise from the top.

    >>> pointer_deg(CrankPicture(50.0, 50.0, 40.0, 50.0, 10.0, ()), 90.0, 50.0)
    90.0
    """
    return degrees(atan2(x - picture.x, picture.y - y)) % 360.0
