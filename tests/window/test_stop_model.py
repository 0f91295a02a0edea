"""What the picture of the piston stop shows, from made-up contacts; without Qt."""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin, sqrt

import pytest
from borewright.app.draw.stop_model import AS_AN_EXAMPLE_DEG, linkage, stop_model
from borewright.core.engine import Engine
from borewright.core.motion import CrankTracker
from borewright.core.pistonstop import PistonStop

FOUR = Engine("four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)


def test_before_any_contact_it_is_an_example() -> None:
    model = stop_model(PistonStop(1, 1440, engine=FOUR), FOUR, CrankTracker(1440, last_count=10))
    assert not model.known
    assert not model.crank_known
    assert model.contacts_at_deg == (-AS_AN_EXAMPLE_DEG, AS_AN_EXAMPLE_DEG)
    assert "as an example" in model.words


def test_both_contacts_lie_evenly_about_tdc_and_each_is_listed() -> None:
    stop = PistonStop(1, 1440, engine=FOUR)
    for count, side in ((1350, "before"), (95, "after"), (1352, "before"), (97, "after")):
        stop = stop.take(count, side)  # type: ignore[arg-type]
    crank = CrankTracker(1440, last_count=97, index_count=200)
    model = stop_model(stop, FOUR, crank)
    assert model.pairs_deg == pytest.approx((46.25, 46.25))
    assert model.contacts_at_deg == pytest.approx((-23.125, 23.125))
    # mid-points 1442.5 and 1444.5, so TDC at 3.5 counts: a quarter of a degree a count
    assert [line.after_tdc_deg for line in model.contacts] == pytest.approx([-23.375, 22.875, -22.875, 23.375])
    assert model.spread_deg == pytest.approx(0.5)
    assert model.crank_deg == pytest.approx(23.375)
    assert "TDC of cylinder 1: 1243.5 counts after the index pulse" in model.result_words


def test_a_running_direction_with_falling_counts_is_the_same_picture() -> None:
    rising, falling = PistonStop(1, 1440, engine=FOUR), PistonStop(1, 1440, running_sign=-1, engine=FOUR)
    for count, side in ((1350, "before"), (95, "after")):
        rising, falling = rising.take(count, side), falling.take(-count, side)  # type: ignore[arg-type]
    one = stop_model(rising, FOUR, CrankTracker(1440, last_count=95))
    other = stop_model(falling, FOUR, CrankTracker(1440, running_sign=-1, last_count=-95))
    assert [line.after_tdc_deg for line in one.contacts] == [line.after_tdc_deg for line in other.contacts]
    assert one.crank_deg == other.crank_deg


def test_an_offset_pin_shifts_the_middle() -> None:
    offset = replace(FOUR, pin_offset_m=0.001)
    stop = PistonStop(1, 1440, engine=offset).take(1350, "before").take(95, "after")
    model = stop_model(stop, offset, None)
    assert model.late_deg == stop.middles_late_deg[0] != 0.0
    before, after = model.contacts_at_deg
    heights = [linkage(at_deg, offset.stroke_m, offset.rod_m, offset.pin_offset_m).piston_y for at_deg in (before, after)]
    assert heights[0] == pytest.approx(heights[1], abs=1e-9)  # the stop holds the piston at one height


@pytest.mark.parametrize("crank_deg", [-170.0, -75.0, -10.0, 0.0, 33.0, 90.0, 180.0])
def test_the_rod_keeps_its_length(crank_deg: float) -> None:
    for pin_offset_m in (0.0, 0.0015, -0.0015):
        link = linkage(crank_deg, FOUR.stroke_m, FOUR.rod_m, pin_offset_m)
        length = sqrt((link.piston_x - link.pin_x) ** 2 + (link.piston_y - link.pin_y) ** 2)
        assert length * FOUR.stroke_m / 2.0 == pytest.approx(FOUR.rod_m)  # geometry: what is drawn is one rod
        assert link.pin_x**2 + link.pin_y**2 == pytest.approx(1.0)
    central = linkage(crank_deg, FOUR.stroke_m, FOUR.rod_m)
    assert (central.pin_x, central.pin_y) == pytest.approx((sin(radians(crank_deg)), cos(radians(crank_deg))))
