"""What to ask before a reading is believed: nearly everything gets out, or nearly nothing; or much, and is all of it the
cylinder's; and air at a neighbour."""

from __future__ import annotations

from borewright.core.engine import Engine
from borewright.core.limit_sets import Circumstances, HeardAt

__all__ = ["NEARLY_ALL_PERCENT", "NEARLY_NOTHING_PERCENT", "before_opening", "open_valves", "questions_of"]

NEARLY_ALL_PERCENT = 90.0  # project
NEARLY_NOTHING_PERCENT = 1.0  # project: a built cylinder that seals properly still leaks several percent (common practice)
MUCH_PERCENT = 20.0  # from which an engine is opened (common practice): then the adapter is ruled out first
_HOSE_ALONE = 1.25  # project: a trapped volume of at most so much of the hose's holds no combustion chamber


def questions_of(leakage_percent: float, expanded_percent: float, found: Circumstances) -> tuple[str, ...]:
    """Questions to the person about an odd reading; empty where nothing is odd.

    >>> questions_of(0.1, 0.2, Circumstances(trapped_volume_m3=31e-6, hose_volume_m3=30e-6, clearance_m3=50e-6))[0]
    'Is a check valve left in the hose or the adapter? Only the volume of the hose was filled.'
    >>> questions_of(12.0, 0.2, Circumstances())
    ()
    """
    asked: list[str] = []
    if leakage_percent >= NEARLY_ALL_PERCENT:
        asked += _nearly_all(found)
    elif leakage_percent - expanded_percent <= NEARLY_NOTHING_PERCENT:
        asked += _nearly_nothing(found)
    asked += [_heard_at(heard) for heard in found.heard_at]
    return tuple(asked)


def before_opening(leakage_percent: float) -> tuple[str, ...]:
    """What to rule out before an engine is opened on this number, since no pressure can; empty where it will not be opened.

    >>> before_opening(12.0)
    ()
    """
    if leakage_percent < MUCH_PERCENT or leakage_percent >= NEARLY_ALL_PERCENT:  # then it is among the questions
        return ()
    return ("Is the adapter tight in its hole? What leaks there counts as the cylinder's: paint it with soapy water.",)


def _nearly_all(found: Circumstances) -> list[str]:
    asked = [
        "Is it the right TDC, compression and not overlap?",
        "Is the hose in the right hole, and the adapter tight?",
        "Is a valve held off its seat: no valve clearance, a bent valve, dirt on the seat?",
    ]
    if found.decompression == "automatic":
        asked.insert(2, "This engine has an automatic decompression device: does it hold a valve open?")
    elif found.decompression == "manual":
        asked.insert(2, "Is the decompression device released?")
    else:
        asked.insert(2, "Has the engine a decompression device that its file does not name?")
    return asked


def _nearly_nothing(found: Circumstances) -> list[str]:
    reasons = []
    trapped, hose = found.trapped_volume_m3, found.hose_volume_m3
    if trapped is not None and hose is not None:
        alone = hose * _HOSE_ALONE if found.clearance_m3 is None else hose + 0.25 * found.clearance_m3
        if trapped - found.expanded_trapped_volume_m3 <= alone:
            reasons.append("Only the volume of the hose was filled.")
    if found.squeeze_held:
        reasons.append("After the squeeze the pressure stayed in the hose.")
    if not reasons:
        return []
    return [
        f"Is a check valve left in the hose or the adapter? {' '.join(reasons)}",
        "Is the hose capped, or the adapter plugged or screwed against something?",
    ]


def _heard_at(heard: HeardAt) -> str:
    where = f"Air at cylinder {heard.cylinder}:"
    if heard.open_valves is None:
        return f"{where} does one of its valves stand open now, so that it comes through a shared manifold? Look before the gasket."
    if heard.open_valves:
        valves = " and ".join(heard.open_valves)
        verb = "valve stands" if len(heard.open_valves) == 1 else "valves stand"
        return f"{where} its {valves} {verb} open now, so it may come through a shared manifold: look before the gasket."
    return f"{where} its valves are shut now; does it come through the gasket between them, or through a crack?"


def open_valves(engine: Engine, at_tdc_of: int, other: int) -> tuple[str, ...]:
    """Which valves of another cylinder stand open while this one is at its compression TDC: "intake", "exhaust", by valve events.

    A two-stroke has none and gives (), an engine without its valve gear too. Raises ValueError for cylinders that it does not have.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> open_valves(four, 1, 4), open_valves(four, 1, 3), open_valves(four, 1, 2)
    (('intake', 'exhaust'), ('intake',), ('exhaust',))
    """
    after_own_deg = (engine.firing_angle_deg(at_tdc_of) - engine.firing_angle_deg(other)) % engine.cycle_deg
    if engine.cycle == "two-stroke" or engine.valve_gear == "not_fitted":
        return ()
    events = engine.valve_events
    stretches = {
        "intake": (360.0 - events.intake_opens_before_tdc_deg, 540.0 + events.intake_closes_after_bdc_deg),
        "exhaust": (180.0 - events.exhaust_opens_before_bdc_deg, 360.0 + events.exhaust_closes_after_tdc_deg),
    }
    return tuple(name for name, (opens, shuts) in stretches.items() if opens < after_own_deg < shuts)
