"""What to open, what to measure there and what to look at first: a reasoned list from the findings of a job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from borewright.core.engine import Engine
from borewright.core.wet import WetVerdict

if TYPE_CHECKING:
    from borewright.core.shares import Shares

__all__ = ["Advice", "CylinderEvidence", "advice_of"]

Certainty = Literal["points to", "may be", "undecided"]


@dataclass(frozen=True, slots=True)
class Advice:
    """One line of the list. cylinder: 0 for the engine. evidence: what it rests on. An aid to judgement, never an order."""

    cylinder: int
    open: str
    measure: str
    look_first: str
    evidence: tuple[str, ...]
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class CylinderEvidence:
    """What is known of one cylinder.

    leakage_percent, expanded_percent: None where not known. seals: it lies in the lowest band of the limits for certain. judged:
    the words of that. heard: strength by place. questions, contradictions: to be cleared up before anything is opened.
    further_tests: what would decide, where nothing does yet.
    """

    cylinder: int
    leakage_percent: float | None = None
    expanded_percent: float | None = None
    seals: bool = False
    judged: str = ""
    heard: Mapping[str, str] = field(default_factory=dict)
    shares: Shares | None = None
    wet: WetVerdict | None = None
    questions: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()
    further_tests: tuple[str, ...] = ()


def advice_of(engine: Engine, evidence: Sequence[CylinderEvidence], spread: str = "") -> tuple[Advice, ...]:
    """The list for all cylinders that something is known of."""
