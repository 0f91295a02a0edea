"""Acts of the person: everything that somebody can tell the bench. Each is stored in the event log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.core.heard import Strength

__all__ = [
    "Act",
    "Aim",
    "AskAir",
    "BeginRound",
    "BeginSqueeze",
    "BeginTdc",
    "BeginTdcWay",
    "CarryStroke",
    "ConfirmCaution",
    "ConfirmFitting",
    "ConfirmNoCheckValve",
    "ConfirmPeople",
    "ConfirmPinRemoved",
    "ConfirmStopRemoved",
    "EndSqueeze",
    "EndSweep",
    "FitPlaces",
    "LetGo",
    "NoteHeard",
    "Outlet",
    "PlaceHose",
    "PourOil",
    "Purpose",
    "ReadBackHose",
    "ReadGauge",
    "ReadPlaceGauge",
    "SayShut",
    "SetHold",
    "SetPurpose",
    "SetRegulator",
    "StateBore",
    "StateRestraint",
    "StopAll",
    "TakeContact",
    "TakeTdcReading",
    "TakeZero",
]

Outlet = Literal["cylinder", "capped", "orifice"]
Aim = Literal["check", "span", "acceptance", "volumes", "proof", "place"]


@dataclass(frozen=True, slots=True)
class Purpose:
    """What the next opening is for.

    kind: what readiness goes by; a check of the rig with the outlet capped is "sealed", one with an orifice on it "restrictor".
    aim: which check comes of it, "check" being the one that the kind is named after. A test has a cylinder. A capture through an
    orifice has its certified area, the relative standard uncertainty of that, and its serial number. asked_gauge_pa: what the
    regulator has to be set to, None: the setup's test pressure, as it stands. sweep_gauge_pa: where the reference gauge is to be
    read, in this order, while the air stays on.

    With aim "proof" a capped opening shows that the regulator gives what was asked for, and nothing else. With aim "place" a test
    is one step on the way to the path of the leak: with these places stopped (none: the reading that the others are compared with),
    or with the flow of one place led through an orifice of flow_orifice_m2, with the standard uncertainties flow_u_relative of it
    and u_gauge_pa of the gauge there. wet_oil_m3: oil that is in the cylinder for a wet test. spare_place: where
    the gauge of the rig's spare channel is.
    """

    kind: Literal["test", "sealed", "restrictor"]
    cylinder: int = 0
    orifice_area_m2: float = 0.0
    asked_gauge_pa: float | None = None
    aim: Aim = "check"
    orifice_u_relative: float = 0.01
    orifice_serial: str = ""
    sweep_gauge_pa: tuple[float, ...] = ()
    stopped: tuple[str, ...] = ()
    wet_oil_m3: float = 0.0
    flow_place: str = ""
    flow_orifice_m2: float = 0.0
    flow_u_relative: float = 0.0
    u_gauge_pa: float = 0.0
    spare_place: str = ""

    @property
    def recorded_as(self) -> Literal["test", "stop_off", "wet", "sealed", "restrictor"]:
        """What the record calls a capture for this purpose: one at a place or with oil in the cylinder is never a plain test.

        >>> Purpose("test", 1, stopped=("coolant",)).recorded_as, Purpose("test", 1, wet_oil_m3=3e-6).recorded_as
        ('stop_off', 'wet')
        """
        if self.kind != "test":
            return self.kind
        if self.wet_oil_m3 > 0.0:
            return "wet"
        return "stop_off" if self.aim == "place" or self.stopped or self.flow_place else "test"

    @property
    def gauged_places(self) -> tuple[str, ...]:
        """The places with a gauge that somebody has to read while the air is on, in this order."""
        return (self.flow_place,) if self.flow_place else self.stopped

    @property
    def ties(self) -> bool:
        """Whether this is the sealed check, which ties the transducers to each other and so has to see them untied."""
        return self.kind == "sealed" and self.aim == "check"

    @property
    def outlet(self) -> Outlet:
        """Where the hose has to be for this purpose."""
        outlets: dict[str, Outlet] = {"test": "cylinder", "sealed": "capped", "restrictor": "orifice"}
        return outlets[self.kind]


@dataclass(frozen=True, slots=True)
class SetPurpose:
    """Next comes this: a test of a cylinder, or a check of the rig. Withdraws what the people confirmed."""

    purpose: Purpose


@dataclass(frozen=True, slots=True)
class ConfirmCaution:
    """The person has read this caution for this place ("oil" for a wet test) and seen to it."""

    place: str
    caution: str


@dataclass(frozen=True, slots=True)
class FitPlaces:
    """These places of this cylinder are stopped now, with gauge and relief on each; flow_place has the orifice of flow_orifice_m2
    with its gauge; no other place has any, of whichever cylinder."""

    stopped: tuple[str, ...] = ()
    flow_place: str = ""
    cylinder: int = 0
    flow_orifice_m2: float = 0.0

    @staticmethod
    def for_purpose(purpose: Purpose) -> FitPlaces:
        """What a purpose needs to be fitted; FitPlaces() where it needs nothing.

        >>> FitPlaces.for_purpose(Purpose("test", 3)) == FitPlaces()
        True
        """
        if not purpose.gauged_places:
            return FitPlaces()
        orifice_m2 = purpose.flow_orifice_m2 if purpose.flow_place else 0.0
        return FitPlaces(tuple(sorted(purpose.stopped)), purpose.flow_place, purpose.cylinder, orifice_m2)


@dataclass(frozen=True, slots=True)
class PourOil:
    """The oil is in the cylinder, the hose off, and its plug hole open."""

    cylinder: int
    oil_m3: float


@dataclass(frozen=True, slots=True)
class NoteHeard:
    """With air on: how strong it comes out at a place. neighbour: at which other cylinder, None where nobody said."""

    place: str
    strength: Strength
    neighbour: int | None = None


@dataclass(frozen=True, slots=True)
class ReadPlaceGauge:
    """What the gauge at a stopped place, or behind the orifice at a place, shows with air on."""

    place: str
    gauge_pa: float


@dataclass(frozen=True, slots=True)
class PlaceHose:
    """The hose has been put somewhere else: into a cylinder's plug hole, a cap, an orifice."""

    outlet: Outlet
    cylinder: int = 0


@dataclass(frozen=True, slots=True)
class ReadBackHose:
    """The person looked where the hose goes in and says which hole it is."""

    cylinder: int


@dataclass(frozen=True, slots=True)
class ConfirmNoCheckValve:
    """The hose is off, and there is no check valve in its adapter: it was taken out, or there was none."""


@dataclass(frozen=True, slots=True)
class CarryStroke:
    """Carry the stroke over by count from the cylinder that was squeezed, and show the hose by reading back and the puff.

    on: from now on; else each cylinder is squeezed.
    """

    on: bool


@dataclass(frozen=True, slots=True)
class BeginSqueeze:
    """Close the vent and watch what the hand-turned piston does to the air in the closed hose."""


@dataclass(frozen=True, slots=True)
class EndSqueeze:
    """Enough squeezing: open the vent."""


@dataclass(frozen=True, slots=True)
class StateRestraint:
    """How much torque the restraint on the crank holds, as the person states it."""

    holding_torque_nm: float


@dataclass(frozen=True, slots=True)
class ConfirmPeople:
    """The person confirms these points (names of core.conditions.CONFIRMATIONS)."""

    points: frozenset[str]


@dataclass(frozen=True, slots=True)
class ConfirmFitting:
    """The crank mark agrees with the stored true TDC: the encoder sits as it sat when TDC was found."""


@dataclass(frozen=True, slots=True)
class AskAir:
    """The one deliberate act: let air in, if all is ready. After a countdown where no hold-to-run switch is fitted."""


@dataclass(frozen=True, slots=True)
class LetGo:
    """The key or switch was let go: shut and vent."""


@dataclass(frozen=True, slots=True)
class SayShut:
    """Hand valves: the supply has been shut and the vent left closed. With a capped outlet the data cannot show it."""


@dataclass(frozen=True, slots=True)
class SetHold:
    """Keep the air on for looking and listening (again at least every 60 s), or end that."""

    on: bool


@dataclass(frozen=True, slots=True)
class StopAll:
    """Stop: shut and vent, whatever is going on."""


@dataclass(frozen=True, slots=True)
class BeginRound:
    """A check of the rig that takes these captures one after the other. paper: what certificates and options say of it."""

    purposes: tuple[Purpose, ...]
    paper: tuple[tuple[str, float | str], ...] = ()


@dataclass(frozen=True, slots=True)
class StateBore:
    """The restrictor's bore with its standard uncertainty in m, and how it is made: what stands in for a check with an orifice."""

    bore_m: float
    u_bore_m: float
    form: Literal["sharp", "short cylinder", "rounded", "unknown"] = "unknown"


@dataclass(frozen=True, slots=True)
class SetRegulator:
    """The regulator has been set to this, as its own gauge shows it."""

    gauge_pa: float


@dataclass(frozen=True, slots=True)
class ReadGauge:
    """What the reference gauge at the capped outlet shows while the pressure stands."""

    gauge_pa: float


@dataclass(frozen=True, slots=True)
class EndSweep:
    """No more readings of the reference gauge: shut and vent, and make do with those that were taken."""


@dataclass(frozen=True, slots=True)
class TakeZero:
    """Read both transducers at vent and keep that as their zero."""


@dataclass(frozen=True, slots=True)
class BeginTdc:
    """Begin the piston-stop procedure in this cylinder. backlash_deg: the play between crank and encoder, as stated."""

    cylinder: int
    backlash_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class TakeContact:
    """The piston rests against the stop by hand force, having been turned in the running direction or against it."""

    side: Literal["before", "after"]


@dataclass(frozen=True, slots=True)
class BeginTdcWay:
    """Begin to find true TDC where no piston stop can be used.

    figure: the drop of the piston in m for a dial gauge; degrees before TDC, negative after it, that a timing mark or a locking pin
    stands for. backlash_deg: as for the piston stop.
    """

    method: Literal["dial_gauge", "timing_mark", "locking_pin"]
    cylinder: int
    figure: float
    backlash_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class TakeTdcReading:
    """The crank stands where the gauge shows the drop, the mark meets its pointer, or the pin has gone in."""


@dataclass(frozen=True, slots=True)
class ConfirmPinRemoved:
    """The locking pin or the dial gauge is out of the way: the crank may be turned again."""


@dataclass(frozen=True, slots=True)
class ConfirmStopRemoved:
    """The piston stop is out of the cylinder again."""


Act = (
    SetPurpose
    | ConfirmCaution
    | FitPlaces
    | PourOil
    | NoteHeard
    | ReadPlaceGauge
    | PlaceHose
    | ReadBackHose
    | ConfirmNoCheckValve
    | CarryStroke
    | BeginSqueeze
    | EndSqueeze
    | StateRestraint
    | ConfirmFitting
    | ConfirmPeople
    | AskAir
    | SayShut
    | LetGo
    | SetHold
    | BeginRound
    | StateBore
    | SetRegulator
    | ReadGauge
    | EndSweep
    | StopAll
    | TakeZero
    | BeginTdc
    | TakeContact
    | ConfirmStopRemoved
    | BeginTdcWay
    | TakeTdcReading
    | ConfirmPinRemoved
)
