"""Where air leaves the cylinder side: leaks by place, open valves and ports, the decompression device, a loose hose; and what is
put on a place: a stop with its relief, or an orifice through which its flow is measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import exp, inf
from typing import Literal

from boresim.blocked import Blocked, Fitting, WayOut
from boresim.engine import SimEngine
from boresim.scenario import Leak, Scenario

__all__ = ["NO_FITTINGS", "Fittings", "Hose", "OilFilm", "Open", "Outlet", "Ways"]

Hose = int | Literal["off", "capped"] | float
"""Where the hose is: a cylinder's number (int), "off", "capped", or the area of a calibrating orifice in m² (float)."""

Fittings = Mapping[tuple[int, str], Fitting]
"""What is put on places: by cylinder and place."""

NO_FITTINGS: Fittings = {}
NEIGHBOURS = ("neighbours", "other_chambers")
JOINS_M2 = 5e-6  # a valve open by more makes one space of the two it stands between, as far as stops can tell
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
    """One way out: the place where it sounds, its area at the reference pressure, how that changes with pressure, whether something
    is put on the place that it leads to, and the other cylinder whose plug hole it comes out of (0: none that is known)."""

    place: str
    area_m2: float
    exponent: float
    blocked: bool = False
    beside: int = 0


Open = tuple[float, tuple[tuple[float, float], ...], tuple[Blocked, ...]]
"""What is open at one position of the crank: the joined constant area in m², (area, exponent) of leaks that change with pressure,
and the places that something is put on, which have a pressure of their own."""


class Ways:
    """The ways out for one place of the hose, with what is put on places: which of them are open at which crank angle."""

    def __init__(
        self, scenario: Scenario, hose: Hose, fittings: Fittings = NO_FITTINGS, decompression_on: bool | None = None
    ) -> None:
        self.scenario = scenario
        self.hose = hose
        self._cylinder = hose if isinstance(hose, int) else 0
        self._fittings = {place: fitting for (cylinder, place), fitting in fittings.items() if cylinder == self._cylinder}
        self._decompression_on = scenario.openings.decompression_on if decompression_on is None else decompression_on
        leaks = scenario.leaks.get(self._cylinder, ())
        varies = [leak for leak in leaks if leak.worn_top_share or leak.only_while is not None]
        steady = [leak for leak in leaks if leak not in varies]
        loose = scenario.rig.air.hose_bore_area_m2 if hose == "off" else hose if isinstance(hose, float) else 0.0
        self._loose_m2 = loose
        self._plain_m2 = loose + sum(leak.area_m2 for leak in steady if not leak.pressure_exponent)
        self._bending = tuple((leak.area_m2, leak.pressure_exponent) for leak in steady if leak.pressure_exponent)
        self._varying = tuple(varies)
        self._closed_to_deg, self._closed_from_deg = _closed_outside_deg(scenario.engine)
        self._firing_deg, self._cycle_deg = scenario.engine.firing_angles_deg.get(self._cylinder, 0.0), scenario.engine.cycle_deg

    def at(self, crank_deg: float, travel_m: float, oil_m3: float) -> Open:
        """What is open; travel_m is how far the piston is down, oil_m3 what lies on it."""
        if not self._cylinder:
            return self._plain_m2, (), ()
        if self._fittings or oil_m3:
            return self._sorted_out(self.every(crank_deg, travel_m, oil_m3), crank_deg)
        angle = (crank_deg - self._firing_deg) % self._cycle_deg
        plain, bending = self._plain_m2, self._bending
        for leak in self._varying:
            area = self._leak_area(leak, crank_deg, travel_m, 0.0)
            if leak.pressure_exponent:
                bending = (*bending, (area, leak.pressure_exponent))
            else:
                plain += area
        if self._closed_to_deg < angle < self._closed_from_deg:
            for _, area in self._openings(angle):
                plain += area
        return plain, bending, ()

    def every(self, crank_deg: float, travel_m: float, oil_m3: float) -> list[Outlet]:
        """The same one by one, with the places' names; what leads to a place that something is put on is marked."""
        if not self._cylinder:
            return [Outlet("outside", self._loose_m2, 0.0)] if self._loose_m2 else []
        angle = self.scenario.engine.cycle_angle_deg(self._cylinder, crank_deg)
        found: list[Outlet] = []
        for leak in self.scenario.leaks[self._cylinder]:
            area = self._leak_area(leak, crank_deg, travel_m, oil_m3)
            if leak.to_cylinder is None or leak.place in self._fittings:
                found.append(Outlet(leak.place, area, leak.pressure_exponent, leak.place in self._fittings))
            else:
                found += self._through_the_chamber(leak.to_cylinder, leak, area, crank_deg)
        found += [Outlet(place, area, 0.0, place in self._fittings) for place, area in self._openings(angle)]
        return [outlet for outlet in found if outlet.area_m2 > 0.0]

    def blocked(self, crank_deg: float, travel_m: float, oil_m3: float) -> tuple[Blocked, ...]:
        """The places of this cylinder that something is put on, also those that no air comes to."""
        return self._sorted_out(self.every(crank_deg, travel_m, oil_m3), crank_deg)[2] if self._fittings else ()

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
            if self._decompression_on if engine.decompression == "manual" else start < after_tdc < end:
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

    # ------------------------------------------------------------------ other cylinders

    def _through_the_chamber(self, other: int, leak: Leak, area_m2: float, crank_deg: float) -> list[Outlet]:
        """A leak into another cylinder, whose plug hole is open: out of that and of the valves that stand open there.

        These are a hundred times wider than any leak, so the pressure there is the room's, and the flow divides by their areas.
        """
        ways: list[tuple[str, float, int]] = [(leak.place, self.scenario.openings.plug_hole_m2, other)]
        ways += [(place, area, 0) for place, area in self._valves_of(other, crank_deg) if not self._closed_pipe(place)]
        whole = sum(area for _, area, _ in ways)
        return [Outlet(place, area_m2 * area / whole, leak.pressure_exponent, beside=at) for place, area, at in ways]

    def _valves_of(self, cylinder: int, crank_deg: float) -> list[tuple[str, float]]:
        """Which valves or ports of another cylinder are open, and by how much."""
        engine, openings = self.scenario.engine, self.scenario.openings
        angle = engine.cycle_angle_deg(cylinder, crank_deg)
        two_stroke = engine.cycle == "two-stroke"
        pairs: tuple[tuple[str, Literal["intake", "exhaust"], float], ...] = (
            ("crankcase" if two_stroke else "intake", "intake", openings.intake_m2),
            ("exhaust_port" if two_stroke else "exhaust", "exhaust", openings.exhaust_m2),
        )
        return [(place, full * lift) for place, valve, full in pairs if (lift := engine.opening(valve, angle)) > 0.0]

    def _closed_pipe(self, place: str) -> bool:
        """Whether a pipe that all cylinders share has something on it: then it is no way out for the others either."""
        return place in self._fittings and place in self.scenario.openings.shared_pipes

    # ------------------------------------------------------------------ places that something is put on

    def _sorted_out(self, found: list[Outlet], crank_deg: float) -> Open:
        free = [outlet for outlet in found if not outlet.blocked]
        return (
            sum(outlet.area_m2 for outlet in free if not outlet.exponent),
            tuple((outlet.area_m2, outlet.exponent) for outlet in free if outlet.exponent),
            self._closed([outlet for outlet in found if outlet.blocked], crank_deg) if self._fittings else (),
        )

    def _closed(self, leading_there: list[Outlet], crank_deg: float) -> tuple[Blocked, ...]:
        """The places that something is put on, with what comes in and what goes out; two that an open valve joins are one."""
        beside = self._beside()
        groups: dict[str, set[str]] = {place: {place} for place in self._fittings}
        for name in NEIGHBOURS:
            if name in self._fittings:
                for other in beside:
                    for place, area in self._valves_of(other, crank_deg):
                        if self._closed_pipe(place) and area > JOINS_M2:
                            joined = groups[name] | groups[place]
                            groups.update(dict.fromkeys(joined, joined))
        closed = []
        for names in _distinct(groups.values()):
            inlets = tuple((outlet.area_m2, outlet.exponent) for outlet in leading_there if outlet.place in names)
            ways = [way for name in sorted(names) for way in self._ways_out(name, beside, crank_deg)]
            relief = min(self._fittings[name].relief_gauge_pa for name in names)
            closed.append(Blocked(frozenset(names), inlets, tuple(ways), relief))
        return tuple(closed)

    def _beside(self) -> tuple[int, ...]:
        """The cylinders into which this one leaks."""
        leaks = self.scenario.leaks[self._cylinder]
        return tuple(sorted({leak.to_cylinder for leak in leaks if leak.to_cylinder is not None}))

    def _ways_out(self, place: str, beside: tuple[int, ...], crank_deg: float) -> list[WayOut]:
        """Out of a place that something is put on: past the stop or through the orifice; also through the open valves of the other
        cylinders at the far ends of a shared pipe, and out of a neighbour's chamber through its own open valves."""
        ways = [WayOut(place, self._fittings[place].open_m2)]
        if place in NEIGHBOURS:
            for other in beside:
                ways += [WayOut(at, area) for at, area in self._valves_of(other, crank_deg) if not self._closed_pipe(at)]
        elif self._closed_pipe(place):
            shut = beside if any(name in self._fittings for name in NEIGHBOURS) else ()
            for other in self.scenario.engine.firing_order:
                if other not in {self._cylinder, *shut}:
                    open_there = sum(area for at, area in self._valves_of(other, crank_deg) if at == place)
                    ways += [WayOut(_plug_holes(self.scenario), open_there, other)] if open_there else []
        return ways


def _closed_outside_deg(engine: SimEngine) -> tuple[float, float]:
    """Between which angles of a cylinder's cycle anything may stand open; a decompression device may at any."""
    if engine.decompression != "none":
        return -inf, inf
    if engine.cycle == "two-stroke":
        return min(engine.port_opens_deg), 360.0 - min(engine.port_opens_deg)
    return min(engine.intake_deg[0], engine.exhaust_deg[0]), max(engine.intake_deg[1], engine.exhaust_deg[1])


def _valve(word: str) -> Literal["intake", "exhaust"]:
    return "intake" if word == "intake" else "exhaust"


def _plug_holes(scenario: Scenario) -> str:
    return "other_chambers" if scenario.engine.cycle == "two-stroke" else "neighbours"


def _distinct(groups: Iterable[set[str]]) -> list[set[str]]:
    found: list[set[str]] = []
    for names in groups:
        if names not in found:
            found.append(names)
    return found
