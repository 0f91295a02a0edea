"""Stroke carried over by count, hose shown by reading back and the puff: what may open, and what never gets full pressure.

The wire is read: an opening of 200 ms is a puff, one of 1000 ms is full pressure.
"""

from __future__ import annotations

from functools import cache

import pytest
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.guide import next_step

from .toy_rig import FOUR, TWO_STROKE, Host, Toy

PUFF_MS, FULL_MS = 200, 1000


@cache
def _squeezed() -> Host:
    """Cylinder 1 was squeezed and read back; the stroke is carried over from here."""
    host = Host(Toy(FOUR))
    host.run(3.0)
    host.take_zero()
    host.know_checks("sealed", "restrictor")
    host.find_tdc(1)
    host.act(acts.StateRestraint(60.0))
    host.act(acts.CarryStroke(True))
    host.set_purpose(acts.Purpose("test", 1))
    host.follow_until_ready()
    return host


def _at(cylinder: int) -> Host:
    """The next cylinder's turn, nothing done for it yet."""
    host = _squeezed().copy()
    host.set_purpose(acts.Purpose("test", cylinder))
    return host


def _ready(cylinder: int = 3) -> Host:
    """Ready for air in that cylinder, by the guide alone."""
    host = _at(cylinder)
    host.follow_until_ready()
    assert host.state.hose_evidence is not None
    assert host.state.hose_evidence.kind == "puff_read_back"
    return host


def _ask(host: Host) -> list[int]:
    """Ask for air and wait: how long the openings were that went onto the wire."""
    host.act(acts.AskAir())
    host.run(6.0)
    return [message.time_limit_ms for message in host.opens]


def _reasons(host: Host) -> str:
    return "; ".join(reason for refusal in host.refused for reason in refusal.reasons)


@pytest.mark.parametrize("cylinder", [3, 4, 2])
def test_the_way_through_needs_no_second_squeeze(cylinder: int) -> None:
    host = _at(cylinder)
    keys = []
    while next_step(host.state).key != "give_air":
        keys.append(host.follow().key)
        assert len(keys) < 40
    assert "read_back_hose" in keys
    assert not {"begin_squeeze", "squeeze_turn"} & set(keys)
    assert host.state.stroke is not None
    assert host.state.stroke.kind == "carried"
    assert _ask(host)[:2] == [PUFF_MS, FULL_MS]
    assert host.toy.wrong == []


def test_without_carrying_each_cylinder_is_squeezed() -> None:
    host = _squeezed().copy()
    host.act(acts.CarryStroke(False))
    host.set_purpose(acts.Purpose("test", 3))
    host.move_hose(3)
    host.read_back()
    host.run(0.1)
    assert next_step(host.state).key == "begin_squeeze"
    assert host.state.hose_evidence is None


def test_turning_carrying_off_takes_back_what_it_showed() -> None:
    host = _ready()
    host.act(acts.CarryStroke(False))
    host.run(0.1)
    assert _ask(host) == []
    assert "nothing shows yet that the hose is in cylinder 3" in _reasons(host)


@pytest.mark.parametrize("said", [1, 2, 4])
def test_a_wrong_number_read_back_lets_nothing_in(said: int) -> None:
    host = _ready()
    host.act(acts.ReadBackHose(said))
    host.run(0.1)
    assert host.state.hose_evidence is None
    assert _ask(host) == []
    assert next_step(host.state).act == acts.PlaceHose("cylinder", 3)


def test_a_hose_that_was_moved_has_to_be_read_back_again() -> None:
    host = _ready()
    host.act(acts.PlaceHose("cylinder", 3))
    host.run(0.1)
    assert _ask(host) == []
    assert next_step(host.state).key == "read_back_hose"


@pytest.mark.parametrize("told", [True, False])
def test_a_restart_of_the_rig_takes_the_stroke_and_reading_back_shows_nothing_any_more(told: bool) -> None:
    host = _ready()
    host.restart(told)
    host.run(3.0)
    host.turn(720.0)
    host.act(acts.ConfirmFitting())
    host.move_hose(3)
    host.read_back()
    host.run(1.3)
    host.confirm()
    host.run(0.1)
    assert _ask(host) == []
    assert host.state.hose_evidence is None
    assert "nothing shows yet which TDC of cylinder 3 is the compression one" in _reasons(host)


def test_lost_counts_take_the_stroke() -> None:
    host = _ready()
    host.toy.slipped += 5
    host.turn(360.0)
    host.turn(360.0)
    host.read_back()
    host.run(1.3)
    host.confirm()
    assert _ask(host) == []
    assert host.state.stroke is None


def test_a_squeeze_that_contradicts_takes_everything() -> None:
    host = _at(3)
    host.toy.hose = 2  # a turn away from cylinder 3: its squeeze shows compression where cylinder 3 has overlap
    host.act(acts.PlaceHose("cylinder", 3))
    host.act(acts.BeginSqueeze())
    host.turn(760.0)
    assert host.state.stroke is None
    assert host.state.hose_evidence is None
    assert any("contradicts" in word.text for word in host.said)
    host.act(acts.ReadBackHose(3))
    assert host.state.hose_evidence is None  # with no stroke to carry, looking alone shows nothing


@pytest.mark.parametrize(
    ("real", "words"),
    [
        ("capped", "as if it were capped"),  # or a check valve in the adapter, which lets no air through to the cylinder
        ("off", "did not fill cylinder 3"),
        (1, "did not fill cylinder 3"),  # half a turn off: its piston is down
        (2, "did not fill cylinder 3"),  # a turn off: both its valves are open
    ],
)
def test_after_the_puff_no_full_pressure_into_anything_but_that_cylinder(real: int | str, words: str) -> None:
    host = _ready()
    host.toy.hose = real  # type: ignore[assignment] # the person read 3 all the same
    assert _ask(host) == [PUFF_MS]
    (capture,) = host.captures
    assert words in str(capture.void_reason)
    assert host.state.stroke is None
    assert host.state.hose_evidence is None
    assert next_step(host.state).key == "place_hose"
    host.follow()
    assert next_step(host.state).key == "begin_squeeze"


def test_a_wrong_phase_is_found_by_the_puff() -> None:
    """Cylinder 4 was squeezed and read back as 1: everything carried over from it is a turn off."""
    host = Host(Toy(FOUR))
    host.run(3.0)
    host.take_zero()
    host.know_checks("sealed", "restrictor")
    host.find_tdc(1)
    host.act(acts.StateRestraint(60.0))
    host.act(acts.CarryStroke(True))
    host.set_purpose(acts.Purpose("test", 1))
    host.move_hose(4, said_cylinder=1)
    host.act(acts.BeginSqueeze())
    host.turn(760.0)
    host.run(0.5)
    host.act(acts.ReadBackHose(1))
    host.set_purpose(acts.Purpose("test", 3))
    host.follow_until_ready()
    assert _ask(host) == [PUFF_MS]
    assert "a valve open" in str(host.captures[-1].void_reason)
    assert host.state.stroke is None


def test_a_very_large_leak_is_squeezed_and_then_measured() -> None:
    host = _ready()
    host.toy.leak_m2 = 4e-6
    assert _ask(host) == [PUFF_MS]
    host.run(3.0)
    host.follow_until_ready()
    assert host.state.hose_evidence is not None
    assert host.state.hose_evidence.kind == "squeeze"
    assert host.state.readiness.state is State.READY


def test_a_two_stroke_is_squeezed_before_reading_back_shows_anything() -> None:
    host = Host(Toy(TWO_STROKE))
    host.run(3.0)
    host.take_zero()
    host.know_checks("sealed", "restrictor")
    host.find_tdc(1)
    host.act(acts.StateRestraint(60.0))
    host.act(acts.CarryStroke(True))
    host.set_purpose(acts.Purpose("test", 1))
    host.move_hose(1)
    host.read_back()
    host.run(0.1)
    assert host.state.hose_evidence is None
    assert next_step(host.state).key == "begin_squeeze"
    host.follow_until_ready()
    host.set_purpose(acts.Purpose("test", 1))
    host.run(0.1)
    assert next_step(host.state).key == "read_back_hose"
    host.follow_until_ready()
    assert _ask(host)[:2] == [PUFF_MS, FULL_MS]
    assert host.toy.wrong == []
