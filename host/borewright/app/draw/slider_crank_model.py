"""The slider-crank of one cylinder at one angle, to scale: what is drawn, and the figures beside it. Without Qt.

Seen at the end of the crank that carries the encoder, x to the right and y up, in metres from the centre of the crank; the bore
stands upright. How tall a piston is stands in no engine file: only its crown, its pin and the bore are to scale.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from borewright.core.crank import cylinder_volume_m3, piston_travel_m
from borewright.core.engine import Engine
from borewright.service.shown_units import ShownUnits

__all__ = ["SliderCrank", "angle_of_pin_deg", "figures", "scale_bar", "slider_crank"]

Point = tuple[float, float]

_CROWN_OVER_PIN: Final = 0.35  # of the bore, so that it looks like a piston
_SKIRT_UNDER_PIN: Final = 0.25


@dataclass(frozen=True, slots=True)
class SliderCrank:
    """Where everything is. after_tdc_deg: crank angle after the cylinder's compression TDC, in its running direction.

    sign: 1 where the crank turns clockwise on the drawing, -1 where it turns the other way. travel_m: the piston under its top.
    crown_top_y_m, crown_bottom_y_m: the crown at TDC and at BDC. chamber_height_m: of a flat chamber as wide as the bore that holds
    the clearance volume; head_y_m: where its roof is. volume_m3: over the piston now.
    """

    after_tdc_deg: float
    sign: int
    bore_m: float
    throw_m: float
    rod_m: float
    pin_offset_m: float
    crank_pin_m: Point
    piston_pin_m: Point
    crown_y_m: float
    skirt_y_m: float
    crown_top_y_m: float
    crown_bottom_y_m: float
    head_y_m: float
    chamber_height_m: float
    travel_m: float
    full_travel_m: float
    volume_m3: float
    swept_m3: float
    clearance_m3: float

    @property
    def bounds_m(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of all that is drawn at any angle."""
        half = max(self.bore_m * 0.62, self.throw_m * 1.25)
        return -half, -self.throw_m * 1.25, half, self.head_y_m + 0.14 * self.bore_m


def slider_crank(engine: Engine, after_tdc_deg: float) -> SliderCrank:
    """The slider-crank of this engine at an angle after TDC.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> drawn = slider_crank(four, 90.0)
    >>> [round(1e3 * x, 3) for x in (*drawn.crank_pin_m, *drawn.piston_pin_m, drawn.travel_m)]
    [43.0, 0.0, 0.0, 136.382, 49.618]
    """
    throw, rod, offset = engine.stroke_m / 2.0, engine.rod_m, engine.pin_offset_m
    sign = 1 if engine.running_direction == "clockwise" else -1
    geometry = engine.stroke_m, rod, offset
    travel = float(piston_travel_m(after_tdc_deg, *geometry))
    theta = math.radians(after_tdc_deg) + math.asin(offset / (rod + throw))
    pin_top = math.sqrt((rod + throw) ** 2 - offset**2)
    full = pin_top - math.sqrt((rod - throw) ** 2 - offset**2)
    area = math.pi / 4.0 * engine.bore_m**2
    pin_y = pin_top - travel
    crown = _CROWN_OVER_PIN * engine.bore_m
    chamber = engine.clearance_m3 / area
    return SliderCrank(
        after_tdc_deg=after_tdc_deg,
        sign=sign,
        bore_m=engine.bore_m,
        throw_m=throw,
        rod_m=rod,
        pin_offset_m=offset,
        crank_pin_m=(sign * throw * math.sin(theta), throw * math.cos(theta)),
        piston_pin_m=(sign * offset, pin_y),
        crown_y_m=pin_y + crown,
        skirt_y_m=pin_y - _SKIRT_UNDER_PIN * engine.bore_m,
        crown_top_y_m=pin_top + crown,
        crown_bottom_y_m=pin_top - full + crown,
        head_y_m=pin_top + crown + chamber,
        chamber_height_m=chamber,
        travel_m=travel,
        full_travel_m=full,
        volume_m3=float(cylinder_volume_m3(after_tdc_deg, engine.bore_m, engine.stroke_m, rod, engine.clearance_m3, offset)),
        swept_m3=area * full,
        clearance_m3=engine.clearance_m3,
    )


def angle_of_pin_deg(drawn: SliderCrank, x_m: float, y_m: float, near_deg: float) -> float:
    """The angle after TDC at which the crank pin points to a place on the drawing: of all of them, that nearest to near_deg.

    >>> four = Engine("demo", "four-stroke", (1,), (720.0,), 0.086, 0.086, 0.143, 55e-6)
    >>> angle_of_pin_deg(slider_crank(four, 0.0), 1.0, 0.0, 440.0)
    450.0
    """
    top = math.asin(drawn.pin_offset_m / (drawn.rod_m + drawn.throw_m))
    angle = math.degrees(math.atan2(drawn.sign * x_m, y_m) - top)
    return near_deg + (angle - near_deg + 180.0) % 360.0 - 180.0


def figures(drawn: SliderCrank, units: ShownUnits) -> tuple[tuple[str, str], ...]:
    """What stands beside the drawing: label and value, in the units of the person."""

    def length(value_m: float, finer: int = 0) -> str:
        return units.text(value_m, "length", "mm", finer)

    def volume(value_m3: float) -> str:
        return units.text(value_m3, "volume", "cm³", 1)

    return (
        ("Piston under TDC", length(drawn.travel_m)),
        ("Volume over piston", volume(drawn.volume_m3)),
        ("Clearance volume", volume(drawn.clearance_m3)),
        ("As a flat chamber", f"{length(drawn.chamber_height_m)} high"),
        ("Swept volume", volume(drawn.swept_m3)),
        ("Compression ratio", f"{1.0 + drawn.swept_m3 / drawn.clearance_m3:.2f} : 1"),
        ("Bore", length(drawn.bore_m)),
        ("Stroke", length(2.0 * drawn.throw_m)),
        ("Rod length", length(drawn.rod_m)),
        ("Rod to stroke", f"{drawn.rod_m / (2.0 * drawn.throw_m):.2f} : 1"),
        ("Pin offset", length(drawn.pin_offset_m)),
    )


def scale_bar(longest_m: float, unit: str) -> tuple[float, str]:
    """A round length of at most longest_m (above 0) for a bar beside the drawing, and its words. unit: mm or in.

    >>> scale_bar(0.06, "mm"), [scale_bar(0.06, "in")[1], scale_bar(0.003, "in")[1]]
    ((0.05, '50 mm'), ['2 in', '0.1 in'])
    """
    one_m = 0.0254 if unit == "in" else 1e-3
    most = longest_m / one_m
    ten = 10.0 ** math.floor(math.log10(most))
    length = next(times * ten for times in (5.0, 2.0, 1.0) if times * ten <= most * (1.0 + 1e-9))
    return length * one_m, f"{length:.10g} {'in' if unit == 'in' else 'mm'}"
