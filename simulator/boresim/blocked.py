"""A place that something is put on, a stop with its relief or an orifice: it has a pressure of its own, over the room's."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from boresim.gas import hole_flow_kg_s, nozzle_flow_kg_s, orifice_flow_kg_s, series_flow_kg_s

__all__ = ["LEAST_RELATIVE", "Blocked", "Fitting", "WayOut", "blocked_flow", "sounds_at"]

LEAST_RELATIVE = 0.01  # a leak's change with pressure is followed down to this part of the reference pressure, and not into suction


@dataclass(frozen=True, slots=True)
class Fitting:
    """What is put on a place: the area it leaves open (a stop's leak, or an orifice), and where its relief opens, if it has one."""

    open_m2: float
    relief_gauge_pa: float = inf


@dataclass(frozen=True, slots=True)
class WayOut:
    """A way from the place into the room: where it sounds, how wide it is, and whose plug hole it is (0: none)."""

    place: str
    area_m2: float
    beside: int = 0


@dataclass(frozen=True, slots=True)
class Blocked:
    """One or more places that are one space: leaks that lead there as (area, exponent), ways on from there, the relief."""

    places: frozenset[str]
    inlets: tuple[tuple[float, float], ...]
    ways_out: tuple[WayOut, ...]
    relief_gauge_pa: float = inf

    @property
    def out_m2(self) -> float:
        """All ways out but the relief."""
        return sum(way.area_m2 for way in self.ways_out)


def blocked_flow(blocked: Blocked, p_relative: float, p_abs_pa: float, t_k: float, p_ambient_abs_pa: float) -> tuple[float, float]:
    """The flow out of the cylinder into the place, kg/s, and the pressure there, absolute: where as much leaves as arrives.

    p_relative is the cylinder's gauge pressure in units of the reference pressure of the leaks. The relief opens sharply and lets
    anything by: beyond its setting the pressure stays there.

    >>> place = Blocked(frozenset({"exhaust"}), ((1e-6, 0.0),), (WayOut("exhaust", 1e-6),), relief_gauge_pa=20e3)
    >>> flow, between = blocked_flow(place, 1.0, 600e3, 293.15, 100e3)
    >>> round(between / 1e3, 3)
    120.0
    """
    area = 0.0
    for part, exponent in blocked.inlets:
        area += part * max(p_relative, LEAST_RELATIVE) ** exponent
    if p_abs_pa <= p_ambient_abs_pa or area <= 0.0:
        return hole_flow_kg_s(area, p_abs_pa, t_k, p_ambient_abs_pa, t_k), p_ambient_abs_pa
    out_m2 = blocked.out_m2
    relief = p_ambient_abs_pa + blocked.relief_gauge_pa
    if relief < p_abs_pa:
        arriving = nozzle_flow_kg_s(area, p_abs_pa, relief, t_k)
        if arriving >= nozzle_flow_kg_s(out_m2, relief, p_ambient_abs_pa, t_k):
            return arriving, relief
    return series_flow_kg_s(area, out_m2, p_abs_pa, p_ambient_abs_pa, t_k)


def sounds_at(
    blocked: Blocked, flow_kg_s: float, p_place_abs_pa: float, t_k: float, p_ambient_abs_pa: float
) -> list[tuple[str, float, int]]:
    """Where the flow into such a place comes out: (place, kg/s, whose plug hole); the relief blows off at the place itself."""
    if p_place_abs_pa <= p_ambient_abs_pa:
        return []
    unit = orifice_flow_kg_s(1.0, p_place_abs_pa, p_ambient_abs_pa, t_k)
    heard = [(way.place, way.area_m2 * unit, way.beside) for way in blocked.ways_out]
    left = flow_kg_s - sum(flow for _, flow, _ in heard)
    if blocked.relief_gauge_pa < inf and left > 0.0:
        heard.append((min(blocked.places), left, 0))
    return heard
