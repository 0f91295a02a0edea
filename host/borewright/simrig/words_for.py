"""What a step of the guide asks to be done at the rig, in the words that the person there understands.

Only what is done with the hands: what is told to the program, and letting air in, stays with whoever looks at the screen.
"""

from __future__ import annotations

from borewright.core.pistonstop import PistonStop
from borewright.service import acts
from borewright.service.gauge import next_sweep_pa
from borewright.service.guide import Step
from borewright.service.state import BenchState
from borewright.simrig.rig_view import BuiltInFacts, BuiltInView

__all__ = ["SQUEEZE_RPM", "TURN_RPM", "words_for", "words_for_stop"]

SQUEEZE_RPM = 20.0
TURN_RPM = 20.0
SQUEEZE_DEG = 240
TO_STOP_DEG = 720  # the stop comes long before
PAST_INDEX_DEG = 800
STOP_GOES_IN_BELOW = 0.2  # of the stroke: higher up the piston stands in the way of the stop
DOWN_DEG = 90.0  # from anywhere near TDC to where a piston stop goes in


def words_for(step: Step, state: BenchState, seen: BuiltInView, facts: BuiltInFacts) -> tuple[str, ...]:
    """What to tell the person at the rig, one after the other, for this step; nothing where nothing is to be done at it.

    seen: how the rig looks now; facts: what stands on it. What has been done already is not done again where it would do harm.

    >>> from borewright.simrig.builtin import BuiltInRig
    >>> from borewright.session.session import Session
    >>> rig = BuiltInRig("hillclimb-before", speed=None)
    >>> state = BenchState(Session(0.0), purpose=acts.Purpose("test", 3), holding_torque_nm=40.0)
    >>> words_for(Step("place_hose", "put the hose into cylinder 3"), state, rig.view(), rig.facts)
    ('hose 3',)
    >>> words_for(Step("turn_to_tdc", "turn", turn_deg=112.4), state, rig.view(), rig.facts)
    ('restrain off', 'turn +112.40 rpm 20')
    >>> words_for(Step("give_air", "ready for air"), state, rig.view(), rig.facts)
    ()
    """
    free = () if state.holding_torque_nm is None else ("restrain off",)
    match step.key:
        case "place_hose":
            return (f"hose {_where(state.purpose)}",)
        case "set_regulator" if isinstance(step.act, acts.SetRegulator):
            return (_regulator(step.act.gauge_pa),)
        case "read_gauge":
            wanted_pa = next_sweep_pa(state)
            return () if wanted_pa is None else (_regulator(wanted_pa),)
        case "squeeze_turn":
            shut = ("vent shut",) if not state.has_valves and seen.vent_open else ()
            return (*shut, *free, f"turn {SQUEEZE_DEG:+d} rpm {SQUEEZE_RPM:g}")
        case "confirm_people":
            return () if state.holding_torque_nm is None else (f"restrain {facts.restraint_nm:g}",)
        case "look_for_check_valve" if isinstance(seen.hose_at, int):
            return ("hose off",)
        case "look_for_check_valve" if seen.check_valve_seen:  # with the hose off, anybody sees it who looks into the adapter
            return ("check-valve out",)
        case "find_index" | "turn_to_tdc" | "turn_down":
            return (*free, f"turn {step.turn_deg or 0.0:+.2f} rpm {TURN_RPM:g}")
        case "turn_open":
            return ("restrain off", f"turn {step.turn_deg or 0.0:+.0f} rpm {TURN_RPM:g}")
        case "fit_places" if isinstance(step.act, acts.FitPlaces):
            return _fit(state.fitted or acts.FitPlaces(), step.act)
        case "pour_oil" if isinstance(step.act, acts.PourOil):
            return _pour(state, step.act)
        case "shut_supply":
            return ("supply shut",)
        case "open_vent":
            return ("supply shut", "vent open")
        case _:
            return ()


def _where(purpose: acts.Purpose) -> str:
    return {
        "cylinder": str(purpose.cylinder),
        "capped": "capped",
        "orifice": f"orifice {purpose.orifice_area_m2 * 1e6:g}",
    }[purpose.outlet]


def _regulator(gauge_pa: float) -> str:
    return f"regulator {gauge_pa / 1e3:.1f}"


def _fit(fitted: acts.FitPlaces, wanted: acts.FitPlaces) -> tuple[str, ...]:
    """Take off everything that is on, then put on what is wanted."""
    if fitted == wanted:
        return ()
    words = [f"stop {fitted.cylinder} {place} off" for place in fitted.stopped]
    if fitted.flow_place:
        words.append(f"meter {fitted.cylinder} {fitted.flow_place} off")
    words += [f"stop {wanted.cylinder} {place} on" for place in wanted.stopped]
    if wanted.flow_place:
        words.append(f"meter {wanted.cylinder} {wanted.flow_place} {wanted.flow_orifice_m2 * 1e6:g}")
    return tuple(words)


def _pour(state: BenchState, poured: acts.PourOil) -> tuple[str, ...]:
    oil = state.oil
    if oil is not None and oil.volume_m3 == poured.oil_m3 and oil.cylinder == poured.cylinder:
        return ("hose off",)
    return "hose off", f"wet {poured.cylinder} {poured.oil_m3 * 1e6:g}"


def words_for_stop(stop: PistonStop | None, seen: BuiltInView, *, index_awaited: bool) -> tuple[str, ...]:
    """The same for true TDC by piston stop, which no step of the guide leads through. index_awaited: TDC waits for its pulse.

    >>> from borewright.simrig.builtin import BuiltInRig
    >>> seen = BuiltInRig("hillclimb-before", speed=None).view()
    >>> [words_for_stop(PistonStop(cylinder, 4096), seen, index_awaited=False) for cylinder in (1, 2)]
    [('piston-stop 1',), ('turn +90 rpm 20', 'piston-stop 2')]
    """
    if stop is None:
        return ()
    if stop.step == "remove_stop":
        return () if seen.piston_stop_in is None else ("piston-stop out",)
    if stop.step == "done":
        return (f"turn {PAST_INDEX_DEG:+d} rpm {TURN_RPM:g}",) if index_awaited and seen.piston_stop_in is None else ()
    if seen.piston_stop_in != stop.cylinder:
        off = ("hose off",) if seen.hose_at == stop.cylinder else ()  # the stop goes into the same hole
        high = dict(seen.pistons)[stop.cylinder] < STOP_GOES_IN_BELOW
        return (*off, *((f"turn {DOWN_DEG:+g} rpm {TURN_RPM:g}",) if high else ()), f"piston-stop {stop.cylinder}")
    back = bool(stop.contacts) and stop.contacts[-1].side == "before"
    return (f"turn {-TO_STOP_DEG if back else TO_STOP_DEG:+d} rpm {TURN_RPM:g}",)
