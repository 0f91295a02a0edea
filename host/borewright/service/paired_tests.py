"""The tests of one cylinder in two jobs, brought to one place so that they can be compared; and how all of them scatter."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from borewright.core.compare import Quantity, Reading, Scatter, pooled_scatter
from borewright.service.compared_tests import area_reading, leakage_reading, reference_gauge_pa
from borewright.service.counting_tests import is_declared
from borewright.store.records import CaptureRecord

__all__ = ["Pair", "Readings", "pair_of", "scatter_of"]

Readings = tuple[tuple[Reading, ...], tuple[Reading, ...]]
Tests = Sequence[CaptureRecord]
WARMER_K = 15.0  # from which rings, pistons and valves seal otherwise


@dataclass(frozen=True, slots=True)
class Pair:
    """Readings (before, after), each None where it cannot be had. converted: what was carried over; refused: what could not be."""

    areas: Readings | None
    leakages: Readings | None
    converted: tuple[str, ...]
    refused: tuple[str, ...]

    def of(self, quantity: Quantity) -> Readings | None:
        """The readings of a quantity."""
        return self.areas if quantity == "leak area" else self.leakages


def pair_of(cylinder: int, before: Tests, after: Tests) -> Pair:
    """All tests carried over to where the last one after was taken; both need at least one."""
    last = after[-1]
    at_gauge_pa = reference_gauge_pa(last)
    converted: list[str] = []
    refused: list[str] = []

    def readings(quantity: Quantity, of: Callable[[CaptureRecord], tuple[Reading, str] | None]) -> Readings | None:
        sides: list[tuple[Reading, ...]] = []
        said: dict[str, list[int]] = {}
        for tests in (before, after):
            side = []
            for test in tests:
                try:
                    found = of(test)
                except ValueError as error:
                    refused.append(f"{quantity} of cylinder {cylinder} not compared: {_in_line(error)}")
                    return None
                if found is None:
                    refused.append(f"{quantity} of cylinder {cylinder} not compared: test {test.id} has none")
                    return None
                side.append(found[0])
                if found[1]:
                    said.setdefault(found[1], []).append(test.id)
            sides.append(tuple(side))
        converted.extend(
            f"{quantity} of test{'s' if len(ids) > 1 else ''} {', '.join(map(str, ids))} {words}" for words, ids in said.items()
        )
        return sides[0], sides[1]

    areas = readings("leak area", lambda test: area_reading(test, at_gauge_pa))
    leakages = readings("leakage", lambda test: leakage_reading(test, last))
    warm: list[Any] = [test.laws.get("t_engine_k") for test in (before[-1], last)]
    if None not in warm and abs(warm[0] - warm[1]) > WARMER_K:
        converted.append(
            f"the engine was at {warm[0] - 273.15:.0f} °C before and at {warm[1] - 273.15:.0f} °C after: that is counted for the"
            " air, but warm rings, pistons and valves seal otherwise"
        )
    return Pair(areas, leakages, tuple(converted), tuple(dict.fromkeys(refused)))


def scatter_of(quantity: Quantity, stages: Sequence[Mapping[int, Tests]]) -> Scatter:
    """How all repeats of several jobs scatter, each set as it was measured; its keys are (number of the job, cylinder).

    Declared readings are left out: how they lie apart tells of gauges and of who read them, not of how a leak seats anew.
    """
    of = area_reading if quantity == "leak area" else leakage_reading
    sets: dict[Hashable, list[Reading]] = {
        (number, cylinder): [found[0] for found in map(of, measured) if found is not None]
        for number, stage in enumerate(stages)
        for cylinder, tests in stage.items()
        if (measured := [test for test in tests if not is_declared(test)])
    }
    return pooled_scatter(sets)


def _in_line(error: ValueError) -> str:
    """A sentence inside another one."""
    words = str(error).rstrip(".")
    return words[:1].lower() + words[1:]
