"""Whether air still comes in through the supply valve while the trapped air bleeds away.

Behind a valve that is tight, no more comes through the restrictor than the dead volume before it gives up; what comes beyond that
has come over the valve's seat, and makes every decay time too long.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from borewright.core.flow import AIR_GAS_CONSTANT, mass_flow_kg_s

__all__ = ["LEAST_SHARE", "fed_share"]

LEAST_SHARE = 0.1
"""Of what leaks out (project): so much let in makes the decay times about a tenth too long."""
_EQUALISES_S = 0.3  # the dead volume empties into the cylinder so long, whatever the valve does
_STRETCHES = 6
_LEAST_SAMPLES = 8  # in a stretch
_APART_SHARE, _APART_PA = 0.004, 500.0  # what two sound transducers may read apart: of the reading, and anywhere


def fed_share(
    t_s: npt.ArrayLike,
    p_regulated_gauge_pa: npt.ArrayLike,
    p_cylinder_gauge_pa: npt.ArrayLike,
    restrictor_area_m2: float,
    leak_area_m2: float,
    dead_volume_m3: float,
    p_ambient_abs_pa: float,
    t_supply_k: float,
) -> float | None:
    """How much of what leaks in a decay came in over the supply valve: at least this share; under 0 within the doubt of it.

    Zero-corrected pressures from the shut to the vent. leak_area_m2: from the settled pair. None where the decay is too short for
    it, or nothing leaks. The dead volume counts as keeping its temperature, and the transducers as reading as far apart as sound
    ones may, both to the side of a tight valve.

    >>> t = np.arange(0.0, 5.0, 0.001)
    >>> fed = fed_share(t, 115e3 + 0.0 * t, 104e3 + 0.0 * t, 0.81e-6, 0.44e-6, 20e-6, 101_325.0, 293.15)
    >>> tight = fed_share(t, 300e3 * np.exp(-t), 297e3 * np.exp(-t), 0.81e-6, 0.44e-6, 20e-6, 101_325.0, 293.15)
    >>> fed > 0.8, tight < 0.1
    (True, True)
    """
    t, regulated, cylinder = (np.asarray(values, dtype=np.float64) for values in (t_s, p_regulated_gauge_pa, p_cylinder_gauge_pa))
    start = int(np.searchsorted(t, t[0] + _EQUALISES_S)) if len(t) else 0
    if leak_area_m2 <= 0.0 or len(t) - start < _STRETCHES * _LEAST_SAMPLES:
        return None
    came_kg, gone_kg = 0.0, 0.0
    borders = np.linspace(start, len(t), _STRETCHES + 1).astype(int)
    for first, last in pairwise(borders):
        before = float(np.mean(regulated[first:last]))
        behind = max(float(np.mean(cylinder[first:last])), 0.0)
        for_sure = max(before - _APART_SHARE * before - _APART_PA, 0.0)
        lasts_s = float(t[last - 1] - t[first])
        fall_pa = -float(np.polyfit(t[first:last] - t[first], regulated[first:last], 1)[0]) * lasts_s
        through = float(mass_flow_kg_s(restrictor_area_m2, for_sure + p_ambient_abs_pa, behind + p_ambient_abs_pa, t_supply_k))
        came_kg += through * lasts_s - dead_volume_m3 * fall_pa / (AIR_GAS_CONSTANT * t_supply_k)
        gone_kg += lasts_s * float(mass_flow_kg_s(leak_area_m2, behind + p_ambient_abs_pa, p_ambient_abs_pa, t_supply_k))
    return came_kg / gone_kg if gone_kg > 0.0 else None
