"""What a careful person would note at the simulator's engines, and what the advice makes of it: by ear alone, nothing measured."""

from __future__ import annotations

import pytest
from boresim.scenario import load_scenario
from boresim.truth import places_heard
from borewright.core.advice import NOTHING, Advice, CylinderEvidence, advice_of
from borewright.service.engines import engine_from_document

SEALS_BELOW_PERCENT = 8.0  # common practice, no source: freshly built work reads about 8 to 10 %


def advice_by_ear(name: str) -> tuple[Advice, ...]:
    scenario = load_scenario(name)
    evidence = [
        CylinderEvidence(
            cylinder,
            truth.leakage_percent,
            0.2,
            seals=truth.leakage_percent < SEALS_BELOW_PERCENT,
            heard=places_heard(scenario, cylinder),
            neighbours={leak.to_cylinder: "strong" for leak in scenario.leaks[cylinder] if leak.to_cylinder is not None},
        )
        for cylinder, truth in scenario.truth.items()
    ]
    return advice_of(engine_from_document(scenario.engine_document, name), evidence)


@pytest.mark.parametrize(
    ("name", "opens"),
    [
        ("gasket-between-neighbours", {0: "gasket between bores 2 and 3", 2: "gasket between", 3: "gasket between"}),
        ("cracked-head-coolant", {1: "gasket and cracks"}),
        ("burnt-exhaust-valve", {3: "the exhaust valve"}),
        ("worn-rings-one-bore", {2: "rings and bore", 3: "rings and bore"}),
        ("hillclimb-after", {}),
        ("two-stroke-healthy", {}),
    ],
)
def test_the_one_fault_is_named_and_sound_cylinders_stay_closed(name: str, opens: dict[int, str]) -> None:
    told = advice_by_ear(name)
    assert {line.cylinder for line in told if line.open != NOTHING} == set(opens)
    for cylinder, what in opens.items():
        [line] = [line for line in told if line.cylinder == cylinder]
        assert line.certainty == "points to"
        assert what in line.open
