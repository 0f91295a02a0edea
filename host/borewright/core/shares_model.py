"""Readings with places stopped as linear equations.

A stopped place still passes part of its flow, the same in every reading in which that stop is set. So there are two unknowns for a
place: d, what its stop holds back, and e, what passes it; the place leaks d + e. With r, what leaves at no place known, every
reading is r + all e + the d of the places that are open in it: linear, however well or badly the stops hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.not_negative import not_negative
from borewright.core.shares_data import HOLDS_NOT, PlaceFlow, StopPrior, StopReading

__all__ = ["U_GAUGE_SQUARE", "Contradiction", "StopModel", "contradiction", "stop_model"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

MOST_PLACES = 10
U_GAUGE_SQUARE = 0.01
"""Uncertainty of the square of a part passing: the share of the pressure that is lost, as two gauges show it."""
LEAST_RELATIVE = 5e-4  # of the whole leak: no reading is taken to be better than that
OTHER_FIT = 0.06
"""A stop of which the gauge shows so much more of the pressure lost than usual was fitted otherwise; less is the gauge's own
uncertainty. The pressure lost goes with the square of the part passing."""
OFTEN_LEAKING = 2  # places whose stops are fitted anew between two readings and leak a little more or less


@dataclass(frozen=True, slots=True)
class StopModel:
    """The equations in units of the whole leak, scale_m2.

    rows: coefficients of d of every place, of e of every place, and of r, last; values, sigmas: what they came to (k = 1).
    stoppable: places whose stop held in some reading, only they have an e. looked: those or with a flow. told: for those with a
    gauge the part that passed, NaN without. stop_leak: what an ordinary stop leaks.
    """

    places: tuple[str, ...]
    scale_m2: float
    rows: Floats
    values: Floats
    sigmas: Floats
    stoppable: Bools
    looked: Bools
    told: Floats
    stop_leak: float


def stop_model(
    places: Sequence[str], readings: Sequence[StopReading], flows: Sequence[PlaceFlow], scatter_relative: float, stop: StopPrior
) -> StopModel | None:
    """The equations; None when nothing was read, or nothing that leaks. Raises ValueError for places that are not there."""
    names = tuple(places)
    _refuse(names, readings, flows, scatter_relative)
    at_places = _joined(flows, scatter_relative)
    whole = [reading.leak_area_m2 for reading in readings]
    scale = max([*whole, sum(max(flow.leak_area_m2, 0.0) for flow in at_places)], default=0.0)
    if scale <= 0.0:
        return None
    told = _told(names, readings)
    stoppable = np.array([any(name in reading.held for reading in readings) for name in names], dtype=bool)
    leak = stop.leak_m2 / scale
    of_readings = np.array([_row(names, reading, told, stoppable) for reading in readings]).reshape(-1, 2 * len(names) + 1)
    read = np.array(whole) / scale
    refit = stop.refit * _passing_now(names, told, of_readings, read, min(leak, 1.0))
    own = [np.hypot(r.u_area_m2 / scale, refit * np.sqrt(min(len(r.held), OFTEN_LEAKING))) for r in readings]
    one = np.eye(len(names))
    of_flows = np.array([[*one[at := names.index(f.place)], *(one[at] * stoppable), 0.0] for f in at_places])
    return StopModel(
        names,
        scale,
        np.vstack([of_readings, of_flows.reshape(-1, 2 * len(names) + 1)]),
        np.array([*read, *(flow.leak_area_m2 / scale for flow in at_places)]),
        np.array(
            [
                *_weighed(of_readings, read, np.array(own), scatter_relative),
                *(max(flow.u_area_m2 / scale, LEAST_RELATIVE) for flow in at_places),
            ]
        ),
        stoppable,
        stoppable | np.isin(names, [flow.place for flow in at_places]),
        told,
        leak,
    )


def _refuse(names: tuple[str, ...], readings: Sequence[StopReading], flows: Sequence[PlaceFlow], scatter_relative: float) -> None:
    if len(set(names)) != len(names) or len(names) > MOST_PLACES:
        raise ValueError(f"places: must be at most {MOST_PLACES}, each named once")
    if not 0.0 <= scatter_relative < 1.0:
        raise ValueError("scatter_relative: must be from 0 to under 1")
    unknown = {place for reading in readings for place in reading.stopped} | {flow.place for flow in flows}
    if not unknown <= set(names):
        raise ValueError(f"places: {', '.join(sorted(unknown - set(names)))} is not among the places of this cylinder")


def _joined(flows: Sequence[PlaceFlow], scatter_relative: float) -> list[PlaceFlow]:
    """One for each place: the weighted mean, each with the scatter of its visit."""
    joined = []
    for place in dict.fromkeys(flow.place for flow in flows):
        mine = [flow for flow in flows if flow.place == place]
        centre = float(np.median([flow.leak_area_m2 for flow in mine]))
        variances = np.array([max(flow.u_area_m2**2 + (scatter_relative * centre) ** 2, 1e-30) for flow in mine])
        mean = float(np.sum(np.array([flow.leak_area_m2 for flow in mine]) / variances) / np.sum(1.0 / variances))
        joined.append(PlaceFlow(place, mean, float(np.sum(1.0 / variances) ** -0.5)))
    return joined


def _told(names: tuple[str, ...], readings: Sequence[StopReading]) -> Floats:
    """What the gauges showed to pass at each place, the median of the stops that held; NaN where none told."""
    parts = [[r.passing[name] for r in readings if r.passing.get(name, HOLDS_NOT) < HOLDS_NOT] for name in names]
    return np.array([float(np.median(each)) if each else np.nan for each in parts])


def _row(names: tuple[str, ...], reading: StopReading, told: Floats, stoppable: Bools) -> list[float]:
    """1 for open places; a stop that passed clearly more than this place's stop usually did leaves part of what that holds back."""
    row = []
    for at, name in enumerate(names):
        part = reading.passing.get(name, told[at])
        if name not in reading.held:
            row.append(1.0)
        else:
            other = part**2 - told[at] ** 2 > OTHER_FIT
            row.append(float((part - told[at]) / (1.0 - told[at])) if other else 0.0)
    return [*row, *(1.0 if can else 0.0 for can in stoppable), 1.0]


def _passing_now(names: tuple[str, ...], told: Floats, rows: Floats, read: Floats, usual: float) -> float:
    """What passes a stop here, by its gauge if that clearly tells more than the usual, in units of the whole leak."""
    if not read.size or np.all(np.isnan(told)):
        return usual
    held_back = not_negative(rows, read)[0][: len(names)]
    part = np.sqrt(np.maximum(np.nan_to_num(told) ** 2 - 2.0 * U_GAUGE_SQUARE, 0.0))
    return max(usual, float(np.max(held_back * part / (1.0 - part))))


def _weighed(rows: Floats, values: Floats, own: Floats, scatter_relative: float) -> Floats:
    """With the scatter of a visit, which is relative to the reading as it ought to be, not only as it fell out."""
    if not values.size:
        return values
    sigmas = np.sqrt(own**2 + (scatter_relative * values) ** 2 + LEAST_RELATIVE**2)
    solution, _ = not_negative(rows / sigmas[:, None], values / sigmas)
    ought = 0.5 * (rows @ solution + values)
    return np.asarray(np.sqrt(own**2 + (scatter_relative * ought) ** 2 + LEAST_RELATIVE**2))


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Readings that no leak with no stops of any kind explains: chi-square, its degrees of freedom, the chance of as much."""

    chi_square: float
    dof: int
    chance: float
    worst: int


def contradiction(model: StopModel) -> Contradiction:
    """The least squares of what cannot be negative, and how badly it fits; worst is the row that is farthest off.

    Degrees of freedom are counted on the face of the cone that the solution lies on.
    """
    from scipy.special import gammaincc  # noqa: PLC0415 -- heavy

    solution, rest = not_negative(model.rows / model.sigmas[:, None], model.values / model.sigmas)
    inside = model.rows[:, solution > 0.0]
    rank = int(np.linalg.matrix_rank(inside)) if inside.size else 0
    dof = model.values.size - rank
    chance = float(gammaincc(dof / 2.0, float(rest) ** 2 / 2.0)) if dof > 0 else 1.0
    worst = int(np.argmax(np.abs(model.rows @ solution - model.values) / model.sigmas))
    return Contradiction(float(rest**2), dof, chance, worst)
