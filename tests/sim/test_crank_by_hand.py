"""A hand that is led along on the crank: it follows at once and no faster than a person, and nothing else changes."""

from __future__ import annotations

import pytest
from boresim.rig import SimRig
from boresim.scenario import load_scenario

FASTEST_RPM = 60.0  # what HELP's word takes without a speed


@pytest.fixture
def rig() -> SimRig:
    made = SimRig(load_scenario("hillclimb-before"))
    made.advance(0.5)
    return made


def test_the_crank_moves_within_a_tenth_of_a_second_and_comes_to_rest_where_it_was_led_to(rig: SimRig) -> None:
    before = rig.plant.crank_deg
    assert rig.operator.do("crank +30") == "ok following by +30 degrees"
    rig.advance(0.1)
    assert rig.plant.crank_deg > before + 0.5
    assert not rig.operator.busy
    rig.advance(3.0)
    assert rig.plant.crank_deg == pytest.approx(before + 30.0, abs=0.1)
    assert not rig.plant.turning


def test_what_is_led_in_small_steps_adds_up(rig: SimRig) -> None:
    before = rig.plant.crank_deg
    for _ in range(40):
        rig.operator.do("crank +2")
        rig.advance(0.02)
    rig.advance(3.0)
    assert rig.plant.crank_deg == pytest.approx(before + 80.0, abs=0.1)


def test_it_is_never_faster_than_a_person_and_ends_soon_after_the_lead(rig: SimRig) -> None:
    before = rig.plant.crank_deg
    for _ in range(50):
        rig.operator.do("crank +720")
    rig.advance(0.5)
    assert rig.plant.crank_deg - before < 1.2 * FASTEST_RPM * 6.0 * 0.5
    rig.advance(8.0)
    assert rig.plant.crank_deg == pytest.approx(before + 360.0, abs=1.0)


def test_the_hand_comes_off_at_once(rig: SimRig) -> None:
    rig.operator.do("crank +360")
    rig.advance(0.3)
    assert rig.operator.do("crank stop").startswith("ok")
    at = rig.plant.crank_deg
    rig.advance(1.0)
    assert not rig.plant.turning
    assert abs(rig.plant.crank_deg - at) < 15.0


def test_a_restraint_holds_it(rig: SimRig) -> None:
    rig.operator.do("restrain 2000")
    rig.advance(5.0)
    before = rig.plant.crank_deg
    rig.operator.do("crank +90")
    rig.advance(2.0)
    assert rig.plant.crank_deg == pytest.approx(before, abs=0.5)


@pytest.mark.parametrize("words", ["crank", "crank x", "crank +5 rpm", "crank +5 rpm 500", "crank +9000", "crank stop now"])
def test_what_is_not_understood_is_refused(rig: SimRig, words: str) -> None:
    assert rig.operator.do(words).startswith("no: ")
    assert not rig.plant.turning


def test_who_is_not_led_draws_the_same_luck() -> None:
    octets = []
    for led in (False, True):
        rig = SimRig(load_scenario("hillclimb-before"))
        rig.advance(0.5)
        if led:
            rig.operator.do("crank stop")
        rig.operator.do("turn +50")
        rig.advance(6.0)
        octets.append((rig.transmit(), rig.plant.crank_deg))
    assert octets[0] == octets[1]
