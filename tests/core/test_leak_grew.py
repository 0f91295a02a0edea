"""Where a leak grows while it is being measured, and where it only seems to."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.leak_grew import LEAST_GROWTH_PERCENT, LEAST_RATE_GROWTH, grew_in_decay, grew_while_fed

PERIOD_S = 0.001
REGULATED_PA = 550e3
AMBIENT_PA = 101e3


def fed(leakage_percent: np.ndarray, noise_pa: float = 1000.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    luck = np.random.default_rng(7)
    t = PERIOD_S * np.arange(len(leakage_percent))
    regulated = REGULATED_PA + luck.normal(0.0, noise_pa, len(t))
    return t, regulated, REGULATED_PA * (1.0 - leakage_percent / 100.0) + luck.normal(0.0, noise_pa, len(t))


def decay(rate: np.ndarray, noise_pa: float = 1000.0) -> tuple[np.ndarray, np.ndarray]:
    t = PERIOD_S * np.arange(len(rate))
    absolute = 600e3 * np.exp(-np.cumsum(rate) * PERIOD_S)
    return t, absolute - AMBIENT_PA + np.random.default_rng(8).normal(0.0, noise_pa, len(t))


@pytest.mark.parametrize("growth", [1.5, 5.0, 40.0])
@pytest.mark.parametrize("at_s", [0.6, 2.0, 3.3])
def test_a_step_is_found_where_it_is(growth: float, at_s: float) -> None:
    leakage = np.where(PERIOD_S * np.arange(4000) < at_s, 8.0, 8.0 + growth)
    found = grew_while_fed(*fed(leakage))
    assert found is not None
    assert found.at_s == pytest.approx(at_s, abs=0.1)
    assert (found.before, found.after) == pytest.approx((8.0, 8.0 + growth), abs=0.1)


def test_a_step_well_under_the_limit_is_not_told() -> None:
    leakage = np.where(np.arange(4000) < 2000, 8.0, 8.0 + 0.6 * LEAST_GROWTH_PERCENT)
    assert grew_while_fed(*fed(leakage)) is None


def test_settling_and_a_leak_that_closes_are_no_growth() -> None:
    t = PERIOD_S * np.arange(5000)
    assert grew_while_fed(*fed(8.0 + 6.0 * np.exp(-t / 0.8))) is None
    assert grew_while_fed(*fed(np.where(t < 2.0, 30.0, 8.0))) is None


def test_a_regulator_that_creeps_or_sags_is_no_growth() -> None:
    t = PERIOD_S * np.arange(5000)
    regulated = REGULATED_PA + 2000.0 * t
    assert grew_while_fed(t, regulated, 0.92 * regulated) is None
    regulated = np.where(t < 2.0, REGULATED_PA, 0.8 * REGULATED_PA)
    assert grew_while_fed(t, regulated, 0.92 * regulated) is None


@pytest.mark.parametrize("times", [0.9, 0.98, 1.02, 1.05, 1.1])
@pytest.mark.parametrize("takes_s", [0.001, 1.0])
@pytest.mark.parametrize("follows_s", [0.1, 0.5, 1.0, 2.0])
def test_a_regulator_that_is_readjusted_is_no_growth(times: float, takes_s: float, follows_s: float) -> None:
    t = PERIOD_S * np.arange(8000)
    regulated = REGULATED_PA * (1.0 + (times - 1.0) * np.clip((t - 2.0) / takes_s, 0.0, 1.0))
    cylinder = np.empty_like(t)
    now_pa = 0.92 * REGULATED_PA
    for at, fed_pa in enumerate(regulated):
        now_pa += PERIOD_S / follows_s * (0.92 * fed_pa - now_pa)
        cylinder[at] = now_pa
    assert grew_while_fed(t, regulated, cylinder) is None


def test_growth_is_found_though_the_regulator_gives_way_to_it() -> None:
    t = PERIOD_S * np.arange(5000)
    regulated = np.where(t < 2.0, REGULATED_PA, 0.97 * REGULATED_PA)
    found = grew_while_fed(t, regulated, np.where(t < 2.0, 0.92, 0.80) * regulated)
    assert found is not None
    assert found.at_s == pytest.approx(2.0, abs=0.1)


def test_nothing_is_said_of_too_little() -> None:
    assert grew_while_fed(*fed(np.full(900, 8.0))) is None
    assert grew_in_decay(*decay(np.full(300, 1.0)), AMBIENT_PA) is None


@pytest.mark.parametrize("times", [1.8, 3.0])
def test_a_rate_that_grows_in_the_decay_is_found(times: float) -> None:
    rate = np.where(np.arange(1800) < 700, 0.7, 0.7 * times)
    found = grew_in_decay(*decay(rate), AMBIENT_PA)
    assert found is not None
    assert found.at_s == pytest.approx(0.7, abs=0.15)
    assert found.after / found.before == pytest.approx(times, rel=0.15)


def test_a_rate_that_stays_falls_or_grows_little_is_none() -> None:
    samples = np.arange(1800)
    for rate in (np.full(1800, 0.8), 1.2 - 0.5 * samples / 1800, 0.7 * (1.0 + 0.4 * (LEAST_RATE_GROWTH - 1.0) * samples / 1800)):
        assert grew_in_decay(*decay(rate), AMBIENT_PA) is None


def test_impossible_pressures_are_refused() -> None:
    t = np.arange(3.0)
    with pytest.raises(ValueError, match="p_cylinder_gauge_pa"):
        grew_while_fed(t, t, np.array([0.0, np.nan, 0.0]))
    with pytest.raises(ValueError, match="p_ambient_abs_pa"):
        grew_in_decay(t, t, -1.0)
