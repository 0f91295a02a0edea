"""Whether a decay was fed over the seat of the supply valve, by the balance of the dead volume before the restrictor."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.decay_fed import LEAST_SHARE, fed_share
from borewright.core.flow import AIR_GAS_CONSTANT, mass_flow_kg_s

PERIOD_S, AMBIENT_PA, T_K = 0.001, 101_325.0, 293.15
RESTRICTOR_M2, LEAK_M2, DEAD_M3, TRAPPED_M3 = 0.81e-6, 0.44e-6, 20e-6, 90e-6
SUPPLY_PA = 550e3 + AMBIENT_PA


def decay(seat_m2: float, lasts_s: float = 2.0, leak_m2: float = LEAK_M2) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Two volumes at one temperature, one behind the other, with noise; the first fed over the seat."""
    t = PERIOD_S * np.arange(round(lasts_s / PERIOD_S))
    before, behind = np.empty_like(t), np.empty_like(t)
    p_before, p_behind, steps = SUPPLY_PA, 508e3 + AMBIENT_PA, 10
    for at in range(len(t)):
        before[at], behind[at] = p_before, p_behind
        for _ in range(steps):
            through = float(mass_flow_kg_s(RESTRICTOR_M2, p_before, p_behind, T_K))
            came = float(mass_flow_kg_s(seat_m2, SUPPLY_PA, p_before, T_K))
            gone = float(mass_flow_kg_s(leak_m2, p_behind, AMBIENT_PA, T_K))
            p_before += PERIOD_S / steps * AIR_GAS_CONSTANT * T_K / DEAD_M3 * (came - through)
            p_behind += PERIOD_S / steps * AIR_GAS_CONSTANT * T_K / TRAPPED_M3 * (through - gone)
    luck = np.random.default_rng(5)
    noise = luck.normal(0.0, 1e3, (2, len(t)))
    return t, before - AMBIENT_PA + noise[0], behind - AMBIENT_PA + noise[1]


def share(t: np.ndarray, before: np.ndarray, behind: np.ndarray, leak_m2: float = LEAK_M2) -> float | None:
    return fed_share(t, before, behind, RESTRICTOR_M2, leak_m2, DEAD_M3, AMBIENT_PA, T_K)


@pytest.mark.parametrize("seat_m2", [0.06e-6, 0.12e-6])
def test_a_seat_that_leaks_is_found_with_about_what_came_over_it(seat_m2: float) -> None:
    t, before, behind = decay(seat_m2)
    found, late = share(t, before, behind), slice(300, None)
    came = mass_flow_kg_s(seat_m2, SUPPLY_PA, before[late] + AMBIENT_PA, T_K).sum()
    gone = mass_flow_kg_s(LEAK_M2, behind[late] + AMBIENT_PA, AMBIENT_PA, T_K).sum()
    assert found is not None
    assert found > LEAST_SHARE
    assert 0.6 * came / gone < found < came / gone  # at least so much: the doubt counts for the valve


@pytest.mark.parametrize("apart", [-0.003, 0.0, 0.003])
def test_a_tight_valve_is_not_suspected_whatever_sound_transducers_read_apart(apart: float) -> None:
    t, before, behind = decay(0.0)
    found = share(t, before * (1.0 + apart) + 300.0, behind)
    assert found is not None
    assert found < 0.5 * LEAST_SHARE


def test_of_a_short_decay_or_where_nothing_leaks_nothing_is_said() -> None:
    t, before, behind = decay(0.12e-6, 0.33)
    assert share(t, before, behind) is None
    assert share(t, before, behind, 0.0) is None
