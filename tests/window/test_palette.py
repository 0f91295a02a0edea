"""Whether people can read the window and tell its bands and curves apart: computed from the colours themselves."""

from itertools import combinations, pairwise

import pytest
from borewright.app.theme.palette import DARK, LIGHT, Eyes, Palette, contrast, difference, luminance, seen_by

PALETTES = [LIGHT, DARK]
TEXT = 4.5  # WCAG 2.2, success criterion 1.4.3 (level AA)
PARTS = 3.0  # WCAG 2.2, success criterion 1.4.11: parts of controls and graphics
TELLING = 10.0  # five times what is just noticeable; common practice, no source
EYES: list[Eyes] = ["usual", "protanopia", "deuteranopia", "grey"]


def test_contrast_of_known_pairs() -> None:
    # W3C, Understanding SC 1.4.3: #767676 on white is the lightest grey that passes, #777777 fails with 4.48 to 1
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_difference_of_known_colours() -> None:
    # sRGB primary red has L* 53.2, a* 80.1, b* 67.2 under D65: Lindbloom, "CIE Color Calculator", read from memory
    assert difference("#ff0000", "#000000") == pytest.approx((53.24**2 + 80.09**2 + 67.20**2) ** 0.5, abs=0.1)


@pytest.mark.parametrize("eyes", EYES)
def test_white_and_black_stay_what_they_are(eyes: Eyes) -> None:
    assert seen_by("#ffffff", eyes) == "#ffffff"
    assert seen_by("#000000", eyes) == "#000000"


def test_red_and_green_of_one_brightness_are_one_colour_to_a_protanope() -> None:
    # what the simulation is for: without the long-wave cone only luminance of green and the blue differ
    assert difference(seen_by("#b00000", "protanopia"), seen_by("#003f00", "protanopia")) < difference("#b00000", "#003f00") / 2


@pytest.mark.parametrize("palette", PALETTES, ids=lambda palette: palette.name)
@pytest.mark.parametrize("ink", ["ink", "ink_soft", "accent", "air", "good", "caution", "regulated", "cylinder", "third"])
@pytest.mark.parametrize("ground", ["ground", "panel", "raised"])
def test_text_can_be_read(palette: Palette, ink: str, ground: str) -> None:
    assert contrast(getattr(palette, ink), getattr(palette, ground)) >= TEXT


@pytest.mark.parametrize("palette", PALETTES, ids=lambda palette: palette.name)
def test_text_on_fills_can_be_read(palette: Palette) -> None:
    pairs = [(palette.accent, palette.on_accent), (palette.air, palette.on_air), *zip(palette.bands, palette.on_bands, strict=True)]
    assert [pair for pair in pairs if contrast(*pair) < TEXT] == []


@pytest.mark.parametrize("palette", PALETTES, ids=lambda palette: palette.name)
def test_the_outline_of_a_band_stands_out_from_the_panel(palette: Palette) -> None:
    assert contrast(palette.ink_soft, palette.panel) >= PARTS  # bands are outlined in it, since the tightest is near to the panel


@pytest.mark.parametrize("palette", PALETTES, ids=lambda palette: palette.name)
@pytest.mark.parametrize("eyes", EYES)
def test_bands_are_told_apart(palette: Palette, eyes: Eyes) -> None:
    seen = [seen_by(band, eyes) for band in palette.bands]
    assert min(difference(*pair) for pair in combinations(seen, 2)) >= TELLING


@pytest.mark.parametrize("palette", PALETTES, ids=lambda palette: palette.name)
def test_bands_go_one_way_from_light_to_dark_or_back(palette: Palette) -> None:
    steps = [luminance(b) - luminance(a) for a, b in pairwise(palette.bands)]
    assert all(step > 0 for step in steps) or all(step < 0 for step in steps)


@pytest.mark.parametrize("palette", PALETTES, ids=lambda palette: palette.name)
@pytest.mark.parametrize("eyes", EYES)
def test_the_two_pressures_are_told_apart(palette: Palette, eyes: Eyes) -> None:
    assert difference(seen_by(palette.regulated, eyes), seen_by(palette.cylinder, eyes)) >= TELLING
