"""Checks of the rig that take several captures, one after the other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from borewright.service.acts import BeginRound, Purpose

__all__ = ["Round"]


@dataclass(frozen=True, slots=True)
class Round:
    """A check in progress: the captures that it takes, and the point that each of those behind it gave.

    paper: as BeginRound has it.

    >>> round_ = Round((Purpose("sealed", asked_gauge_pa=2e5), Purpose("sealed", asked_gauge_pa=5e5)))
    >>> round_.awaits(Purpose("sealed", asked_gauge_pa=5e5)), round_.with_point({"tie_share": 0.0}).next_purpose.asked_gauge_pa
    (False, 500000.0)
    """

    purposes: tuple[Purpose, ...]
    paper: tuple[tuple[str, float | str], ...] = ()
    points: tuple[dict[str, Any], ...] = ()

    @classmethod
    def begun(cls, act: BeginRound) -> Round:
        """A round with nothing behind it."""
        return cls(act.purposes, act.paper)

    @property
    def next_purpose(self) -> Purpose | None:
        """What the next capture is for, None when all are behind it."""
        return self.purposes[len(self.points)] if len(self.points) < len(self.purposes) else None

    def awaits(self, purpose: Purpose) -> bool:
        """Whether a capture for this purpose is the next one."""
        return self.next_purpose == purpose

    def with_point(self, point: dict[str, Any]) -> Round:
        """The round with one more capture behind it."""
        return replace(self, points=(*self.points, point))
