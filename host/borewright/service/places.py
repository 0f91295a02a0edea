"""What a test at a place needs before air and while it is on: cautions, stops or an orifice with their gauges, oil with its turns.

Read from the bench's state alone; readiness, the guide and the reducer all go by it. Which places may be stopped, and up to what
pressure, stands in core.stopping.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.core.engine import Engine
from borewright.core.place_meaning import place_words
from borewright.core.readiness_table import State
from borewright.core.stopping import StopRule, stop_rules, wet_dose
from borewright.service.acts import Act, ConfirmCaution, FitPlaces, PlaceHose, PourOil, Purpose
from borewright.service.place_state import TURNS_WITH_OIL
from borewright.service.state import BenchState

__all__ = ["OIL", "PlaceStep", "awaited_gauge", "cautions_of", "limit_of", "place_undone", "wrong_place"]

OIL = "oil"  # stands for the place where the cautions of a wet test are meant
SAME_OIL_M3 = 0.05e-6

PlaceKey = Literal["confirm_caution", "fit_places", "pour_oil", "turn_open"]


@dataclass(frozen=True, slots=True)
class PlaceStep:
    """What is to be done at the engine's places before air. reason: why there is no air without it; the rest as guide.Step."""

    key: PlaceKey
    reason: str
    text: str
    act: Act | None = None
    turn_deg: float | None = None


def wrong_place(purpose: Purpose, engine: Engine | None) -> str | None:
    """Why this cannot be done at the places of this engine, in one sentence; None when it can, or nothing is to be done there."""
    if not (purpose.gauged_places or purpose.wet_oil_m3):
        return None
    if engine is None or purpose.kind != "test":
        return "places are stopped and oil is put in only for the test of a cylinder of a known engine; name its engine file"
    rules = stop_rules(engine)
    for place in purpose.gauged_places:
        if place not in rules:
            return f"this engine has no place {place_words(place)}; it has {', '.join(map(place_words, rules))}"
    if purpose.spare_place and purpose.spare_place not in purpose.gauged_places:
        return f"no gauge stands at the {place_words(purpose.spare_place)} in this test; the spare channel goes to one that does"
    for place in purpose.stopped:
        if not rules[place].may_stop:
            return f"the {place_words(place)} is not stopped on this engine: {rules[place].why}"
    if len(set(purpose.stopped)) < len(purpose.stopped):
        return "a place is stopped once; name each only once"
    if purpose.flow_place and not rules[purpose.flow_place].may_measure_flow:
        return (
            f"the flow of the {place_words(purpose.flow_place)} is not measured through an orifice: {rules[purpose.flow_place].why}"
        )
    if purpose.flow_place and purpose.stopped:
        return "either places are stopped or the flow of one is measured; make two tests of it"
    if purpose.flow_place and not purpose.flow_orifice_m2 > 0.0:
        return "give the area of the orifice that stands on the place"
    most_m3 = wet_dose(engine).most_m3
    if not 0.0 <= purpose.wet_oil_m3 <= most_m3:
        return (
            f"{purpose.wet_oil_m3 * 1e6:.3g} cm³ of oil are not put into this engine; "
            f"{most_m3 * 1e6:.2g} cm³ at most: a cylinder full of liquid bends its rod (hydraulic lock)"
        )
    return None


def cautions_of(purpose: Purpose, engine: Engine | None) -> tuple[tuple[str, str], ...]:
    """Every caution that this purpose asks to be read and confirmed, with its place; one that several places share comes once."""
    if engine is None or not (purpose.gauged_places or purpose.wet_oil_m3):
        return ()
    rules = stop_rules(engine)
    found: dict[str, str] = {}
    for place in purpose.gauged_places:
        for caution in rules[place].cautions:
            found.setdefault(caution, place)
    if purpose.wet_oil_m3:
        for caution in wet_dose(engine).cautions:
            found.setdefault(caution, OIL)
    return tuple((place, caution) for caution, place in found.items())


def limit_of(rule: StopRule) -> float:
    """What the gauge at a place may show at most, in Pa gauge."""
    return rule.limit_gauge_pa if rule.limit_gauge_pa > 0.0 else rule.most_back_pressure_pa


def place_undone(state: BenchState) -> PlaceStep | None:
    """What is still to be done at the places before air may be let in; None when nothing is."""
    purpose, engine = state.purpose, state.engine
    if purpose.kind != "test" or engine is None:
        return None
    open_cautions = [pair for pair in cautions_of(purpose, engine) if pair[1] not in state.cautions_confirmed]
    if open_cautions:
        place, caution = open_cautions[0]
        about = "" if place == OIL else f"{place_words(place)}: "
        text = f"{about}{caution}"
        return PlaceStep("confirm_caution", "a caution has not been confirmed", text, ConfirmCaution(place, caution))
    return _fitting_undone(state, engine) or _oil_undone(state)


def _fitting_undone(state: BenchState, engine: Engine) -> PlaceStep | None:
    purpose, fitted = state.purpose, state.fitted
    wanted = FitPlaces.for_purpose(purpose)
    if fitted is None and purpose.aim != "place" and not purpose.gauged_places:
        return None  # nobody has stopped anything here
    if fitted == wanted:
        return None
    rules = stop_rules(engine)
    words = []
    taken = () if fitted is None else (*fitted.stopped, *filter(None, (fitted.flow_place,)))
    elsewhere = fitted is not None and fitted.cylinder != wanted.cylinder
    off = [f"the {place_words(place)}" for place in taken if elsewhere or place not in purpose.gauged_places]
    if off and fitted is not None:
        words.append(f"take what is fitted to {_and(off)}{f' of cylinder {fitted.cylinder}' if elsewhere else ''} off again")
    if purpose.stopped:
        limits = [f"the {place_words(place)} (never above {_kpa(limit_of(rules[place]))} there)" for place in purpose.stopped]
        words.append(f"stop {_and(limits)}, with a gauge and its own relief valve on each, set to no more than that")
    if purpose.flow_place:
        words.append(
            f"put the orifice of {purpose.flow_orifice_m2 * 1e6:g} mm² onto the {place_words(purpose.flow_place)}, with its "
            f"low-pressure gauge and a relief valve before it; never above {_kpa(limit_of(rules[purpose.flow_place]))} there"
        )
    words.append("every other place stays open" if wanted != FitPlaces() else "see that every place is open and nothing is stopped")
    return PlaceStep("fit_places", "what is fitted to the places is not what this test needs", "; ".join(words), wanted)


def _oil_undone(state: BenchState) -> PlaceStep | None:
    purpose, oil, crank = state.purpose, state.oil, state.crank
    if not purpose.wet_oil_m3:
        return None
    cylinder = purpose.cylinder
    pour = PourOil(cylinder, purpose.wet_oil_m3)
    if oil is None or oil.cylinder != cylinder or abs(oil.volume_m3 - purpose.wet_oil_m3) > SAME_OIL_M3:
        text = (
            f"take the hose out of cylinder {cylinder} and put {purpose.wet_oil_m3 * 1e6:.3g} cm³ of clean engine oil into it "
            "through the plug hole, then leave the hole open"
        )
        return PlaceStep("pour_oil", "the oil is not in yet", text, pour)
    turns = 0.0 if crank is None else oil.turns(crank.counts_per_rev)
    if turns >= TURNS_WITH_OIL:
        return None
    reason = "the engine has not been turned over twice with the oil in and the hole open (hydraulic lock)"
    if state.hose == PlaceHose("cylinder", cylinder):
        return PlaceStep("pour_oil", reason, f"take the hose out of cylinder {cylinder} again and leave the hole open", pour)
    text = (
        f"turn the crank by hand {TURNS_WITH_OIL:.0f} turns or more in the running direction, the plug hole of cylinder {cylinder} "
        "open and nobody before it; stop at once if it turns hard"
    )
    return PlaceStep("turn_open", reason, text, turn_deg=(TURNS_WITH_OIL - turns) * 360.0 + 20.0)


def awaited_gauge(state: BenchState) -> str | None:
    """The place whose gauge has to be read now, with air on and steady; None when none has."""
    capture = state.capture
    if capture is None or capture.ended_s is not None or not capture.place_gauge_due:
        return None
    if state.readiness.state not in (State.FILLING, State.HOLDING):
        return None
    read = {reading.place for reading in capture.place_readings}
    return next((place for place in capture.purpose.gauged_places if place not in read), None)


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _kpa(pa: float) -> str:
    return f"{pa / 1000.0:.3g} kPa"
