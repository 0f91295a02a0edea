"""The crank tracker: movement in the last second, direction of approach, recovery of an overshoot, index spacing."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.motion import CrankTracker
from borewright.core.samples import SampleColumns, SampleFlags
from hypothesis import given, settings
from hypothesis import strategies as st

CPR = 1440  # four counts to the degree


def columns(counts: list[int], start: int = 0, flag: int = 0) -> SampleColumns:
    n = len(counts)
    index = np.arange(start, start + n)
    flags = np.zeros(n, np.uint16)
    if n:
        flags[0] = flag
    return SampleColumns(index * 1000, index, np.array(counts, np.int64), np.zeros((2, n), np.uint16), flags, 1_000_000)


def path(*degrees: float, sign: int = 1) -> list[int]:
    """A walk through these places, a count at a time."""
    counts = [round(degrees[0] * 4)]
    for place in degrees[1:]:
        target = round(place * 4)
        step = 1 if target > counts[-1] else -1
        counts += list(range(counts[-1] + step, target + step, step))
    return [sign * count for count in counts]


def fed(tracker: CrankTracker, counts: list[int], chunk: int = 32) -> CrankTracker:
    start = 0 if tracker.last_tick is None else tracker.last_tick // 1000 + 1
    for i in range(0, len(counts), chunk):
        tracker = tracker.add(columns(counts[i : i + chunk], start + i))
    return tracker


def test_nothing_is_known_before_the_first_sample():
    tracker = CrankTracker(CPR)
    assert tracker.add(columns([])) is tracker
    assert tracker.observed_s == 0.0
    assert tracker.moved_count == 0
    assert not tracker.still(1.0, 1)
    assert not tracker.approach(0.0, 1.5).running


def test_still_needs_a_whole_second_of_device_time():
    almost = fed(CrankTracker(CPR), [7] * 960)
    assert not almost.still(1.0, 1)
    assert fed(almost, [7] * 64).still(1.0, 1)


def test_one_count_of_trembling_is_still_two_are_not():
    assert fed(CrankTracker(CPR), [7, 8] * 600).still(1.0, 1)
    assert not fed(CrankTracker(CPR), [7] * 1000 + [8] * 100 + [9] * 100).still(1.0, 1)


def test_movement_is_forgotten_after_a_second():
    moved = fed(CrankTracker(CPR), path(0, 30))
    assert not fed(moved, [120] * 500).still(1.0, 1)
    assert fed(moved, [120] * 1100).still(1.0, 1)


@pytest.mark.parametrize("flag", [SampleFlags.GAP_BEFORE, SampleFlags.DROPPED_BEFORE])
def test_a_gap_starts_the_second_anew(flag: SampleFlags):
    tracker = fed(CrankTracker(CPR), [7] * 1200)
    assert tracker.still(1.0, 1)
    assert not tracker.add(columns([7] * 32, 1300, flag)).still(1.0, 1)


@pytest.mark.parametrize("sign", [1, -1])
def test_speed_is_positive_in_the_running_direction(sign: int):
    counts = [sign * round(t * 0.24) for t in range(600)]  # 0.24 counts a millisecond: 60 degrees a second
    tracker = fed(CrankTracker(CPR, sign), counts)
    assert tracker.speed_deg_s == pytest.approx(60.0, rel=0.03)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("places", "good", "why"),
    [
        ((-60, 0), True, "straight up to TDC"),
        ((-60, 1), True, "inside the window"),
        ((-60, -20, -40, 0), True, "a turn back before TDC is no overshoot"),
        ((60, 0), False, "came backwards"),
        ((-60, 5, 0), False, "overshot and came backwards"),
        ((-60, 5, -30, 0), False, "overshot and backed too little"),
        ((-60, 5, -176, 0), True, "overshot and backed more than half a turn"),
        ((-60, 5, -170, 0), False, "overshot and backed a little less than half a turn"),
        ((-60, 5, -176, -100, -120, 0), True, "recovered, with another turn back on the way"),
        ((-60, 5, -176, 3, -20, 0), False, "recovered and overshot again"),
        ((-60, 1, 0), False, "inside the window, but the last movement was backwards"),
        ((-800, -715, -760, 0), True, "a turn back two turns ago"),
    ],
)
def test_approach(sign: int, places: tuple[float, ...], good: bool, why: str):
    tracker = fed(CrankTracker(CPR, sign), path(*places, sign=sign))
    assert tracker.approach(0.0, 1.5).good() is good, why


def test_trembling_is_no_turn_back():
    counts = path(-60, 0)
    trembling = [c + (i % 2) for i, c in enumerate(counts)]
    assert fed(CrankTracker(CPR), [*trembling, 0, 1, 0]).approach(0.0, 1.5).good()


def test_an_overshoot_is_not_forgotten_in_a_long_wiggle():
    """However often the hand goes back and forth, backing less than half a turn never heals the overshoot."""
    places: list[float] = [-60, 80]
    for i in range(200):
        places += [75 - i * 0.4 - 2, 75 - i * 0.4]
    tracker = fed(CrankTracker(CPR), path(*places, -30, 0))
    assert len(tracker.peaks) <= 64
    assert not tracker.approach(0.0, 1.5).good()


@settings(deadline=None, max_examples=60)
@given(st.lists(st.integers(-400, 400), min_size=1, max_size=12), st.integers(3, 90), st.sampled_from([1, -1]))
def test_approach_does_not_depend_on_the_chunks(places: list[int], chunk: int, sign: int):
    counts = path(*[float(p) for p in places])
    whole, cut = fed(CrankTracker(CPR, sign), counts, 10**6), fed(CrankTracker(CPR, sign), counts, chunk)
    assert (whole.direction, whole.extreme, whole.peaks) == (cut.direction, cut.extreme, cut.peaks)


@settings(deadline=None, max_examples=200)
@given(st.lists(st.integers(-300, 300), min_size=2, max_size=12))
def test_a_good_approach_ends_upwards_and_has_no_open_overshoot(places: list[int]):
    """Against the rule written plainly: some place beyond the window was left by half a turn, and never passed again after that."""
    counts = path(*[float(p) for p in places])
    tracker = fed(CrankTracker(CPR), counts)
    degrees = [c / 4 for c in counts]
    target = degrees[-1]
    if tracker.approach(target * 4, 1.5).good():
        over = [i for i, d in enumerate(degrees) if d > target + 1.5]
        if over:
            low = min(degrees[over[-1] :])
            assert low <= max(degrees[i] for i in over) - 180.0
        assert degrees[-1] >= degrees[-2]


def test_index_spacing():
    tracker = CrankTracker(CPR).index(100)
    assert tracker.index_spacing_ok is None
    assert tracker.index(101).index_spacing_ok is None, "turned back over the same pulse"
    assert tracker.index(1540).index_spacing_ok is True
    assert tracker.index(100 - 2880).index_spacing_ok is True
    assert tracker.index(1542).index_spacing_ok is True, "two counts are inside the pulse's width"
    lost = tracker.index(1540).index(2983)
    assert lost.index_spacing_ok is False
    assert lost.index_faults == 1
    assert lost.index(2983).index_spacing_ok is False, "the same pulse again proves nothing"
    assert lost.index(2983 + 1440).index_spacing_ok is True


def test_a_restart_forgets_everything():
    tracker = fed(CrankTracker(CPR, -1), path(0, 40)).index(5)
    assert tracker.restarted() == CrankTracker(CPR, -1)
