"""Where the piston of the drawn slider-crank is, against reference formulas, and that what is drawn hangs together."""

from __future__ import annotations

import math

import pytest
from boresim.engine import load_engine as load_sim_engine
from borewright.app.draw.slider_crank_model import SliderCrank, angle_of_pin_deg, figures, scale_bar, slider_crank
from borewright.core.engine import Engine
from borewright.service.shown_units import ShownUnits
from borewright.service.unit_settings import SYSTEMS


def engine(pin_offset_m: float = 0.0, direction: str = "clockwise", stroke_m: float = 0.086, rod_m: float = 0.143) -> Engine:
    assert direction in ("clockwise", "anticlockwise")
    return Engine(
        "invented",
        "four-stroke",
        (1,),
        (720.0,),
        0.086,
        stroke_m,
        rod_m,
        55e-6,
        pin_offset_m=pin_offset_m,
        running_direction="clockwise" if direction == "clockwise" else "anticlockwise",
    )


@pytest.mark.parametrize("stroke_m", [0.03, 0.086, 0.3])
@pytest.mark.parametrize("angle_deg", [-720.0, -61.0, 0.0, 0.1, 17.0, 90.0, 133.3, 180.0, 359.9, 540.0])
def test_the_piston_is_where_the_reference_formula_has_it(stroke_m: float, angle_deg: float) -> None:
    rod_m, throw_m = 0.2, stroke_m / 2.0
    drawn = slider_crank(engine(stroke_m=stroke_m, rod_m=rod_m), angle_deg)
    # J. B. Heywood, Internal Combustion Engine Fundamentals, McGraw-Hill 1988, equations 2.5 and 2.4 (numbers from memory):
    # s = a cos θ + (l² − a² sin² θ)^½ from the centre of the crank to the piston pin; V = V_c + π B²/4 (l + a − s)
    theta = math.radians(angle_deg)
    s = throw_m * math.cos(theta) + math.sqrt(rod_m**2 - (throw_m * math.sin(theta)) ** 2)
    assert drawn.piston_pin_m[0] == 0.0
    assert drawn.piston_pin_m[1] == pytest.approx(s, abs=1e-12)
    assert drawn.travel_m == pytest.approx(rod_m + throw_m - s, abs=1e-12)
    assert drawn.volume_m3 == pytest.approx(55e-6 + math.pi * 0.086**2 / 4.0 * (rod_m + throw_m - s), rel=1e-9)


@pytest.mark.parametrize("offset_m", [-0.004, 0.0, 0.0012, 0.02])
@pytest.mark.parametrize("direction", ["clockwise", "anticlockwise"])
@pytest.mark.parametrize("angle_deg", [0.0, 5.0, 90.0, 200.0, 300.0])
def test_crank_rod_and_pin_hang_together_also_with_an_offset_pin(offset_m: float, direction: str, angle_deg: float) -> None:
    drawn = slider_crank(engine(offset_m, direction), angle_deg)
    # geometry: each link is as long as it is, and the pin stays on its line
    assert math.hypot(*drawn.crank_pin_m) == pytest.approx(0.043, abs=1e-12)
    assert math.dist(drawn.crank_pin_m, drawn.piston_pin_m) == pytest.approx(0.143, abs=1e-12)
    assert drawn.piston_pin_m[0] == (offset_m if direction == "clockwise" else -offset_m)
    # the simulator has physics of its own
    sim = load_sim_engine(
        {
            "schema_version": 1,
            "name": "invented",
            "cycle": "four-stroke",
            "firing_order": [1],
            "bore_mm": 86,
            "stroke_mm": 86,
            "rod_mm": 143,
            "clearance_cm3": 55,
            "pin_offset_mm": offset_m * 1e3,
        },
        "it",
    )
    assert drawn.travel_m == pytest.approx(sim.travel_and_slope(angle_deg)[0], abs=1e-9)
    assert drawn.full_travel_m == pytest.approx(max(sim.travel_and_slope(at / 10.0)[0] for at in range(1500, 2100)), abs=1e-6)


def test_a_positive_offset_is_on_the_side_that_the_crank_pin_is_on_while_the_piston_goes_down() -> None:
    # the schema of engine files says so of pin_offset_mm
    for direction in ("clockwise", "anticlockwise"):
        drawn = slider_crank(engine(0.003, direction), 80.0)
        assert drawn.crank_pin_m[0] * drawn.piston_pin_m[0] > 0.0
    assert slider_crank(engine(), 90.0).crank_pin_m[0] > 0.0  # clockwise: to the right from the top
    assert slider_crank(engine(direction="anticlockwise"), 90.0).crank_pin_m[0] < 0.0


def test_at_tdc_nothing_is_over_the_piston_but_the_clearance_and_at_bdc_the_ratio_is_full() -> None:
    top, bottom = slider_crank(engine(), 0.0), slider_crank(engine(), 180.0)
    assert top.volume_m3 == pytest.approx(55e-6)
    assert top.crown_y_m == pytest.approx(top.crown_top_y_m)
    assert bottom.crown_y_m == pytest.approx(bottom.crown_bottom_y_m)
    # by hand: 55 cm³ over π/4 · 8.6² cm² = 58.088 cm² is 9.468 mm; 499.56 cm³ swept; 1 + 499.56/55 = 10.08
    assert top.chamber_height_m == pytest.approx(9.468e-3, abs=1e-6)
    said = dict(figures(bottom, ShownUnits()))
    assert (said["As a flat chamber"], said["Swept volume"], said["Compression ratio"]) == (
        "9.47 mm high",
        "499.56 cm³",
        "10.08 : 1",
    )
    assert said["Piston under TDC"] == "86.00 mm"
    assert dict(figures(bottom, ShownUnits(SYSTEMS["inch"])))["Bore"] == "3.386 in"  # 86/25.4


@pytest.mark.parametrize("offset_m", [-0.004, 0.0, 0.02])
@pytest.mark.parametrize("direction", ["clockwise", "anticlockwise"])
def test_the_hand_on_the_crank_pin_gives_the_angle_back(offset_m: float, direction: str) -> None:
    for angle_deg in range(-360, 720, 45):
        drawn = slider_crank(engine(offset_m, direction), float(angle_deg))
        assert angle_of_pin_deg(drawn, *drawn.crank_pin_m, near_deg=angle_deg + 20.0) == pytest.approx(angle_deg, abs=1e-9)


def test_all_of_it_stays_inside_of_its_bounds() -> None:
    for stroke_m, rod_m in ((0.006, 0.1), (0.086, 0.143), (3.0, 6.0)):
        for angle_deg in range(0, 360, 15):
            drawn: SliderCrank = slider_crank(engine(0.001, stroke_m=stroke_m, rod_m=rod_m), float(angle_deg))
            left, bottom, right, top = drawn.bounds_m
            for x, y in (drawn.crank_pin_m, drawn.piston_pin_m, (0.0, drawn.head_y_m), (drawn.bore_m / 2.0, drawn.crown_y_m)):
                assert left <= x <= right
                assert bottom <= y <= top


def test_the_scale_bar_is_a_round_length_that_has_room() -> None:
    for longest_m in (0.0009, 0.01, 0.0254, 0.33, 7.0):
        for unit in ("mm", "in"):
            length_m, words = scale_bar(longest_m, unit)
            assert 0.4 * longest_m <= length_m <= longest_m * (1.0 + 1e-9)
            assert words.endswith(unit)
            assert words.split()[0].strip("0.")[0] in "125"
