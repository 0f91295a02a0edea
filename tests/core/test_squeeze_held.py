"""A check valve in the adapter by the squeeze, against the survey's generator: never taken for a cylinder that can be tested.

Behind the valve the generator squeezes the air of the cylinder alone; the hose follows where the valve opens, and keeps what it has
where it does not.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Literal

import numpy as np
import pytest
from borewright.core.squeeze_held import HeldWatch

from .test_evidence_squeeze import ENGINES, Outcome, draw, hand_turned, has, judge, play, pressures, tight

CheckValve = Literal["lets_in", "lets_out"]
NAMED = {"lets_in": "held_down", "lets_out": "held_up"}
ADAPTER_M3 = 1e-6  # of the cylinder's side of the valve
RELIEF_PA = 600e3
SOME = ENGINES[::2]  # the bench has all of them


def hose_behind(valve: CheckValve, cylinder_pa: np.ndarray, opens_pa: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The hoses' gauge pressures and when their vents are open, from the cylinders'; one column for each."""
    hose, vented = np.zeros_like(cylinder_pa), np.zeros_like(cylinder_pa, dtype=bool)
    for i in range(1, len(hose)):
        if valve == "lets_out":
            hose[i] = np.maximum(hose[i - 1], cylinder_pa[i] - opens_pa)
        else:
            hose[i] = np.minimum(hose[i - 1], cylinder_pa[i] + opens_pa)
        vented[i] = hose[i] > RELIEF_PA
        hose[i][vented[i]] = 0.0
    return hose, vented


@cache
def outcomes(valve: CheckValve) -> list[Outcome]:
    """Each engine, with the hose on this cylinder, on another, and on valves that do not open; each with a check valve."""
    rng = np.random.default_rng(61)
    kinds = [(engine, where) for engine in SOME for where in ("here", "overlap", "both", "other") if has(engine, where)]
    cases = [replace(draw(rng, engine, where), expected=NAMED[valve], hose_m3=ADAPTER_M3) for engine, where in kinds]
    paths = [hand_turned(rng, case.rpm, 8.0) for case in cases]
    t, angle = (np.stack([path[n] for path in paths], axis=1) for n in (0, 1))
    behind, _ = pressures(cases, t, angle)
    hose, vented = hose_behind(valve, behind, rng.uniform(1e3, 8e3, len(cases)))
    return [judge(case, t[:, i], angle[:, i], hose[:, i], vented[:, i], rng) for i, case in enumerate(cases)]


@pytest.mark.parametrize("valve", ["lets_in", "lets_out"])
def test_a_check_valve_is_never_taken_for_a_cylinder_that_can_be_tested(valve: CheckValve) -> None:
    leads_to_air = {"compression_here", "overlap_here", "rises_at_both"}
    assert [(one.case, one.said) for one in outcomes(valve) if leads_to_air & set(one.said)] == []


@pytest.mark.parametrize("valve", ["lets_in", "lets_out"])
def test_a_check_valve_is_mostly_named_where_the_cylinder_holds(valve: CheckValve) -> None:
    """Project's own bound: 80 % of those with a leak under 1 mm²; the rest stay open and lead to no air."""
    small = [one for one in outcomes(valve) if one.case.leak_mm2 < 1.0]
    assert len(small) >= 5
    assert sum(one.said[-1] == NAMED[valve] for one in small) >= 0.8 * len(small)


def test_a_really_tight_cylinder_is_not_taken_for_a_check_valve_and_its_squeeze_is_decided() -> None:
    engines = [engine for engine in SOME if engine.cycle == "four-stroke"]
    cases = [
        tight(engine, where, rpm=rpm, leak_mm2=0.01) for engine in engines for where in ("here", "both") for rpm in (4.0, 30.0)
    ]
    found = play(cases, np.random.default_rng(62))
    assert [(one.case, one.said) for one in found if one.wrong] == []
    assert [(one.case, one.said) for one in found if one.case.expected not in one.said] == []


def follow(course: list[tuple[float, float]], watch: HeldWatch | None = None) -> HeldWatch:
    """The watch after sectors of 12° around these angles, with these pressures."""
    watch = watch or HeldWatch()
    for at_deg, p_gauge_pa in course:
        watch = watch.add(at_deg - 6.0, at_deg + 6.0, p_gauge_pa, 50.0)
    return watch


UP = [(-60.0, 2e4), (-30.0, 6e4), (0.0, 1e5)]


def test_a_pressure_that_has_risen_is_waited_for_until_it_falls_once() -> None:
    assert follow(UP).pending
    fallen = follow([*UP, (40.0, 5.5e4), (60.0, 3e4)])
    assert (fallen.pending, fallen.fell, fallen.kind) == (False, True, None)
    assert not follow([(660.0, 2e4), (720.0, 1e5)], fallen).pending


@pytest.mark.parametrize(("back_deg", "kind"), [(60.0, None), (130.0, "held_up")])
def test_turned_back_it_holds_only_where_the_piston_went_down_as_far(back_deg: float, kind: str | None) -> None:
    assert follow([*UP, (-back_deg, 9e4)]).kind == kind


def test_what_was_seen_before_a_gap_is_not_held_against_what_comes_after() -> None:
    assert follow([(720.0, 9e4)], follow(UP).broken_off()).kind is None
    down = [(float(at), -8e3) for at in range(0, 400, 12)]
    assert follow([(440.0, -8e3), (470.0, -8e3)], follow(down)).kind == "held_down"
    assert follow([(440.0, -8e3), (470.0, -8e3)], follow(down).broken_off()).kind is None


def test_suction_that_is_gone_on_the_way_is_that_of_a_cylinder() -> None:
    down = [(float(at), -8e3) for at in range(0, 400, 12)]
    assert follow([(405.0, -500.0), (440.0, -8e3), (470.0, -8e3)], follow(down)).kind is None


def test_a_zero_that_has_drifted_since_the_vent_is_no_suction() -> None:
    assert follow([(float(at), -1_400.0) for at in range(0, 2000, 12)]).kind is None
