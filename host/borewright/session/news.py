"""What the session tells the rest of the host: the device's words with unwrapped ticks, and what went wrong on the line."""

from __future__ import annotations

from dataclasses import dataclass

from borewire.messages import AirState, Cause, ChannelDescription, FaultCode, HoldState, Identity, RefusalReason, Status

__all__ = [
    "AirChanged",
    "CamEdge",
    "CommandAcked",
    "CommandLost",
    "CommandRefused",
    "DeviceFault",
    "DeviceKnown",
    "DeviceRestarted",
    "Gap",
    "HoldChanged",
    "IndexSeen",
    "LinkRefused",
    "LinkSilent",
    "News",
    "SlowValue",
    "StatusSeen",
    "StreamRunning",
]


@dataclass(frozen=True, slots=True)
class DeviceKnown:
    """The device has said who it is and what its channels are."""

    identity: Identity
    channels: tuple[ChannelDescription, ...]


@dataclass(frozen=True, slots=True)
class StreamRunning:
    """The device has acknowledged the stream."""


@dataclass(frozen=True, slots=True)
class LinkRefused:
    """The device cannot be used: one sentence that says why and what to do."""

    reason: str


@dataclass(frozen=True, slots=True)
class LinkSilent:
    """Nothing good has come from the device for silent_s seconds of the host's clock. answers: something has, but no samples."""

    silent_s: float
    answers: bool = False


@dataclass(frozen=True, slots=True)
class DeviceRestarted:
    """The boot id changed: the device was reset or lost power, and with it the crank count."""

    old_boot_id: int
    new_boot_id: int


@dataclass(frozen=True, slots=True)
class Gap:
    """Blocks are missing before device tick `tick`."""

    tick: int
    blocks: int


@dataclass(frozen=True, slots=True)
class IndexSeen:
    """The encoder's index pulse passed at this count."""

    tick: int
    crank_count: int
    index_number: int


@dataclass(frozen=True, slots=True)
class CamEdge:
    """The cam signal changed its level at this count."""

    tick: int
    crank_count: int
    high: bool


@dataclass(frozen=True, slots=True)
class AirChanged:
    """The device's interlock changed its state."""

    tick: int
    air: AirState
    cause: Cause
    opening_id: int
    crank_count: int

    @property
    def tripped(self) -> bool:
        """True when the device shut and vented by itself, not by a command."""
        return self.cause >= Cause.TIME_LIMIT


@dataclass(frozen=True, slots=True)
class DeviceFault:
    """The device found a fault in itself or in its wiring."""

    tick: int
    fault: FaultCode
    detail: int


@dataclass(frozen=True, slots=True)
class HoldChanged:
    """The hold-to-run switch changed."""

    tick: int
    hold: HoldState


@dataclass(frozen=True, slots=True)
class SlowValue:
    """A reading of a channel that is not in the samples."""

    tick: int
    channel: int
    raw: int


@dataclass(frozen=True, slots=True)
class StatusSeen:
    """The device's state and link counters."""

    status: Status


@dataclass(frozen=True, slots=True)
class CommandRefused:
    """The device refused a command."""

    command: int
    reason: RefusalReason
    tick: int


@dataclass(frozen=True, slots=True)
class CommandAcked:
    """The device has carried out a command."""

    command: int
    tick: int


@dataclass(frozen=True, slots=True)
class CommandLost:
    """A command was repeated and never answered."""

    command: int


News = (
    DeviceKnown
    | StreamRunning
    | LinkRefused
    | LinkSilent
    | DeviceRestarted
    | Gap
    | IndexSeen
    | CamEdge
    | AirChanged
    | DeviceFault
    | HoldChanged
    | SlowValue
    | StatusSeen
    | CommandRefused
    | CommandAcked
    | CommandLost
)
