"""What a screen sees of the bench at one moment. Immutable: the station makes the next one, and nobody waits for anybody."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.service.bench import Done
from borewright.service.guide import Step
from borewright.service.link_counters import LinkCounters
from borewright.service.state import BenchState
from borewright.service.trace import TraceView

__all__ = ["DoneView", "LinkKind", "LinkView", "Snapshot", "Told", "ToldLevel"]

LinkKind = Literal["none", "opening", "meeting", "open", "lost"]
ToldLevel = Literal["note", "warning", "alarm", "refused", "fault"]


@dataclass(frozen=True, slots=True)
class LinkView:
    """How it stands with the rig. port: what was connected, "" where nothing was; words: one sentence for the person.

    none: nothing is connected. opening: the port is being opened. meeting: it is open, and the rig has not said who it is, or what
    the record knows of it is being looked up. open: the rig is there. lost: it is not, and is looked for again every second.
    """

    kind: LinkKind
    port: str
    words: str


@dataclass(frozen=True, slots=True)
class DoneView:
    """A capture that is over. number: from 1 in this run of the program, over all connections.

    capture_id: in the record, None until the record has said that it kept it. void_reason: why it is void, as analysed, or as the
    record kept it once it has. lost: why it is not in the record.
    """

    number: int
    done: Done
    capture_id: int | None = None
    void_reason: str | None = None
    lost: str | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """A word to the person. number: from 1 in this run of the program.

    refused: why air that was asked for is not given; fault: where the program failed, for its log only.
    """

    number: int
    at_unix_s: float
    level: ToldLevel
    text: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything that a screen needs, as it was at one moment.

    number: counts up. state: None before the first rig; after a loss as it was last known, until the rig is back, and so of a rig
    that was left under pressure. step: what comes
    next, None without a state. done: all captures of this run; told: the last 500 words. analysing: how many captures are being
    worked out. record_trouble: why the record did not take something, None once it keeps captures whole again. rig: of a built-in
    rig, what its source shows of it. read_at_s: on the clock of the endpoint, or of the computer without one, when the newest
    samples had been read. counters: of this connection.
    """

    number: int
    link: LinkView
    state: BenchState | None
    step: Step | None
    done: tuple[DoneView, ...]
    told: tuple[Told, ...]
    trace: TraceView
    analysing: int
    record_trouble: str | None
    rig: object | None
    read_at_s: float
    counters: LinkCounters | None
