"""Acts of the person: everything that somebody can tell the bench. Each is stored in the event log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Act",
    "AskAir",
    "BeginSqueeze",
    "BeginTdc",
    "ConfirmFitting",
    "ConfirmPeople",
    "ConfirmStopRemoved",
    "EndSqueeze",
    "LetGo",
    "Outlet",
    "PlaceHose",
    "Purpose",
    "ReadBackHose",
    "SayShut",
    "SetHold",
    "SetPurpose",
    "StateRestraint",
    "StopAll",
    "TakeContact",
    "TakeZero",
]

Outlet = Literal["cylinder", "capped", "orifice"]


@dataclass(frozen=True, slots=True)
class Purpose:
    """What the next opening is for. A test has a cylinder; a restrictor check has the area of its certified orifice."""

    kind: Literal["test", "sealed", "restrictor"]
    cylinder: int = 0
    orifice_area_m2: float = 0.0

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
class PlaceHose:
    """The hose has been put somewhere else: into a cylinder's plug hole, a cap, an orifice."""

    outlet: Outlet
    cylinder: int = 0


@dataclass(frozen=True, slots=True)
class ReadBackHose:
    """The person looked where the hose goes in and says which hole it is."""

    cylinder: int


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
class ConfirmStopRemoved:
    """The piston stop is out of the cylinder again."""


Act = (
    SetPurpose
    | PlaceHose
    | ReadBackHose
    | BeginSqueeze
    | EndSqueeze
    | StateRestraint
    | ConfirmFitting
    | ConfirmPeople
    | AskAir
    | SayShut
    | LetGo
    | SetHold
    | StopAll
    | TakeZero
    | BeginTdc
    | TakeContact
    | ConfirmStopRemoved
)
