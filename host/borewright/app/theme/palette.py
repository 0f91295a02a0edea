"""The colours of the window, light and dark, and the sums that show that people can tell them apart. Without Qt.

Colour never says anything alone: beside it stand words, and fills have patterns. What is computed here is held by tests: contrast
of text (WCAG 2.2, success criterion 1.4.3: 4.5 to 1, large text 3 to 1), and the difference of bands and curves for eyes that
lack one kind of cone, and in grey.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["DARK", "LIGHT", "Eyes", "Palette", "contrast", "difference", "luminance", "seen_by"]

Eyes = Literal["usual", "protanopia", "deuteranopia", "grey"]
Rgb = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Palette:
    """One set of colours, each "#rrggbb".

    ground: behind everything; panel: behind what belongs together; raised: of controls. ink, ink_soft: text on any of the three.
    accent with on_accent: the one act that comes next, and the focus. air with on_air: PRESSURISED. good, caution: text beside
    symbols. regulated, cylinder, third: curves. bands: fills of the bands of leakage from the tightest on, with on_bands for text
    in each of them.
    """

    name: Literal["light", "dark"]
    ground: str
    panel: str
    raised: str
    line: str
    ink: str
    ink_soft: str
    accent: str
    on_accent: str
    air: str
    on_air: str
    good: str
    caution: str
    regulated: str
    cylinder: str
    third: str
    bands: tuple[str, str, str, str]
    on_bands: tuple[str, str, str, str]


LIGHT = Palette(
    name="light",
    ground="#eef0ed",
    panel="#fafbf9",
    raised="#e1e5e0",
    line="#a9b2ab",
    ink="#14201b",
    ink_soft="#48554e",
    accent="#155e75",
    on_accent="#ffffff",
    air="#a3230f",
    on_air="#ffffff",
    good="#1d5c37",
    caution="#7a4400",
    regulated="#0f4c8c",
    cylinder="#ad4300",
    third="#2f3437",
    bands=("#dcebf5", "#97bfd9", "#44789d", "#173f5f"),
    on_bands=("#14201b", "#14201b", "#ffffff", "#ffffff"),
)

DARK = Palette(
    name="dark",
    ground="#11171a",
    panel="#1a2226",
    raised="#2a353b",
    line="#566870",
    ink="#f2f5f3",
    ink_soft="#b3bfc1",
    accent="#7cc7e0",
    on_accent="#0b1b22",
    air="#ff9478",
    on_air="#2a0700",
    good="#8fd6a6",
    caution="#f2bb6b",
    regulated="#5aa2ea",
    cylinder="#ffbe8c",
    third="#e8e8e8",
    bands=("#1f3a4d", "#3f7196", "#86b4d3", "#e0eff9"),
    on_bands=("#f2f5f3", "#ffffff", "#0b1b22", "#0b1b22"),
)


# ---------------------------------------------------------------------- what eyes make of it


def luminance(colour: str) -> float:
    """Relative luminance from 0 (black) to 1 (white), as WCAG 2.2 defines it.

    >>> luminance("#000000"), luminance("#ffffff")
    (0.0, 1.0)
    """
    red, green, blue = _linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, from 1 to 21, as WCAG 2.2 defines it.

    >>> contrast("#ffffff", "#000000"), contrast("#777777", "#777777")
    (21.0, 1.0)
    """
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


# From linear sRGB to what an eye without one kind of cone makes of it: Viénot, Brettel and Mollon, "Digital video colourmaps for
# checking the legibility of displays by dichromats", Color Research and Application 24 (1999); the product of its matrices for sRGB
# primaries, from memory, each row adding up to 1 so that grey stays grey.
_WITHOUT: dict[Eyes, tuple[Rgb, Rgb, Rgb]] = {
    "protanopia": ((0.11238, 0.88762, 0.0), (0.11238, 0.88762, 0.0), (0.00401, -0.00401, 1.0)),
    "deuteranopia": ((0.29275, 0.70725, 0.0), (0.29275, 0.70725, 0.0), (-0.02234, 0.02234, 1.0)),
}


def seen_by(colour: str, eyes: Eyes) -> str:
    """What these eyes make of a colour.

    >>> seen_by("#808080", "protanopia"), seen_by("#ff0000", "grey")
    ('#808080', '#7f7f7f')
    """
    if eyes == "usual":
        return colour
    if eyes == "grey":
        grey = luminance(colour)
        return _hex((grey, grey, grey))
    red, green, blue = _linear(colour)
    return _hex(tuple(row[0] * red + row[1] * green + row[2] * blue for row in _WITHOUT[eyes]))


def difference(one: str, other: str) -> float:
    """How far apart two colours look: ΔE of CIE 1976 L*a*b* (ISO/CIE 11664-4), white point D65. About 2 is just noticeable.

    >>> round(difference("#ffffff", "#000000"), 1), difference("#123456", "#123456")
    (100.0, 0.0)
    """
    return float(sum((a - b) ** 2 for a, b in zip(_lab(one), _lab(other), strict=True)) ** 0.5)


def _linear(colour: str) -> Rgb:
    red, green, blue = (int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5))
    return _unbent(red), _unbent(green), _unbent(blue)


def _unbent(value: float) -> float:
    return float(value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4)


def _hex(linear: tuple[float, ...]) -> str:
    bent = (12.92 * v if v <= 0.0031308 else 1.055 * v ** (1 / 2.4) - 0.055 for v in (min(max(v, 0.0), 1.0) for v in linear))
    return "#" + "".join(f"{round(255 * v):02x}" for v in bent)


def _lab(colour: str) -> Rgb:
    red, green, blue = _linear(colour)
    x = (0.4124564 * red + 0.3575761 * green + 0.1804375 * blue) / 0.95047
    y = 0.2126729 * red + 0.7151522 * green + 0.0721750 * blue
    z = (0.0193339 * red + 0.1191920 * green + 0.9503041 * blue) / 1.08883
    fx, fy, fz = (v ** (1 / 3) if v > 216 / 24389 else (24389 / 27 * v + 16) / 116 for v in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)
