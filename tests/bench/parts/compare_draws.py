"""Pairs of jobs as a shop might have them: what a rig gets wrong alike or anew, and a leak that seats anew each time.

Drawn in leak area and read as leakage through two nozzles in series, apart from the weights that core.compare pools by.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from borewright.core.compare import SEATING, Reading, seating_percent
from borewright.core.flow import leakage_percent_of_area
from borewright.core.uncertainty import Item

RESTRICTOR_M2, REGULATED_PA, AMBIENT_PA = 8.107e-7, 551_580.6, 101_325.0
Random = np.random.Generator

# standard uncertainties of the reference rig, from its budgets: in points of leakage, and in shares of the leak area
U_POINTS = {"noise of the readings": 0.02, "drift of the zeros since venting": 0.02, "tie of the two transducers": 0.015}
U_SHARES = {
    "restrictor": 0.005,
    "ambient pressure": 0.0003,
    "temperature of the supplied air": 0.0026,
    "temperature of the cylinder": 0.003,
}
NEW = frozenset({"noise of the readings", "drift of the zeros since venting"})
OF_RIG = frozenset({"tie of the two transducers", "restrictor"})


def _own(random: Random, share: float) -> Callable[[], float]:
    own = share * float(np.exp(0.35 * random.standard_normal()))
    return lambda: own * random.standard_normal()


SCATTERS: dict[str, Callable[[Random, float], Callable[[], float]]] = {
    "normal": lambda random, share: lambda: share * random.standard_normal(),
    "long tails": lambda random, share: lambda: share * random.standard_t(5.0) / np.sqrt(5.0 / 3.0),
    "each cylinder its own": _own,
}


@dataclass(frozen=True)
class Plan:
    """What is drawn. tests: of each cylinder at each stage, 0: from one to five, each cylinder by itself at each stage."""

    tests: int
    share: float = SEATING
    law: str = "normal"


@dataclass(frozen=True)
class Pair:
    """One engine before and after. true_mm2: leak area of each cylinder before; same_rig: at both stages."""

    true_mm2: Mapping[int, float]
    tests: tuple[Mapping[int, int], Mapping[int, int]]
    same_rig: bool


def draw_pair(random: Random, plan: Plan) -> Pair:
    """4, 6 or 8 cylinders of 0.1 to 2 mm²; three in four are measured with the same rig again."""
    cylinders = range(1, int(random.choice([4, 6, 8])) + 1)
    areas = {cylinder: float(np.exp(random.uniform(np.log(0.1), np.log(2.0)))) for cylinder in cylinders}
    before, after = ({cylinder: plan.tests or int(random.integers(1, 6)) for cylinder in cylinders} for _ in range(2))
    return Pair(areas, (before, after), bool(random.random() < 0.75))


def causes(stage: int, cylinder: int, same_rig: bool) -> dict[str, Hashable]:
    """What each item that is not new comes from."""
    rig = "the rig" if same_rig else f"rig {stage}"
    return {name: rig if name in OF_RIG else (stage, cylinder) for name in (*U_POINTS, *U_SHARES) if name not in NEW}


_LN_MM2 = np.linspace(np.log(1e-4), np.log(100.0), 4000)
_LN_PERCENT = np.log(leakage_percent_of_area(np.exp(_LN_MM2) * 1e-6, RESTRICTOR_M2, REGULATED_PA, AMBIENT_PA))


def percent_of(area_mm2: float) -> float:
    """Leakage in percent on the reference rig, from a table of the true function."""
    return float(np.exp(np.interp(np.log(area_mm2), _LN_MM2, _LN_PERCENT)))


@cache
def items_of(area_mm2: float, quantity: str) -> tuple[tuple[Item, ...], float]:
    """The budget of a leak as the rig would keep it, and by how many points its leakage moves with a mm²."""
    points_per_mm2 = (percent_of(area_mm2 * 1.02) - percent_of(area_mm2)) / (0.02 * area_mm2)
    if quantity == "leakage":
        return tuple(Item(name, u) for name, u in U_POINTS.items()), points_per_mm2
    of_points = (Item(name, u / points_per_mm2) for name, u in U_POINTS.items())
    return (*of_points, *(Item(name, u * area_mm2) for name, u in U_SHARES.items())), points_per_mm2


def reading_of(
    area_mm2: float, quantity: str, error: Callable[[str], float], cause: Mapping[str, Hashable], seat: float = 1.0
) -> Reading:
    """What the rig says of a leak. error: of each item, in standard uncertainties; seat: by what the leak is larger this time."""
    items, points_per_mm2 = items_of(area_mm2, quantity)
    points = sum(u * error(name) for name, u in U_POINTS.items())
    if quantity == "leakage":
        leakage = percent_of(area_mm2 * seat)
        return Reading(leakage + points, items, seating_percent(leakage), cause)
    read = area_mm2 * seat * (1.0 + sum(u * error(name) for name, u in U_SHARES.items())) + points / points_per_mm2
    return Reading(read, items, SEATING * max(read, 0.0), cause)


def draw_stage(
    random: Random,
    pair: Pair,
    plan: Plan,
    stage: int,
    areas_mm2: Mapping[int, float],
    quantity: str,
    of_rig: Mapping[Hashable, float],
) -> dict[int, list[Reading]]:
    """The tests of one stage. of_rig: errors by (item, cause) that were drawn already; those of this stage are added."""
    drawn = dict(of_rig)
    readings: dict[int, list[Reading]] = {}
    for cylinder, area in areas_mm2.items():
        cause = causes(stage, cylinder, pair.same_rig)
        seats = SCATTERS[plan.law](random, plan.share)

        def error(name: str, cause: Mapping[str, Hashable] = cause) -> float:
            if name in NEW:
                return float(random.standard_normal())
            return drawn.setdefault((name, cause[name]), float(random.standard_normal()))

        readings[cylinder] = [
            reading_of(area, quantity, error, cause, max(1.0 + seats(), 0.01)) for _ in range(pair.tests[stage][cylinder])
        ]
    return readings


def rig_errors(random: Random) -> dict[Hashable, float]:
    """The errors of a rig that is used at both stages."""
    return {(name, "the rig"): float(random.standard_normal()) for name in OF_RIG}
