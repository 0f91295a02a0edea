"""The eight conditions of ready for air: each met or not, with its reason and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf
from typing import Literal

from borewright.core.channel_sense import ChannelTrouble
from borewright.core.engine import Engine
from borewright.core.evidence import HoseEvidence, SqueezeVerdict, StrokeEvidence
from borewright.core.limits import Limits
from borewright.core.motion import Approach
from borewright.core.rig import TrueTdc

__all__ = [
    "CONDITION_NAMES",
    "CONFIRMATIONS",
    "SQUEEZE_HELD",
    "AirFacts",
    "Condition",
    "LinkFacts",
    "PeopleFacts",
    "PositionFacts",
    "ReadinessFacts",
    "ReferenceFacts",
    "RigFacts",
    "StillFacts",
    "StrokeHoseFacts",
    "all_met",
    "confirmations_needed",
    "evaluate",
    "not_proven",
]

CONDITION_NAMES = ("link", "rig", "reference", "stroke_and_hose", "position", "still", "air", "people")

SQUEEZE_HELD = "a squeeze named a check valve in the adapter, and none since was seen to fall"  # the mark of a test

CONFIRMATIONS: dict[str, str] = {
    "plugs_out": "The plugs are out as needed.",
    "engine_disabled": "Ignition, fuel and starter are disabled.",
    "crank_restrained": "The crank is restrained (a hand or a gear in mesh is no restraint) and the turning bar is off.",
    "hands_clear": "Hands and loose parts are clear of crank, belts, fan and propeller.",
    "valves_free": "The decompression device is released and no valve is held off its seat.",
    "crankcase_open": "The crankcase is open.",
    "places_guarded": "Each gauge at a place has its relief valve beside it, nobody stands before them, and somebody watches them.",
}
"""What the people confirm before air: name and the sentence that is confirmed."""


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition. reason says why it is met or not, remedy what to do when it is not, marks what goes onto the result."""

    name: str
    met: bool
    reason: str
    remedy: str = ""
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LinkFacts:
    """identified, streaming: as the session says. quiet_s: since the last gap or fault. same_boot: as at the reference."""

    identified: bool = False
    streaming: bool = False
    quiet_s: float = inf
    same_boot: bool = True
    trouble: str = ""  # one sentence of the session, if it has one


@dataclass(frozen=True, slots=True)
class RigFacts:
    """zero_*_pa: zero-corrected mean reading at vent, None when not vented long enough.

    *_age_s: of the last check that passed; under 0 where it is dated in the future. channel_trouble: what channel sense has found.
    """

    zero_regulated_pa: float | None = None
    zero_cylinder_pa: float | None = None
    zero_age_s: float | None = None
    sealed_age_s: float | None = None
    restrictor_age_s: float | None = None
    waived: frozenset[str] = frozenset()
    channel_trouble: ChannelTrouble | None = None


@dataclass(frozen=True, slots=True)
class ReferenceFacts:
    """index_*: of the crank tracker; missed: none came where one should have.

    fitting_confirmed: the crank mark was seen right since the encoder was fitted.
    """

    index_seen: bool = False
    index_spacing_ok: bool | None = None
    tdc: TrueTdc | None = None
    fitting_confirmed: bool = False
    stop_removed: bool = True
    peak_late_deg: float | None = None  # squeeze peak after the stored TDC, when it was too late
    index_missed: bool = False


@dataclass(frozen=True, slots=True)
class StrokeHoseFacts:
    """stroke, hose: the evidence held now. boot_id: the device's. hose_at: where the hose was last put, as the person said."""

    stroke: StrokeEvidence | None = None
    hose: HoseEvidence | None = None
    boot_id: int | None = None
    hose_at: int | None = None
    outlet_read_back: bool = False  # for the rig's own checks: the person looked, the hose is capped or on the orifice
    verdict: SqueezeVerdict | None = None  # of the last squeeze, for the reason
    by_puff: bool = False  # with the stroke carried over, the hose may be read back and shown by the puff
    check_valve: SqueezeVerdict | None = None  # of a squeeze that named one, until somebody has looked
    squeeze_held: bool = False  # one was named, and no squeeze since was seen to fall


@dataclass(frozen=True, slots=True)
class PositionFacts:
    """count: now. tdc_count: nearest compression TDC of the cylinder. torque_window_deg: where gas torque reaches its share of the
    stated holding torque. None: not known.
    """

    count: int | None = None
    tdc_count: float | None = None
    counts_per_rev: int = 1
    running_sign: Literal[1, -1] = 1
    holding_torque_nm: float | None = None
    torque_window_deg: float | None = None
    u_tdc_deg: float = 0.0
    approach: Approach | None = None


@dataclass(frozen=True, slots=True)
class StillFacts:
    """moved_count: in the last observed_s of device time."""

    moved_count: int = 0
    observed_s: float = 0.0


@dataclass(frozen=True, slots=True)
class AirFacts:
    """Means of the last samples, and what the device says of its valves (None: hand valves, or it has not said)."""

    p_regulated_gauge_pa: float | None = None
    p_cylinder_gauge_pa: float | None = None
    supply_shut: bool | None = None
    vent_open: bool | None = None
    regulated_rising: bool = False  # over the cylinder's, with the supply shut
    proven_gauge_pa: float | None = None  # the set pressure, as the last opening into a closed outlet showed it
    regulated_low_gauge_pa: float = 0.0
    regulated_high_gauge_pa: float = inf


@dataclass(frozen=True, slots=True)
class PeopleFacts:
    """confirmed: names of CONFIRMATIONS. at_s in device time; moved_deg since then; hose_undone since then. at_places: what is
    still to be done at the engine's places, for a stop-off test or a wet one."""

    confirmed: frozenset[str] = frozenset()
    at_s: float | None = None
    moved_deg: float = 0.0
    hose_undone: bool = False
    at_places: str = ""


@dataclass(frozen=True, slots=True)
class ReadinessFacts:
    """Everything that ready for air depends on. purpose: a test of `cylinder`, or a check of the rig with a closed outlet. gauged:
    there are gauges at places of the engine."""

    engine: Engine | None
    cylinder: int
    purpose: Literal["test", "sealed", "restrictor"] = "test"
    link: LinkFacts = field(default_factory=LinkFacts)
    rig: RigFacts = field(default_factory=RigFacts)
    reference: ReferenceFacts = field(default_factory=ReferenceFacts)
    stroke_hose: StrokeHoseFacts = field(default_factory=StrokeHoseFacts)
    position: PositionFacts = field(default_factory=PositionFacts)
    still: StillFacts = field(default_factory=StillFacts)
    air: AirFacts = field(default_factory=AirFacts)
    people: PeopleFacts = field(default_factory=PeopleFacts)
    gauged: bool = False


def all_met(conditions: Iterable[Condition]) -> bool:
    """True when there are exactly the eight conditions, in order, and every one is met.

    >>> all_met([])
    False
    """
    listed = tuple(conditions)
    return tuple(condition.name for condition in listed) == CONDITION_NAMES and all(condition.met for condition in listed)


def confirmations_needed(engine: Engine | None, *, gauged: bool = False) -> tuple[str, ...]:
    """The names of CONFIRMATIONS that this engine asks for; the crank's also for the rig's own checks without an engine. gauged:
    with gauges at its places.

    >>> confirmations_needed(None)
    ('plugs_out', 'engine_disabled', 'crank_restrained', 'hands_clear', 'valves_free')
    """
    two_stroke = engine is not None and engine.cycle == "two-stroke"
    left_out = {"crankcase_open": not two_stroke, "places_guarded": not gauged}
    return tuple(name for name in CONFIRMATIONS if not left_out.get(name))


def evaluate(facts: ReadinessFacts, limits: Limits, now_s: float) -> tuple[Condition, ...]:
    """The eight conditions in their order. now_s: device time, as in PeopleFacts.

    >>> [c.name for c in evaluate(ReadinessFacts(None, 1), Limits(), 0.0) if c.met]
    []
    """
    return (
        _link(facts.link, limits),
        _rig(facts, limits),
        _reference(facts, limits),
        _stroke_and_hose(facts),
        _position(facts, limits),
        _still(facts.still, limits),
        _air(facts, limits),
        _people(facts, limits, now_s),
    )


def _link(link: LinkFacts, limits: Limits) -> Condition:
    def no(reason: str, remedy: str) -> Condition:
        return Condition("link", False, reason, remedy)

    if not link.identified:
        remedy = "" if ";" in link.trouble else "Check cable, power and port."  # a reason of its own says what to do
        return no(link.trouble or "no rig has said who it is", remedy)
    if not link.streaming:
        return no(link.trouble or "the rig sends no samples", "Wait for the stream, or restart the rig.")
    if not link.same_boot:
        return no("the rig was restarted", "Turn the crank over the index pulse again and show stroke and hose anew.")
    if link.quiet_s < limits.quiet_link_s:
        return no("samples were missing or a fault was reported just now", "Wait; if it comes again, check cable and sensors.")
    return Condition("link", True, "identified and streaming without a gap")


def _rig(facts: ReadinessFacts, limits: Limits) -> Condition:
    rig = facts.rig

    def no(reason: str, remedy: str) -> Condition:
        return Condition("rig", False, reason, remedy)

    if rig.channel_trouble is not None:
        return no(rig.channel_trouble.words, rig.channel_trouble.remedy)
    if rig.zero_age_s is not None and rig.zero_age_s < 0.0:
        return no("the zeros are dated in the future: this computer's clock has been set back", "Set the clock, or take the zeros.")
    if rig.zero_age_s is None or rig.zero_age_s > limits.zero_age_s:
        return no("the zeros of the transducers were not taken today", "Vent the rig and take the zeros.")
    for what, zero_pa in (("regulated", rig.zero_regulated_pa), ("cylinder", rig.zero_cylinder_pa)):
        if zero_pa is None:
            return no(f"the {what} pressure has not been seen at vent", "Open the vent and wait a second.")
        if not abs(zero_pa) <= limits.zero_pa:
            return no(f"the {what} transducer reads {zero_pa / 1000:+.1f} kPa at vent", "See that it is vented and take the zeros.")
    checks = {"sealed": (rig.sealed_age_s, limits.sealed_age_s), "restrictor": (rig.restrictor_age_s, limits.restrictor_age_s)}
    needed = {"test": ("sealed", "restrictor"), "restrictor": ("sealed",), "sealed": ()}[facts.purpose]
    marks: list[str] = []
    for name in needed:
        age_s, limit_s = checks[name]
        if age_s is not None and 0.0 <= age_s <= limit_s:
            continue
        if name not in rig.waived & limits.waivable:
            if age_s is not None and age_s < 0.0:
                state = "is dated in the future: this computer's clock has been set back"
                return no(f"the {name} check {state}", f"Set the clock, or make the {name} check.")
            state = "has not been made and passed on this rig" if age_s is None else f"is {age_s / 86400:.0f} days old"
            return no(f"the {name} check {state}", f"Make the {name} check.")
        marks.append(f"{name} check waived")
    return Condition("rig", True, "zeros right, checks in date" + (f"; {', '.join(marks)}" if marks else ""), marks=tuple(marks))


def _reference(facts: ReadinessFacts, limits: Limits) -> Condition:
    reference = facts.reference

    def no(reason: str, remedy: str) -> Condition:
        return Condition("reference", False, reason, remedy)

    if not reference.stop_removed:
        return no("the piston stop has not been confirmed as removed", "Take the piston stop out and say so.")
    if facts.purpose != "test":
        return Condition("reference", True, "not needed: the outlet is closed off from the engine")
    if not reference.index_seen and reference.index_missed:
        return no("no index pulse came in more than a whole turn", "Check the wire of the encoder's index and its disk.")
    if not reference.index_seen:
        return no("the index pulse has not been seen since power-up", "Turn the crank two turns in the running direction.")
    if reference.index_spacing_ok is None:
        return no("no whole turn between two index pulses has been seen", "Turn the crank one more turn in the running direction.")
    if not reference.index_spacing_ok:
        return no("counts were lost between two index pulses", "Check the encoder and its coupling, then find true TDC again.")
    if reference.index_missed:
        return no("the index pulse did not come for more than a turn", "Check the encoder, then turn over its index pulse.")
    if reference.peak_late_deg is not None:
        return no(
            f"the squeeze peaks {reference.peak_late_deg:.1f}° after the stored TDC, more than {limits.squeeze_peak_late_deg:.0f}°",
            "The encoder has slipped: check its coupling and find true TDC again.",
        )
    if reference.tdc is None:
        return no("true TDC is not known for this fitting of the encoder", "Find true TDC with the piston stop.")
    marks: tuple[str, ...] = ()
    if reference.tdc.method != "piston_stop":
        marks = (f"true TDC by {reference.tdc.method.replace('_', ' ')}, ±{2 * reference.tdc.u_deg:.1f}°",)
    if not reference.fitting_confirmed:
        return no("true TDC was not confirmed since the encoder was fitted", "Turn to the crank mark and confirm that it agrees.")
    return Condition("reference", True, f"index seen, true TDC known to ±{2 * reference.tdc.u_deg:.1f}°", marks=marks)


def _stroke_and_hose(facts: ReadinessFacts) -> Condition:
    held, cylinder = facts.stroke_hose, facts.cylinder

    def no(reason: str, remedy: str) -> Condition:
        return Condition("stroke_and_hose", False, reason, remedy)

    if held.check_valve is not None:
        return no(held.check_valve.words, "Take it out of the adapter and say so; then squeeze again.")
    if facts.purpose != "test":
        where = "capped" if facts.purpose == "sealed" else "on the certified orifice"
        if held.outlet_read_back:
            return Condition("stroke_and_hose", True, f"the hose is {where}, as read back")
        return no(f"the hose has not been read back as {where}", "Look where the hose ends and say so.")
    if held.hose_at is not None and held.hose_at != cylinder:
        return no(f"the hose was put into cylinder {held.hose_at}, not {cylinder}", f"Put it into cylinder {cylinder} and say so.")
    if facts.engine is None:
        return no("no engine is loaded", "Choose the engine file.")
    squeeze = f"Close the vent and turn the crank by hand through a little over two turns with the hose in cylinder {cylinder}."
    verdict = held.verdict
    told = f"; the last squeeze: {verdict.words}" if verdict is not None and not verdict.compression else ""
    marks: list[str] = []
    if facts.engine.cycle != "two-stroke":
        stroke = held.stroke
        if stroke is None or stroke.cylinder != cylinder:
            return no(f"nothing shows yet which TDC of cylinder {cylinder} is the compression one{told}", squeeze)
        if stroke.boot_id != held.boot_id:
            return no("the rig was restarted since the stroke was shown", squeeze)
        if stroke.kind == "declared":
            marks.append(f"stroke declared by {stroke.said_by or 'the operator'}")
    hose = held.hose
    if hose is None or hose.cylinder != cylinder:
        look = f"Look which hole the hose is in and say so; it has to be {cylinder}."
        return no(f"nothing shows yet that the hose is in cylinder {cylinder}{told}", look if held.by_puff else squeeze)
    if hose.boot_id != held.boot_id:
        return no("the rig was restarted since the hose was shown", squeeze)
    if hose.kind == "puff_read_back" and not _stroke_was_shown(held, cylinder):
        return no("reading back shows the hose only with the stroke carried over from a cylinder that was squeezed", squeeze)
    if hose.needs_read_back and not hose.read_back:
        others = " and ".join(map(str, hose.shared_with))
        why = f"cylinder {others} moves in step with cylinder {cylinder}" if others else "the rise and fall was not seen"
        return no(f"the hose has not been read back; {why}", f"Look which hole the hose is in and say so; it has to be {cylinder}.")
    if hose.kind == "declared":
        marks.append(f"hose declared by {hose.said_by or 'the operator'}")
    if held.squeeze_held:
        marks.append(SQUEEZE_HELD)
    how = f"stroke by {held.stroke.kind}, " if held.stroke is not None and facts.engine.cycle != "two-stroke" else ""
    how = how.replace("by carried", "carried over by count")
    return Condition("stroke_and_hose", True, f"{how}hose by {hose.kind.replace('_', ' ')}", marks=tuple(marks))


def _stroke_was_shown(held: StrokeHoseFacts, cylinder: int) -> bool:
    """Of a two-stroke too: a squeeze in step has shown that index, true TDC and firing order belong together."""
    stroke = held.stroke
    return stroke is not None and stroke.cylinder == cylinder and stroke.boot_id == held.boot_id and stroke.kind != "declared"


def _position(facts: ReadinessFacts, limits: Limits) -> Condition:
    position = facts.position

    def no(reason: str, remedy: str) -> Condition:
        return Condition("position", False, reason, remedy)

    if facts.purpose != "test":
        return Condition("position", True, "not needed: the outlet is closed off from the engine")
    if position.holding_torque_nm is None or position.torque_window_deg is None:
        return no("no holding torque was entered for the crank's restraint", "Restrain the crank and enter the torque that holds.")
    if position.count is None or position.tdc_count is None:
        return no("where the compression TDC lies is not known", "Find true TDC and show stroke and hose first.")
    window_deg = min(limits.window_deg, position.torque_window_deg - 2.0 * position.u_tdc_deg)
    if window_deg <= 0.0:
        return no("the stated holding torque is too small for this pressure", "Restrain the crank better or lower the pressure.")
    off_deg = position.running_sign * (position.count - position.tdc_count) / position.counts_per_rev * 360.0
    if abs(off_deg) > 90.0 and abs(abs(off_deg) - 360.0) <= 90.0:
        return no(f"this is the wrong TDC: overlap, {abs(off_deg):.0f}° from compression", "Turn the crank one more turn.")
    side = "after" if off_deg > 0 else "before"
    if not abs(off_deg) <= window_deg:
        return no(
            f"the crank stands {abs(off_deg):.1f}° {side} compression TDC, ±{window_deg:.1f}° is allowed",
            "Turn up to TDC in the running direction." if off_deg < 0 else "Turn back at least half a turn and come up again.",
        )
    if position.approach is None or not position.approach.running:
        return no("TDC was not reached in the running direction", "Turn back at least half a turn and come up again.")
    if not position.approach.good(limits.recovery_deg):
        return no(
            f"TDC was overshot and the crank turned back only {position.approach.backed_deg:.0f}°",
            "Turn back at least half a turn and come up again.",
        )
    return Condition("position", True, f"{abs(off_deg):.1f}° {side} compression TDC, inside ±{window_deg:.1f}°")


def _still(still: StillFacts, limits: Limits) -> Condition:
    if still.observed_s < limits.still_s * 0.999:
        return Condition("still", False, f"the crank has been watched for {still.observed_s:.1f} s only", "Wait a second.")
    if still.moved_count > limits.still_count:
        return Condition("still", False, f"the crank moved {still.moved_count} counts in the last second", "Keep the crank still.")
    return Condition("still", True, "the crank stands still")


def _air(facts: ReadinessFacts, limits: Limits) -> Condition:
    air = facts.air

    def no(reason: str, remedy: str) -> Condition:
        return Condition("air", False, reason, remedy)

    if air.supply_shut is False:
        return no("the supply is open", "Shut the supply and vent.")
    if air.vent_open is False:
        return no("the vent is closed", "Open the vent.")
    if air.p_cylinder_gauge_pa is None or air.p_regulated_gauge_pa is None:
        return no("the pressures are not known", "Wait for samples.")
    if not air.p_cylinder_gauge_pa < limits.vented_gauge_pa:
        return no(f"the cylinder holds {air.p_cylinder_gauge_pa / 1000:.0f} kPa", "Shut and vent; turn nothing until it is gone.")
    if air.regulated_rising:
        remedy = "Shut the hand valve. If they come together, the supply valve leaks; if not, the two transducers are swapped."
        return no("the regulated pressure reads above the cylinder's with the supply shut", remedy)
    if not air.p_regulated_gauge_pa < limits.vented_gauge_pa:
        return no(f"{air.p_regulated_gauge_pa / 1000:.0f} kPa stand before the restrictor", "Shut the supply and vent.")
    if facts.purpose != "sealed" and (unproven := not_proven(air)) is not None:
        return unproven
    return Condition("air", True, "supply shut, cylinder vented")


def not_proven(air: AirFacts) -> Condition | None:
    """What is wrong with the set pressure before air may go anywhere but into a closed outlet; None when it has been proven.

    >>> not_proven(AirFacts()).reason, not_proven(AirFacts(proven_gauge_pa=551e3))
    ('the set pressure has not been proven', None)
    """
    if air.proven_gauge_pa is None:
        remedy = "Cap the hose and make the sealed check at the set pressure."
        return Condition("air", False, "the set pressure has not been proven", remedy)
    if not air.regulated_low_gauge_pa <= air.proven_gauge_pa <= air.regulated_high_gauge_pa:
        reason = f"the regulator gives {air.proven_gauge_pa / 1000:.0f} kPa, out of range"
        return Condition("air", False, reason, "Set it, make the sealed check.")
    return None


def _people(facts: ReadinessFacts, limits: Limits, now_s: float) -> Condition:
    people = facts.people

    def no(reason: str, remedy: str) -> Condition:
        return Condition("people", False, reason, remedy)

    again = "Go through the points again and confirm them."
    if people.at_places:
        return no(people.at_places, "Do what is asked for at the engine's places.")
    missing = [name for name in confirmations_needed(facts.engine, gauged=facts.gauged) if name not in people.confirmed]
    if people.at_s is None or missing:
        return no("not confirmed: " + ", ".join(name.replace("_", " ") for name in missing), "See to it and confirm.")
    if not 0.0 <= now_s - people.at_s <= limits.confirmed_s:
        return no(f"confirmed {(now_s - people.at_s) / 60:.0f} minutes ago", again)
    if not abs(people.moved_deg) <= limits.confirmed_crank_deg:
        return no(f"the crank moved {abs(people.moved_deg):.1f}° since it was confirmed", again)
    if people.hose_undone:
        return no("the hose was undone since it was confirmed", again)
    return Condition("people", True, f"confirmed {now_s - people.at_s:.0f} s ago")
