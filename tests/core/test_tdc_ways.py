"""True TDC without a piston stop: by dial gauge against the geometry, by dwell, timing mark and locking pin."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from borewright.core.rig import CheckRefused
from borewright.core.tdc_ways import EqualDrop, by_dial_gauge, by_dwell, by_locking_pin, by_timing_mark
from scipy.optimize import brentq

STROKE_M, ROD_M, COUNTS = 0.086, 0.143, 4096


def drop_m(angle_deg: float, offset_m: float = 0.0) -> float:
    """The slider-crank written down once more: x = r·cos θ + √(l² − (r·sin θ − e)²), less at its top."""
    r = STROKE_M / 2.0
    top = np.arcsin(offset_m / (r + ROD_M))
    theta = top + np.radians(angle_deg)
    height = r * np.cos(theta) + np.sqrt(ROD_M**2 - (r * np.sin(theta) - offset_m) ** 2)
    return float(np.sqrt((r + ROD_M) ** 2 - offset_m**2) - height)


def angles_deg(drop: float, offset_m: float = 0.0) -> tuple[float, float]:
    return (
        float(brentq(lambda a: drop_m(a, offset_m) - drop, -80.0, 0.0, xtol=1e-10)),
        float(brentq(lambda a: drop_m(a, offset_m) - drop, 0.0, 80.0, xtol=1e-10)),
    )


def pair(drop: float, tdc_count: float, sign: int = 1, offset_m: float = 0.0) -> EqualDrop:
    before, after = (tdc_count + sign * angle / 360.0 * COUNTS for angle in angles_deg(drop, offset_m))
    return EqualDrop(before, after, drop)


def found(drops: list[EqualDrop], sign: Any = 1, **changes: Any) -> Any:
    return by_dial_gauge(drops, 1, COUNTS, 300.0, STROKE_M, ROD_M, sign, **changes)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("offset_mm", [0.0, 0.8, 8.0])
def test_equal_drops_lead_to_true_tdc(sign: int, offset_mm: float) -> None:
    """An offset pin makes the two sides unlike; 8 mm would be 0.1° and more without a correction."""
    drops = [pair(drop, 4000.0, sign, offset_mm / 1e3) for drop in (1.5e-3, 6e-3)]
    marked = found(drops, sign, pin_offset_m=offset_mm / 1e3)
    assert marked.tdc.counts_after_index == pytest.approx(3700.0, abs=0.01)
    assert marked.tdc.method == "dial_gauge"
    if offset_mm == 8.0:
        assert abs(found(drops, sign).tdc.counts_after_index - 3700.0) * 360.0 / COUNTS > 0.05


def test_the_stated_uncertainty_holds_the_truth() -> None:
    """Drawn: 20 µm of the gauge's setting on each side, whole counts, half the play of 0.1° to either side."""
    rng = np.random.default_rng(2)
    held = []
    before, after = angles_deg(0.8e-3)
    slope = [(drop_m(angle + 0.01) - drop_m(angle - 0.01)) / 0.02 for angle in (before, after)]
    for _ in range(2000):
        play = rng.uniform(-0.05, 0.05)
        counts = [
            float(np.round((angle + rng.normal(0.0, 20e-6) / per + play) / 360.0 * COUNTS + 1000.3))
            for angle, per in zip((before, after), slope, strict=True)
        ]
        marked = found([EqualDrop(counts[0], counts[1], 0.8e-3)], backlash_deg=0.1)
        error = (marked.tdc.counts_after_index - 700.3) / COUNTS * 360.0
        held.append(abs(error) <= 2.0 * marked.tdc.u_deg)
    assert 0.93 <= np.mean(held) <= 0.97


def test_a_drop_close_to_the_top_is_known_less_well() -> None:
    near, far = found([pair(0.85e-3, 1000.0)]), found([pair(8e-3, 1000.0)])
    assert near.tdc.u_deg > 2.0 * far.tdc.u_deg


def test_several_pairs_that_agree_are_better_than_one() -> None:
    one, four = found([pair(1e-3, 1000.0)]), found([pair(1e-3, 1000.0)] * 4)
    assert four.tdc.u_deg < 0.6 * one.tdc.u_deg


@pytest.mark.parametrize(
    ("drops", "words"),
    [
        ([], "No pair"),
        ([EqualDrop(1010.0, 990.0, 1e-3)], "mixed up"),
        ([EqualDrop(990.0, 1010.0, 1e-5)], "2 degrees apart"),
        ([EqualDrop(900.0, 1100.0, 9e-3)], "does not go with"),
        ([pair(2e-3, 1000.0), pair(2e-3, 1030.0)], "differ by 2.6 degrees"),
    ],
)
def test_pairs_that_cannot_be_right_are_refused(drops: list[EqualDrop], words: str) -> None:
    with pytest.raises(CheckRefused, match=words):
        found(drops)


def test_a_dwell_reading_is_uncertain_by_degrees() -> None:
    """A single dwell reading of TDC is uncertain by 2–4° or more (documented practice)."""
    marked = by_dwell(1000.0, 3, COUNTS, 300.0)
    assert 2.0 <= marked.tdc.u_deg <= 4.0
    assert "dwell" in marked.mark
    assert marked.tdc.reference_cylinder == 3


@pytest.mark.parametrize(("sign", "expected"), [(1, 700.0 + 10.0 / 360.0 * COUNTS), (-1, 700.0 - 10.0 / 360.0 * COUNTS)])
def test_a_mark_or_pin_before_tdc_lies_before_it_in_running_direction(sign: Any, expected: float) -> None:
    mark = by_timing_mark(1000.0, 1, COUNTS, 300.0, 10.0, sign)
    pin = by_locking_pin(1000.0, 1, COUNTS, 300.0, 10.0, sign)
    assert mark.tdc.counts_after_index == pytest.approx(expected)
    assert pin.tdc.counts_after_index == pytest.approx(expected)


def test_the_less_a_way_can_do_the_wider_it_is() -> None:
    gauge, pin = found([pair(3e-3, 1000.0)]), by_locking_pin(1000.0, 1, COUNTS, 300.0)
    mark, dwell = by_timing_mark(1000.0, 1, COUNTS, 300.0), by_dwell(1000.0, 1, COUNTS, 300.0)
    widths = [way.tdc.u_deg for way in (gauge, pin, mark, dwell)]
    assert widths == sorted(widths)
    assert [way.tdc.method for way in (gauge, pin, mark, dwell)] == ["dial_gauge", "locking_pin", "timing_mark", "dial_gauge"]
    assert len({way.mark for way in (gauge, pin, mark, dwell)}) == 4


def test_angles_that_no_mark_or_pin_has_are_refused() -> None:
    with pytest.raises(CheckRefused, match="timing mark at 90"):
        by_timing_mark(0.0, 1, COUNTS, 0.0, 90.0)
    with pytest.raises(CheckRefused, match="locking pin at nan"):
        by_locking_pin(0.0, 1, COUNTS, 0.0, float("nan"))
    with pytest.raises(ValueError, match="backlash_deg"):
        by_dwell(0.0, 1, COUNTS, 0.0, -1.0)
    with pytest.raises(ValueError, match="counts_per_rev"):
        by_dwell(0.0, 1, 2, 0.0)
