"""Repeats of whole captures, fitted: what is new in each is what the fit calls it, and scatter and budget agree."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from borewright.core.capture import analyse_capture
from borewright.core.fit_result import fit_capture
from borewright.core.instrument import Instrument
from borewright.core.repeats import repeats_of
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw
from borewright.core.uncertainty import Budget
from borewright.service.repeated_tests import NEW_IN_EACH_TEST

RESTRICTOR_M2 = math.pi / 4.0 * (0.040 * 0.0254) ** 2
LAWS = dict.fromkeys(("regulated", "cylinder"), ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0))
SEEDS = (1, 2, 3)


@pytest.fixture(scope="module")
def leakages(synthesise: Callable[..., Any]) -> list[Budget]:
    """Of captures of one cylinder that differ in their noise."""
    found = []
    for seed in SEEDS:
        columns = synthesise(seed=seed).columns
        result = analyse_capture(columns, LAWS, RESTRICTOR_M2, 101_325.0, 293.15)
        fitted = fit_capture(columns, LAWS, result, Instrument(Restrictor(RESTRICTOR_M2)))
        found.append(next(budget for budget in fitted.budgets if budget.quantity == "leakage"))
    return found


def test_the_names_are_those_of_the_fit(leakages: list[Budget]) -> None:
    assert {item.name for item in leakages[0].items} >= NEW_IN_EACH_TEST


def test_repeats_of_one_cylinder_agree_and_hold_the_truth(leakages: list[Budget], synthesise: Callable[..., Any]) -> None:
    repeats = repeats_of(leakages, NEW_IN_EACH_TEST)
    assert repeats.agreement == "agree"
    assert abs(repeats.mean - synthesise(seed=1).leakage_percent) <= repeats.expanded()
    # the common part does not average away
    tie = "tie of the two transducers"
    alone, together = ({item.name: item.contribution for item in b.items} for b in (leakages[0], repeats.by_budget))
    assert together[tie] == pytest.approx(alone[tie], rel=0.05)
    assert together["noise of the readings"] == pytest.approx(alone["noise of the readings"] / math.sqrt(len(SEEDS)), rel=0.1)
