"""A check valve left in the adapter: named by the squeeze, no air while it is suspected, asked for before another squeeze.

The wire is read, and the toy rig, which knows whether the valve is in, holds every opening on it against that.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Literal

import pytest
from borewright.core.conditions import SQUEEZE_HELD
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.facts import conditions_of
from borewright.service.guide import next_step
from borewright.service.judging import circumstances_of

from .toy_rig import FOUR, TWO_STROKE, Host, Toy

CheckValve = Literal["lets_in", "lets_out"]
NAMED = {"lets_in": "held_down", "lets_out": "held_up"}


@cache
def _begun(check_valve: CheckValve, *, two_stroke: bool = False, sign: int = 1) -> Host:
    """The rig checked, true TDC known, the hose about to go into cylinder 1."""
    host = Host(Toy(TWO_STROKE if two_stroke else FOUR, sign=sign, check_valve=check_valve))
    host.run(3.0)
    host.take_zero()
    host.know_checks("sealed", "restrictor")
    host.find_tdc(1)
    host.act(acts.StateRestraint(60.0))
    host.act(acts.CarryStroke(True))
    host.set_purpose(acts.Purpose("test", 1))
    return host


def _named(check_valve: CheckValve, *, two_stroke: bool = False, sign: int = 1) -> Host:
    """The squeeze that the guide asks for has named it."""
    host = _begun(check_valve, two_stroke=two_stroke, sign=sign).copy()
    for _ in range(40):
        if host.state.check_valve is not None:
            return host
        host.follow()
    raise AssertionError(f"never named: {next_step(host.state)}, {host.state.verdict}")


def _ask(host: Host) -> str:
    host.act(acts.AskAir())
    host.run(6.0)
    return "; ".join(reason for refusal in host.refused for reason in refusal.reasons)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("two_stroke", [False, True])
@pytest.mark.parametrize("check_valve", ["lets_in", "lets_out"])
def test_a_check_valve_is_named_before_any_air_and_out_of_the_adapter_the_test_goes_on(
    check_valve: CheckValve, two_stroke: bool, sign: int
) -> None:
    host = _named(check_valve, two_stroke=two_stroke, sign=sign)
    assert host.state.check_valve is not None
    assert host.state.check_valve.kind == NAMED[check_valve]
    assert [word.text for word in host.said if word.level == "warning"] == [host.state.check_valve.words]
    assert host.opens == []
    host.follow_until_ready()
    assert host.toy.check_valve is None
    _ask(host)
    assert len(host.opens) >= 2
    assert host.toy.wrong == []


@pytest.mark.parametrize("check_valve", ["lets_in", "lets_out"])
def test_whatever_is_said_no_open_frame_goes_out_while_a_check_valve_is_suspected(check_valve: CheckValve) -> None:
    host = _named(check_valve)
    ways: tuple[tuple[acts.Act, ...], ...] = (
        (),
        (acts.ReadBackHose(1),),
        (acts.BeginSqueeze(),),
        (acts.PlaceHose("cylinder", 1), acts.ReadBackHose(1)),
        (acts.SetPurpose(acts.Purpose("test", 3)), acts.PlaceHose("cylinder", 3), acts.ReadBackHose(3)),
        (acts.SetPurpose(acts.Purpose("sealed")), acts.PlaceHose("capped")),
        (acts.StopAll(), acts.SetPurpose(acts.Purpose("test", 1)), acts.PlaceHose("cylinder", 1), acts.ReadBackHose(1)),
    )
    for way in ways:
        tried = host.copy()
        for act in way:
            tried.act(act)
        tried.confirm()
        assert "a check valve is in the adapter" in _ask(tried), way
        assert tried.opens == []
        assert tried.state.readiness.state is not State.SQUEEZING


def test_the_device_switched_off_and_on_does_not_take_the_check_valve_out() -> None:
    host = _named("lets_in")
    host.restart(told=True)
    host.run(3.0)
    assert host.state.check_valve is not None
    assert next_step(host.state).key in ("turn_down", "look_for_check_valve")


def test_nothing_is_undone_before_the_piston_is_down_where_it_squeezes_nothing() -> None:
    host = _named("lets_in")
    host.run(1.5)
    to_tdc = -host.toy.after_compression_deg(1)
    host.turn(to_tdc - 20.0)  # squeezed air over the piston, and the gauge shows none
    host.run(1.3)
    told = next_step(host.state)
    assert (told.key, told.act) == ("turn_down", None)
    assert told.turn_deg == pytest.approx(-160.0, abs=1.5)  # back: not over TDC
    host.follow()
    assert abs(host.toy.after_compression_deg(1)) == pytest.approx(180.0, abs=5.0)
    assert next_step(host.state).key == "keep_still"  # nothing is undone while it turns through the bottom either
    host.run(1.3)
    assert next_step(host.state).key == "look_for_check_valve"


@pytest.mark.parametrize("check_valve", ["lets_in", "lets_out"])
def test_who_says_that_there_is_none_while_it_is_in_is_told_again(check_valve: CheckValve) -> None:
    host = _named(check_valve)
    host.act(acts.ConfirmNoCheckValve())
    host.run(1.5)
    assert host.state.check_valve is None
    assert next_step(host.state).key == "place_hose"  # it is off for looking
    for _ in range(40):
        if host.state.check_valve is not None:
            break
        host.follow()
    assert host.state.check_valve is not None
    assert host.opens == []


def test_a_squeeze_that_falls_clears_the_adapter_and_one_that_was_not_seen_to_fall_marks_the_test() -> None:
    host = _named("lets_out")
    assert host.state.squeeze_held
    host.follow_until_ready()
    assert not host.state.squeeze_held
    by_name = {condition.name: condition for condition in conditions_of(replace(host.state, squeeze_held=True))}
    assert by_name["stroke_and_hose"].met
    assert by_name["stroke_and_hose"].marks == (SQUEEZE_HELD,)
    assert circumstances_of({}, {}, (SQUEEZE_HELD,), {}, {}).squeeze_held
    assert not circumstances_of({}, {}, (), {}, {}).squeeze_held
