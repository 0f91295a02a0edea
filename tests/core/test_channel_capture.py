"""Channel sense in whole captures of the simulated plant: none is called broken that is not, and what is broken is named."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pytest
from borewright.core.channel_capture import (
    after_shut,
    range_trouble,
    range_words,
    stands_above,
    stuck_bit,
    swapped_rise,
    zero_moved,
)
from borewright.core.restrictor import Restrictor

from ..bench_module import bench_module

SOUND = 9
MOST_PERCENT = 50.0  # beyond, the decay is too short to say what range a transducer has


@pytest.fixture(scope="module")
def survey() -> ModuleType:
    return bench_module("channel_sense.py")


@pytest.fixture(scope="module")
def sound(survey: ModuleType) -> list[Any]:
    return [made for made in survey.healthy(SOUND) if made.truth.leakage_percent < MOST_PERCENT]


def test_sound_channels_are_left_alone(survey: ModuleType, sound: list[Any]) -> None:
    assert len(sound) >= 5
    assert [survey.found_in(made.columns, made) for made in sound] == [None] * len(sound)


def test_swapped_transducers_are_named(survey: ModuleType, sound: list[Any]) -> None:
    assert {survey.found_in(survey.swapped(made.columns), made) for made in sound} == {"swapped"}


@pytest.mark.parametrize("kpa", [700.0, 1600.0])
@pytest.mark.parametrize("channel", [0, 1])
def test_a_transducer_of_another_range_is_named(survey: ModuleType, sound: list[Any], channel: int, kpa: float) -> None:
    for made in sound:
        bent = survey.bent(made.columns, channel, survey.of_range(1000.0 / kpa, made))
        assert survey.found_in(bent, made) in ("range", "above")


@pytest.mark.parametrize("high", [True, False])
def test_a_bit_that_stays_is_named(survey: ModuleType, sound: list[Any], high: bool) -> None:
    for made in sound:
        bit = survey.bit_of_pa(made, 1_500.0)
        assert survey.found_in(survey.bent(made.columns, 1, survey.with_bit(bit, high=high)), made) == "stuck_bit"


def test_two_levels_without_noise_are_no_stuck_bit() -> None:
    assert stuck_bit("cylinder", np.repeat([410, 2210, 1800, 410], 1000).astype(np.uint16)) is None
    assert stuck_bit("cylinder", np.zeros(0, np.uint16)) is None


def test_a_slow_hand_on_the_valve_is_no_swap() -> None:
    t = np.arange(0.0, 4.0, 0.001)
    fed = np.clip(550e3 * t / 3.0, 0.0, 550e3)
    behind = np.clip(550e3 * (t - 0.02) / 3.0, 0.0, 520e3)  # so slow that the cylinder nearly keeps up
    assert not swapped_rise(t, fed, behind)
    assert stands_above(500e3, 520e3)
    assert not stands_above(500e3, 515e3)


def test_after_the_shut_nothing_is_said_of_what_is_too_short_or_too_fast() -> None:
    jet, t = Restrictor(8.1e-7), np.arange(0.0, 2.0, 0.001)
    held = 500e3 * np.exp(-t / 5.0)
    assert after_shut(t[:100], held[:100], held[:100], jet, 20e-6) is None
    gone = 500e3 * np.exp(-t / 0.02)
    assert after_shut(t, gone, gone, jet, 20e-6) is None
    both = after_shut(t, held, held, jet, 20e-6)
    assert both is not None
    assert both.ratio == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("from_sample", [0, 1500, 2900])
def test_a_regulated_wire_that_is_shorted_in_the_decay_breaks_nothing(from_sample: int) -> None:
    t = np.arange(0.0, 3.0, 0.001)
    held = 500e3 * np.exp(-t / 5.0)
    seen = after_shut(t, np.where(np.arange(3000) < from_sample, held, -125e3), 0.95 * held, Restrictor(8.1e-7), 20e-6)
    assert (seen is None) is (from_sample == 0)


def test_which_transducer_is_the_wrong_one_is_told_by_the_proven_pressure() -> None:
    unknown = range_trouble(1.43, 385e3, None, 1e6)
    assert unknown is not None
    assert unknown.channel == "both"
    regulated = range_trouble(1.6, 344e3, 551e3, 1e6)
    assert regulated is not None
    assert regulated.words == range_words("regulated", 0.625, 1e6)
    assert "1600 kPa" in regulated.words


def test_a_zero_that_moved_counts_beyond_its_noise_only() -> None:
    rng = np.random.default_rng(5)
    before = (rng.normal(0.0, 1000.0, 1500), rng.normal(0.0, 1000.0, 1500))
    same = (rng.normal(0.0, 1000.0, 250), rng.normal(0.0, 1000.0, 250))
    assert zero_moved(before, same) == ()
    moved = zero_moved(before, (same[0], same[1] + 1_500.0))
    assert [(one.kind, one.channel) for one in moved] == [("zero_moved", "cylinder")]
    loud = rng.normal(600.0, 8000.0, 250)
    assert zero_moved(before, (loud, same[1])) == ()
    assert zero_moved(before, (same[0][:0], same[1][:0])) == ()
