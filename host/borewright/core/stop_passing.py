"""What a gauge on a stopped place tells, and what the flow through a known orifice at a place tells, of the leak there."""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt

from borewright.core.flow import checked, mass_flow_kg_s
from borewright.core.shares_data import PlaceFlow

__all__ = ["passing_of_gauge", "place_flow", "share_passing"]

SHOWS_NOTHING = 0.02


def share_passing(p_cylinder_abs_pa: float, p_place_abs_pa: float, p_ambient_abs_pa: float) -> float:
    """The part of a place's free flow that still passes with pressure p_place behind its stop, from 0 (holds) to 1 (stops nothing).

    A leak feels only the pressure behind it: it passes less when that comes near the cylinder's own. While the leak is choked,
    which it is under about 53 % of the cylinder's absolute pressure, it does not feel it at all: a relief that opens at 20 kPa
    with 500 kPa in the cylinder means that nothing was stopped. All pressures absolute, Pa, above 0; the place's is taken as no
    lower than ambient and no higher than the cylinder's. Raises ValueError when the cylinder's is not above ambient. Source:
    ratio of two flows of the isentropic nozzle (`core.flow.mass_flow_kg_s`).

    >>> share_passing(601_325.0, 121_325.0, 101_325.0)
    1.0
    >>> round(share_passing(121_325.0, 120_325.0, 101_325.0), 2)
    0.25
    """
    p_cylinder = float(checked("p_cylinder_abs_pa", p_cylinder_abs_pa, above=0.0))
    p_ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    p_place = min(max(float(checked("p_place_abs_pa", p_place_abs_pa, above=0.0)), p_ambient), p_cylinder)
    if p_cylinder <= p_ambient:
        raise ValueError("p_cylinder_abs_pa: must be above p_ambient_abs_pa")
    stopped, free = (float(mass_flow_kg_s(1e-6, p_cylinder, p_down, 293.15)) for p_down in (p_place, p_ambient))
    return min(stopped / free, 1.0)


def place_flow(
    place: str,
    detail: Mapping[str, float],
    *,
    p_ambient_abs_pa: float = 101_325.0,
    t_place_k: float = 293.15,
    t_cylinder_k: float = 293.15,
    u_t_k: float = 5.0,
) -> PlaceFlow:
    """The leak at a place from its flow out through a known orifice, as a "flow" finding keeps it.

    detail: orifice_area_m2 (its effective area, ideal nozzle, at low pressure), u_orifice_relative, p_place_gauge_pa before it,
    u_p_place_pa, p_cylinder_gauge_pa meanwhile. t_place_k: of the air in the orifice; t_cylinder_k: in the cylinder; u_t_k:
    standard uncertainty of each. What passes the orifice passes the leak from the cylinder's pressure to the place's; the area is
    that of the ideal nozzle that passes it. Pressures in Pa, u at least 0. Raises ValueError naming what is missing or
    impossible. First-order uncertainty: orifice, square root of the pressure difference, temperatures.

    >>> told = {"orifice_area_m2": 5e-6, "u_orifice_relative": 0.01, "p_place_gauge_pa": 2e3, "u_p_place_pa": 20.0,
    ...         "p_cylinder_gauge_pa": 5e5}
    >>> flow = place_flow("intake", told)
    >>> round(flow.leak_area_m2 * 1e6, 3), round(flow.u_area_m2 * 1e6, 4)
    (0.244, 0.004)
    """
    for name in ("orifice_area_m2", "u_orifice_relative", "p_place_gauge_pa", "u_p_place_pa", "p_cylinder_gauge_pa"):
        if name not in detail:
            raise ValueError(f"{name}: is missing")
    orifice = float(checked("orifice_area_m2", detail["orifice_area_m2"], above=0.0))
    u_orifice = float(checked("u_orifice_relative", detail["u_orifice_relative"], least=0.0))
    gauge = float(checked("p_place_gauge_pa", detail["p_place_gauge_pa"]))
    u_gauge = float(checked("u_p_place_pa", detail["u_p_place_pa"], least=0.0))
    p_ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    p_cylinder = p_ambient + float(checked("p_cylinder_gauge_pa", detail["p_cylinder_gauge_pa"], above=0.0))
    if gauge >= p_cylinder - p_ambient:
        raise ValueError("p_place_gauge_pa: must be under p_cylinder_gauge_pa; the gauge at the place or the cylinder's is wrong")
    checked("t_place_k", t_place_k, above=0.0)
    checked("t_cylinder_k", t_cylinder_k, above=0.0)
    checked("u_t_k", u_t_k, least=0.0)

    def area_at(p_gauge: float) -> float:
        """With a pressure before the orifice; a gauge that shows suction by its zero shows no flow."""
        p_place = p_ambient + max(p_gauge, 0.0)
        through = float(mass_flow_kg_s(orifice, p_place, p_ambient, t_place_k))
        return through / float(mass_flow_kg_s(1.0, p_cylinder, p_place, t_cylinder_k))

    area = area_at(gauge)
    # a root has no slope at zero: the step to one standard uncertainty more, not the derivative
    more = min(gauge + u_gauge, 0.999 * (p_cylinder - p_ambient))
    of_gauge = area_at(more) - area
    of_rest = area * sqrt(u_orifice**2 + (0.5 * u_t_k / t_place_k) ** 2 + (0.5 * u_t_k / t_cylinder_k) ** 2)
    return PlaceFlow(place, area, sqrt(of_gauge**2 + of_rest**2))


def passing_of_gauge(p_cylinder_gauge_pa: float, p_place_gauge_pa: float, p_ambient_abs_pa: float = 101_325.0) -> float | None:
    """`share_passing` of what a gauge on a stop showed; None when it showed next to nothing, under 2 % of the cylinder's pressure.

    Without pressure behind it a stop may hold or not: with no leak there, none arrives. Gauge pressures in Pa, the cylinder's above
    0. Raises ValueError naming the argument.

    >>> passing_of_gauge(20e3, 0.1e3) is None, passing_of_gauge(500e3, 20e3), round(passing_of_gauge(20e3, 19.9e3) or 0.0, 2)
    (True, 1.0, 0.08)
    """
    p_cylinder = float(checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa, above=0.0))
    p_place = float(checked("p_place_gauge_pa", p_place_gauge_pa))
    if p_place < SHOWS_NOTHING * p_cylinder:
        return None
    return share_passing(p_cylinder + p_ambient_abs_pa, max(p_place, 0.0) + p_ambient_abs_pa, p_ambient_abs_pa)
