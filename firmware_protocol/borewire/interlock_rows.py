"""What the rows of the interlock table are."""

from __future__ import annotations

from dataclasses import dataclass

from borewire.messages import AirState, Cause, RefusalReason

__all__ = ["CommandRow", "InterlockTable", "RefusalRow", "WatchRow"]


@dataclass(frozen=True, slots=True)
class RefusalRow:
    """A command is refused with `reason` when `when` (plain words over the command's fields and the device's state) holds."""

    reason: RefusalReason
    when: str


@dataclass(frozen=True, slots=True)
class CommandRow:
    """One command: from which states it may work, where it leads (plain words), and what refuses it, first row first."""

    command: str
    allowed_from: tuple[AirState, ...]
    to: str
    cause: Cause
    refuse: tuple[RefusalRow, ...]


@dataclass(frozen=True, slots=True)
class WatchRow:
    """What shuts and vents by itself: in these states, when `when` (plain words) holds."""

    cause: Cause
    in_states: tuple[AirState, ...]
    when: str


@dataclass(frozen=True, slots=True)
class InterlockTable:
    """The whole interlock: its times in milliseconds of device time, its commands, its watches in the order of checking."""

    version: int
    power_up_state: AirState
    host_silence_ms: int
    reaction_ms: int
    time_limit_max_ms: int
    isolate_max_ms: int
    close_limit_max_ms: int
    sensor_fault_samples: int
    commands: tuple[CommandRow, ...]
    watches: tuple[WatchRow, ...]

    def command(self, name: str) -> CommandRow:
        """The row of a command. Raises KeyError when the table has none of that name.

        >>> from borewire.interlock import TABLE
        >>> TABLE.command("VentOpen").refuse
        ()
        """
        for row in self.commands:
            if row.command == name:
                return row
        raise KeyError(name)

    def watches_in(self, state: AirState) -> tuple[WatchRow, ...]:
        """The watches that are on in a state, in the order of checking.

        >>> from borewire.interlock import TABLE
        >>> TABLE.watches_in(AirState.VENTED)
        ()
        """
        return tuple(row for row in self.watches if state in row.in_states)
