"""The leak area of two gauge readings that were taken elsewhere, with its wide budget."""

from __future__ import annotations

import math

from borewright.core.flow import leak_area_m2
from borewright.core.propagation import Input, propagate
from borewright.core.restrictor import Restrictor
from borewright.core.uncertainty import Budget

__all__ = ["pair_area_budget"]

_LEAST_SHARE = 1e-9  # of p_regulated that the two readings are kept apart by: the area has no slope where they are equal


def pair_area_budget(
    p_regulated_gauge_pa: float,
    p_cylinder_gauge_pa: float,
    u_p_regulated_pa: float,
    u_p_cylinder_pa: float,
    u_reading_pa: float,
    correlation: float,
    restrictor: Restrictor,
    p_ambient_abs_pa: tuple[float, float],
    t_supply_k: tuple[float, float],
    t_cylinder_k: tuple[float, float],
) -> Budget | None:
    """The leak area in mm² of a pair, first order; None where the readings are nearer to each other than twice what they err by.

    The first six as in `pair_budget`. The last three: value and standard uncertainty. Both pressures above 0, the cylinder's at
    most the regulated one. Raises ValueError naming the argument. Source: balance of two ideal nozzles in series.

    >>> jet = Restrictor(6.05e-7, u_relative=0.14)
    >>> known = (101_325.0, 3000.0), (293.15, 6.0), (293.15, 6.0)
    >>> budget = pair_area_budget(551_580.6, 496_422.5, 10e3, 10e3, 2e3, 0.0, jet, *known)
    >>> round(budget.value, 3), round(budget.standard, 3)
    (0.378, 0.074)
    """
    inputs = {
        "p_regulated": Input(p_regulated_gauge_pa, u_p_regulated_pa, label="regulated gauge"),
        "p_cylinder": Input(p_cylinder_gauge_pa, u_p_cylinder_pa, label="cylinder gauge"),
        "off_regulated": Input(0.0, u_reading_pa, label="reading the regulated gauge"),
        "off_cylinder": Input(0.0, u_reading_pa, label="reading the cylinder gauge"),
        "restrictor": Input(1.0, restrictor.u_relative, label="restrictor"),
        "ambient": Input(*p_ambient_abs_pa, label="ambient pressure"),
        "supply": Input(*t_supply_k, label="temperature of the supplied air"),
        "inside": Input(*t_cylinder_k, label="temperature of the air in the cylinder"),
    }
    apart = (1.0 - correlation) * (u_p_regulated_pa**2 + u_p_cylinder_pa**2) + 2.0 * u_reading_pa**2
    if p_regulated_gauge_pa - p_cylinder_gauge_pa <= 2.0 * math.sqrt(apart):
        return None

    area_m2 = restrictor.area_m2

    def area_mm2(
        p_regulated: float,
        p_cylinder: float,
        off_regulated: float,
        off_cylinder: float,
        restrictor: float,
        ambient: float,
        supply: float,
        inside: float,
    ) -> float:
        regulated = p_regulated + off_regulated
        cylinder = min(p_cylinder + off_cylinder, regulated * (1.0 - _LEAST_SHARE))
        return float(leak_area_m2(area_m2 * restrictor, regulated, cylinder, ambient, supply, inside)) * 1e6

    return propagate(area_mm2, inputs, "leak area", "mm²", {("p_regulated", "p_cylinder"): correlation})
