"""What the person has to do next: one step at a time, in plain words, from the bench's state alone.

The terminal, the demo's scripted person and later the window all follow these steps; none of them has a flow of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.core.conditions import Condition, confirmations_needed, not_proven
from borewright.core.place_meaning import place_words
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.facts import (
    air_facts,
    carried_over,
    degrees_from_any_tdc,
    degrees_from_reference_tdc,
    degrees_from_tdc,
    window_deg,
)
from borewright.service.gauge import awaits_reading, next_sweep_pa
from borewright.service.places import awaited_gauge, place_undone
from borewright.service.regulator import regulator_awaited_pa
from borewright.service.state import BenchState
from borewright.session.session import Phase

__all__ = ["Step", "StepKey", "next_step"]

StepKey = Literal[
    "wait",
    "blocked",
    "find_index",
    "confirm_fitting",
    "place_hose",
    "confirm_caution",
    "fit_places",
    "pour_oil",
    "turn_open",
    "read_place_gauge",
    "hold",
    "set_regulator",
    "read_gauge",
    "read_back_hose",
    "turn_down",
    "look_for_check_valve",
    "begin_squeeze",
    "squeeze_turn",
    "open_vent",
    "turn_to_tdc",
    "keep_still",
    "restrain",
    "confirm_people",
    "give_air",
    "shut_supply",
]

BACK_OFF_DEG = 185.0
DOWN_ENOUGH_DEG = 135.0  # past TDC, or before it: the piston is within a sixth of its stroke from the bottom
SETTLES_S = 3.0
PA_PER_PSI = 6_894.757


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do. act: what to tell the bench once the person says that it is done; None where the bench sees it by itself.

    turn_deg: how far to turn the crank, positive in the running direction.
    """

    key: StepKey
    text: str
    act: acts.Act | None = None
    turn_deg: float | None = None


def next_step(state: BenchState) -> Step:
    """The next thing to do for the purpose that is set."""
    under_way = _under_way(state)
    if under_way is not None:
        return under_way
    unmet = {condition.name: condition for condition in state.conditions if not condition.met}
    if not state.conditions or "link" in unmet:
        return Step("wait", _words(unmet["link"]) if unmet else "wait for the rig")
    if state.check_valve is not None:
        return _check_valve_step(state)
    if "rig" in unmet and "still" not in unmet:  # a crank that is turned pumps air through the vent
        if state.zero is not None or state.now_s - state.state_since_s < SETTLES_S:
            return Step("wait", "wait a moment until the pressures have settled")
        return Step("blocked", _words(unmet["rig"]))
    unproven = not_proven(air_facts(state))
    if unproven is not None and unmet.get("air") == unproven:  # the guide leads to no proof, so it is said before all the work
        return Step("blocked", _words(unproven))
    at_places = place_undone(state)
    if at_places is not None:
        return Step(at_places.key, at_places.text, at_places.act, at_places.turn_deg)
    step = _test_step(state, unmet) if state.purpose.kind == "test" else _outlet_step(state)
    if step is not None:
        return step
    if "still" in unmet:
        return Step("keep_still", "keep the crank still")
    if state.purpose.kind == "test" and state.holding_torque_nm is None:
        return Step("restrain", "say how much torque the restraint of the crank will hold; it goes on once the crank stands at TDC")
    if "people" in unmet:
        engine, gauged = state.engine if state.purpose.kind == "test" else None, bool(state.purpose.gauged_places)
        points = frozenset(confirmations_needed(engine, gauged=gauged))
        return Step("confirm_people", _words(unmet["people"]), acts.ConfirmPeople(points))
    if unmet:
        first = next(iter(unmet.values()))
        return Step("wait" if first.name == "air" else "blocked", _words(first))
    if state.has_hold_switch:
        text = "ready for air: pressing the hold-to-run switch lets it in (let go of it first); keep it pressed until vented"
        return Step("give_air", text)
    if state.has_valves:
        return Step("give_air", "ready for air", acts.AskAir())
    return Step("give_air", "ready for air: close the vent, then open the supply by hand, slowly; that begins the test")


def _words(condition: Condition) -> str:
    return f"{condition.reason}. {condition.remedy}".strip()


def _under_way(state: BenchState) -> Step | None:
    place = awaited_gauge(state)
    if place is not None:
        text = f"PRESSURISED: read the gauge at the {place_words(place)} and type what it shows, with its unit"
        if place == state.purpose.spare_place and state.spare_gauge_pa is not None:
            text += f" (the rig's own shows {state.spare_gauge_pa / 1000:.1f} kPa)"
        return Step("read_place_gauge", text)
    match state.readiness.state:
        case State.ARMED:
            return Step("wait", "air is coming: keep clear")
        case State.PUFFING | State.WATCHING:
            return Step("wait", "PRESSURISED: a short puff; watching the crank")
        case State.FILLING | State.HOLDING if state.purpose.aim == "span" and state.capture is not None:
            return _sweep_step(state)
        case State.FILLING if state.has_valves or state.capture is None or not state.capture.settled:
            return Step("wait", "PRESSURISED: air is on, waiting for a steady reading")
        case State.FILLING:
            return Step("shut_supply", "PRESSURISED: steady; shut the supply by hand and leave the vent closed", acts.SayShut())
        case State.HOLDING:
            return Step("hold", "PRESSURISED: air stays on for looking and listening")
        case State.ISOLATED:
            return Step("wait", "PRESSURISED: supply shut, watching the pressure bleed away")
        case State.VENTING if state.session.phase is not Phase.STREAMING:
            text = "PRESSURISED as far as is known: shut the supply and open the vent by hand, and turn or undo nothing until the "
            return Step(
                "wait", text + "gauges are down. Nothing goes on before the rig has been heard again: see to cable and power"
            )
        case State.VENTING if state.has_valves:
            return Step("wait", "PRESSURISED: venting; do not turn or undo anything")
        case State.VENTING:
            return Step("open_vent", "PRESSURISED: shut the supply and open the vent by hand; do not turn or undo anything")
        case State.SQUEEZING:
            return _squeeze_step(state)
        case _ if state.capture is not None and state.capture.ended_s is not None:
            return Step("wait", "vented; a moment more is recorded, to see whether the zeros are where they were")
        case _:
            return None


def _sweep_step(state: BenchState) -> Step:
    gauge_pa = next_sweep_pa(state)
    if gauge_pa is None:  # only by hand is there still something to do
        text = "PRESSURISED: shut the supply and open the vent by hand; do not turn or undo anything"
        return Step("open_vent", text)
    if not awaits_reading(state):
        return Step("wait", "PRESSURISED: air is on, waiting until it stands")
    text = (
        f"PRESSURISED: set the regulator to about {_pressure_words(gauge_pa)}; once the reference gauge stands still, "
        "type what it shows, with its unit"
    )
    return Step("read_gauge", text)


def _pressure_words(gauge_pa: float) -> str:
    """A pressure to be set, as the two kinds of gauge show it.

    >>> _pressure_words(551_580.6)
    '552 kPa (80 psi)'
    """
    return f"{gauge_pa / 1000:.0f} kPa ({gauge_pa / PA_PER_PSI:.0f} psi)"


def _squeeze_step(state: BenchState) -> Step:
    if state.squeeze is None:
        return Step("open_vent", "stop turning, then open the vent by hand", acts.EndSqueeze())
    text = "turn the crank by hand, never with the starter, steadily in the running direction until told to stop"
    if not state.has_valves:
        text = "close the vent by hand, then " + text
    return Step("squeeze_turn", text, turn_deg=120.0)


def _outlet_step(state: BenchState) -> Step | None:
    purpose = state.purpose
    if state.hose is None or state.hose.outlet != purpose.outlet:
        return Step("place_hose", f"take the hose off the engine and {_outlet_words(purpose)}", acts.PlaceHose(purpose.outlet))
    wanted_pa = regulator_awaited_pa(state)
    if wanted_pa is not None:
        text = f"set the regulator to {_pressure_words(wanted_pa)} by its own gauge; the supply stays shut"
        return Step("set_regulator", text, acts.SetRegulator(wanted_pa))
    return None


def _outlet_words(purpose: acts.Purpose) -> str:
    if purpose.aim == "span":
        return (
            "put a T-piece onto its end, with the reference gauge on it and the other branch capped; "
            "set the gauge to zero and back the regulator off"
        )
    if purpose.outlet == "capped":
        return "cap the end of the hose"
    return f"put the certified orifice of {purpose.orifice_area_m2 * 1e6:g} mm² onto the end of the hose"


def _test_step(state: BenchState, unmet: dict[str, Condition]) -> Step | None:
    cylinder = state.purpose.cylinder
    if "reference" in unmet:
        return _reference_step(state, unmet["reference"])
    if state.hose is None or state.hose.outlet != "cylinder" or state.hose.cylinder != cylinder:
        return Step("place_hose", f"put the hose into cylinder {cylinder}", acts.PlaceHose("cylinder", cylinder))
    if "stroke_and_hose" in unmet:
        evidence = state.hose_evidence
        if evidence is not None and evidence.needs_read_back and not evidence.read_back:
            text = "look which hole the hose is in: another cylinder moves in step, and the squeeze cannot tell them apart"
            return Step("read_back_hose", text)
        if evidence is None and state.verdict is not None and state.verdict.kind == "out_of_step":
            return Step("read_back_hose", f"look which hole the hose is in: {state.verdict.words}")
        if evidence is None and carried_over(state):
            text = "look which hole the hose is in: the stroke is carried over by count, the puff does not show which hole it fills"
            return Step("read_back_hose", text)
        turns = "one turn" if state.engine is not None and state.engine.cycle == "two-stroke" else "two turns"
        text = f"{unmet['stroke_and_hose'].reason}. Next the crank is turned by hand through {turns} or more, all plugs out"
        return Step("begin_squeeze", text, acts.BeginSqueeze())
    if "position" in unmet and state.holding_torque_nm is not None:
        return _turn_step(state, unmet["position"])
    return None


def _check_valve_step(state: BenchState) -> Step:
    """The piston at the bottom, where it squeezes nothing, before anybody undoes an adapter behind which no gauge looks."""
    if state.crank is not None and state.crank.moved_count > state.limits.still_count:
        return Step("keep_still", "stop turning, leave the vent open and undo nothing yet")
    off_deg = degrees_from_any_tdc(state)
    if off_deg is not None and abs(off_deg) < DOWN_ENOUGH_DEG:
        turn_deg = 180.0 - off_deg if off_deg >= 0.0 else -180.0 - off_deg
        way = "on" if turn_deg > 0.0 else "back"
        text = (
            "undo nothing yet and leave the vent open: the gauge shows the hose alone, the cylinder may hold squeezed air. "
            f"Turn the crank {way} by hand by {abs(turn_deg):.0f}°, until the piston is at the bottom"
        )
        return Step("turn_down", text, turn_deg=turn_deg)
    text = (
        "leave the vent open and take the hose off with care: loosen the adapter a little, wait while it hisses, then undo it. "
        "Take the check valve out of the adapter, or see that there is none; after that comes another squeeze"
    )
    return Step("look_for_check_valve", text, acts.ConfirmNoCheckValve())


def _reference_step(state: BenchState, reference: Condition) -> Step:
    crank = state.crank
    if crank is not None and (crank.index_count is None or crank.index_spacing_ok is None or crank.index_missed):
        return Step("find_index", _words(reference), turn_deg=400.0)
    if state.tdc is not None and not state.fitting_confirmed:
        return _fitting_step(state, reference)
    return Step("blocked", _words(reference))


def _fitting_step(state: BenchState, reference: Condition) -> Step:
    """What the stored true TDC says of the crank now, so that a person can hold it against the crank's own mark."""
    text, after_deg = _words(reference), degrees_from_reference_tdc(state)
    if after_deg is None or state.tdc is None:
        return Step("confirm_fitting", text, acts.ConfirmFitting())
    after_deg = round(after_deg, 1)
    if state.crank is not None and state.crank.moved_count > state.limits.still_count:
        text = "the crank is turning: once it stands, you are told where the stored true TDC takes it to stand"
        return Step("wait", text, turn_deg=-after_deg)
    text += (
        f" By the stored true TDC the crank stands {abs(after_deg):.1f}° {'before' if after_deg < 0.0 else 'after'} "
        f"cylinder {state.tdc.reference_cylinder}'s TDC (turn until it says 0.0°, then look at the crank's own mark)"
    )
    return Step("confirm_fitting", text, acts.ConfirmFitting(), turn_deg=-after_deg)


def _turn_step(state: BenchState, position: Condition) -> Step:
    """The way to compression TDC: forwards to it; when it was passed or not come to rightly, back first and up again."""
    off_deg = degrees_from_tdc(state)
    engine = state.engine
    if off_deg is None or engine is None:
        return Step("blocked", _words(position))
    allowed_deg = window_deg(state)
    if (off_deg > allowed_deg and off_deg < 90.0) or abs(off_deg) <= allowed_deg:
        back_deg = off_deg + BACK_OFF_DEG
        return Step("turn_to_tdc", f"{position.reason}. Turn back {back_deg:.0f}° and come up again.", turn_deg=-back_deg)
    ahead_deg = -off_deg % engine.cycle_deg
    text = f"{position.reason}. Turn {ahead_deg:.0f}° in the running direction, up to compression TDC."
    return Step("turn_to_tdc", text, turn_deg=ahead_deg)
