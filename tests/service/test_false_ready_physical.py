"""Random runs at the whole simulated rig; a hundred times as many are done by tests/bench/false_ready_physical.py."""

from __future__ import annotations

from . import physical_runs

SAMPLE = 100
ENOUGH_WITH_AIR = 0.4


def test_no_opening_is_false_in_the_plant_and_many_runs_come_to_air() -> None:
    seen = physical_runs.run(range(SAMPLE))
    assert not seen.wrong, seen.wrong
    assert seen.with_full >= ENOUGH_WITH_AIR * SAMPLE, seen
    assert len(+seen.by_mistake) > len(physical_runs.MISTAKES) / 2, seen.by_mistake
