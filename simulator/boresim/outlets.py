"""Where air leaves the cylinder side: leaks by place, open valves and ports, the decompression device, stops, a loose hose."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import Literal

from boresim.gas import hole_flow_kg_s, series_flow_kg_s
from boresim.scenario import Leak, Scenario

__all__ = ["LEAST_RELATIVE", "Hose", "OilFilm", "Open", "Outlet", "Ways", "outlet_flow"]

Hose = int | Literal["off", "capped"] | float
"""Where the hose is: a cylinder's number (int), "off", "capped", or the area of a calibrating orifice in m² (float)."""

LEAST_RELATIVE = 0.01  # a leak's change with pressure is followed down to this part of the reference pressure, and not into suction
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


Open = tuple[float, tuple[tuple[float, float], ...], tuple[Outlet, ...]]
"""What is open at one position of the crank: the joined constant area in m², (area, exponent) of leaks that change with pressure,
and the outlets behind stops, which need a pressure between."""


def outlet_flow(
    outlet: Outlet, p_relative: float, p_abs_pa: float, t_k: float, p_ambient_abs_pa: float
) -> tuple[float, float]:
    """The flow through one outlet, kg/s, and the pressure at its place, absolute.

    p_relative is the cylinder's gauge pressure in units of the reference pressure of the leaks.
    """
    area = outlet.area_m2 * max(p_relative, LEAST_RELATIVE) ** outlet.exponent
    if outlet.stopped_m2 is None or p_abs_pa <= p_ambient_abs_pa:
        return hole_flow_kg_s(area, p_abs_pa, t_k, p_ambient_abs_pa, t_k), p_ambient_abs_pa
    return series_flow_kg_s(area, outlet.stopped_m2, p_abs_pa, p_ambient_abs_pa, t_k)


class Ways:
    """The ways out for one place of the hose, with the stops that are set: which of them are open at which crank angle."""

    def __init__(self, scenario: Scenario, hose: Hose, stops: frozenset[tuple[int, str]]) -> None:
        self.scenario = scenario
        self.hose = hose
        self._cylinder = hose if isinstance(hose, int) else 0
        self._stops = frozenset(place for cylinder, place in stops if cylinder == self._cylinder)
        leaks = scenario.leaks.get(self._cylinder, ())
        varies = [leak for leak in leaks if leak.worn_top_share or leak.only_while is not None]
        steady = [leak for leak in leaks if leak not in varies]
        loose = scenario.rig.air.hose_bore_area_m2 if hose == "off" else hose if isinstance(hose, float) else 0.0
        self._loose_m2 = loose
        self._plain_m2 = loose + sum(leak.area_m2 for leak in steady if not leak.pressure_exponent)
        self._bending = tuple((leak.area_m2, leak.pressure_exponent) for leak in steady if leak.pressure_exponent)
        self._varying = tuple(varies)

    def at(self, crank_deg: float, travel_m: float, oil_m3: float) -> Open:
        """What is open; travel_m is how far the piston is down, oil_m3 what lies on it."""
        if not self._cylinder:
            return self._plain_m2, (), ()
        if self._stops or oil_m3:
            return _sorted_out(self.every(crank_deg, travel_m, oil_m3))
        angle = self.scenario.engine.cycle_angle_deg(self._cylinder, crank_deg)
        plain, bending = self._plain_m2, self._bending
        for leak in self._varying:
            area = self._leak_area(leak, crank_deg, travel_m, 0.0)
            if leak.pressure_exponent:
                bending = (*bending, (area, leak.pressure_exponent))
            else:
                plain += area
        for _, area in self._openings(angle):
            plain += area
        return plain, bending, ()

    def every(self, crank_deg: float, travel_m: float, oil_m3: float) -> list[Outlet]:
        """The same one by one, with the places' names."""
        if not self._cylinder:
            return [Outlet("outside", self._loose_m2, 0.0, None)] if self._loose_m2 else []
        angle = self.scenario.engine.cycle_angle_deg(self._cylinder, crank_deg)
        found = [
            (leak.place, self._leak_area(leak, crank_deg, travel_m, oil_m3), leak.pressure_exponent)
            for leak in self.scenario.leaks[self._cylinder]
        ]
        found += [(place, area, 0.0) for place, area in self._openings(angle)]
        return [
            Outlet(place, area, exponent, self._stop_leak(place, crank_deg) if place in self._stops else None)
            for place, area, exponent in found
            if area > 0.0
        ]

    def _openings(self, cycle_angle_deg: float) -> list[tuple[str, float]]:
        """Open valves or ports, and the decompression device."""
        engine, openings = self.scenario.engine, self.scenario.openings
        two_stroke = engine.cycle == "two-stroke"
        found = []
        lift = engine.opening("intake", cycle_angle_deg)
        if lift > 0.0:
            found.append(("crankcase" if two_stroke else "intake", openings.intake_m2 * lift))
        lift = engine.opening("exhaust", cycle_angle_deg)
        if lift > 0.0:
            found.append(("exhaust_port" if two_stroke else "exhaust", openings.exhaust_m2 * lift))
        if engine.decompression != "none":
            start, end = openings.decompression_deg
            after_tdc = (cycle_angle_deg + 180.0) % engine.cycle_deg - 180.0
            if openings.decompression_on if engine.decompression == "manual" else start < after_tdc < end:
                found.append(("exhaust_port" if two_stroke else "exhaust", openings.decompression_m2))
        return found

    def _leak_area(self, leak: Leak, crank_deg: float, travel_m: float, oil_m3: float) -> float:
        area = leak.area_m2
        if leak.only_while is not None:
            engine = self.scenario.engine
            at = engine.cycle_angle_deg(leak.only_while.cylinder, crank_deg)
            if (engine.opening(_valve(leak.only_while.valve), at) > 0.0) is not leak.only_while.is_open:
                return 0.0
        if leak.worn_top_share:
            area *= 1.0 - leak.worn_top_share * (1.0 - exp(-travel_m / leak.worn_top_m))
        if oil_m3 and leak.place in {"breather", "crankcase"}:
            area *= 1.0 - OIL_REACH * (1.0 - exp(-oil_m3 / (OIL_SEALS_CM3 * 1e-6)))
        return area

    def _stop_leak(self, place: str, crank_deg: float) -> float:
        """What a stop leaves open: its own leak, and in a shared pipe the open valves of the other cylinders at its far ends."""
        engine, openings = self.scenario.engine, self.scenario.openings
        area = openings.stop_leak_m2
        if place in openings.shared_pipes and place in {"intake", "exhaust"}:
            full = openings.intake_m2 if place == "intake" else openings.exhaust_m2
            others = (number for number in engine.firing_order if number != self._cylinder)
            area += sum(full * engine.opening(_valve(place), engine.cycle_angle_deg(number, crank_deg)) for number in others)
        return area


def _valve(word: str) -> Literal["intake", "exhaust"]:
    return "intake" if word == "intake" else "exhaust"


def _sorted_out(found: list[Outlet]) -> Open:
    free = [outlet for outlet in found if outlet.stopped_m2 is None]
    return (
        sum(outlet.area_m2 for outlet in free if not outlet.exponent),
        tuple((outlet.area_m2, outlet.exponent) for outlet in free if outlet.exponent),
        tuple(outlet for outlet in found if outlet.stopped_m2 is not None),
    )
