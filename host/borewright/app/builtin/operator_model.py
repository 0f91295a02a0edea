"""What the panel of the built-in rig shows and offers, from what can be seen at the rig and from the guide's step. Without Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.core.heard import Heard
from borewright.core.place_meaning import place_words
from borewright.core.readiness_table import State
from borewright.service.guide import Step, StepKey
from borewright.service.state import BenchState
from borewright.simrig.rig_view import ORIFICE_M2, BuiltInFacts, BuiltInView
from borewright.simrig.words_for import TURN_RPM, words_for, words_for_stop

__all__ = [
    "SPEEDS",
    "STEADY_WORDS",
    "CrankDrag",
    "CrankKey",
    "HoseChoice",
    "ShowMe",
    "Showing",
    "crank_key_words",
    "crank_text",
    "doing_text",
    "hose_choices",
    "hose_text",
    "listening_lines",
    "new_troubles",
    "seen_text",
    "show_me",
]

SPEEDS = (1.0, 2.0, 4.0)
STEADY_WORDS = "turn +720 rpm 20"
CrankKey = Literal["left", "right", "page_up", "page_down"]

_CARRIED_ON: frozenset[StepKey] = frozenset(
    {"squeeze_turn", "look_for_check_valve", "turn_to_tdc", "find_index", "turn_down", "turn_open"}
)
_MOST_ROUNDS = 12
_MARK_READ_TO_DEG = 1.0
_SEEN_AFTER_S = 1.3  # the crank has to have stood for a second
_LEAST_DRAG_DEG = 0.5  # less than this is a trembling of the mouse


@dataclass(frozen=True, slots=True)
class HoseChoice:
    """Where the hose can be put: what stands on the button, the words for the person at the rig, what the view says then."""

    label: str
    words: str
    at: int | str


@dataclass(frozen=True, slots=True)
class ShowMe:
    """What the show-me key would do now: the words for the person at the rig, none where nothing is to be done there; and a
    sentence that says so, or what is left to whoever looks at the screen."""

    words: tuple[str, ...]
    text: str


def hose_choices(facts: BuiltInFacts) -> tuple[HoseChoice, ...]:
    """Where the hose of this rig can go, the cylinders in order first.

    >>> from borewright.simrig.builtin import BuiltInRig
    >>> [choice.label for choice in hose_choices(BuiltInRig("v-twin-uneven", speed=None).facts)]
    ['1', '2', 'Off', 'Capped', 'Orifice 0.8 mm²']
    """
    orifice = f"orifice {ORIFICE_M2 * 1e6:g}"
    return (
        *(HoseChoice(str(number), f"hose {number}", number) for number in sorted(facts.firing_order)),
        HoseChoice("Off", "hose off", "off"),
        HoseChoice("Capped", "hose capped", "capped"),
        HoseChoice(f"Orifice {ORIFICE_M2 * 1e6:g} mm²", f"hose {orifice}", orifice),
    )


def hose_text(at: int | str) -> str:
    """Where the hose is, in words.

    >>> hose_text(3), hose_text("capped"), hose_text("orifice 0.8"), hose_text("off")
    ('in cylinder 3', 'capped', 'on the orifice of 0.8 mm²', 'off, its end open')
    """
    if isinstance(at, int):
        return f"in cylinder {at}"
    if at.startswith("orifice "):
        return f"on the orifice of {at.removeprefix('orifice ')} mm²"
    return "off, its end open" if at == "off" else at


def crank_text(view: BuiltInView, facts: BuiltInFacts) -> str:
    """How the crank stands by its own mark, which nobody reads to better than a degree."""
    mark = f"{view.crank_deg % facts.cycle_deg:.0f}° past the TDC mark of cylinder {facts.firing_order[0]}"
    return f"{mark}, turning" if view.turning else mark


def doing_text(view: BuiltInView) -> str:
    """What the person at the rig is doing, or was told last.

    >>> from borewright.simrig.builtin import BuiltInRig
    >>> rig = BuiltInRig("hillclimb-before", speed=None)
    >>> doing_text(rig.view()), rig.do("hose 2").startswith("ok"), doing_text(rig.view())
    ('Nobody is doing anything at the rig.', True, 'At the rig: putting the hose into cylinder 2 …')
    """
    if view.said.startswith("no: "):
        return f"Cannot be done: {view.said.removeprefix('no: ')}."
    if not view.busy:
        return "Nobody is doing anything at the rig."
    return f"At the rig: {view.said.removeprefix('ok ')} …"


def listening_lines(view: BuiltInView, facts: BuiltInFacts) -> tuple[str, ...]:
    """What is heard at each place; one sentence where there is nothing to listen to."""
    if not isinstance(view.hose_at, int):
        return ("Nothing to hear: the hose is in no cylinder.",)
    if not view.heard:
        return (f"Nothing to hear: there is no air in cylinder {view.hose_at}.",)
    order = {place: at for at, place in enumerate(facts.places)}
    return tuple(_heard_line(one) for one in sorted(view.heard, key=lambda one: order.get(one.place, len(order))))


def _heard_line(one: Heard) -> str:
    where = "" if one.neighbour is None else f", at the plug hole of cylinder {one.neighbour}"
    words = place_words(one.place)
    return f"{words[0].upper()}{words[1:]}: {one.strength}{where}"


def seen_text(view: BuiltInView) -> str:
    """All else that can be seen at the engine and is out of the ordinary, in one line; "" where nothing is."""
    seen = [f"piston stop in cylinder {view.piston_stop_in}"] if view.piston_stop_in is not None else []
    seen += [f"{place_words(place)} of cylinder {number} stopped" for number, place in view.stopped]
    seen += [f"{place_words(place)} of cylinder {number} through {area:g} mm²" for number, place, area in view.metered]
    seen += [f"{oil:g} cm³ of oil was put into cylinder {number}" for number, oil in view.oil_cm3]
    seen += ["decompression lever on"] if view.decompression_on else []
    seen += ["a check valve sticks in the adapter"] if view.check_valve_seen else []
    seen += ["the cable is out"] if not view.plugged else []
    seen += ["the device has no power"] if not view.powered else []
    return "; ".join(seen)


def new_troubles(before: BuiltInView | None, now: BuiltInView) -> tuple[str, ...]:
    """What turned out to be impossible at the rig since it was looked at last."""
    if before is None or before.troubles == now.troubles:
        return ()
    old, new = before.troubles, now.troubles
    kept = next((size for size in range(min(len(old), len(new)), 0, -1) if old[-size:] == new[:size]), 0)
    return new[kept:]


# ---------------------------------------------------------------------- the crank


def crank_key_words(key: CrankKey, *, shift: bool, ctrl: bool) -> str:
    """By how much a key turns: a degree, with Shift ten, with Ctrl ninety; the page keys a whole turn.

    >>> crank_key_words("right", shift=False, ctrl=False), crank_key_words("left", shift=True, ctrl=False)
    ('crank +1', 'crank -10')
    >>> crank_key_words("page_up", shift=False, ctrl=False)
    'crank +360'
    """
    step = 360 if key.startswith("page") else 90 if ctrl else 10 if shift else 1
    return f"crank {step if key in ('right', 'page_up') else -step:+d}"


@dataclass(slots=True)
class CrankDrag:
    """A hand on the drawn crank. Angles in degrees clockwise from the top, as the drawing turns in running direction.

    >>> drag = CrankDrag(350.0)
    >>> drag.move(350.2), drag.move(5.0), drag.move(2.0)
    (None, 'crank +15', 'crank -3')
    """

    at_deg: float

    def move(self, to_deg: float) -> str | None:
        """The pointer has gone there by the shorter way; the words for the person at the rig, None for as good as nothing."""
        by_deg = (to_deg - self.at_deg + 180.0) % 360.0 - 180.0
        if abs(by_deg) < _LEAST_DRAG_DEG:
            return None
        self.at_deg = to_deg
        return f"crank {by_deg:+.4g}"


# ---------------------------------------------------------------------- show me


@dataclass(slots=True)
class Showing:
    """A step that was asked to be shown is carried on with until it is done: a squeeze is more than one turn of the hand.

    key: of the step; None while nothing is shown.
    """

    key: StepKey | None = None
    told_s: float = 0.0
    rounds_left: int = 0

    def begin(self, step: Step | None, view: BuiltInView) -> None:
        """The person pressed the key at this step."""
        self.key = step.key if step is not None and step.key in _CARRIED_ON else None
        self.told_s, self.rounds_left = view.at_s, _MOST_ROUNDS

    def carries_on(self, step: Step | None) -> bool:
        """Whether this step is being shown already."""
        return self.key is not None and step is not None and step.key == self.key

    def end(self) -> None:
        """The person does something else."""
        self.key = None

    def words(self, step: Step | None, state: BenchState | None, view: BuiltInView, facts: BuiltInFacts) -> tuple[str, ...]:
        """What to do again now; nothing while the last is under way, or before it can be seen what came of it."""
        if self.key is None or step is None or state is None:
            return ()
        if view.busy or view.turning:
            self.told_s = view.at_s
            return ()
        if view.at_s - self.told_s < (0.0 if self.key == "squeeze_turn" else _SEEN_AFTER_S):
            return ()
        if step.key != self.key or self.rounds_left == 0:
            self.end()
            return ()
        self.rounds_left -= 1
        self.told_s = view.at_s
        return show_me(step, state, view, facts).words


def show_me(step: Step | None, state: BenchState | None, view: BuiltInView, facts: BuiltInFacts) -> ShowMe:
    """What the step asks to be done at the rig. Letting air in and whatever is told to the program stay with the person."""
    if not view.plugged:
        return ShowMe(("plug",), "put the cable back")
    if step is None or state is None:
        return ShowMe((), "the rig is not known yet")
    if view.busy or view.turning:
        return ShowMe((), "wait until what is under way at the rig is done")
    if view.hold_pressed and state.readiness.state in (State.VENTED, State.READY) and not state.pressurised:
        return ShowMe(("hold release",), "let go of the hold-to-run switch: it is vented")
    if step.key == "confirm_fitting" and abs(step.turn_deg or 0.0) > _MARK_READ_TO_DEG:
        turn_deg = step.turn_deg or 0.0
        return ShowMe((f"turn {turn_deg:+.2f} rpm {TURN_RPM:g}",), "turn the crank to where the stored true TDC is said to be")
    words = words_for_stop(state.stop, view, index_awaited=state.tdc is None) or words_for(step, state, view, facts)
    if words:
        return ShowMe(words, ", then ".join(_act_words(word) for word in words))
    return ShowMe((), _left_to_the_person(step, state, view, facts))


def _act_words(words: str) -> str:
    """One of the words for the person at the rig, as a sentence begins with it."""
    word, *rest = words.split()
    match word:
        case "hose":
            return {"off": "take the hose off", "capped": "cap the hose"}.get(
                rest[0],
                f"put the orifice of {rest[-1]} mm² on the hose"
                if rest[0] == "orifice"
                else f"put the hose into cylinder {rest[0]}",
            )
        case "turn":
            way = "on" if rest[0].startswith("+") else "back"
            return f"turn the crank {way} by hand by {abs(float(rest[0])):.0f}°"
        case "restrain":
            return "take the restraint off" if rest[0] == "off" else f"put the restraint of {rest[0]} N·m on"
        case "regulator":
            return f"set the regulator to {rest[0]} kPa"
        case "piston-stop":
            return "take the piston stop out" if rest[0] == "out" else f"screw the piston stop into cylinder {rest[0]}"
        case "stop":
            return f"{'stop' if rest[2] == 'on' else 'free'} the {place_words(rest[1])} of cylinder {rest[0]}"
        case "meter" if rest[2] == "off":
            return f"take the orifice off the {place_words(rest[1])} of cylinder {rest[0]}"
        case "meter":
            return f"put the orifice of {rest[2]} mm² on the {place_words(rest[1])} of cylinder {rest[0]}"
        case "wet":
            return f"put {rest[1]} cm³ of oil into cylinder {rest[0]}"
        case "check-valve":
            return "take the check valve out of the adapter"
        case "supply":
            return f"{rest[0]} the supply"
        case "vent":
            return f"{rest[0]} the vent"
        case _:
            return words


def _left_to_the_person(step: Step, state: BenchState, view: BuiltInView, facts: BuiltInFacts) -> str:
    match step.key:
        case "give_air" if state.has_hold_switch:
            return "letting air in is your own act: keep the hold-to-run switch below pressed"
        case "give_air" if not state.has_valves:
            return "letting air in is your own act: shut the vent, then open the supply, with the levers below"
        case "give_air":
            return "letting air in is your own act, in the window"
        case "restrain":
            return f"nothing yet: {facts.restraint_nm:g} N·m stands on the restraint; say so in the window"
        case "read_back_hose":
            return f"look: the hose is {hose_text(view.hose_at)}; say so in the window"
        case "read_gauge" if view.gauge is not None:
            return f"look: the reference gauge shows {view.gauge}; say so in the window"
        case "read_place_gauge" if view.place_gauges:
            shown = ", ".join(f"{place_words(place)} {text}" for _, place, text in view.place_gauges)
            return f"look: the gauge shows {shown}; say so in the window"
        case "wait" | "keep_still" | "blocked":
            return "nothing is to be done at the rig now"
        case "hold":
            return "listen at each place, and note in the window what you hear"
        case _:
            return "nothing is to be done at the rig; confirm the step in the window"
