"""The real host at the firmware on the PC: a gated test of one cylinder, with another draw of errors and noise."""

from __future__ import annotations

from pathlib import Path

from avr_rig.child import Child
from borewright.simrig.whole_job import check_rig

from .workshop import Workshop

MOST_OFF_PERCENT = 0.3  # points of leakage, by issue 6: a converter of ten bits with oversampling


def test_leakage_by_the_firmware_on_the_pc(pc_program: Path, tmp_path: Path) -> None:
    with Child(pc_program) as child:
        shop = Workshop(child, tmp_path, seed=77)
        check_rig(shop.person, lambda _step: None, 4)
        result = shop.test(4).analysed.result
        assert result is not None
        assert abs(result.leakage_percent - shop.truth[4].leakage_percent) < MOST_OFF_PERCENT
        assert shop.lost_blocks() == 0
        assert shop.rig.electronics.count_at(shop.rig.plant.crank_deg) == shop.latest_status().crank_count
