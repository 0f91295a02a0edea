"""The real host at the firmware on the PC: a gated test with another draw of errors and noise, and a main loop that hangs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from avr_rig.child import Child
from borewright.simrig.whole_job import check_rig

from .workshop import Workshop

CYLINDER = 4
MOST_OFF_PERCENT = 0.3  # points of leakage, by issue 6: a converter of ten bits with oversampling
WATCHDOG_S = 1.0  # longer than that of the firmware


@pytest.fixture(scope="module")
def child(pc_program: Path) -> Iterator[Child]:
    with Child(pc_program) as running:
        yield running


@pytest.fixture(scope="module")
def shop(child: Child, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A workshop that has made its checks: zeros, sealed, restrictor, true TDC."""
    made = Workshop(child, tmp_path_factory.mktemp("shop"), seed=77)
    check_rig(made.person, lambda _step: None, CYLINDER)
    yield made
    made.close()


def test_leakage_by_the_firmware_on_the_pc_against_the_plants_truth(shop: Workshop) -> None:
    result = shop.test(CYLINDER).analysed.result
    assert result is not None
    assert abs(result.leakage_percent - shop.truth[CYLINDER].leakage_percent) < MOST_OFF_PERCENT
    assert shop.lost_blocks() == 0
    shop.person.wait(1.5)
    assert shop.rig.electronics.count_at(shop.rig.plant.crank_deg) == shop.latest_status().crank_count


def test_a_main_loop_that_hangs_with_air_on_vents_by_the_watchdog(shop: Workshop, child: Child) -> None:
    shop.fill(CYLINDER)
    resets, boot_id = shop.rig.resets, shop.latest_status().boot_id
    child.hang()
    began_s = shop.rig.now_s
    shop.until(lambda: shop.rig.resets == resets + 1, WATCHDOG_S)
    assert not shop.rig.plant.supply_open
    assert shop.rig.plant.vent_open
    assert shop.rig.now_s - began_s < WATCHDOG_S
    shop.until(lambda: shop.latest_status().boot_id != boot_id, 3.0)
    shop.person.wait(2.0)
    assert "the rig was restarted while air was on" in str(shop.last_capture().meta.void_reason)
    assert shop.rig.electronics.count_at(shop.rig.plant.crank_deg) == shop.latest_status().crank_count == 0
    shop.until_vented()
