"""The person at the rig: words, slowness, errors of the hand, what is seen and heard."""

from __future__ import annotations

from typing import Any

import pytest
from boresim.operator import HELP
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from boresim.senses import loudness
from borewire.messages import HoldEvent, HoldState, SampleBlock, StreamStart
from hypothesis import given, settings
from hypothesis import strategies as st


@pytest.mark.parametrize(
    "words",
    [
        "",
        "dance",
        "turn",
        "turn far",
        "turn nan",
        "turn inf",
        "turn +10 rpm 0",
        "turn +10 rpm",
        "turn +10 knots 3",
        "to tdc 9",
        "to bdc 1",
        "to tdc 1 off 900",
        "restrain",
        "restrain -1",
        "hose",
        "hose 7",
        "hose 1 2",
        "hose orifice",
        "hose orifice 0",
        "supply open",
        "vent shut",
        "vent ajar",
        "regulator",
        "regulator 5000",
        "hold",
        "hold on",
        "stop 1 roof on",
        "stop 1 exhaust",
        "stop 1 exhaust maybe",
        "wet 1",
        "wet 1 9999",
        "piston-stop",
        "piston-stop 8",
        "wait -1",
        "wait long",
        "unplug it",
        "listen hard",
        "look up",
        "busy bee",
        "help me",
    ],
)
def test_words_that_cannot_be_done_are_refused_in_one_line_and_nothing_begins(make_bench: Any, words: str) -> None:
    operator = make_bench().rig.operator
    answer = operator.do(words)
    assert answer.startswith("no: ")
    assert "\n" not in answer
    assert not operator.busy


@settings(max_examples=100, deadline=None)
@given(
    st.text(max_size=40)
    | st.lists(st.sampled_from([*HELP, "1", "-5", "on", "off", "tdc", "rpm", "9e99"]), max_size=5).map(" ".join)
)
def test_any_words_get_one_line_that_says_ok_or_no(words: str) -> None:
    rig = SimRig(load_scenario("hillclimb-before-hand"))
    answer = rig.operator.do(words)
    rig.advance(1.0)
    assert answer.startswith(("ok ", "no: "))
    assert len(answer.splitlines()) == 1


def test_help_names_every_word(make_bench: Any) -> None:
    operator = make_bench().rig.operator
    everything = operator.do("help")
    for word, text in HELP.items():
        assert text in everything
        assert operator.do(f"help {word}") == f"ok {text}"


def test_the_reference_gauge_shows_the_pressure_at_the_end_of_the_capped_hose() -> None:
    rig = SimRig(load_scenario("hillclimb-before-hand"))
    operator = rig.operator
    assert operator.do("gauge").startswith("no: the reference gauge goes onto the end of the capped hose")
    for words in ("hose capped", "regulator 250", "vent shut", "supply open"):
        assert operator.do(words).startswith("ok ")
        while operator.busy:
            rig.advance(0.1)
    rig.advance(3.0)
    answer = operator.do("gauge")
    assert answer.endswith(" kPa")
    shown_pa = float(answer.split()[1]) * 1e3
    assert abs(shown_pa - rig.plant.p_cylinder_gauge_pa) < 50.0 + 0.0003 * shown_pa
    assert shown_pa > 240e3


def test_acts_begin_late_and_come_one_after_the_other(make_bench: Any) -> None:
    bench = make_bench()
    reaction_s = bench.rig.scenario.operator.reaction_s
    assert bench.rig.operator.do("hose capped") == "ok capping the hose"
    assert bench.rig.operator.do("regulator 300").startswith("ok ")
    bench.run(0.5 * reaction_s)
    assert bench.rig.plant.hose_at == "off"
    moments = []
    for wanted in ("capped", "idle"):
        while (bench.rig.plant.hose_at if wanted == "capped" else bench.rig.operator.do("busy")[3:]) != wanted:
            bench.run(0.05)
        moments.append(bench.rig.now_s)
    assert moments[0] > 0.7 * reaction_s + 3.0
    assert moments[1] > moments[0] + 0.7 * reaction_s


def test_a_turn_goes_where_it_is_told_but_for_the_error_of_the_hand(make_bench: Any) -> None:
    missed = []
    for seed in range(12):
        bench = make_bench(seed=seed)
        start_deg = bench.rig.plant.crank_deg
        bench.tell("turn -90 rpm 30")
        missed.append(bench.rig.plant.crank_deg - start_deg + 90.0)
    error_deg = bench.rig.scenario.operator.hand_error_deg
    assert max(abs(deg) for deg in missed) < 5.0 * error_deg
    assert max(missed) - min(missed) > 0.5 * error_deg


@pytest.mark.parametrize(("cylinder", "off_deg"), [(1, 0.0), (3, 0.0), (4, 360.0), (2, -20.0)])
def test_to_tdc_turns_forward_to_the_compression_tdc_or_so_many_degrees_after_it(
    make_bench: Any, cylinder: int, off_deg: float
) -> None:
    bench = make_bench()
    start_deg = bench.rig.plant.crank_deg
    bench.tell(f"to tdc {cylinder} off {off_deg:g}")
    rig = bench.rig
    reached_deg = rig.scenario.engine.cycle_angle_deg(cylinder, rig.plant.crank_deg - off_deg)
    assert min(reached_deg, 720.0 - reached_deg) < 0.2
    assert rig.plant.crank_deg > start_deg


def test_halt_drops_the_turning_and_all_that_waits(make_bench: Any) -> None:
    bench = make_bench()
    for words in ("turn +700", "hose 2", "wait 100"):
        bench.rig.operator.do(words)
    bench.run(3.0)
    assert bench.rig.plant.turning
    bench.rig.operator.do("halt")
    bench.run(2.0 + bench.rig.scenario.operator.reaction_s)
    assert (bench.rig.plant.turning, bench.rig.operator.busy, bench.rig.plant.hose_at) == (False, False, "off")


def test_letting_the_switch_go_does_not_wait_for_the_act_under_way(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.send(StreamStart(1, 1000, 8))
    bench.tell("hold press")
    bench.rig.operator.do("wait 60")
    bench.rig.operator.do("hold release")
    bench.run(1.7 * bench.rig.scenario.operator.reaction_s)
    assert [event.hold for event in pick(HoldEvent, bench.heard)] == [HoldState.PRESSED, HoldState.RELEASED]


@pytest.mark.parametrize("before", [(), ("hose 1",)])
def test_a_switch_let_go_is_not_pressed_afterwards_because_that_was_told_before(make_bench: Any, before: tuple[str, ...]) -> None:
    bench = make_bench()
    operator = bench.rig.operator
    for words in (*before, "hold press", "hold release"):
        assert operator.do(words).startswith("ok")
    bench.run(20.0)
    assert not operator.busy
    assert not bench.rig.hold_pressed
    assert operator.do("hold press").startswith("ok")
    bench.run(20.0)
    assert bench.rig.hold_pressed


def test_a_rig_without_the_switch_has_none_to_press(make_bench: Any) -> None:
    bench = make_bench(hold_switch=False)
    assert bench.rig.operator.do("hold press") == "no: no hold-to-run switch is fitted to this rig"


def test_hand_valves_are_moved_by_the_person_and_let_air_in(make_bench: Any) -> None:
    bench = make_bench("hillclimb-before-hand")
    bench.tell("hose capped", "vent shut", "supply open", "wait 3")
    look = bench.rig.operator.do("look")
    assert "hose capped" in look
    assert "regulated 550 kPa, cylinder 550 kPa" in look
    bench.tell("supply shut", "vent open", "wait 3")
    assert "regulated 0 kPa, cylinder 0 kPa" in bench.rig.operator.do("look")


def test_the_loudest_place_is_where_the_leak_is(make_bench: Any) -> None:
    bench = make_bench()
    assert bench.rig.operator.do("listen") == "ok nothing: the hose is off"
    bench.send(StreamStart(1, 1000, 8))
    bench.tell("hose 3", "to tdc 3", "restrain 60", "hold press")
    assert "strong" not in bench.rig.operator.do("listen")
    bench.ask(bench.opening())
    bench.run(3.0)
    heard = dict(part.split() for part in bench.rig.operator.do("listen").removeprefix("ok ").split(", "))
    assert set(heard) == set(bench.rig.scenario.engine.places)
    order = ["none", "faint", "steady", "strong"]
    assert max(heard, key=lambda place: order.index(heard[place])) == "exhaust"  # the scenario's burnt valve


def test_loudness_rises_with_the_flow() -> None:
    assert [loudness(flow) for flow in (0.0, 9e-6, 1e-5, 9e-5, 1e-4, 5e-4, 6e-4)] == [
        "none", "none", "faint", "faint", "steady", "steady", "strong",
    ]  # fmt: skip


def test_a_piston_stop_that_cannot_go_in_is_a_trouble_and_the_next_act_goes_on(make_bench: Any) -> None:
    bench = make_bench()
    bench.tell("to tdc 1", "piston-stop 1", "hose 1")
    assert len(bench.rig.operator.troubles) == 1
    assert "stands too high for the stop" in bench.rig.operator.troubles[0]
    assert bench.rig.plant.hose_at == 1
    bench.tell("turn +90", "piston-stop 1", "turn +720", "piston-stop out")
    assert bench.rig.plant.piston_stop_in is None
    assert bench.rig.plant.crank_deg < 720.0 + 360.0


def test_cable_and_power_are_in_the_persons_reach(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.send(StreamStart(1, 1000, 8))
    bench.tell("unplug")
    assert not bench.rig.plugged
    bench.tell("plug")
    assert bench.rig.plugged
    assert pick(SampleBlock, bench.run(0.1))
    boot_id = bench.rig.device.boot_id
    bench.tell("power-cycle", "wait 1")
    assert bench.rig.device.boot_id != boot_id
