"""A supply that was told to shut and feeds on is seen in the pressures, and a sound one is not taken for it."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.live import LiveCapture
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns, SampleFlags

LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
SHUT_S = 5.0


def seen(leakage: float, end_s: float, *, hangs: bool, differ: float = 0.0) -> LiveCapture:
    """A second of vent, four of air, then shut by the flags. differ: by which share the cylinder's transducer shows too little."""
    t = np.arange(0.0, end_s, 0.001)
    fed = (t >= 1.0) & ((t < SHUT_S) | hangs)
    left = np.where(t < 1.0, 0.0, np.exp(np.minimum(0.0, SHUT_S - t) * leakage * 3.0))
    regulated = np.where(fed, 550e3, 550e3 * (1.0 - leakage) * left)
    cylinder = np.where(fed, 550e3 * (1.0 - leakage), regulated) * (1.0 - differ)
    raw = np.rint((np.stack([regulated, cylinder]) - float(LAW.gauge_pa(0))) / LAW.pa_per_raw)
    flags = np.where(t < 1.0, int(SampleFlags.VENT_OPEN), np.where(t < SHUT_S, int(SampleFlags.SUPPLY_OPEN), 0))
    count = np.arange(len(t))
    columns = SampleColumns(count * 1000, count, count * 0, raw.astype(np.uint16), flags.astype(np.uint16), 1_000_000)
    return LiveCapture({"regulated": LAW, "cylinder": LAW}).add(columns)


@pytest.mark.parametrize("leakage", [0.05, 0.3, 0.8])
def test_a_supply_that_hangs_open_is_seen_after_a_second(leakage: float) -> None:
    assert not seen(leakage, SHUT_S + 0.9, hangs=True).still_fed(1.0)
    assert seen(leakage, SHUT_S + 1.2, hangs=True).still_fed(1.0)


@pytest.mark.parametrize("differ", [0.0, 0.009])
@pytest.mark.parametrize("leakage", [0.0, 0.005, 0.02, 0.3, 0.9])
def test_a_supply_that_shut_is_not_taken_for_one_that_hangs(leakage: float, differ: float) -> None:
    assert not seen(leakage, SHUT_S + 2.0, hangs=False, differ=differ).still_fed(1.0)
