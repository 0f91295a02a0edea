"""True TDC where no piston stop can be used: dial gauge, dwell, timing mark, locking pin, each with its larger uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np

from borewright.core.crank import piston_travel_m, stop_middle_late_deg, true_tdc_count
from borewright.core.flow import checked
from borewright.core.rig import CheckRefused, TrueTdc

__all__ = ["EqualDrop", "MarkedTdc", "by_dial_gauge", "by_dwell", "by_locking_pin", "by_timing_mark"]

LEAST_APART_DEG = 10.0
MOST_APART_DEG = 120.0
LARGEST_SPREAD_DEG = 1.0
DWELL_DEG = 4.0  # half-width; a single dwell reading is uncertain by 2–4° or more
MARK_DEG = 2.0  # common practice: half-width of line, pointer and parallax
MARK_ADVANCE_DEG = 60.0
PIN_DEG = 1.0  # common practice: half-width of the play of the pin in its hole


@dataclass(frozen=True, slots=True)
class EqualDrop:
    """The counts at which the dial gauge shows the same drop below the top, before and after TDC in running direction."""

    before_count: float
    after_count: float
    drop_m: float


@dataclass(frozen=True, slots=True)
class MarkedTdc:
    """True TDC and the mark that goes onto every result that rests on it."""

    tdc: TrueTdc
    mark: str


def _made(
    cylinder: int,
    counts_after_index: float,
    counts_per_rev: int,
    u_deg: float,
    method: Literal["dial_gauge", "timing_mark", "locking_pin"],
    mark: str,
    spread_deg: float = 0.0,
    backlash_deg: float = 0.0,
) -> MarkedTdc:
    tdc = TrueTdc(counts_after_index % counts_per_rev, cylinder, u_deg, method, spread_deg, backlash_deg)
    return MarkedTdc(tdc, f"{mark}: ±{2.0 * u_deg:.1f}° (k = 2)")


def _encoder(counts_per_rev: int, backlash_deg: float) -> float:
    """Standard uncertainty in degrees of one reading of the count: one step, and half the play to either side, rectangular."""
    if counts_per_rev < 4:
        raise ValueError(f"counts_per_rev: {counts_per_rev} is too few; an encoder gives at least 4 counts a turn")
    play = float(checked("backlash_deg", backlash_deg, least=0.0))
    return sqrt((360.0 / counts_per_rev) ** 2 / 12.0 + (play / 2.0) ** 2 / 3.0)


def by_dial_gauge(
    drops: Sequence[EqualDrop],
    cylinder: int,
    counts_per_rev: int,
    index_count: float,
    stroke_m: float,
    rod_m: float,
    running_sign: Literal[1, -1] = 1,
    pin_offset_m: float = 0.0,
    u_drop_m: float = 20e-6,
    backlash_deg: float = 0.0,
) -> MarkedTdc:
    """Half way between equal drops on both sides; the mean of several pairs.

    u_drop_m: standard uncertainty of setting the gauge to the drop. It counts through the travel of the piston, which is why the
    drop must be far from TDC: at 0.5 mm 20 µm are 0.15°, at 0.01 mm more than a degree. backlash_deg: stated play between crank and
    encoder, peak to peak. Raises CheckRefused with one sentence when the pairs cannot be right.

    >>> drops = [EqualDrop(1380.0, 1460.0, 0.85e-3), EqualDrop(1379.0, 1461.0, 0.85e-3)]
    >>> found = by_dial_gauge(drops, 1, 1440, 200.0, 0.086, 0.143)
    >>> found.tdc.counts_after_index, found.mark
    (1220.0, 'true TDC by dial gauge: ±0.2° (k = 2)')
    """
    if not drops:
        raise CheckRefused("No pair of equal drops was given; read the count at the same drop on both sides of TDC.")
    u_count_deg = _encoder(counts_per_rev, backlash_deg)
    u_drop = float(checked("u_drop_m", u_drop_m, least=0.0))
    late_deg, u_each_deg = [], []
    for number, pair in enumerate(drops, 1):
        apart_deg = (running_sign * (pair.after_count - pair.before_count)) % counts_per_rev / counts_per_rev * 360.0
        if apart_deg > 360.0 - MOST_APART_DEG:
            raise CheckRefused(f"The sides of pair {number} are mixed up, or the running direction is set wrong; begin again.")
        if not LEAST_APART_DEG <= apart_deg <= MOST_APART_DEG:
            raise CheckRefused(
                f"The readings of pair {number} are {apart_deg:.0f} degrees apart; choose a drop that puts them "
                f"{LEAST_APART_DEG:.0f} to {MOST_APART_DEG:.0f} degrees apart."
            )
        geometric = float(np.mean(piston_travel_m([-apart_deg / 2.0, apart_deg / 2.0], stroke_m, rod_m, pin_offset_m)))
        if not 0.5 * geometric <= pair.drop_m <= 2.0 * geometric:
            raise CheckRefused(
                f"A drop of {pair.drop_m * 1e3:.2f} mm does not go with readings {apart_deg:.0f} degrees apart, where this "
                f"piston falls {geometric * 1e3:.2f} mm; see that the gauge stands along the cylinder and zero it at the top."
            )
        late_deg.append(float(stop_middle_late_deg(apart_deg, stroke_m, rod_m, pin_offset_m)) if pin_offset_m else 0.0)
        at = np.array([apart_deg / 2.0 - 0.01, apart_deg / 2.0 + 0.01])
        per_deg_m = float(np.diff(piston_travel_m(at, stroke_m, rod_m, pin_offset_m))[0]) / 0.02
        u_each_deg.append(u_drop / per_deg_m)
    per_deg = counts_per_rev / 360.0
    pairs = [
        (pair.before_count - running_sign * late * per_deg, pair.after_count - running_sign * late * per_deg)
        for pair, late in zip(drops, late_deg, strict=True)
    ]
    count, u_scatter_count = true_tdc_count(pairs, counts_per_rev, running_sign)
    half = counts_per_rev / 2.0
    middles = [(true_tdc_count([pair], counts_per_rev, running_sign)[0] - count + half) % counts_per_rev - half for pair in pairs]
    spread_deg = (max(middles) - min(middles)) / per_deg
    if spread_deg > LARGEST_SPREAD_DEG:
        raise CheckRefused(f"The pairs differ by {spread_deg:.1f} degrees; see that the gauge sits firm, and read again.")
    # the setting of the drop on either side moves the middle by half each; the play of the encoder does not average out
    u_drop_deg = float(np.sqrt(np.mean(np.square(u_each_deg)))) / sqrt(2.0) / sqrt(len(drops))
    u_deg = sqrt(max(u_scatter_count / per_deg, u_drop_deg) ** 2 + u_count_deg**2)
    return _made(
        cylinder, count - index_count, counts_per_rev, u_deg, "dial_gauge", "true TDC by dial gauge", spread_deg, backlash_deg
    )


def by_dwell(count: float, cylinder: int, counts_per_rev: int, index_count: float, backlash_deg: float = 0.0) -> MarkedTdc:
    """One reading where the gauge's needle stands still at the top.

    Within 0.025 mm of TDC over ±1.7° (86 mm stroke), so such a reading is uncertain by 2–4°; ±4° rectangular are taken.

    >>> by_dwell(100.0, 1, 1440, 40.0).mark
    'true TDC by one dwell reading, too wide for a window of 1.5°: ±4.6° (k = 2)'
    """
    u_deg = sqrt(DWELL_DEG**2 / 3.0 + _encoder(counts_per_rev, backlash_deg) ** 2)
    mark = "true TDC by one dwell reading, too wide for a window of 1.5°"
    return _made(cylinder, count - index_count, counts_per_rev, u_deg, "dial_gauge", mark, backlash_deg=backlash_deg)


def by_timing_mark(
    count: float,
    cylinder: int,
    counts_per_rev: int,
    index_count: float,
    mark_before_tdc_deg: float = 0.0,
    running_sign: Literal[1, -1] = 1,
    half_width_deg: float = MARK_DEG,
    backlash_deg: float = 0.0,
) -> MarkedTdc:
    """The count at which a timing mark stands at its pointer. mark_before_tdc_deg: what the mark stands for, 0 for a TDC mark.

    half_width_deg: how far line, pointer, parallax and the mark's own place may be off, rectangular (common practice: 2°; a mark on
    a rubber-bonded damper may be off by any angle). Raises CheckRefused for a mark more than 60° from TDC.

    >>> by_timing_mark(100.0, 1, 1440, 0.0, 10.0).tdc.counts_after_index
    140.0
    """
    if not abs(mark_before_tdc_deg) <= MARK_ADVANCE_DEG:
        raise CheckRefused(f"A timing mark at {mark_before_tdc_deg:g} degrees cannot be right; give {MARK_ADVANCE_DEG:g} at most.")
    at = count - index_count + running_sign * mark_before_tdc_deg / 360.0 * counts_per_rev
    return _within(half_width_deg, at, cylinder, counts_per_rev, "timing_mark", "true TDC by timing mark", backlash_deg)


def by_locking_pin(
    count: float,
    cylinder: int,
    counts_per_rev: int,
    index_count: float,
    pin_before_tdc_deg: float = 0.0,
    running_sign: Literal[1, -1] = 1,
    half_width_deg: float = PIN_DEG,
    backlash_deg: float = 0.0,
) -> MarkedTdc:
    """The count at which a locking pin holds the crank. pin_before_tdc_deg: where the pin locks it, 0 at TDC, up to half a turn.

    half_width_deg: of the play of the pin, rectangular (common practice: 1°). The pin must be out before the crank is turned.

    >>> by_locking_pin(100.0, 1, 1440, 0.0).mark
    'true TDC by locking pin: ±1.2° (k = 2)'
    """
    if not abs(pin_before_tdc_deg) <= 180.0:
        raise CheckRefused(f"A locking pin at {pin_before_tdc_deg:g} degrees cannot be right; give 180 at most.")
    at = count - index_count + running_sign * pin_before_tdc_deg / 360.0 * counts_per_rev
    return _within(half_width_deg, at, cylinder, counts_per_rev, "locking_pin", "true TDC by locking pin", backlash_deg)


def _within(
    half_width_deg: float,
    counts_after_index: float,
    cylinder: int,
    counts_per_rev: int,
    method: Literal["timing_mark", "locking_pin"],
    mark: str,
    backlash_deg: float,
) -> MarkedTdc:
    """True TDC at a count after the index, anywhere within the half-width as likely."""
    width = float(checked("half_width_deg", half_width_deg, least=0.0))
    u_deg = sqrt(width**2 / 3.0 + _encoder(counts_per_rev, backlash_deg) ** 2)
    return _made(cylinder, counts_after_index, counts_per_rev, u_deg, method, mark, backlash_deg=backlash_deg)
