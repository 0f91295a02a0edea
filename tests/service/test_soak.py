"""A short soak; a day of it is played by tests/bench/soak.py."""

from __future__ import annotations

from pathlib import Path

from .at_station import opened
from .soaking import Soak, flat_now

WARM_S, MORE_S = 100.0, 300.0
IDLE_S = (2.0, 20.0)
OBJECTS_PER_TEST = 2_500  # what the station keeps of a test for its screen


def test_nothing_grows_and_every_block_is_accounted_for(shop: Path) -> None:
    with opened(shop) as store:
        soak = Soak(store, seed=6, idle_s=IDLE_S).connected()
        assert isinstance(soak, Soak)
        soak.go_on(WARM_S)
        before, tests = flat_now(), soak.tally.tests
        soak.go_on(MORE_S)
        after = flat_now()
        tally = soak.add_up()
        assert soak.station.close()
        assert all(row.state in ("complete", "void") for row in store.list_captures()), "a test was left open"
    assert tally.adds_up, tally
    assert not tally.failed, tally
    assert tally.tests > 2, tally
    assert tally.connections > 1, tally
    assert tally.boots > 1, tally
    assert (after.files, after.threads) == (before.files, before.threads)
    assert after.objects - before.objects < OBJECTS_PER_TEST * (1 + tally.tests - tests), (before, after)
