"""Before against after: whether a cylinder's leak has changed by more than what is known of it allows for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Difference", "Verdict"]

Verdict = Literal["better", "worse", "no shown difference"]


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity of one cylinder, before against after, in its unit (mm² or %).

    before, after: means of the tests, the one before carried over to where the one after was measured. expanded_before,
    expanded_after: of each alone, 95.45 %. change: after less before. expanded: of the change, wide enough that all cylinders
    together hold with 95.45 %; factor: by which its standard uncertainty was multiplied for that, dof: with so many effective
    degrees of freedom. verdict: better where the leak got smaller by more than expanded.
    """

    cylinder: int
    quantity: Literal["leak area", "leakage"]
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
