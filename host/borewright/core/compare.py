"""Before against after: whether a cylinder's leak has changed by more than what is known of it allows for.

A mean of repeats is uncertain by what scatters from one test to the next, and by what its tests have in common. What before and
after have in common too, such as the restrictor of the same rig, pulls both the same way and falls out of the difference, as far as
it pulls equally. What scatters is taken from the repeats of all cylinders together, as few repeats of one would say very little.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from borewright.core.flow import leak_area_m2
from borewright.core.uncertainty import LEVEL, Budget, Item, coverage_factor

__all__ = [
    "SEATING",
    "Difference",
    "Quantity",
    "Reading",
    "Scatter",
    "Verdict",
    "difference",
    "differences",
    "pooled_scatter",
    "seating_percent",
    "stated",
]

Quantity = Literal["leak area", "leakage"]
Verdict = Literal["better", "worse", "no shown difference"]
Basis = Literal["pooled", "own", "assumed"]

SEATING = 0.03
"""By what share of it a leak differs from one turning over of the crank to the next (k = 1), where no repeat shows it (common
practice, no source). Where repeats do, it is only a unit to count theirs in."""
_STANDS_APART = 0.01  # project: of a hundred honest engines, one has a set that is taken to scatter more than all the others
_LEAST_OTHERS_DOF = 4.0  # fewer say too little to find that one stands apart from them
_USUAL_PA, _AMBIENT_PA, _STEP = 551_580.6, 101_325.0, 1e-3
_HALVINGS = 40
_SCATTER = "scatter from test to test"


@dataclass(frozen=True, slots=True)
class Reading:
    """One test's value with what makes it uncertain.

    items: standard uncertainties (k = 1) in the value's unit. causes: for each item that other readings share, what it comes from:
    the same name and cause in two readings is the same error; an item that is not named here is new in each reading. seating: by
    how much the value moves where the leak changes by SEATING of itself.
    """

    value: float
    items: tuple[Item, ...]
    seating: float
    causes: Mapping[str, Hashable] = field(default_factory=dict)

    @property
    def new_variance(self) -> float:
        """What its budget lets it differ by from the next reading."""
        return math.fsum(item.contribution**2 for item in self.items if item.name not in self.causes)


@dataclass(frozen=True, slots=True)
class Scatter:
    """How much more or less leaks seat anew than by SEATING, as the repeats show it.

    ratio: of the variances, from `sets` sets of repeats with dof degrees of freedom. apart: (ratio, dof) of those sets that
    scatter more than all the others, which stand for themselves. Without any repeats, ratio is 1 and an assumption.
    """

    ratio: float = 1.0
    dof: float = math.inf
    sets: int = 0
    apart: Mapping[Hashable, tuple[float, float]] = field(default_factory=dict)

    def of(self, key: Hashable) -> tuple[float, float, Basis]:
        """What counts for one set."""
        if key in self.apart:
            return *self.apart[key], "own"
        return self.ratio, self.dof, "pooled" if self.sets else "assumed"


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity of one cylinder, before against after, in its unit (mm² or %).

    before, after: means of the tests, the one before carried over to where the one after was measured. expanded_before,
    expanded_after: of each alone, 95.45 %. change: after less before. expanded: of the change, wide enough that all `comparisons`
    hold together with 95.45 %; factor: by which its standard uncertainty was multiplied for that; dof: its effective degrees of
    freedom. verdict: better where the leak got smaller by more than expanded. basis: whose scatter it rests on: that of all
    repeats pooled, the cylinder's own because it stands apart, or assumed because nothing was repeated.
    """

    cylinder: int
    quantity: Quantity
    unit: str
    before: float
    after: float
    expanded_before: float
    expanded_after: float
    change: float
    expanded: float
    factor: float
    verdict: Verdict
    dof: float
    basis: Basis
    comparisons: int


def seating_percent(leakage_percent: float) -> float:
    """By how many points a leakage moves where the leak's area changes by SEATING of itself.

    Taken at 80 psi over a standard atmosphere, for two ideal nozzles in series: it only weighs cylinders against each other.

    >>> round(seating_percent(10.0), 2), round(seating_percent(50.0), 2), seating_percent(0.0)
    (0.55, 1.82, 0.0)
    """
    share = min(leakage_percent / 100.0, 0.99)
    if share <= 0.0:
        return 0.0
    near, far = (float(leak_area_m2(1.0, _USUAL_PA, _USUAL_PA * (1.0 - at), _AMBIENT_PA)) for at in (share, share * (1.0 - _STEP)))
    return 100.0 * share * _STEP * SEATING * near / (near - far)


@dataclass(frozen=True, slots=True)
class _Set:
    """Variances of one set of repeats: what it shows, what its readings alone explain, what SEATING adds to that."""

    shown: float
    new: float
    seating: float
    dof: float

    def against(self, ratio: float) -> float:
        """What it shows in units of what it should show."""
        return self.shown / (self.new + ratio * self.seating)


def pooled_scatter(sets: Mapping[Hashable, Sequence[Reading]]) -> Scatter:
    """The scatter of all sets of repeats together: each set is one cylinder at one stage; single readings add nothing.

    What the readings explain by themselves is taken off, and the rest is pooled as a share of each leak, so that a wide leak does
    not drown a narrow one, nor noise be taken for seating: the ratio is that at which all sets together, weighed by their degrees
    of freedom, show as much as they should (the estimating equation of Paule and Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377;
    from memory, unverified). A set that shows more than the rest by an F test stands for itself (1 %, over all sets).

    >>> three = [Reading(value, (), 0.3) for value in (9.7, 10.0, 10.3)]
    >>> pooled = pooled_scatter({"before": three, "after": [Reading(5.0, (), 0.15)]})
    >>> round(pooled.ratio, 6), pooled.dof, pooled.sets
    (1.0, 2.0, 1)
    """
    found: dict[Hashable, _Set] = {}
    for key, readings in sets.items():
        if len(readings) > 1 and (seating := _mean_of([reading.seating**2 for reading in readings])) > 0.0:
            new = _mean_of([reading.new_variance for reading in readings])
            found[key] = _Set(_variance([reading.value for reading in readings]), new, seating, len(readings) - 1.0)
    if not found:
        return Scatter()
    apart: dict[Hashable, tuple[float, float]] = {}
    while (key := _standing_apart(found)) is not None:
        alone = found.pop(key)
        apart[key] = (_ratio([alone]), alone.dof)
    return Scatter(_ratio(list(found.values())), math.fsum(one.dof for one in found.values()), len(found), apart)


def _ratio(sets: Sequence[_Set]) -> float:
    """The ratio of the seating at which the sets together show as much as they should; 0 where their readings alone explain it."""
    dof = math.fsum(one.dof for one in sets)
    low, high = 0.0, max(one.shown / one.seating for one in sets)
    if high == 0.0:
        return 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if math.fsum(one.dof * one.against(middle) for one in sets) > dof:
            low = middle
        else:
            high = middle
    return high


def _standing_apart(found: Mapping[Hashable, _Set]) -> Hashable | None:
    """The set that scatters more than the others, if one does."""
    from scipy.special import fdtrc  # noqa: PLC0415 -- heavy

    least, which = _STANDS_APART / len(found), None
    for key, one in found.items():
        others = [other for name, other in found.items() if name != key]
        dof = math.fsum(other.dof for other in others)
        if dof < _LEAST_OTHERS_DOF or (ratio := _ratio(others)) * one.seating + one.new <= 0.0:
            continue
        chance = float(fdtrc(one.dof, dof, one.against(ratio)))
        if chance < least:
            least, which = chance, key
    return which


def stated(readings: Sequence[Reading], scatter: Scatter, key: Hashable, level: float = LEVEL) -> tuple[float, float]:
    """Mean of one set of readings and its expanded uncertainty. Raises ValueError where there is none."""
    budget, spread = _mean([(readings, 1.0, key)], scatter)
    return budget.value, _expanded(budget, spread, level)


def difference(
    cylinder: int,
    quantity: Quantity,
    before: Sequence[Reading],
    after: Sequence[Reading],
    scatter: Scatter,
    *,
    keys: tuple[Hashable, Hashable] = ("before", "after"),
    comparisons: int = 1,
) -> Difference:
    """The change from one set of readings to another. keys: theirs in the scatter. comparisons: how many are made together.

    The factor is Student's t for the effective degrees of freedom (GUM G.3, G.4), for such a level that all comparisons hold
    together with 95.45 %: level^(1/comparisons) for each, which is on the safe side where they hang together (Šidák, J. Am. Stat.
    Assoc. 62 (1967) 626; from memory, unverified). Raises ValueError where a set is empty.
    """
    if comparisons < 1:
        raise ValueError("comparisons: must be at least 1")
    budget, spread = _mean([(after, 1.0, keys[1]), (before, -1.0, keys[0])], scatter)
    (mean_before, expanded_before), (mean_after, expanded_after) = (
        stated(readings, scatter, key) for readings, key in zip((before, after), keys, strict=True)
    )
    change = mean_after - mean_before
    level = LEVEL ** (1.0 / comparisons)
    expanded = _expanded(budget, spread, level)
    verdict: Verdict = "no shown difference" if abs(change) <= expanded else "better" if change < 0.0 else "worse"
    bases: set[Basis] = {scatter.of(key)[2] for key in keys}
    return Difference(
        cylinder=cylinder,
        quantity=quantity,
        unit="mm²" if quantity == "leak area" else "%",
        before=mean_before,
        after=mean_after,
        expanded_before=expanded_before,
        expanded_after=expanded_after,
        change=change,
        expanded=expanded,
        factor=expanded / budget.standard if budget.standard > 0.0 else coverage_factor(budget.dof, level),
        verdict=verdict,
        dof=budget.dof,
        basis="own" if "own" in bases else bases.pop(),
        comparisons=comparisons,
    )


def differences(
    quantity: Quantity, before: Mapping[int, Sequence[Reading]], after: Mapping[int, Sequence[Reading]]
) -> dict[int, Difference]:
    """All cylinders that have readings in both, with the scatter pooled over both and the correction for their number.

    >>> cap = {n: [Reading(area, (Item("restrictor", 0.005 * area),), 0.03 * area, {"restrictor": "the rig's"})
    ...            for area in areas] for n, areas in ((1, (1.0, 1.02, 0.98)), (2, (0.5, 0.51, 0.5)))}
    >>> cured = {1: [Reading(0.3, (Item("restrictor", 0.0015),), 0.009, {"restrictor": "the rig's"})], 2: cap[2]}
    >>> [(n, one.verdict, round(one.change, 2), round(one.expanded, 2)) for n, one in differences("leak area", cap, cured).items()]
    [(1, 'better', -0.7, 0.03), (2, 'no shown difference', 0.0, 0.02)]
    """
    both = sorted(cylinder for cylinder in set(before) & set(after) if before[cylinder] and after[cylinder])
    sets: dict[Hashable, Sequence[Reading]] = {
        (stage, cylinder): of_stage[cylinder] for stage, of_stage in (("before", before), ("after", after)) for cylinder in of_stage
    }
    scatter = pooled_scatter(sets)
    return {
        cylinder: difference(
            cylinder,
            quantity,
            before[cylinder],
            after[cylinder],
            scatter,
            keys=(("before", cylinder), ("after", cylinder)),
            comparisons=len(both),
        )
        for cylinder in both
    }


def _mean(sides: Sequence[tuple[Sequence[Reading], float, Hashable]], scatter: Scatter) -> tuple[Budget, tuple[Item, ...]]:
    """Budget of the sum of the sides' means, each with its sign, and those of its items that are scatter."""
    value = 0.0
    shared: dict[tuple[str, Hashable], tuple[float, float]] = {}
    spread: dict[tuple[float, Hashable], float] = {}
    for readings, sign, key in sides:
        count = len(readings)
        if count == 0:
            raise ValueError("readings: needs at least one")
        value += sign * _mean_of([reading.value for reading in readings])
        for reading in readings:
            for item in reading.items:
                if item.name in reading.causes:
                    cause = (item.name, reading.causes[item.name])
                    summed, dof = shared.get(cause, (0.0, math.inf))
                    shared[cause] = (summed + sign * item.contribution / count, min(dof, item.dof))
        ratio, dof, basis = scatter.of(key)
        variance = _mean_of([reading.new_variance + ratio * reading.seating**2 for reading in readings])
        source = (dof, key if basis == "own" else None)  # pooled scatter is one figure, however often it is used
        spread[source] = spread.get(source, 0.0) + variance / count
    scattered = tuple(Item(_SCATTER, math.sqrt(variance), dof, "A") for (dof, _), variance in spread.items() if variance > 0.0)
    common = tuple(Item(name, abs(summed), dof) for (name, _), (summed, dof) in shared.items())
    return Budget("change", "", value, (*common, *scattered)), scattered


def _expanded(budget: Budget, spread: Sequence[Item], level: float) -> float:
    """t of the effective degrees of freedom, and never less than the scatter with its own.

    Welch and Satterthwaite come out short by some percent of coverage where one or two degrees of freedom meet many.
    """
    alone = (coverage_factor(item.dof, level) * item.contribution for item in spread)
    return max(budget.expanded(level), *alone) if spread else budget.expanded(level)


def _mean_of(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _variance(values: Sequence[float]) -> float:
    mean = _mean_of(values)
    return math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)
