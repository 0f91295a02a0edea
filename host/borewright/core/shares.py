"""How a cylinder's leak is shared among the places where air can leave: readings with places stopped, and flows at places.

Leak areas in parallel add. What a stop takes away is read from differences; a stop leaks in itself, and what it leaves open
cannot be told from a leak at a place that nobody stopped, unless a gauge on it tells. So shares come with intervals, with a rest
that is nobody's, and with a word on whether they decide. `core.shares_posterior` says how they are found.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from borewright.core.shares_data import HOLDS_NOT, ORDINARY_STOP, PlaceFlow, Share, Shares, StopPrior, StopReading
from borewright.core.shares_model import StopModel, contradiction, stop_model
from borewright.core.shares_posterior import Draws, draw_shares
from borewright.core.shares_words import Verdict, words_of

__all__ = ["HOLDS_NOT", "ORDINARY_STOP", "PlaceFlow", "Share", "Shares", "StopPrior", "StopReading", "leak_shares"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

UNATTRIBUTED = "unattributed"
SURE, LEAD = 0.98, 1.9
"""Chance that the main place is the main one, from which it is called decided, and its least lead over the next in standard
deviations. Few engines are that near to the edge: of all that are decided, fewer than one in 500 may be wrong."""
CONTRADICTED = 1e-3
LEAST_DRAWS = 100.0
"""Draws that the weighted ones must be worth: of fewer, a small chance of the contrary is not seen."""
OUTSIDE = 0.05


def leak_shares(
    places: Sequence[str],
    readings: Sequence[StopReading],
    flows: Sequence[PlaceFlow] = (),
    *,
    scatter_relative: float = 0.03,
    stop: StopPrior = ORDINARY_STOP,
) -> Shares:
    """The leak of a cylinder shared among its places, each with a 95 % interval, the unattributed rest, and whether it decides.

    scatter_relative: repeat scatter of a reading (turn over, come back), k = 1, beside each reading's own uncertainty. A percentage
    is the mean of what the readings leave possible, so all of them add up to 100. It decides when the main place leaks more than
    any other, and more than the whole rest, with a chance of at least `SURE`, and no reading contradicts the others. Raises
    ValueError for a place that is not among places, for more than ten, or for a number that is none.

    >>> five = frozenset({"intake", "exhaust", "breather"})
    >>> read = [StopReading(five - {place}, area * 1e-6, 0.004e-6) for place, area in
    ...         (("intake", 0.06), ("exhaust", 0.40), ("breather", 0.16))] + [StopReading(five, 0.055e-6, 0.001e-6)]
    >>> found = leak_shares(["intake", "exhaust", "breather", "outside"], read)
    >>> found.main, found.decided, [share.place for share in found.shares if share.low_percent > 0.0]
    ('exhaust', True, ['exhaust', 'breather'])
    """
    names = tuple(places)
    model = stop_model(names, readings, flows, scatter_relative, stop)
    if model is None or not leaks_at_all(readings, flows):
        return _nothing(names, bool(readings or flows))
    return shares_of(model, draw_shares(model, stop))


def shares_of(model: StopModel, draws: Draws) -> Shares:
    """The same from equations and draws that are there already."""
    names = model.places
    attributed = draws.areas[:, :-1] * model.looked
    areas = np.column_stack([attributed, draws.areas[:, -1] + (draws.areas[:, :-1] * ~model.looked).sum(axis=1)])
    faint = np.column_stack([draws.faint[:, :-1], draws.faint[:, -1] & draws.faint[:, :-1][:, ~model.looked].all(axis=1)])
    parts = 100.0 * areas / areas.sum(axis=1, keepdims=True)
    alone: list[Bools] = [np.asarray(np.delete(faint, k, axis=1).all(axis=1), dtype=bool) for k in range(faint.shape[1])]
    high_rest = _interval(parts[:, -1], draws.weights, faint[:, -1], alone[-1])[1]
    found = []
    for k, name in enumerate((*names, UNATTRIBUTED)):
        if k < len(names) and not model.looked[k]:
            found.append(Share(name, 0.0, 0.0, high_rest, 0.0, looked_at=False))
            continue
        low, high = _interval(parts[:, k], draws.weights, faint[:, k], alone[k])
        percent = min(100.0, float(draws.weights @ parts[:, k]))  # weights that sum to one but for rounding
        area = float(draws.weights @ areas[:, k]) * model.scale_m2
        found.append(Share(name, percent, min(low, percent), max(high, percent), area))
    leading = int(np.argmax([share.percent for share in found]))
    others = np.delete(areas, leading, axis=1).max(axis=1)
    lead = areas[:, leading] - others
    chance = float(draws.weights @ (lead > 0.0))
    mean = float(draws.weights @ lead)
    sure = chance >= SURE and mean >= LEAD * float(np.sqrt(draws.weights @ (lead - mean) ** 2))
    against = contradiction(model)
    verdict = Verdict(
        tuple(found[:-1]), found[-1], None if leading == len(names) else names[leading], chance, against.chance < CONTRADICTED
    )
    decided = verdict.main is not None and sure and not verdict.contradicted and draws.effective >= LEAST_DRAWS
    return Shares(verdict.shares, verdict.rest, decided, verdict.main, words_of(verdict, decided))


def leaks_at_all(readings: Sequence[StopReading], flows: Sequence[PlaceFlow]) -> bool:
    """Whether any reading is more than its own uncertainty."""
    return any(
        area > 2.0 * u
        for area, u in [(r.leak_area_m2, r.u_area_m2) for r in readings] + [(f.leak_area_m2, f.u_area_m2) for f in flows]
    )


def _nothing(names: tuple[str, ...], was_read: bool) -> Shares:
    words = (
        "There is no leak to share: every reading is within its uncertainty of none."
        if was_read
        else "Nothing was read yet: take a plain test first."
    )
    return Shares(
        tuple(Share(name, 0.0, 0.0, 100.0, 0.0, looked_at=False) for name in names),
        Share(UNATTRIBUTED, 0.0, 0.0, 100.0, 0.0, looked_at=False),
        decided=False,
        main=None,
        words=words,
    )


def _interval(part: Floats, weights: Floats, faint: Bools, alone: Bools) -> tuple[float, float]:
    """95 % of the draws: from zero where it may be next to nothing, up to 100 where it may be alone, else the middle ones."""
    order = np.argsort(part)
    steps = np.cumsum(weights[order])
    from_zero, to_all = float(weights @ faint) > OUTSIDE, float(weights @ alone) > OUTSIDE
    below = 0.0 if from_zero else OUTSIDE if to_all else OUTSIDE / 2.0
    above = 0.0 if to_all else OUTSIDE if from_zero else OUTSIDE / 2.0
    low, high = (float(part[order[min(int(np.searchsorted(steps, level)), len(part) - 1)]]) for level in (below, 1.0 - above))
    return (0.0 if from_zero else low), (100.0 if to_all else high)
