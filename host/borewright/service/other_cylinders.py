"""The trapped volumes of an engine's cylinders against each other, from the tests that the record holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.core.instrument import Instrument
from borewright.core.witness import Figure, Statement, contradictions
from borewright.errors import UseError
from borewright.service.laws import laws_from_record
from borewright.service.repeated_tests import kept_budgets

if TYPE_CHECKING:
    from borewright.store.records import CaptureRecord

__all__ = ["odd_volumes"]

LEAST_OTHERS = 3  # of two, one that is wrong would put the blame on the sound one


@dataclass(frozen=True, slots=True)
class _Latest:
    """The latest complete test of a cylinder: its trapped volume, and what the comparison needs beside it."""

    instrument: Instrument
    trapped_m3: Figure
    area_m2: Figure
    leakage_percent: float


def odd_volumes(captures: Iterable[CaptureRecord]) -> tuple[str, ...]:
    """What the volumes of one stage contradict, a sentence for each cylinder that stands apart; at least three others are needed.

    The restrictor's part of each volume is common to all and is left in, so that the comparison is, if anything, too lenient.
    Raises StoreError for a budget that cannot be read.
    """
    latest: dict[int, _Latest] = {}
    for capture in captures:
        if capture.state == "complete" and capture.purpose == "test":
            budgets = kept_budgets(capture)
            instrument = _instrument(capture)
            if instrument is not None and {"leakage", "leak area", "trapped volume"} <= set(budgets):
                volume, area = budgets["trapped volume"], budgets["leak area"]
                latest[capture.cylinder] = _Latest(
                    instrument,
                    Figure(volume.value * 1e-6, volume.standard * 1e-6),
                    Figure(area.value * 1e-6, area.standard * 1e-6),
                    budgets["leakage"].value,
                )
    said = []
    for cylinder, test in latest.items():
        others = {number: other.trapped_m3 for number, other in latest.items() if number != cylinder}
        if len(others) < LEAST_OTHERS:
            continue
        hose, jet = test.instrument.hose_volume_m3, test.instrument.restrictor
        statement = Statement(
            trapped_m3=test.trapped_m3,
            leak_area_m2=test.area_m2,
            leakage_percent=test.leakage_percent,
            hose_m3=Figure(hose, hose * test.instrument.u_hose_volume),
            restrictor_m2=Figure(jet.area_m2, jet.area_m2 * jet.u_relative),
            others_m3=others,
        )
        said += [f"cylinder {cylinder}: {one.words}; {one.ask}" for one in contradictions(statement) if not one.question]
    return tuple(said)


def _instrument(capture: CaptureRecord) -> Instrument | None:
    try:
        return laws_from_record(capture.laws).instrument
    except UseError:  # of an older program
        return None
