"""Several captures of one cylinder, the crank turned over between them: their mean, and how well it is known.

A budget speaks for one capture and cannot show what changes from one seating of the rings and valves to the next; the scatter of
repeats shows that, and is blind to what all of them have in common. So both are computed and the larger is stated.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from borewright.core.uncertainty import LEVEL, Budget, Item, coverage_factor, effective_dof

__all__ = ["SCATTER", "Repeats", "repeats_of"]

SCATTER = "scatter of the repeats"
_DOUBT = 0.01  # project: one honest set of repeats in a hundred is doubted for scattering too much, one for too little

Governed = Literal["scatter", "budget"]
Agreement = Literal["agree", "scatter is larger", "scatter is smaller", "not tested"]


@dataclass(frozen=True, slots=True)
class Repeats:
    """What repeats of one quantity say of it.

    values: as they were given. scatter: standard deviation of a single one, None for one value. by_budget: the mean with the
    budgets of all; by_scatter: the mean with what all have in common and the scatter instead of what repeats, None for one value.
    agreement: of the scatter with what the budgets say repeats independently; chance: how likely a scatter as far off as this is,
    None where it was not tested.
    """

    values: tuple[float, ...]
    scatter: float | None
    by_budget: Budget
    by_scatter: Budget | None
    agreement: Agreement
    chance: float | None

    @property
    def mean(self) -> float:
        """Mean of the values."""
        return self.by_budget.value

    def governed(self, level: float = LEVEL) -> Governed:
        """Which of the two is the larger at this level, and so is stated."""
        return "scatter" if self._scatter_expanded(level) > self.by_budget.expanded(level) else "budget"

    def expanded(self, level: float = LEVEL) -> float:
        """Stated expanded uncertainty of the mean: the larger of scatter and budget, never under t·scatter/√count."""
        return max(self._scatter_expanded(level), self.by_budget.expanded(level))

    def budget(self, level: float = LEVEL) -> Budget:
        """The budget of the one that governs."""
        return self.by_budget if self.by_scatter is None or self.governed(level) == "budget" else self.by_scatter

    def _scatter_expanded(self, level: float) -> float:
        if self.scatter is None or self.by_scatter is None:
            return 0.0
        # Welch and Satterthwaite come out short by some percent of coverage where one or two degrees of freedom meet many; t alone
        # does not
        count = len(self.values)
        return max(self.by_scatter.expanded(level), coverage_factor(count - 1, level) * self.scatter / math.sqrt(count))

    def words(self) -> str:
        """Whether scatter and budget agree, in a sentence; empty where that was not or could not be asked."""
        if self.agreement == "scatter is larger":
            return (
                "the repeats scatter more than their budgets explain: the leak itself changed between them, or the rig did; "
                "look at hose, adapter and TDC and repeat"
            )
        if self.agreement == "scatter is smaller":
            return (
                "the repeats scatter less than their budgets allow: turn the crank over between them, or the noise was overstated"
            )
        return ""

    def as_dict(self, level: float = LEVEL) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "values": list(self.values),
            "mean": self.mean,
            "scatter": self.scatter,
            "expanded": self.expanded(level),
            "level": level,
            "governed": self.governed(level),
            "agreement": self.agreement,
            "chance": self.chance,
            "budget": self.budget(level).as_dict(),
        }


def repeats_of(budgets: Sequence[Budget], independent: Collection[str] | None = None) -> Repeats:
    """The repeats of one quantity of one cylinder at one stage, each given as its value with its budget.

    independent: names of the items that are new in each repeat; None: those of kind A. All others are common to the repeats and
    average nothing away. Only budgets of the same quantity in the same unit go together: ValueError otherwise, as for none at all.
    That they are of one cylinder, one stage, one rig and complete is the caller's to see to. A budget without items is a value
    whose uncertainty nobody kept: then only the scatter speaks, and all must be without (ValueError).

    The scatter is held against what is independent by a chi-square test (an F test where that has few degrees of freedom), 1 % on
    each side. Source: GUM 4.2 and G.3 for the t-factor of few; the larger of the two is a rule of this project.

    >>> three = [Budget("leakage", "%", value, (Item("zero", 0.05), Item("noise", 0.02, 40.0, "A"))) for value in (9.8, 10.0, 10.4)]
    >>> repeats = repeats_of(three)
    >>> round(repeats.mean, 2), round(repeats.scatter, 3), round(repeats.expanded(), 2), repeats.governed(), repeats.agreement
    (10.07, 0.306, 0.8, 'scatter', 'scatter is larger')
    """
    if not budgets:
        raise ValueError("budgets: needs at least one")
    if len({(budget.quantity, budget.unit) for budget in budgets}) != 1:
        raise ValueError("budgets: must all be of one quantity in one unit")
    if len({bool(budget.items) for budget in budgets}) != 1:
        raise ValueError("budgets: must all have items or all have none")
    count = len(budgets)
    values = tuple(budget.value for budget in budgets)
    first, mean = budgets[0], math.fsum(values) / count
    common = _common([[item for item in budget.items if not _is_new(item, independent)] for budget in budgets])
    new = _new([[item for item in budget.items if _is_new(item, independent)] for budget in budgets])
    by_budget = Budget(first.quantity, first.unit, mean, (*common, *new))
    if count == 1:
        return Repeats(values, None, by_budget, None, "not tested", None)
    scatter = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (count - 1))
    shown = Item(SCATTER, scatter / math.sqrt(count), count - 1.0, "A")
    by_scatter = Budget(first.quantity, first.unit, mean, (*common, shown))
    agreement, chance = _agreement(scatter, count, new)
    return Repeats(values, scatter, by_budget, by_scatter, agreement, chance)


def _is_new(item: Item, independent: Collection[str] | None) -> bool:
    return item.kind == "A" if independent is None else item.name in independent


def _common(parts: Sequence[Sequence[Item]]) -> list[Item]:
    """What pulls all repeats the same way: in the mean it is the mean of the contributions."""
    return [
        Item(name, math.fsum(item.contribution for item in items) / len(parts), min(item.dof for item in items), items[0].kind)
        for name, items in _by_name(parts).items()
    ]


def _new(parts: Sequence[Sequence[Item]]) -> list[Item]:
    """What is new in each repeat: in the mean, the root of the sum of squares over their count."""
    return [
        Item(name, math.hypot(*(item.contribution for item in items)) / len(parts), effective_dof(items), items[0].kind)
        for name, items in _by_name(parts).items()
    ]


def _by_name(parts: Sequence[Sequence[Item]]) -> dict[str, list[Item]]:
    found: dict[str, list[Item]] = {}
    for part in parts:
        for item in part:
            found.setdefault(item.name, []).append(item)
    return found


def _agreement(scatter: float, count: int, new: Sequence[Item]) -> tuple[Agreement, float | None]:
    """Scatter beside what the budgets let repeats scatter by, and the chance of that."""
    expected = math.hypot(*(item.contribution for item in new)) * math.sqrt(count)
    if expected == 0.0:
        return "not tested", None
    from scipy.special import chdtr, chdtrc, fdtr, fdtrc  # noqa: PLC0415 -- heavy

    dof, ratio = effective_dof(new), (scatter / expected) ** 2
    if math.isinf(dof):
        under, over = chdtr(count - 1, (count - 1) * ratio), chdtrc(count - 1, (count - 1) * ratio)
    else:
        under, over = fdtr(count - 1, dof, ratio), fdtrc(count - 1, dof, ratio)
    chance = float(min(under, over))
    if chance >= _DOUBT:
        return "agree", chance
    return ("scatter is larger" if over < under else "scatter is smaller"), chance
