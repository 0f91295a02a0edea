"""A leakage from two gauge readings that were taken elsewhere, with its budget."""

from __future__ import annotations

from borewright.core.flow import leakage_percent
from borewright.core.propagation import Input, propagate
from borewright.core.uncertainty import Budget

__all__ = ["pair_budget"]


def pair_budget(
    p_regulated_gauge_pa: float,
    p_cylinder_gauge_pa: float,
    u_p_regulated_pa: float,
    u_p_cylinder_pa: float,
    u_reading_pa: float = 0.0,
    correlation: float = 0.0,
) -> Budget:
    """The leakage in percent of a pair of gauge readings, first order.

    u_p_regulated_pa, u_p_cylinder_pa: standard uncertainty (k = 1) of each gauge; for a gauge of an error class take class·full
    scale/√3. u_reading_pa: of reading each of them off, on its own. correlation: of the two gauges' errors, from −1 to 1; one gauge
    moved from one side to the other is near 1, and then its error nearly cancels in small leakages. p_regulated_gauge_pa above 0.
    Raises ValueError naming the argument.

    >>> budget = pair_budget(551.6e3, 496.4e3, 2e3, 2e3)
    >>> round(budget.value, 3), round(budget.standard, 3)
    (10.007, 0.488)
    """
    inputs = {
        "p_regulated": Input(p_regulated_gauge_pa, u_p_regulated_pa, label="regulated gauge"),
        "p_cylinder": Input(p_cylinder_gauge_pa, u_p_cylinder_pa, label="cylinder gauge"),
        "off_regulated": Input(0.0, u_reading_pa, label="reading the regulated gauge"),
        "off_cylinder": Input(0.0, u_reading_pa, label="reading the cylinder gauge"),
    }

    def leakage(p_regulated: float, p_cylinder: float, off_regulated: float, off_cylinder: float) -> float:
        return float(leakage_percent(p_regulated + off_regulated, p_cylinder + off_cylinder))

    return propagate(leakage, inputs, "leakage", "%", {("p_regulated", "p_cylinder"): correlation})
