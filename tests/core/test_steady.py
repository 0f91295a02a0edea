"""The steady part: the rule, the window it chooses, what is still to come."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.steady import steady_part

T = np.arange(0.0, 12.0, 0.001)


def _noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, 1000.0, T.size)


def test_a_still_reading_is_read_at_its_end() -> None:
    part = steady_part(T, 550e3 + _noise(1), 495e3 + _noise(2))
    assert part.steady
    assert part.stop == T.size
    assert T[part.stop - 1] - T[part.start] == pytest.approx(3.0, abs=0.06)
    assert part.p_cylinder_gauge_pa / part.p_regulated_gauge_pa == pytest.approx(0.9, abs=2e-4)


def test_slope_decides() -> None:
    under = steady_part(T, np.full(T.size, 500e3), 450e3 + 0.8e-3 * 500e3 * T)
    over = steady_part(T, np.full(T.size, 500e3), 450e3 + 1.2e-3 * 500e3 * T)
    assert under.steady
    assert under.slope_percent_per_s == pytest.approx(0.08)
    assert not over.steady
    assert over.slope_percent_per_s == pytest.approx(0.12)


def test_too_short_is_not_steady() -> None:
    short = steady_part(T[:2500], np.full(2500, 500e3), np.full(2500, 450e3))
    assert not short.steady
    assert short.p_cylinder_gauge_pa == pytest.approx(450e3)


def test_a_place_stopped_later_does_not_reach_back() -> None:
    cylinder = np.where(T < 7.0, 450e3, 480e3) + _noise(3)
    part = steady_part(T, 500e3 + _noise(4), cylinder)
    assert part.steady
    assert part.moved_again
    assert T[part.stop - 1] <= 7.3
    assert part.p_cylinder_gauge_pa == pytest.approx(450e3, abs=1500.0)


@pytest.mark.parametrize("tau", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_is_still_to_come_is_added(tau: float, seed: int) -> None:
    cylinder = 495e3 - 20e3 * np.exp(-T / tau)
    # cut where the rule has only just come true
    stop = next(n for n in range(3200, T.size, 100) if steady_part(T[:n], np.full(n, 550e3), cylinder[:n]).steady)
    part = steady_part(T[:stop], 550e3 + _noise(seed)[:stop], cylinder[:stop] + _noise(seed + 10)[:stop])
    mean = float(np.mean(cylinder[part.start : part.stop]))
    assert abs(part.p_cylinder_gauge_pa - 495e3) < max(0.5 * abs(mean - 495e3), 250.0)


def test_noise_alone_is_not_carried_on() -> None:
    moved = [abs(steady_part(T, 550e3 + _noise(s), 495e3 + _noise(s + 50)).settling_pa) for s in range(20)]
    assert max(moved) < 150.0


@pytest.mark.parametrize(
    ("t", "regulated", "argument"), [([0.0, 1.0], [1.0, 1.0], "t_s"), ([0.0, 1.0, 2.0, 3.0], [-1.0] * 4, "p_regulated_gauge_pa")]
)
def test_bad_arguments_are_named(t: list[float], regulated: list[float], argument: str) -> None:
    with pytest.raises(ValueError, match=rf"^{argument}: "):
        steady_part(t, regulated, regulated)
