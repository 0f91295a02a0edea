"""Which further stop-off or flow tests decide where the leak is, with the fewest readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from borewright.core.shares import ORDINARY_STOP, PlaceFlow, StopPrior, StopReading

__all__ = ["NextTest", "plan_next"]


@dataclass(frozen=True, slots=True)
class NextTest:
    """One further reading. stopped: the places to stop for it; place: the one it is about, None when it is about all of them."""

    method: Literal["stop", "open_one", "flow", "repeat"]
    place: str | None
    stopped: frozenset[str]
    words: str


def plan_next(
    places: Sequence[str],
    readings: Sequence[StopReading],
    flows: Sequence[PlaceFlow] = (),
    *,
    may_stop: frozenset[str],
    may_measure_flow: frozenset[str],
    scatter_relative: float = 0.03,
    stop: StopPrior = ORDINARY_STOP,
) -> tuple[NextTest, ...]:
    """The fewest further readings that decide."""
    raise NotImplementedError
