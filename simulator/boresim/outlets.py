"""Where air leaves the cylinder side: leaks by place, open valves and ports, the decompression device, stops, a loose hose."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import Literal

from boresim.gas import hole_flow_kg_s, series_flow_kg_s
from boresim.scenario import Leak, Scenario

__all__ = ["Hose", "OilFilm", "Outlet", "Outlets", "outlets_at"]

Hose = int | Literal["off", "capped"] | float
"""Where the hose is: a cylinder's number (int), "off", "capped", or the area of a calibrating orifice in m² (float)."""

OIL_SEALS_CM3 = 1.5  # a dose of this much closes all but 1/e of what oil can close
OIL_REACH = 0.75  # share of a ring leak that oil can close
OIL_DRAINS_DEG = 2600.0  # turning this far leaves 1/e of it


@dataclass(frozen=True, slots=True)
class OilFilm:
    """Oil poured into a cylinder: how much, and how far the crank had turned altogether by then."""

    volume_m3: float
    turned_deg: float

    def left_m3(self, turned_deg: float) -> float:
        """What is still there."""
        return self.volume_m3 * exp((self.turned_deg - turned_deg) / OIL_DRAINS_DEG)


@dataclass(frozen=True, slots=True)
class Outlet:
    """One way out: the place, its area at the reference pressure, how that changes with pressure, and what a stop leaves open."""

    place: str
    area_m2: float
    exponent: float
    stopped_m2: float | None


@dataclass(frozen=True, slots=True)
class Outlets:
    """All ways out at one position of the crank.

    plain_m2 joins those whose area is constant; bending holds (area, exponent) of the others; stopped ones need a pressure between.
    """

    every: tuple[Outlet, ...]
    plain_m2: float
    bending: tuple[tuple[float, float], ...]
    stopped: tuple[Outlet, ...]

    def area_m2(self, p_relative: float) -> float:
        """The free area at a gauge pressure in units of the reference pressure."""
        area = self.plain_m2
        if p_relative > 0.0:
            for part, exponent in self.bending:
                area += part * p_relative**exponent
        return area

    def stopped_flow_kg_s(self, p_relative: float, p_abs_pa: float, t_k: float, p_ambient_abs_pa: float) -> float:
        """What goes out past the stops, kg/s."""
        return sum(outlet_flow(outlet, p_relative, p_abs_pa, t_k, p_ambient_abs_pa)[0] for outlet in self.stopped)


def outlet_flow(
    outlet: Outlet, p_relative: float, p_abs_pa: float, t_k: float, p_ambient_abs_pa: float
) -> tuple[float, float]:
    """The flow through one outlet, kg/s, and the pressure at its place, absolute."""
    area = outlet.area_m2
    if outlet.exponent:
        area *= p_relative**outlet.exponent if p_relative > 0.0 else 0.0
    if outlet.stopped_m2 is None or p_abs_pa <= p_ambient_abs_pa:
        return hole_flow_kg_s(area, p_abs_pa, t_k, p_ambient_abs_pa, t_k), p_ambient_abs_pa
    return series_flow_kg_s(area, outlet.stopped_m2, p_abs_pa, p_ambient_abs_pa, t_k)


def outlets_at(
    scenario: Scenario, hose: Hose, crank_deg: float, stops: frozenset[tuple[int, str]], oil_m3: float
) -> Outlets:
    """The ways out for a position of hose and crank; stops are (cylinder, place), oil_m3 is what lies on the piston."""
    if isinstance(hose, int):
        found = _cylinder_outlets(scenario, hose, crank_deg, stops, oil_m3)
    elif isinstance(hose, float):
        found = [Outlet("outside", hose, 0.0, None)]
    elif hose == "off":
        found = [Outlet("outside", scenario.rig.air.hose_bore_area_m2, 0.0, None)]
    else:
        found = []
    free = [outlet for outlet in found if outlet.stopped_m2 is None]
    return Outlets(
        tuple(found),
        sum(outlet.area_m2 for outlet in free if not outlet.exponent),
        tuple((outlet.area_m2, outlet.exponent) for outlet in free if outlet.exponent),
        tuple(outlet for outlet in found if outlet.stopped_m2 is not None),
    )


def _cylinder_outlets(
    scenario: Scenario, cylinder: int, crank_deg: float, stops: frozenset[tuple[int, str]], oil_m3: float
) -> list[Outlet]:
    engine, openings = scenario.engine, scenario.openings
    angle = engine.cycle_angle_deg(cylinder, crank_deg)
    found: list[Outlet] = []

    def add(place: str, area_m2: float, exponent: float = 0.0) -> None:
        if area_m2 > 0.0:
            stop = _stop_leak(scenario, cylinder, place, crank_deg) if (cylinder, place) in stops else None
            found.append(Outlet(place, area_m2, exponent, stop))

    for leak in scenario.leaks[cylinder]:
        add(leak.place, _leak_area(scenario, leak, angle, crank_deg, oil_m3), leak.pressure_exponent)
    two_stroke = engine.cycle == "two-stroke"
    add("crankcase" if two_stroke else "intake", openings.intake_m2 * engine.opening("intake", angle))
    add("exhaust_port" if two_stroke else "exhaust", openings.exhaust_m2 * engine.opening("exhaust", angle))
    add("exhaust_port" if two_stroke else "exhaust", _decompression_area(scenario, angle))
    return found


def _leak_area(scenario: Scenario, leak: Leak, cycle_angle_deg: float, crank_deg: float, oil_m3: float) -> float:
    engine, area = scenario.engine, leak.area_m2
    if leak.only_while is not None:
        at = engine.cycle_angle_deg(leak.only_while.cylinder, crank_deg)
        valve: Literal["intake", "exhaust"] = "intake" if leak.only_while.valve == "intake" else "exhaust"
        if (engine.opening(valve, at) > 0.0) is not leak.only_while.is_open:
            return 0.0
    if leak.worn_top_share:
        travel, _ = engine.travel_and_slope(cycle_angle_deg)
        area *= 1.0 - leak.worn_top_share * (1.0 - exp(-travel / leak.worn_top_m))
    if oil_m3 and leak.place in {"breather", "crankcase"}:
        area *= 1.0 - OIL_REACH * (1.0 - exp(-oil_m3 / (OIL_SEALS_CM3 * 1e-6)))
    return area


def _decompression_area(scenario: Scenario, cycle_angle_deg: float) -> float:
    openings, kind = scenario.openings, scenario.engine.decompression
    if kind == "manual":
        return openings.decompression_m2 if openings.decompression_on else 0.0
    if kind == "automatic":
        start, end = openings.decompression_deg
        after_tdc = (cycle_angle_deg + 180.0) % scenario.engine.cycle_deg - 180.0
        return openings.decompression_m2 if start < after_tdc < end else 0.0
    return 0.0


def _stop_leak(scenario: Scenario, cylinder: int, place: str, crank_deg: float) -> float:
    """What a stop leaves open: its own leak, and for a shared pipe the open valves of the other cylinders at its far ends."""
    engine, openings = scenario.engine, scenario.openings
    area = openings.stop_leak_m2
    if place in openings.shared_pipes and place in {"intake", "exhaust"}:
        valve: Literal["intake", "exhaust"] = "intake" if place == "intake" else "exhaust"
        full = openings.intake_m2 if place == "intake" else openings.exhaust_m2
        others = (number for number in engine.firing_order if number != cylinder)
        area += sum(full * engine.opening(valve, engine.cycle_angle_deg(number, crank_deg)) for number in others)
    return area
