"""A puff whose samples are far apart, as after a jump of the device's clock."""

import numpy as np
from borewright.core.puff_fill import puff_fill
from borewright.core.restrictor import Restrictor


def test_a_volume_is_never_filled_beyond_what_feeds_it() -> None:
    t_s = np.array([0.0, 0.1, 0.2, 200.0, 200.01])
    fed_pa = np.array([0.0, 550e3, 550e3, 0.0, 0.0])
    hose_pa = np.array([0.0, 250e3, 500e3, 0.0, 0.0])
    found = puff_fill(t_s, fed_pa, hose_pa, Restrictor(8.1e-7), 34e-6, 45e-6)
    assert found.p_highest_gauge_pa == 500e3
    assert found.p_capped_gauge_pa <= 550e3
    assert found.verdict == "capped"
