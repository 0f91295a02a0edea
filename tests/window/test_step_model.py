"""What the panel of the next step shows of each step, without Qt."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest
from borewright.app.step_model import FIRST_AIR, StepView, first_unmet, step_view
from borewright.core.conditions import CONFIRMATIONS, Condition, confirmations_needed
from borewright.core.engine import Engine
from borewright.core.readiness import Readiness
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.guide import Step, StepKey
from borewright.service.state import BenchState, Reading
from borewright.session.session import Session

FOUR = Engine("four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
STATE = BenchState(Session(0.0), engine=FOUR, purpose=acts.Purpose("test", 3), reading=Reading(100.0, 0.0, 0.0, 0.0))
ACTS: dict[str, acts.Act] = {
    "confirm_fitting": acts.ConfirmFitting(),
    "place_hose": acts.PlaceHose("cylinder", 3),
    "confirm_caution": acts.ConfirmCaution("coolant", "hot"),
    "fit_places": acts.FitPlaces(("coolant",)),
    "pour_oil": acts.PourOil(3, 3e-6),
    "set_regulator": acts.SetRegulator(550e3),
    "look_for_check_valve": acts.ConfirmNoCheckValve(),
    "begin_squeeze": acts.BeginSqueeze(),
    "open_vent": acts.EndSqueeze(),
    "confirm_people": acts.ConfirmPeople(frozenset(confirmations_needed(FOUR))),
    "give_air": acts.AskAir(),
    "shut_supply": acts.SayShut(),
}
ASKED = ("read_back_hose", "restrain", "read_gauge", "read_place_gauge")


def in_state(at: State, **changes: object) -> BenchState:
    return replace(STATE, readiness=Readiness(state=at, pressurised=at in (State.FILLING, State.HOLDING)), **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("key", get_args(StepKey))
def test_each_step_has_its_headline_its_words_and_its_one_act(key: StepKey) -> None:
    view = step_view(Step(key, "do this now", ACTS.get(key)), STATE)
    assert view.title
    assert view.text[0].isupper()
    assert view.text[-1] in ".!?:)"
    assert bool(view.button) is (key in ASKED or (key in ACTS and key != "give_air"))
    assert (view.question is not None) is (key in ASKED)
    assert view.act == (None if key == "give_air" else ACTS.get(key))  # air comes by its own key and by nothing else
    assert (view.air != "none") is (key == "give_air")


@pytest.mark.parametrize(
    ("turn_deg", "runs", "figure", "arrow", "way"),
    [
        (178.4, "clockwise", "178°", "↻", "on, in the running direction (clockwise)"),
        (3.26, "clockwise", "3.3°", "↻", "on, in the running direction (clockwise)"),
        (-186.0, "clockwise", "186°", "↺", "back, against the running direction (anticlockwise)"),
        (12.0, "anticlockwise", "12°", "↺", "on, in the running direction (anticlockwise)"),
        (-12.0, "anticlockwise", "12°", "↻", "back, against the running direction (clockwise)"),
    ],
)
def test_the_way_to_turn_is_a_figure_an_arrow_and_words(turn_deg: float, runs: str, figure: str, arrow: str, way: str) -> None:
    state = replace(STATE, engine=replace(FOUR, running_direction=runs))  # type: ignore[arg-type]
    turn = step_view(Step("turn_to_tdc", "turn", turn_deg=turn_deg), state).turn
    assert turn is not None
    assert (turn.figure, turn.arrow, turn.words) == (figure, arrow, way)


def test_under_pressure_nothing_says_that_the_crank_is_to_be_turned() -> None:
    view = step_view(Step("turn_to_tdc", "turn", turn_deg=90.0), in_state(State.FILLING))
    assert view.turn is None
    assert view.locked


def test_what_the_people_confirm_is_listed_sentence_by_sentence() -> None:
    view = step_view(Step("confirm_people", "not confirmed: plugs out", ACTS["confirm_people"]), STATE)
    assert view.points == tuple(CONFIRMATIONS[name] for name in confirmations_needed(FOUR))
    assert "10 minutes" in view.text


def test_the_countdown_is_told_in_whole_seconds_and_can_be_told_from_air() -> None:
    armed = in_state(State.ARMED, countdown_until_s=102.2)
    view = step_view(Step("wait", "air is coming: keep clear"), armed)
    assert (view.air, view.count_s, view.locked, view.title) == ("coming", 3, False, "Air is coming")


def test_a_hold_says_how_long_it_still_lasts_and_what_may_be_done() -> None:
    held = step_view(Step("hold", "PRESSURISED: air stays on"), in_state(State.HOLDING, state_since_s=58.0))
    assert (held.hold_left_s, held.may_hold, held.may_go_on, held.air) == (18, True, True, "on")
    filling = step_view(Step("wait", "PRESSURISED: air is on"), in_state(State.FILLING))
    assert (filling.hold_left_s, filling.may_hold, filling.may_go_on) == (None, True, False)
    gauged = in_state(State.HOLDING, purpose=acts.Purpose("test", 3, stopped=("coolant",)))
    assert not step_view(Step("read_place_gauge", "read"), gauged).may_go_on  # the bench waits for the gauge


def test_hand_valves_have_no_key() -> None:
    by_hand = replace(STATE, readiness=Readiness(valves=False, state=State.FILLING, pressurised=True))
    assert step_view(Step("shut_supply", "shut it", acts.SayShut()), by_hand).air == "hands"
    ready = replace(STATE, readiness=Readiness(valves=False, state=State.READY))
    assert step_view(Step("give_air", "open the supply by hand"), ready).air == "hands"


def test_what_blocks_leads_to_the_page_that_mends_it() -> None:
    unmet = (Condition("link", True, "there"), Condition("rig", False, "the sealed check is old", "Make the sealed check."))
    view = step_view(Step("blocked", "the sealed check is old"), replace(STATE, conditions=unmet))
    assert view.helps == "Rig"
    assert first_unmet(unmet) is unmet[1]


def test_while_the_crank_is_turned_only_the_figure_changes() -> None:
    texts = {
        step_view(Step("turn_to_tdc", f"the crank stands {deg}° before", turn_deg=deg), moving(9)).text
        for deg in (40.0, 39.0, 38.0)
    }
    assert len(texts) == 1


def moving(counts: int) -> BenchState:
    class Crank:
        moved_count = counts

    return replace(STATE, crank=Crank())  # type: ignore[arg-type]


def test_the_cautions_before_the_first_air_say_what_can_hurt() -> None:
    for words in (
        "swing the crank",
        "only venting does",
        "rated pressure",
        "ignition, fuel",
        "no emergency stop",
        "maker's manual",
    ):
        assert words in FIRST_AIR


def test_views_of_equal_steps_are_equal() -> None:
    step = Step("place_hose", "put the hose into cylinder 3", ACTS["place_hose"])
    assert step_view(step, STATE) == step_view(step, replace(STATE, opening_number=7))
    assert isinstance(step_view(step, STATE), StepView)
