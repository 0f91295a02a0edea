"""What the panel of the next step shows, from the guide's step and the bench's state: no flow of its own. Without Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Final, Literal

from borewright.core.conditions import CONFIRMATIONS, Condition
from borewright.core.readiness_table import AIR_ON, State
from borewright.service import acts
from borewright.service.answers import asks, unit_of
from borewright.service.guide import Step

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.service.state import BenchState
    from borewright.units import Dimension

__all__ = ["FIRST_AIR", "FIRST_AIR_NAME", "AirWay", "Question", "StepView", "Turn", "first_unmet", "page_that_helps", "step_view"]

AirWay = Literal["none", "key", "switch", "hands", "coming", "on"]
"""How air is let in now: by the key of this program, by the rig's own switch, by hand valves; or it is coming, or on."""

FIRST_AIR_NAME: Final = "first air"
FIRST_AIR: Final = (
    "Compressed air can swing the crank, propeller, fan or wheel without warning. Shutting the supply does not unload the piston, "
    "only venting does; never vent by undoing the adapter, never go above the rated pressure. All plugs out; ignition, fuel and "
    "starter off, a hybrid isolated as its maker says. Restrain the crank, take the bar off, keep clear, with eye and ear "
    "protection. Mind hot metal and hot coolant. The stop key is no emergency stop: the hand valve that shuts and dumps the air "
    "has to be within reach. The engine maker's manual, local rules and licensed practice come first; aviation work is for "
    "licensed people."
)
"""The cautions before the first air of a job, as they are shown and kept in its event log."""

_PRESSURISED = "PRESSURISED: "
_TITLES: Final[Mapping[str, str]] = {
    "wait": "Wait",
    "blocked": "Not ready for air",
    "find_index": "Find the index pulse",
    "confirm_fitting": "Does the crank's own mark agree?",
    "place_hose": "Place the hose",
    "confirm_caution": "Read this and see to it",
    "fit_places": "At the engine's places",
    "pour_oil": "Oil for the wet test",
    "turn_open": "Turn it over, the hole open",
    "read_place_gauge": "Read the gauge",
    "hold": "Look, listen and feel",
    "set_regulator": "Set the regulator",
    "read_gauge": "Read the reference gauge",
    "read_back_hose": "Which hole is the hose in?",
    "turn_down": "Piston to the bottom first",
    "look_for_check_valve": "Look for a check valve",
    "begin_squeeze": "Next: squeeze",
    "squeeze_turn": "Turn by hand, steadily",
    "open_vent": "Open the vent by hand",
    "turn_to_tdc": "To compression TDC",
    "keep_still": "Keep the crank still",
    "restrain": "Restrain the crank",
    "confirm_people": "See to all of this",
    "give_air": "Ready for air",
    "shut_supply": "Steady: shut the supply",
}
_HELD: Final = (
    "hold Space, or the foot-switch that types it, until the rig has vented by itself; letting go shuts and vents at any time. "
    "Three seconds, a short puff, then full pressure"
)
_COUNTED: Final = (
    "Space arms it: three seconds, a short puff, then full pressure. Another press calls it off, and with air on it shuts and vents"
)
_BUTTONS: Final[Mapping[str, str]] = {
    "confirm_fitting": "It shows the &same",
    "place_hose": "&Done",
    "confirm_caution": "Read and seen &to",
    "fit_places": "It is s&o",
    "pour_oil": "Oil is in, hole &open",
    "read_place_gauge": "Take the &reading",
    "set_regulator": "It is s&et",
    "read_gauge": "Take the &reading",
    "read_back_hose": "It is in &this one",
    "look_for_check_valve": "There is n&one in it",
    "begin_squeeze": "&Begin to squeeze",
    "open_vent": "It is &open",
    "restrain": "It holds &this much",
    "confirm_people": "All of it is s&o",
    "shut_supply": "It is s&hut",
}
_QUESTIONS: Final[Mapping[str, tuple[str, str]]] = {  # what stands before the field, and the unit that is usual
    "read_back_hose": ("Number of the cylinder whose hole the hose is in", ""),
    "restrain": ("Torque that the restraint holds", "N·m"),
    "read_gauge": ("The gauge shows", "kPa"),
    "read_place_gauge": ("The gauge shows", "kPa"),
}
_HELPING_PAGES: Final[Mapping[str, str]] = {"link": "Rig", "rig": "Rig", "reference": "Rig", "air": "Rig"}


@dataclass(frozen=True, slots=True)
class Turn:
    """How far to turn: the figure, the way in words, and an arrow that goes round as the crank does."""

    figure: str
    words: str
    arrow: str


@dataclass(frozen=True, slots=True)
class Question:
    """What is to be typed: the words before the field, its kind of quantity (None: a number) and its usual unit."""

    words: str
    dimension: Dimension | None
    usual: str


@dataclass(frozen=True, slots=True)
class StepView:
    """One step as it is shown.

    button: words of the one act, "" where the bench sees by itself that it is done. points: sentences that are confirmed with one
    act. locked: PRESSURISED, nothing may be turned or undone. count_s: whole seconds until the air comes. hold_left_s: until the
    hold ends by itself. may_hold: air may be kept on for looking and listening; may_go_on: that can be ended. helps: the page on
    which what is missing is made.
    """

    key: str
    title: str
    text: str
    button: str = ""
    act: acts.Act | None = None
    turn: Turn | None = None
    points: tuple[str, ...] = ()
    question: Question | None = None
    air: AirWay = "none"
    locked: bool = False
    count_s: int | None = None
    hold_left_s: int | None = None
    may_hold: bool = False
    may_go_on: bool = False
    helps: str = ""


def step_view(step: Step, state: BenchState, *, by_hold: bool = True) -> StepView:
    """The step as it is shown now. by_hold: the air key is held; else it arms a countdown."""
    at, locked = state.readiness.state, state.readiness.locked
    purpose = state.purpose
    plain_hold = not purpose.gauged_places and purpose.aim != "span"
    words = _QUESTIONS.get(step.key)
    return StepView(
        key=step.key,
        title=_title(step, state),
        text=_text(step, state, by_hold=by_hold),
        button=_BUTTONS.get(step.key, "") if step.act is not None or asks(step.key) else "",
        act=None if step.key == "give_air" else step.act,
        turn=None if step.turn_deg is None or locked else _turn(step.key, step.turn_deg, state.engine),
        points=_points(step),
        question=None if words is None else Question(words[0], unit_of(step.key), words[1]),
        air=_air(step, state),
        locked=locked,
        count_s=_count_s(state),
        hold_left_s=_hold_left_s(state),
        may_hold=at is State.HOLDING or (at is State.FILLING and purpose.aim != "span"),
        may_go_on=at is State.HOLDING and plain_hold,
        helps=page_that_helps(step, state),
    )


def _title(step: Step, state: BenchState) -> str:
    at = state.readiness.state
    if step.key == "wait":
        return {
            State.ARMED: "Air is coming",
            State.PUFFING: "Puff",
            State.WATCHING: "Watching the crank",
            State.FILLING: "Air is on",
            State.HOLDING: "Air is on",
            State.ISOLATED: "Bleeding away",
            State.VENTING: "Venting",
        }.get(at, _TITLES["wait"])
    return _TITLES[step.key]


def _text(step: Step, state: BenchState, *, by_hold: bool) -> str:
    """The guide's words; while the crank is being turned, without the degrees, which the figure shows."""
    turning = state.crank is not None and state.crank.moved_count > state.limits.still_count
    if step.key == "turn_to_tdc" and turning and step.turn_deg is not None:
        return (
            "Then come up again in the running direction."
            if step.turn_deg < 0.0
            else "Up to compression TDC, in the running direction."
        )
    words = step.text.removeprefix(_PRESSURISED)
    if step.key == "confirm_people" and words.startswith("not confirmed"):
        words = f"Confirm only what is so. It holds for {state.limits.confirmed_s / 60:.0f} minutes and while the crank stands"
    if step.key == "give_air" and step.act is not None:
        words = _HELD if by_hold else _COUNTED
    if step.key == "hold":
        words = "Air stays on. Look, listen and feel at each place, and note how strong it is there"
    words = words[0].upper() + words[1:]
    return words if words[-1] in ".!?:)" else words + "."


def _points(step: Step) -> tuple[str, ...]:
    if not isinstance(step.act, acts.ConfirmPeople):
        return ()
    return tuple(sentence for name, sentence in CONFIRMATIONS.items() if name in step.act.points)


def _turn(key: str, turn_deg: float, engine: Engine | None) -> Turn:
    """The figure with tenths where they count, and the way as somebody at the engine sees it."""
    runs: Literal["clockwise", "anticlockwise"] = "clockwise" if engine is None else engine.running_direction
    other: Literal["clockwise", "anticlockwise"] = "anticlockwise" if runs == "clockwise" else "clockwise"
    way = runs if turn_deg >= 0.0 else other
    size = abs(turn_deg)
    if key == "find_index":
        figure = "1–2 turns"
    elif key == "squeeze_turn":
        figure = "keep turning"
    elif key == "turn_open":
        figure = f"{ceil(size / 360.0):d} turns" if size > 360.0 else "1 turn"
    else:
        figure = f"{size:.1f}°" if size < 9.95 or key == "confirm_fitting" else f"{size:.0f}°"
    words = f"on, in the running direction ({way})" if turn_deg >= 0.0 else f"back, against the running direction ({way})"
    return Turn(figure, words, "↻" if way == "clockwise" else "↺")


def _air(step: Step, state: BenchState) -> AirWay:
    at = state.readiness.state
    if at is State.ARMED:
        return "coming"
    if at in AIR_ON or state.readiness.locked:
        return "on" if state.has_valves else "hands"
    if step.key != "give_air":
        return "none"
    return "switch" if state.has_hold_switch else "key" if step.act is not None else "hands"


def _count_s(state: BenchState) -> int | None:
    if state.readiness.state is not State.ARMED or state.countdown_until_s is None or state.has_hold_switch:
        return None
    return max(0, ceil(state.countdown_until_s - state.now_s))


def _hold_left_s(state: BenchState) -> int | None:
    if state.readiness.state is not State.HOLDING:
        return None
    return max(0, round(state.limits.hold_renewal_s - (state.now_s - state.state_since_s)))


def first_unmet(conditions: tuple[Condition, ...]) -> Condition | None:
    """The condition that stands in front: the first that is not met, in their order; None where all are.

    >>> first_unmet((Condition("link", True, "streaming"), Condition("rig", False, "no zeros", "Take them."))).remedy
    'Take them.'
    """
    return next((condition for condition in conditions if not condition.met), None)


def page_that_helps(step: Step, state: BenchState) -> str:
    """The page on which what blocks is made: "Rig" for checks, zeros and true TDC, "" where no page does."""
    if step.key != "blocked":
        return ""
    unmet = first_unmet(state.conditions)
    return "" if unmet is None else _HELPING_PAGES.get(unmet.name, "")
