"""Uncertainty after the GUM (JCGM 100): a value with its itemised budget.

A standard uncertainty is k = 1; an expanded one belongs to a level of confidence, and 0.9545 is what k = 2 means where degrees of
freedom abound. `core.propagation` makes budgets of functions.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Literal

from borewright.core.flow import checked

__all__ = ["LEVEL", "Budget", "Item", "Kind", "coverage_factor", "effective_dof"]

LEVEL = 0.9545
Kind = Literal["A", "B"]
_DOF_LIKE_INFINITE = 1e6  # the factor differs by a millionth


def coverage_factor(dof: float, level: float = LEVEL) -> float:
    """k by which a standard uncertainty of so many degrees of freedom is expanded: Student's t, two-sided at the level.

    dof above 0, need not be whole and may be infinite; level above 0 and under 1. Raises ValueError naming the argument. Source:
    GUM G.3; where it would cut dof to a whole number (G.4.1), t of the fraction is taken, as it allows too.

    >>> [round(coverage_factor(dof), 2) for dof in (2.0, 10.0, math.inf)]
    [4.53, 2.28, 2.0]
    """
    if not dof > 0.0:
        raise ValueError("dof: must be above 0")
    if not 0.0 < level < 1.0:
        raise ValueError("level: must be above 0 and under 1")
    if dof > _DOF_LIKE_INFINITE:
        return NormalDist().inv_cdf((1.0 + level) / 2.0)
    from scipy.special import stdtrit  # noqa: PLC0415 -- heavy

    return float(stdtrit(dof, (1.0 + level) / 2.0))


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a budget: contribution = |sensitivity|·standard uncertainty, in the unit of the result, at least 0.

    dof: degrees of freedom of that standard uncertainty. kind: A from repeated readings, B from anything else (GUM 4.2, 4.3).
    """

    name: str
    contribution: float
    dof: float = math.inf
    kind: Kind = "B"

    def __post_init__(self) -> None:
        checked("contribution", self.contribution, least=0.0)
        if not self.dof > 0.0:
            raise ValueError("dof: must be above 0")
        if self.kind not in ("A", "B"):
            raise ValueError("kind: must be A or B")


def effective_dof(items: Iterable[Item]) -> float:
    """Degrees of freedom of the root sum of squares of independent items, by Welch and Satterthwaite (GUM G.4); may be infinite.

    >>> round(effective_dof([Item("repeats", 3.0, 4.0, "A"), Item("certificate", 4.0)]), 2)
    30.86
    """
    listed = list(items)
    greatest = max((item.contribution for item in listed), default=0.0)
    if greatest == 0.0:
        return math.inf
    squares = [(item.contribution / greatest) ** 2 for item in listed]
    below = sum(square**2 / item.dof for square, item in zip(squares, listed, strict=True))
    return sum(squares) ** 2 / below if below > 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class Budget:
    """A value and what makes it uncertain; the items are independent of each other.

    >>> budget = Budget("leakage", "%", 10.0, (Item("zero", 0.03), Item("noise", 0.04, 50.0, "A")))
    >>> round(budget.standard, 4), round(budget.dof), round(budget.coverage_factor(), 2), round(budget.expanded(), 3)
    (0.05, 122, 2.02, 0.101)
    >>> Budget.from_dict(budget.as_dict()) == budget
    True
    """

    quantity: str
    unit: str
    value: float
    items: tuple[Item, ...]

    @property
    def standard(self) -> float:
        """Combined standard uncertainty (k = 1), in the unit."""
        return math.hypot(*(item.contribution for item in self.items))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom, infinite where no item has few."""
        return effective_dof(self.items)

    def coverage_factor(self, level: float = LEVEL) -> float:
        """k for this level of confidence at these degrees of freedom."""
        return coverage_factor(self.dof, level)

    def expanded(self, level: float = LEVEL) -> float:
        """Expanded uncertainty: what stands behind ±, in the unit."""
        return self.coverage_factor(level) * self.standard

    def ranked(self) -> tuple[tuple[Item, float], ...]:
        """The items, largest first, each with its share of the variance from 0 to 1.

        >>> [(item.name, round(share, 2)) for item, share in Budget("a", "m", 1.0, (Item("b", 3.0), Item("c", 4.0))).ranked()]
        [('c', 0.64), ('b', 0.36)]
        """
        standard = self.standard
        shares = ((item, (item.contribution / standard) ** 2 if standard > 0.0 else 0.0) for item in self.items)
        return tuple(sorted(shares, key=lambda pair: -pair[1]))

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON and for the record; infinite degrees of freedom are None."""
        items = [
            {
                "name": item.name,
                "contribution": item.contribution,
                "dof": None if math.isinf(item.dof) else item.dof,
                "kind": item.kind,
            }
            for item in self.items
        ]
        return {"quantity": self.quantity, "unit": self.unit, "value": self.value, "items": items}

    @classmethod
    def from_dict(cls, document: Mapping[str, Any]) -> Budget:
        """The budget of `as_dict`; further keys are let be. Raises ValueError for a document that is none."""
        try:
            items = tuple(
                Item(
                    str(item["name"]),
                    float(item["contribution"]),
                    math.inf if item["dof"] is None else float(item["dof"]),
                    item["kind"],
                )
                for item in document["items"]
            )
            return cls(str(document["quantity"]), str(document["unit"]), float(document["value"]), items)
        except (KeyError, TypeError) as error:
            raise ValueError(f"document: is no budget ({error!r})") from error
