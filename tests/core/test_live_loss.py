"""What the running view of a capture makes of a cylinder that loses its pressure with air on."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.live import LiveCapture
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns, SampleFlags

LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
SAMPLES, AIR_AT, LOST_AT = 6000, 1000, 4000


def lost(left: float, *, regulated_left: float = 1.0, over_s: float = 0.0) -> list[float]:
    """Device seconds after the loss at which it was seen, with so much of the cylinder's pressure left."""
    n = np.arange(SAMPLES)
    way = np.clip((n - LOST_AT) / max(1000.0 * over_s, 1.0), 0.0, 1.0)
    regulated = np.where(n < AIR_AT, 0.0, 1800.0 * (1.0 - way * (1.0 - regulated_left)))
    cylinder = np.where(n < AIR_AT, 0.0, 1650.0 * (1.0 - way * (1.0 - left)))
    raw = (410 + np.stack([regulated, cylinder])).astype(np.uint16)
    flags = np.where(n < AIR_AT, 0, int(SampleFlags.SUPPLY_OPEN)).astype(np.uint16)
    columns = SampleColumns(n * 1000, n, n * 0, raw, flags, 1_000_000)
    live, found = LiveCapture({"regulated": LAW, "cylinder": LAW}), []
    for start in range(0, SAMPLES, 50):
        live = live.add(columns.between(start, start + 50))
        if live.lost_at_once:
            found.append((start + 50 - LOST_AT) / 1000.0)
    return found


def test_a_hose_that_comes_off_is_seen_within_a_tenth_of_a_second() -> None:
    assert lost(0.02)[0] <= 0.15


@pytest.mark.parametrize("left", [1.0, 0.7, 0.3])
def test_a_leak_that_grows_is_no_loss(left: float) -> None:
    assert lost(left) == []


def test_air_that_is_shut_off_and_vented_is_no_loss() -> None:
    assert lost(0.0, regulated_left=0.0, over_s=0.3) == []


def test_pressure_that_goes_slowly_is_no_loss() -> None:
    assert lost(0.1, over_s=3.0) == []
