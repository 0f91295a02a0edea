"""Evidence: what a squeeze leaves behind, carried through the firing order, contradicted by a later one."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.engine import Engine
from borewright.core.evidence import (
    SqueezeVerdict,
    StrokeEvidence,
    carry_over,
    contradicts,
    hose_from_squeeze,
    nearest_compression_tdc,
    stroke_from_squeeze,
    vent_noise_pa,
)

CPR = 1440
FOUR = Engine("four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
TWIN = Engine("twin", "four-stroke", (1, 2), (315.0, 405.0), 0.098, 0.101, 0.18, 90e-6)
HELD = StrokeEvidence("squeeze", 1, 500.0, 7, 3.0)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("cylinder", "after_deg"), [(1, 0.0), (3, 180.0), (4, 360.0), (2, 540.0)])
def test_carried_through_the_firing_order(cylinder: int, after_deg: float, sign: int):
    carried = carry_over(HELD, FOUR, cylinder, CPR, sign)
    assert (carried.tdc_count - 500.0 - sign * after_deg * 4) % (2 * CPR) == 0.0
    assert carried.kind == ("squeeze" if cylinder == 1 else "carried")
    assert (carried.cylinder, carried.boot_id, carried.at_s) == (cylinder, 7, 3.0)


@pytest.mark.parametrize("sign", [1, -1])
def test_carried_there_and_back_is_the_same_tdc(sign: int):
    back = carry_over(carry_over(HELD, TWIN, 2, CPR, sign), TWIN, 1, CPR, sign)
    assert (back.tdc_count - HELD.tdc_count) % (2 * CPR) == 0.0
    assert back.kind == "carried", "it does not become first-hand again"


def test_declared_stays_declared():
    said = StrokeEvidence("declared", 1, 0.0, 7, 3.0, "A. Person")
    assert carry_over(said, FOUR, 3, CPR).kind == "declared"
    assert carry_over(said, FOUR, 3, CPR).said_by == "A. Person"


def test_a_cylinder_that_the_engine_does_not_have():
    with pytest.raises(ValueError, match="cylinder 5"):
        carry_over(HELD, FOUR, 5, CPR)


def test_nearest_compression_tdc_is_never_the_overlap_one():
    assert nearest_compression_tdc(HELD, 500 + CPR - 1, FOUR, CPR) == 500.0
    assert nearest_compression_tdc(HELD, 500 + CPR + 1, FOUR, CPR) == 500.0 + 2 * CPR


def verdict(kind: str, cylinders: tuple[int, ...], tdc_count: float | None) -> SqueezeVerdict:
    return SqueezeVerdict(kind, "", cylinders, tdc_count)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["not_enough", "neither", "out_of_step"])
def test_nothing_follows_from_nothing(kind: str):
    said = verdict(kind, (2, 3) if kind == "out_of_step" else (), None)
    assert stroke_from_squeeze(said, 1, 7, 0.0) is None
    assert hose_from_squeeze(said, 1, 7, 0.0) is None


def test_a_squeeze_cannot_tell_cylinders_in_step_apart():
    hose = hose_from_squeeze(verdict("compression_here", (1, 4), 500.0), 1, 7, 0.0)
    assert hose is not None
    assert hose.shared_with == (4,)
    assert hose.needs_read_back
    alone = hose_from_squeeze(verdict("compression_here", (2,), 500.0), 2, 7, 0.0)
    assert alone is not None
    assert not alone.needs_read_back


@pytest.mark.parametrize("sign", [1, -1])
def test_a_later_squeeze_contradicts_the_phase(sign: int):
    expected = carry_over(HELD, FOUR, 4, CPR, sign).tdc_count
    agrees = verdict("compression_here", (1, 4), expected + 2 * CPR)
    assert not contradicts(agrees, HELD, FOUR, 4, CPR, sign)
    against = verdict("overlap_here", (1, 4), expected + CPR)
    assert contradicts(against, HELD, FOUR, 4, CPR, sign)
    assert not contradicts(verdict("not_enough", (), None), HELD, FOUR, 4, CPR, sign)


def test_slow_noise_at_vent_counts_fully():
    rng = np.random.default_rng(1)
    white = rng.normal(0.0, 1000.0, 4000)
    assert vent_noise_pa(white) == pytest.approx(1000.0, rel=0.25)
    slow = np.repeat(rng.normal(0.0, 1000.0, 80), 50)
    assert vent_noise_pa(slow) == pytest.approx(1000.0 * 50**0.5, rel=0.3)
    with pytest.raises(ValueError, match="p_gauge_pa"):
        vent_noise_pa(white[:199])
