"""Cylinders that leak at two or three places, and what a person reads of them with stops and orifices, by the simulator's own gas.

What the host knows is the readings alone, each off by its own uncertainty and by the scatter of turning over and coming back.
Used by scripts in tests/bench, which have this folder beside them on sys.path, and by a test of core.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from boresim.gas import nozzle_flow_kg_s, series_flow_kg_s
from borewright.core.shares import PlaceFlow, Share, Shares, StopReading
from borewright.core.shares_plan import plan_next
from borewright.core.stop_passing import passing_of_gauge, place_flow

__all__ = ["Leaky", "Person", "draw_leaky", "judged", "take_all", "take_planned"]

MM2 = 1e-6
P_AMBIENT, T_AIR = 101_325.0, 293.15
READING, SCATTER = 0.01, 0.03
LEAK_MM2 = (0.1, 1.5)  # alone it reads 0.4 to 46 % with a restrictor of 0.040 in at 80 psi
STOP_MM2, STOP_SPREAD, REFIT = 0.03, 0.4, 0.1
OTHER_VALVES_MM2 = 120.0  # at the far end of a shared pipe
PLACES = {
    "liquid-cooled four-stroke": ("intake", "exhaust", "breather", "coolant", "neighbours", "outside"),
    "air-cooled four-stroke": ("intake", "exhaust", "breather", "neighbours", "outside"),
    "liquid-cooled two-stroke": ("exhaust_port", "crankcase", "other_chambers", "coolant", "outside"),
}
ORIFICES_MM2 = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
U_ORIFICE = 0.01
AIM_PA = 2_000.0  # back-pressure that the orifice is chosen for
U_PLACE_PA, U_PLACE_RELATIVE = 5.0, 0.005
U_GAUGE_RELATIVE = 0.01  # of the cylinder's pressure, a gauge on a stop
FLOW_GAUGE_PA = 400e3
RELIEF_PA = 20e3
MOST_READINGS = 30


@dataclass(frozen=True, slots=True)
class Leaky:
    """The truth: areas of the places in mm², what the stop of each leaves open, and the cylinder's pressure in stop-off tests."""

    areas_mm2: Mapping[str, float]
    stops_mm2: Mapping[str, float]
    stop_gauge_pa: float

    @property
    def whole_mm2(self) -> float:
        """The whole leak."""
        return sum(self.areas_mm2.values())

    @property
    def main(self) -> str:
        """Where it leaks most."""
        return max(self.areas_mm2, key=lambda place: self.areas_mm2[place])

    def share(self, place: str) -> float:
        """Percent."""
        return 100.0 * self.areas_mm2[place] / self.whole_mm2


def draw_leaky(
    random: np.random.Generator, *, stop_mm2: float = STOP_MM2, shared: float = 0.0, leak_mm2: tuple[float, float] = LEAK_MM2
) -> Leaky:
    """One cylinder: two or three leaking places of any engine, other places tight.

    stop_mm2: what stops leak, in the middle; shared: chance that the pipes of intake and exhaust are shared with other cylinders.
    """
    places = PLACES[list(PLACES)[random.integers(len(PLACES))]]
    count = int(random.integers(2, 4))
    leaks = random.choice(len(places), count, replace=False)
    areas = dict.fromkeys(places, 0.0)
    for at in leaks:
        areas[places[at]] = float(np.exp(random.uniform(*np.log(leak_mm2))))
    stops = {place: stop_mm2 * float(np.exp(random.normal(0.0, STOP_SPREAD))) for place in places}
    if random.random() < shared:
        for place in ("intake", "exhaust"):
            if place in stops:
                stops[place] += OTHER_VALVES_MM2
    return Leaky(areas, stops, float(np.exp(random.uniform(np.log(4e3), np.log(20e3)))))


@dataclass
class Person:
    """Who stops places and reads; counts the readings. gauges: whether what a stop's gauge shows is told."""

    engine: Leaky
    random: np.random.Generator
    gauges: bool = True
    stop_gauge_pa: float = 0.0
    readings: list[StopReading] = field(default_factory=list)
    flows: list[PlaceFlow] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.stop_gauge_pa = self.stop_gauge_pa or self.engine.stop_gauge_pa

    @property
    def count(self) -> int:
        """Readings taken."""
        return len(self.readings) + len(self.flows)

    def read(self, stopped: frozenset[str]) -> None:
        """Stops these places, turns over, comes back, reads; a relief on a stop opens at its limit."""
        p_up = P_AMBIENT + self.stop_gauge_pa
        flow, passing = 0.0, {}
        for place, area in self.engine.areas_mm2.items():
            if place not in stopped:
                flow += nozzle_flow_kg_s(area * MM2, p_up, P_AMBIENT, T_AIR)
                continue
            left = self.engine.stops_mm2[place] * float(np.exp(self.random.normal(0.0, REFIT)))
            through, p_place = series_flow_kg_s(area * MM2, left * MM2, p_up, P_AMBIENT, T_AIR)
            if p_place > P_AMBIENT + RELIEF_PA:
                p_place = P_AMBIENT + RELIEF_PA
                through = nozzle_flow_kg_s(area * MM2, p_up, p_place, T_AIR)
            flow += through
            if self.gauges:
                shown = p_place - P_AMBIENT + U_GAUGE_RELATIVE * self.stop_gauge_pa * self.random.normal()
                part = passing_of_gauge(self.stop_gauge_pa, shown, P_AMBIENT)
                if part is not None:
                    passing[place] = part
        true_m2 = flow / nozzle_flow_kg_s(1.0, p_up, P_AMBIENT, T_AIR)
        read_m2 = true_m2 * (1.0 + SCATTER * self.random.normal()) * (1.0 + READING * self.random.normal())
        self.readings.append(StopReading(frozenset(stopped), read_m2, READING * read_m2, passing))

    def measure_flow(self, place: str) -> None:
        """Lets the place's flow out through the orifice that brings it nearest to a good back-pressure."""
        p_up = P_AMBIENT + FLOW_GAUGE_PA
        area = self.engine.areas_mm2[place] * (1.0 + SCATTER * self.random.normal())

        def behind(orifice: float) -> float:
            return series_flow_kg_s(area * MM2, orifice * MM2, p_up, P_AMBIENT, T_AIR)[1] - P_AMBIENT

        orifice = min(ORIFICES_MM2, key=lambda each: abs(np.log(max(behind(each), 1.0) / AIM_PA)))
        gauge = behind(orifice)
        u_gauge = float(np.hypot(U_PLACE_PA, U_PLACE_RELATIVE * gauge))
        detail = {
            "orifice_area_m2": orifice * MM2 * (1.0 + U_ORIFICE * self.random.normal()),
            "u_orifice_relative": U_ORIFICE,
            "p_place_gauge_pa": gauge + u_gauge * self.random.normal(),
            "u_p_place_pa": u_gauge,
            "p_cylinder_gauge_pa": FLOW_GAUGE_PA,
        }
        self.flows.append(place_flow(place, detail, p_ambient_abs_pa=P_AMBIENT, u_t_k=0.0))


def take_all(person: Person, way: str) -> None:
    """A fixed list: one stop at a time (19 readings of six places), all stopped and one opened, an orifice at every place."""
    places = list(person.engine.areas_mm2)
    every = frozenset(places)
    if way == "one":
        for _ in range(7):
            person.read(frozenset())
        for place in places * 2:
            person.read(frozenset({place}))
    elif way == "open":
        person.read(every)
        for place in places:
            person.read(every - {place})
    else:
        person.read(frozenset())
        for place in places:
            person.measure_flow(place)


def take_planned(person: Person) -> None:
    """What the planner asks for, where stops are safe at six places of ten and orifices at most of the others."""
    places, random = list(person.engine.areas_mm2), person.random
    may_stop = frozenset(place for place in places if random.random() < 0.6)
    may_measure_flow = frozenset(place for place in places if random.random() < (0.4 if place in may_stop else 0.9))
    while person.count < MOST_READINGS:
        plan = plan_next(places, person.readings, person.flows, may_stop=may_stop, may_measure_flow=may_measure_flow)
        if not plan:
            return
        now = plan[0]
        if now.flow_at is not None:
            person.measure_flow(now.flow_at)
        else:
            person.read(now.stopped)


def judged(engine: Leaky, found: Shares) -> dict[str, Any]:
    """The shares against the truth; a place that was not looked at belongs to the rest."""
    rest = sum(engine.share(share.place) for share in found.shares if not share.looked_at)
    errors = [abs(share.percent - engine.share(share.place)) for share in found.shares if share.looked_at]
    held = {share.place: _holds(share, engine.share(share.place)) for share in found.shares}
    return {
        "error": max([*errors, abs(found.unattributed.percent - rest)]),
        "decided": found.decided,
        "wrong": found.decided and found.main != engine.main,
        "contradicted": "contradict" in found.words,
        "leaking": [held[place] for place in held if engine.areas_mm2[place] > 0.0],
        "tight": [held[place] for place in held if engine.areas_mm2[place] == 0.0],
        "rest": _holds(found.unattributed, rest),
    }


def _holds(share: Share, percent: float) -> bool:
    return share.low_percent - 1e-6 <= percent <= share.high_percent + 1e-6
