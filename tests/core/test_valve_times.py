"""How fast supply and vent followed their words, seen in the pressures."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.samples import SampleFlags
from borewright.core.valve_times import SLOW_OPENING_S, SLOW_S, ValveTimes, slow_valves, valve_times

OPENED_S, SHUT_S, VENTED_S, END_S = 1.0, 5.0, 6.5, 9.0
SUPPLY, VENT = int(SampleFlags.SUPPLY_OPEN), int(SampleFlags.VENT_OPEN)


def seen(
    *,
    opens_s: float = 0.014,
    shuts_s: float = 0.02,
    vents_s: float = 0.01,
    leakage: float = 0.1,
    puff: bool = False,
    falls: float = 0.8,
) -> ValveTimes:
    """A capture whose valves do what they are told so much later."""
    t = np.arange(0.0, END_S, 0.001)
    fed = (t >= OPENED_S + opens_s) & (t < SHUT_S + shuts_s)
    gone = t >= VENTED_S + vents_s
    falling = np.exp(-falls * np.maximum(t - SHUT_S - shuts_s, 0.0))
    regulated = np.where(fed, 550e3, np.where((t > SHUT_S) & ~gone, 550e3 * (1.0 - leakage) * falling, 0.0))
    cylinder = np.where((t >= OPENED_S + opens_s) & ~gone, 550e3 * (1.0 - leakage) * falling, 0.0)
    flags = np.where((t >= OPENED_S) & (t < SHUT_S), SUPPLY, 0) | np.where((t < OPENED_S) | (t >= VENTED_S), VENT, 0)
    if puff:
        flags[200:400] = SUPPLY
    luck = np.random.default_rng(3)
    return valve_times(
        t, regulated + luck.normal(0.0, 1e3, len(t)), cylinder + luck.normal(0.0, 1e3, len(t)), flags.astype(np.uint16)
    )


@pytest.mark.parametrize("puff", [False, True])
def test_sound_valves_are_quick_and_nothing_is_said(puff: bool) -> None:
    times = seen(puff=puff)
    assert times.opened_s == pytest.approx(0.014, abs=0.003)
    assert times.shut_s == pytest.approx(0.02, abs=0.012)
    assert times.vented_s == pytest.approx(0.01, abs=0.012)
    assert slow_valves(times) == ()


def test_each_slow_valve_is_named_with_its_time() -> None:
    (opened,) = slow_valves(seen(opens_s=SLOW_OPENING_S + 0.15))
    assert "opened slowly: its pressure was there after 0.25 s" in opened
    (shut,) = slow_valves(seen(shuts_s=SLOW_S + 0.3))
    assert "the supply valve shut slowly, 0.50 s after it was told to" in shut
    (vent,) = slow_valves(seen(vents_s=SLOW_S + 0.5))
    assert "the vent let the pressure off slowly, in 0.7 s" in vent


def test_just_under_the_limits_nothing_is_said() -> None:
    assert slow_valves(seen(opens_s=SLOW_OPENING_S - 0.01, shuts_s=SLOW_S - 0.02, vents_s=SLOW_S - 0.02)) == ()


def test_a_larger_dead_volume_takes_longer_to_follow_and_a_smaller_one_no_less() -> None:
    times = seen(opens_s=2.0 * SLOW_OPENING_S, shuts_s=2.0 * SLOW_S)
    assert len(slow_valves(times)) == len(slow_valves(times, 2e-6)) == 2
    assert slow_valves(times, 60e-6) == ()
    (vent,) = slow_valves(seen(vents_s=2.0 * SLOW_S), 60e-6)  # which has nothing to do with it
    assert "the vent let the pressure off slowly" in vent


def test_valves_that_never_move_are_named() -> None:
    (shut,) = slow_valves(seen(shuts_s=100.0))
    assert "did not shut when it was told to" in shut
    (vent,) = slow_valves(seen(vents_s=100.0, falls=0.05))
    assert "the vent did not let the pressure off" in vent
    (leaked,) = slow_valves(seen(vents_s=100.0, falls=0.8))  # the leak let it off
    assert "slowly, in 1.5 s" in leaked


def test_where_nothing_flows_nothing_is_known_of_the_shut() -> None:
    assert seen(leakage=0.0, shuts_s=0.7).shut_s is None


def test_hand_valves_and_a_capture_that_ends_early_say_nothing() -> None:
    t = np.arange(0.0, 2.0, 0.001)
    assert valve_times(t, t * 0, t * 0, np.zeros(2000, np.uint16)) == ValveTimes()
    assert valve_times(t, t * 0 + 5e5, t * 0 + 4e5, np.full(2000, SUPPLY, np.uint16)) == ValveTimes()
