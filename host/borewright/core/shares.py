"""How a cylinder's leak is shared among the places where air can leave: readings with places stopped, and flows at places.

Leak areas in parallel add. What a stop takes away is read from differences; a stop leaks in itself, and what it leaves open
cannot be told from a leak at a place that nobody stopped, unless a gauge on it tells. So shares come with intervals, with a rest
that is nobody's, and with a word on whether they decide. `core.shares_posterior` says how they are found.
"""

from __future__ import annotations

from collections.abc import Sequence

from borewright.core.shares_data import HOLDS_NOT, ORDINARY_STOP, PlaceFlow, Share, Shares, StopPrior, StopReading

__all__ = ["HOLDS_NOT", "ORDINARY_STOP", "PlaceFlow", "Share", "Shares", "StopPrior", "StopReading", "leak_shares"]


def leak_shares(
    places: Sequence[str],
    readings: Sequence[StopReading],
    flows: Sequence[PlaceFlow] = (),
    *,
    scatter_relative: float = 0.03,
    stop: StopPrior = ORDINARY_STOP,
) -> Shares:
    """The leak shared among places."""
    raise NotImplementedError
