"""A guided test at the places of a cylinder as a row of legs: prove the lower pressure, read with nothing stopped, read, and back.

Each leg is one purpose of the bench, guided by `service.guide` like any other, or one thing to be done by hand. What comes next is
decided here, from the captures that are over; pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from borewright.core.place_meaning import place_words
from borewright.service.acts import Purpose
from borewright.service.regulator import proof_of

if TYPE_CHECKING:
    from borewright.service.snapshot import DoneView
    from borewright.store.records import CaptureRecord

__all__ = ["Course", "CourseKind", "Leg", "Outcome", "flow_course", "listen_course", "stop_course", "wet_course"]

CourseKind = Literal["listen", "flow", "stop", "wet"]
LegKey = Literal["prove", "reference", "read", "take_off", "back"]


@dataclass(frozen=True, slots=True)
class Leg:
    """One leg. purpose: what the bench is to be told; None where something is taken off by hand."""

    key: LegKey
    words: str
    purpose: Purpose | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a leg: what, and a leak area in m² with its expanded uncertainty where one was read. test: in the record."""

    what: str
    area_m2: float | None = None
    expanded_m2: float | None = None
    test: int | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """The legs of one guided test, and how far it has come.

    at: the leg that is under way; len(legs) when all are over. after: captures up to this number were over before it began, or
    have been heard. told: what came of the legs. trouble: why the leg has to be made again, or "". read_test: the
    record's number of the reading that all is about, None before it. reference_m2: leak area with nothing stopped.
    """

    kind: CourseKind
    cylinder: int
    legs: tuple[Leg, ...]
    after: int
    at: int = 0
    told: tuple[Outcome, ...] = ()
    trouble: str = ""
    read_test: int | None = None
    reference_m2: float | None = None

    @property
    def leg(self) -> Leg | None:
        """The leg that is under way; None when all are over."""
        return self.legs[self.at] if self.at < len(self.legs) else None

    @property
    def reading(self) -> Purpose | None:
        """The purpose of the reading that all is about; None once nothing but the way back is left."""
        return next((leg.purpose for leg in self.legs if leg.key == "read"), None)

    @property
    def regulator_low(self) -> bool:
        """Whether the regulator may stand at another pressure than that of tests."""
        return any(leg.key in ("prove", "back") for leg in self.legs[: self.at + 1])

    def gone_on(self) -> Course:
        """The leg is over."""
        return replace(self, at=self.at + 1, trouble="")

    def heard(self, done: DoneView) -> Course:
        """After a capture that is over and has been kept, or lost; one that is not of this leg changes nothing but after."""
        leg = self.leg
        now = replace(self, after=max(self.after, done.number))
        if leg is None or leg.purpose != done.done.purpose:
            return now
        void = done.void_reason or done.lost
        if void is None and leg.key in ("prove", "back") and done.done.analysed.check is None:
            void = "no reading"
        if void is not None:
            return replace(now, trouble=f"{_VOID[leg.key]} ({void})")
        outcome = _outcome(done)
        match leg.key:
            case "reference":
                now = replace(now, reference_m2=outcome.area_m2, told=(*now.told, replace(outcome, what="nothing stopped")))
            case "read":
                now = replace(now, read_test=done.capture_id, told=(*now.told, *self._read(outcome, done.done.purpose)))
            case "prove":
                now = replace(now, told=(*now.told, Outcome("the regulator gives the lower pressure")))
            case _:
                now = replace(now, told=(*now.told, Outcome("the regulator gives the test pressure again")))
        return now.gone_on()

    def _read(self, outcome: Outcome, purpose: Purpose) -> tuple[Outcome, ...]:
        what = {
            "stop": f"{_and(purpose.stopped)} stopped" if purpose.stopped else "",
            "flow": f"with the orifice on the {place_words(purpose.flow_place)}",
            "wet": "wet",
            "listen": "the test",
        }[self.kind]
        said: tuple[Outcome, ...] = (replace(outcome, what=what),)
        if self.kind == "stop" and outcome.area_m2 is not None and self.reference_m2 is not None:
            said += (Outcome(f"less leaks with {_and(purpose.stopped)} stopped", self.reference_m2 - outcome.area_m2),)
        return said

    def broken_off(self) -> Course:
        """What is left to do when somebody wants no more of it: take everything off, and the test pressure again."""
        left = tuple(leg for leg in self.legs[self.at :] if leg.key in ("take_off", "back"))
        if not self.regulator_low:
            left = tuple(leg for leg in left if leg.key != "back")
        if self.leg is not None and self.leg.key == "back":
            left = ()
        return replace(self, legs=(*self.legs[: self.at], *left), trouble="")


_VOID: dict[LegKey, str] = {
    "prove": "the pressure was not proven, and nothing is stopped before it is",
    "reference": "without the reading with nothing stopped there is nothing to compare with; it is taken again",
    "read": "the reading is void; it is taken again",
    "take_off": "",
    "back": "the test pressure was not proven; make the sealed check of the rig before the next test",
}


def listen_course(cylinder: int, after: int) -> Course:
    """A plain test of the cylinder, with the air held on for looking and listening."""
    leg = Leg("read", "a test of the cylinder; with the air on hold it, and note what is heard", Purpose("test", cylinder))
    return Course("listen", cylinder, (leg,), after)


def flow_course(purpose: Purpose, after: int) -> Course:
    """The flow of a place, and the orifice off again.

    >>> course = flow_course(Purpose("test", 3, aim="place", flow_place="breather", flow_orifice_m2=2e-5), after=4)
    >>> [leg.key for leg in course.legs], course.regulator_low
    (['read', 'take_off'], False)
    """
    at = place_words(purpose.flow_place)
    legs = (
        Leg("read", f"a test with the orifice on the {at}, and its gauge read", purpose),
        Leg("take_off", f"take the orifice, its gauge and its relief off the {at} again"),
    )
    return Course("flow", purpose.cylinder, legs, after)


def stop_course(purpose: Purpose, reference: CaptureRecord | None, set_pressure_gauge_pa: float, after: int) -> Course:
    """Places stopped at a lower pressure, held against a reading with nothing stopped; reference: that reading where it is there.

    >>> course = stop_course(Purpose("test", 3, aim="place", stopped=("coolant",), asked_gauge_pa=8e4), None, 551_580.0, after=0)
    >>> [leg.key for leg in course.legs]
    ['prove', 'reference', 'read', 'take_off', 'back']
    >>> [leg.key for leg in course.gone_on().broken_off().legs]
    ['prove', 'take_off', 'back']
    """
    asked_pa = purpose.asked_gauge_pa or 0.0
    low = f"{asked_pa / 1000:.0f} kPa"
    legs = [Leg("prove", f"set the regulator to {low} and prove it with the hose capped", proof_of(asked_pa))]
    told: tuple[Outcome, ...] = ()
    area_m2 = None
    if reference is None:
        plain = Purpose("test", purpose.cylinder, aim="place", asked_gauge_pa=asked_pa)
        legs.append(Leg("reference", f"a reading at {low} with nothing stopped", plain))
    else:
        area_m2 = float((reference.result or {})["leak_area_mm2"]) * 1e-6
        told = (Outcome("the reading with nothing stopped that is there already", area_m2, test=reference.id),)
    legs += [
        Leg("read", f"a reading at {low} with {_and(purpose.stopped)} stopped", purpose),
        Leg("take_off", "take every stop, gauge and relief off the engine again"),
        Leg("back", "the test pressure again, proven with the hose capped", proof_of(set_pressure_gauge_pa)),
    ]
    return Course("stop", purpose.cylinder, tuple(legs), after, told=told, reference_m2=area_m2)


def wet_course(purpose: Purpose, after: int) -> Course:
    """The cylinder again with oil on its rings."""
    leg = Leg("read", f"{purpose.wet_oil_m3 * 1e6:.3g} cm³ of oil in, turned over twice, and the test again", purpose)
    return Course("wet", purpose.cylinder, (leg,), after)


def _outcome(done: DoneView) -> Outcome:
    budget = next((one for one in done.done.analysed.budgets if one.quantity == "leak area"), None)
    if budget is not None:
        return Outcome("", budget.value * 1e-6, budget.expanded() * 1e-6, done.capture_id)
    result = done.done.analysed.result
    return Outcome("", None if result is None else result.leak_area_m2, None, done.capture_id)


def _and(places: Sequence[str]) -> str:
    words = [place_words(place) for place in places]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
