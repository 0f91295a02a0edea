"""Each reason to refuse air by itself: all else is ready, one thing is not, air is asked for; the wire carries no open frame."""

from __future__ import annotations

import pytest
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.session.session import Phase

from .toy_rig import COUNT_DEG, FOUR, Host, Toy


def _ready(
    cylinder: int = 1, *, checks: tuple[str, ...] = ("sealed", "restrictor"), shown: bool = True, hold_switch: bool = False
) -> Host:
    """All that is needed for a test of the cylinder, or without the evidence (shown=False)."""
    host = Host(Toy(FOUR, hold_switch=hold_switch))
    host.run(3.0)
    host.take_zero()
    host.know_checks(*checks)
    host.find_tdc(1)
    host.set_purpose(acts.Purpose("test", cylinder))
    host.act(acts.StateRestraint(60.0))
    if shown and "sealed" in checks:
        host.follow_until_ready()
    return host


def _ask(host: Host) -> str:
    """Ask for air, wait far longer than the countdown, and give the reasons told; nobody may have opened."""
    before = len(host.opens)
    host.act(acts.AskAir())
    host.run(6.0)
    assert host.opens[before:] == []
    assert host.state.readiness.state not in (State.PUFFING, State.FILLING)
    return "; ".join(reason for refusal in host.refused for reason in refusal.reasons)


def _settle(host: Host) -> None:
    host.run(1.3)
    host.confirm()
    host.run(0.1)


def test_when_everything_is_ready_the_open_frames_are_there() -> None:
    host = _ready()
    host.act(acts.AskAir())
    host.run(6.0)
    assert [message.time_limit_ms for message in host.opens[:2]] == [200, 1000]
    assert host.toy.wrong == []


def test_overlap_tdc() -> None:
    host = _ready()
    host.turn(360.0)
    _settle(host)
    assert "overlap" in _ask(host)


def test_hose_in_another_cylinder_is_shown_by_the_squeeze() -> None:
    host = _ready()
    host.move_hose(3, said_cylinder=1)
    while host.state.verdict is None:
        host.follow()
    assert host.state.verdict.kind == "out_of_step"
    assert set(host.state.verdict.cylinders) == {2, 3}
    reasons = _ask(host)
    assert "in step with cylinder" in reasons
    assert "not 1" in reasons
    assert host.follow().key == "read_back_hose"  # the person looks, says 3, and puts it right
    assert host.follow().act == acts.PlaceHose("cylinder", 1)
    host.follow_until_ready()
    assert host.toy.hose == 1


def test_hose_in_the_cylinder_that_moves_in_step_is_shown_by_reading_it_back_and_takes_the_stroke_with_it() -> None:
    host = _ready(shown=False)
    host.move_hose(4, said_cylinder=1)
    host.act(acts.BeginSqueeze())
    host.turn(760.0)
    assert host.state.stroke is not None
    host.read_back()
    # what was squeezed was cylinder 4, so its stroke must not be carried over to any other
    host.set_purpose(acts.Purpose("test", 3))
    host.move_hose(3)
    host.read_back()
    host.turn((360.0 - host.toy.after_compression_deg(3)) % 720.0)  # where that stroke would have its compression
    _settle(host)
    assert "compression" in _ask(host)
    assert host.toy.wrong == []


@pytest.mark.parametrize("off_deg", [2.0, -2.0, 6.0])
def test_off_the_window(off_deg: float) -> None:
    host = _ready()
    host.turn(-200.0)
    host.turn(200.0 + off_deg)
    _settle(host)
    assert "compression TDC" in _ask(host)


def test_a_window_narrowed_by_a_weak_restraint() -> None:
    host = _ready()
    host.turn(-200.0)
    host.turn(200.0 + 4 * COUNT_DEG)
    host.act(acts.StateRestraint(5.0))
    _settle(host)
    assert "is allowed" in _ask(host)


def test_a_restraint_that_is_said_to_be_weaker_stops_the_air() -> None:
    host = _ready()
    host.act(acts.AskAir())
    host.run(5.0)
    assert host.state.readiness.state is State.FILLING
    before = len(host.opens)
    host.act(acts.StateRestraint(4.0))
    host.run(3.0)
    assert len(host.opens) == before
    assert [capture.void_reason for capture in host.captures] == ["it was stopped"]


def test_while_the_crank_moves() -> None:
    host = _ready()
    host.act(acts.AskAir())
    host.run(6.0, deg_per_s=0.6)
    assert host.opens == []
    assert any("moved" in reason for refusal in host.refused for reason in refusal.reasons)


def test_a_crank_that_creeps_after_the_puff_gets_no_full_pressure() -> None:
    host = _ready()
    host.act(acts.AskAir())
    host.run(3.3)
    assert host.state.readiness.state is State.WATCHING
    host.run(2.2, deg_per_s=0.55)
    host.run(12.0)
    assert [message.time_limit_ms for message in host.opens if message.time_limit_ms != 200] == [1000] * (len(host.opens) - 1)
    assert host.toy.wrong == []


@pytest.mark.parametrize("told", [True, False])
def test_stale_evidence_after_a_restart(told: bool) -> None:
    host = _ready()
    host.restart(told)
    host.run(3.0)
    host.turn(720.0)  # the index is seen again and the crank stands where it stood
    host.act(acts.ConfirmFitting())
    _settle(host)
    assert {c.name for c in host.state.conditions if not c.met} >= {"stroke_and_hose"}
    assert "nothing shows" in _ask(host)


def test_index_lost_since_power_up() -> None:
    host = _ready()
    host.toy.index_wire = False
    host.restart(told=True)
    host.run(3.0)
    host.turn(720.0)
    _settle(host)
    assert "no index pulse came in more than a whole turn" in _ask(host)


def test_index_that_comes_no_more() -> None:
    host = _ready()
    host.toy.index_wire = False
    host.turn(720.0)
    host.turn(720.0)
    _settle(host)
    assert "did not come" in _ask(host)


def test_counts_lost_between_two_index_pulses() -> None:
    host = _ready()
    host.toy.slipped += 5
    host.turn(360.0)
    _settle(host)
    assert "counts were lost" in _ask(host)


def test_the_peoples_word_is_old() -> None:
    host = _ready()
    host.toy.leap(601.0)
    host.run(1.3)
    assert "minutes ago" in _ask(host)


def test_the_peoples_word_was_for_another_place_of_the_crank() -> None:
    host = _ready()
    host.turn(-200.0)
    host.turn(200.0)
    host.run(1.3)
    assert "since it was confirmed" in _ask(host)


def test_zero_out_of_limits() -> None:
    host = _ready()
    host.toy.cylinder_offset_pa += 2_600.0
    host.run(1.3)
    assert "transducer reads" in _ask(host)


@pytest.mark.parametrize(("known", "missing"), [((), "sealed"), (("restrictor",), "sealed"), (("sealed",), "restrictor")])
def test_no_check_of_the_rig(known: tuple[str, ...], missing: str) -> None:
    host = _ready(checks=())
    host.know_checks(*known)
    host.move_hose(1)
    _settle(host)
    assert f"the {missing} check" in _ask(host)


@pytest.mark.parametrize("apart", [True, False])
@pytest.mark.parametrize("trouble", ["fault", "gap", "let go", "jerk"])
def test_trouble_in_the_very_read_in_which_the_countdown_ends(trouble: str, apart: bool) -> None:
    host = _ready(hold_switch=trouble == "let go")
    if trouble == "let go":
        host.press(True)
    else:
        host.act(acts.AskAir())
        host.run(2.88)
        assert host.state.readiness.state is State.ARMED
    for number in range(6):
        if number == 1 and trouble == "fault":
            host.fault()
        if number == 1 and trouble == "gap":
            host.toy.lose = 1
        if number == 0 and trouble == "let go":
            host.press(False)
        host.toy.block(60.0 if number == 1 and trouble == "jerk" else 0.0)
        if apart:
            host.read()
    host.read()
    host.run(0.3)
    assert host.opens == []


def test_the_hose_is_moved_in_the_middle_of_a_squeeze() -> None:
    host = _ready()
    host.act(acts.BeginSqueeze())
    other = host.copy()
    steps = 0
    while host.state.squeeze is not None:  # how far the verdict is away
        host.turn(20.0)
        steps += 1
    assert host.state.hose_evidence is not None
    for _ in range(steps - 1):
        other.turn(20.0)
    other.toy.hose = "capped"
    other.act(acts.PlaceHose("capped"))
    other.turn(40.0)
    assert other.state.hose_evidence is None
    other.turn(-other.toy.after_compression_deg(1) % 720.0)
    _settle(other)
    assert "nothing shows yet that the hose is in cylinder 1" in _ask(other)


def test_after_the_link_was_lost_the_crank_is_watched_anew() -> None:
    host = _ready(hold_switch=True)
    host.toy.plugged = False
    host.run(4.0)
    host.toy.plugged = True
    for _ in range(20):  # the rig says again who it is, and takes the stream up, before any sample comes
        host.toy.leap(0.1)
        host.read()
    assert host.state.session.phase is Phase.SILENT
    assert host.state.reading is None
    host.run(0.1)
    host.confirm()
    host.run(0.1)
    host.press(True)
    host.run(0.1)
    assert host.opens == []
    assert "watched for" in "; ".join(reason for refusal in host.refused for reason in refusal.reasons)


def test_zeros_are_not_taken_from_a_squeeze() -> None:
    host = _ready()
    assert host.state.transducers is not None
    before_pa = host.state.transducers.cylinder.zero_pa
    host.act(acts.TakeZero())
    host.run(0.2)
    host.act(acts.BeginSqueeze())
    host.turn(300.0)
    assert host.state.zero is None
    assert host.state.transducers.cylinder.zero_pa == before_pa


def test_a_cylinder_that_the_engine_does_not_have_is_refused_in_words() -> None:
    host = _ready()
    host.act(acts.SetPurpose(acts.Purpose("test", 9)))
    assert host.state.purpose.cylinder == 1
    assert "not in this engine" in host.said[-1].text


def test_a_squeeze_at_once_after_the_stream_began_waits_in_words() -> None:
    host = _ready()
    host.restart(told=True)
    host.run(1.0)
    host.toy.index_at_deg = host.toy.crank_deg + 5.0
    host.turn(20.0, 360.0)
    host.act(acts.BeginSqueeze())
    assert host.state.squeeze is None
    assert host.said[-1].level == "warning"
