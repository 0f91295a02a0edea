"""Which further stop-off or flow tests decide where the leak is, with the fewest readings.

Of all tests that are safe on this engine the one comes next that takes most doubt from who leads: how much, the draws of
`core.shares_posterior` say, by how the reading would go with the lead of each place over each other. Then the next, with that one
taken as read. A straight line through the draws is enough to choose by; what comes out is asked again after every reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt

from borewright.core.shares import CONTRADICTED, leaks_at_all, shares_of
from borewright.core.shares_data import ORDINARY_STOP, PlaceFlow, StopPrior, StopReading
from borewright.core.shares_model import StopModel, contradiction, stop_model
from borewright.core.shares_posterior import Draws, draw_shares

__all__ = ["MOST_AHEAD", "NextTest", "plan_next"]

Floats = npt.NDArray[np.float64]

MOST_AHEAD = 12
"""A person is not asked for more readings than that; places that are not told apart by then leak about alike."""
U_READING = 0.015  # relative, of a reading not taken yet
TELLS = 2.6  # standard deviations of a lead that decide
LEAST_CHANCE = 2e-3  # of leading, for a place to be worth a test


@dataclass(frozen=True, slots=True)
class NextTest:
    """One further reading. stopped: the places to stop for it; place: the one it is about, None when it is about all of them."""

    method: Literal["stop", "open_one", "flow", "repeat"]
    place: str | None
    stopped: frozenset[str]
    words: str

    @property
    def flow_at(self) -> str | None:
        """The place whose flow is to be measured, also once more; None for a reading of the cylinder."""
        return self.place if self.method == "flow" or (self.method == "repeat" and not self.stopped) else None


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
    """The fewest further readings that ought to decide, the most telling first; ask again after each.

    may_stop, may_measure_flow: the places where that is safe on this engine. () when it is decided, when nothing that is allowed
    would tell more, and when even `MOST_AHEAD` readings would not tell the leading places apart, after all were looked at: then
    what `leak_shares` says in words stands. Readings that contradict each other are asked for again. Raises ValueError as
    `leak_shares` does, and for a place in may_stop or may_measure_flow that is not among places.

    >>> plain = StopReading(frozenset(), 0.6e-6, 0.006e-6)
    >>> both = frozenset({"intake", "exhaust"})
    >>> plan = plan_next(["intake", "exhaust", "breather"], [plain], may_stop=both, may_measure_flow=frozenset({"breather"}))
    >>> sorted({test.method for test in plan} - {"repeat"}), len(plan) <= MOST_AHEAD
    (['flow', 'open_one', 'stop'], True)
    """
    unknown = (may_stop | may_measure_flow) - set(places)
    if unknown:
        raise ValueError(f"places: {', '.join(sorted(unknown))} is not among the places of this cylinder")
    model = stop_model(places, readings, flows, scatter_relative, stop)
    if not readings and not flows:
        return (NextTest("repeat", None, frozenset(), "Take a plain test first, with nothing stopped."),)
    if model is None or not leaks_at_all(readings, flows):
        return ()
    draws = draw_shares(model, stop)
    if shares_of(model, draws).decided:
        return ()
    against = contradiction(model)
    if against.chance < CONTRADICTED:
        return _once_more(readings, flows, against.worst)
    tests = _allowed(tuple(places), may_stop, may_measure_flow, readings, flows)
    if len(tests) == 1:
        return ()
    chosen, tells = _chosen(model, draws, tests, scatter_relative)
    if not tells and all(test.method == "repeat" for test in chosen):
        return ()
    return chosen


def _once_more(readings: Sequence[StopReading], flows: Sequence[PlaceFlow], worst: int) -> tuple[NextTest, ...]:
    plain = NextTest("repeat", None, frozenset(), "The readings contradict each other: take the plain test again.")
    if worst < len(readings):
        stopped = readings[worst].stopped
        if not stopped:
            return (plain,)
        return plain, NextTest("repeat", None, stopped, f"Take the test with {_named(stopped)} stopped again; it stands out.")
    place = list(dict.fromkeys(flow.place for flow in flows))[worst - len(readings)]
    return plain, NextTest("repeat", place, frozenset(), f"Measure the flow at {_named([place])} again; it stands out.")


def _allowed(
    places: tuple[str, ...],
    may_stop: frozenset[str],
    may_measure_flow: frozenset[str],
    readings: Sequence[StopReading],
    flows: Sequence[PlaceFlow],
) -> list[NextTest]:
    """Every kind of test that is safe, each once; one that was taken already is called a repeat."""
    had = {reading.stopped for reading in readings}
    measured = {flow.place for flow in flows}
    tests = [NextTest("repeat", None, frozenset(), "Take the plain test again, with nothing stopped.")]
    stops = [place for place in places if place in may_stop]
    wanted: list[tuple[Literal["stop", "open_one"], str | None, frozenset[str], str]] = [
        ("stop", place, frozenset({place}), f"Stop {_named([place])} alone and read.") for place in stops
    ]
    if len(stops) > 1:
        wanted.append(("stop", None, may_stop, f"Stop {_named(stops)} together and read."))
    if len(stops) > 2:
        for place in stops:
            left = [each for each in stops if each != place]
            wanted.append(("open_one", place, may_stop - {place}, f"Stop {_named(left)}, leave {_named([place])} open, and read."))
    elif len(stops) == 2:  # one opened of two is the other stopped
        wanted[:2] = [
            ("open_one", a, frozenset({b}), f"Stop {_named([b])}, leave {_named([a])} open, and read.")
            for a, b in (stops, stops[::-1])
        ]
    for method, about, stopped, words in wanted:
        if stopped in had:
            tests.append(NextTest("repeat", about, stopped, f"Once more: {words[0].lower()}{words[1:]}"))
        else:
            tests.append(NextTest(method, about, stopped, words))
    for place in places:
        if place in may_measure_flow:
            words = f"easure the flow at {_named([place])} through a known orifice."
            tests.append(
                NextTest("repeat", place, frozenset(), f"Once more: m{words}")
                if place in measured
                else NextTest("flow", place, frozenset(), f"M{words}")
            )
    return tests


def _chosen(model: StopModel, draws: Draws, tests: list[NextTest], scatter_relative: float) -> tuple[tuple[NextTest, ...], bool]:
    """The tests one after the other until every lead tells, or as many as a person would take; and whether it tells then."""
    pairs, weight, leads = _leads(draws)
    read = np.column_stack([_would_read(model, draws, test) for test in tests])
    joint = np.column_stack([leads, read])
    mean = draws.weights @ joint
    covariance = (joint - mean).T @ ((joint - mean) * draws.weights[:, None])
    noise = (scatter_relative**2 + U_READING**2) * (draws.weights @ read**2) + 1e-6
    count = len(pairs)
    first = np.diagonal(covariance)[:count].copy()
    chosen: list[NextTest] = []
    for _ in range(MOST_AHEAD):
        variance = np.maximum(np.diagonal(covariance)[:count], 1e-12)
        if np.all(mean[:count] ** 2 + first - variance >= TELLS**2 * variance):
            return tuple(chosen), True
        of_read = np.diagonal(covariance)[count:] + noise
        gain = (weight / first) @ (covariance[:count, count:] ** 2 / of_read)
        best = int(np.argmax(gain))
        chosen.append(_again(tests[best]) if tests[best] in chosen else tests[best])
        with_best = covariance[:, count + best]
        covariance = covariance - np.outer(with_best, with_best) / of_read[best]
    return tuple(chosen), False


def _again(test: NextTest) -> NextTest:
    """The same as a repeat."""
    if test.method == "repeat":
        return test
    return replace(test, method="repeat", words=f"Once more: {test.words[0].lower()}{test.words[1:]}")


def _leads(draws: Draws) -> tuple[list[tuple[int, int]], Floats, Floats]:
    """Pairs of places (the rest is one) of which either may lead, how much each counts, and the lead in every draw."""
    areas = draws.areas
    leading = np.argmax(areas, axis=1)
    chance = np.array([draws.weights @ (leading == k) for k in range(areas.shape[1])])
    able = [k for k in range(areas.shape[1]) if chance[k] >= LEAST_CHANCE]
    if len(able) < 2:  # nearly sure: the two largest
        able = [int(k) for k in np.argsort(-(draws.weights @ areas))[:2]]
    pairs = list(combinations(able, 2))
    weight = np.array([np.sqrt(max(chance[a], LEAST_CHANCE) * max(chance[b], LEAST_CHANCE)) for a, b in pairs])
    leads = np.column_stack([areas[:, a] - areas[:, b] for a, b in pairs])
    return pairs, weight, leads


def _would_read(model: StopModel, draws: Draws, test: NextTest) -> Floats:
    """What the test would read in every draw; a place never stopped gets an ordinary stop."""
    areas = draws.areas
    if test.flow_at is not None:
        return areas[:, model.places.index(test.flow_at)]
    read = areas.sum(axis=1)
    for place in test.stopped:
        k = model.places.index(place)
        held_back = draws.unknowns[:, k] if model.stoppable[k] else areas[:, k] * areas[:, k] / (areas[:, k] + model.stop_leak)
        read = read - held_back
    return np.asarray(read)


def _named(places: Sequence[str] | frozenset[str]) -> str:
    names = [place.replace("_", " ") for place in (places if isinstance(places, list | tuple) else sorted(places))]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
