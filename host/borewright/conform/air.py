"""Air on this bench: limits just above rest, openings with their numbers, the way into each state.

The air supply has been said to be off. Limits are set just over what the transducers show at rest, so that the device itself ends
an opening into which pressure comes all the same; `AirIsOn` then ends all checks with air.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    Cause,
    HoldState,
    HostAlive,
    SampleBlock,
    Status,
    SupplyOpen,
    SupplyShut,
    SupplyState,
    VentClose,
    VentOpen,
    VentState,
)
from borewire.wirelog import words

from borewright.conform.bench import Bench, Heard, samples_of
from borewright.conform.check import Failed, Need, NotTried
from borewright.conform.hands import Task

__all__ = ["LONG_MS", "STATES", "VALVES_IN", "Air", "AirIsOn", "name_of"]

LONG_MS: Final = 20_000
REST_S: Final = 0.25
MARGIN_OF_RANGE: Final = 0.02
WINDOW_COUNTS: Final = 20
EVENT_WITHIN_S: Final = 0.3
STATES: Final = (AirState.VENTED, AirState.CLOSED, AirState.OPEN, AirState.ISOLATED)
VALVES_IN: Final = {
    AirState.VENTED: (SupplyState.SHUT, VentState.OPEN),
    AirState.CLOSED: (SupplyState.SHUT, VentState.CLOSED),
    AirState.OPEN: (SupplyState.OPEN, VentState.CLOSED),
    AirState.ISOLATED: (SupplyState.SHUT, VentState.CLOSED),
}
_PRESSURE: Final = (Cause.OVER_PRESSURE_REGULATED, Cause.OVER_PRESSURE_CYLINDER)


class AirIsOn(NotTried):
    """Pressure came although the air supply was said to be off."""


def name_of(word: Any) -> str:
    """The word as the page writes it."""
    return str(word.name).lower()


class Air:
    """The air of one check. Making one starts the stream, keeps the device alive and learns what rest looks like."""

    def __init__(self, bench: Bench) -> None:
        if not bench.air:
            raise NotTried(Need.AIR.value)
        self.bench = bench
        bench.alive = True
        bench.start_stream()
        since = bench.mark()
        bench.listen(REST_S)
        samples = [sample for block in bench.only(SampleBlock, since) for sample in samples_of(block)]
        if not samples:
            raise Failed("no samples came although the stream was started")
        self.count = samples[-1][0]
        self.rest_raw = tuple(max(sample[channel] for sample in samples) for channel in (1, 2))
        self.least_raw = tuple(min(sample[channel] for sample in samples) for channel in (1, 2))
        self.limits_raw = tuple(self._limit(channel) for channel in (0, 1))
        self.opening_id = bench.status().opening_id

    def _limit(self, channel: int) -> int:
        described = self.bench.channels[channel]
        margin = max(3, round(MARGIN_OF_RANGE * (described.raw_max - described.raw_min)))
        limit = self.rest_raw[channel] + margin
        if self.least_raw[channel] <= described.raw_min or limit >= described.raw_max:
            raise NotTried(
                f"channel {channel} reads {self.least_raw[channel]} to {self.rest_raw[channel]} at rest, too near an end of "
                "its converter: "
                "connect a transducer, or a potentiometer in its place"
            )
        return limit

    # ------------------------------------------------------------------ commands

    def new_id(self) -> int:
        """An opening_id that no opening has had."""
        self.opening_id = self.opening_id % 0xFFFF + 1
        return self.opening_id

    def opening(self, **changes: int) -> SupplyOpen:
        """SupplyOpen under a new opening_id, unless the changes name one, with the window about where the crank stands."""
        opening_id = changes.pop("opening_id", None)
        regulated, cylinder = self.limits_raw
        command = SupplyOpen(
            0,
            self.new_id() if opening_id is None else opening_id,
            LONG_MS,
            self.count - WINDOW_COUNTS,
            self.count + WINDOW_COUNTS,
            regulated,
            cylinder,
        )
        return replace(command, **changes)

    def closing(self, **changes: int) -> VentClose:
        """VentClose with a limit just over rest."""
        return replace(VentClose(0, LONG_MS, self.limits_raw[1]), **changes)

    # ------------------------------------------------------------------ states

    def needs_hold(self) -> None:
        """See to it that a hold-to-run switch, if there is one, is pressed; nothing opens without it."""
        bench = self.bench
        if not bench.has_hold:
            return
        bench.held = True  # from here on it is pressed, or about to be
        if bench.status().hold is HoldState.PRESSED:
            return
        if bench.hands is None:
            raise NotTried("the hold-to-run switch is not pressed; press it and keep it pressed, or run the suite with --hands")
        patience_s = bench.have_done(Task.PRESS_HOLD)
        until_s = bench.now_s + patience_s
        while bench.status().hold is not HoldState.PRESSED:
            if bench.now_s > until_s:
                raise NotTried(f"the hold-to-run switch was not pressed within {patience_s:g} s")
            bench.listen(0.05)

    def to(self, state: AirState, *, time_ms: int = LONG_MS, **changes: int) -> Ack | None:
        """Bring the device from vented into a state, its time limit time_ms. changes: of the opening. The last Ack."""
        if state is AirState.VENTED:
            return None
        if state is AirState.CLOSED:
            close_changes = {key: value for key, value in changes.items() if key == "limit_cylinder_raw"}
            ack = self.bench.acked(self.closing(time_limit_ms=time_ms, **close_changes))
            self.event(AirState.CLOSED, Cause.COMMAND_CLOSE)
            return ack
        self.needs_hold()
        ack = self.bench.acked(self.opening(time_limit_ms=time_ms if state is AirState.OPEN else LONG_MS, **changes))
        self.event(AirState.OPEN, Cause.COMMAND_OPEN)
        if state is AirState.ISOLATED:
            ack = self.bench.acked(SupplyShut(0, time_ms))
            self.event(AirState.ISOLATED, Cause.COMMAND_SHUT)
        return ack

    def vent(self) -> None:
        """Vent, whatever the state was."""
        self.bench.acked(VentOpen(0))
        self.is_in(AirState.VENTED)

    def is_in(self, state: AirState) -> Status:
        """Demand this state, and what it means for the valves, of a Status."""
        status = self.bench.status()
        due = (state, *VALVES_IN[state])
        if (status.air, status.supply, status.vent) != due:
            raise Failed(
                f"Status says air {name_of(status.air)}, supply {name_of(status.supply)}, vent {name_of(status.vent)}, where "
                f"{name_of(due[0])}, {name_of(due[1])}, {name_of(due[2])} is due"
            )
        return status

    # ------------------------------------------------------------------ events

    def events(self, since: int = 0) -> list[AirEvent]:
        """The AirEvents since a mark."""
        return self.bench.only(AirEvent, since)

    def next_event(self, patience_s: float, since: int) -> AirEvent | None:
        """The next AirEvent since a mark, waited for."""
        heard: Heard | None = self.bench.until(lambda what: isinstance(what, AirEvent), patience_s, since=since)
        return heard.what if heard is not None and isinstance(heard.what, AirEvent) else None

    def event(self, state: AirState, cause: Cause, patience_s: float = EVENT_WITHIN_S, since: int | None = None) -> AirEvent:
        """Demand an AirEvent of this state and cause; the last one that came, or one that comes within the patience.

        Raises AirIsOn when the device had to vent because pressure came.
        """
        at = len(self.bench.heard) if since is None else since
        if since is None:
            # it may have come in the same read as the Ack
            at = next((n for n in range(at - 1, -1, -1) if isinstance(self.bench.heard[n].what, Ack)), at)
        event = self.next_event(patience_s, at)
        demanded = f"an AirEvent {name_of(state)}, because of {name_of(cause)}, is due"
        if event is None:
            raise Failed(f"no AirEvent came within {patience_s:g} s, where {demanded}")
        if (event.air, event.cause) != (state, cause):
            if event.cause in _PRESSURE:
                raise AirIsOn(
                    f"pressure came ({name_of(event.cause)}) although the air supply was said to be off; shut it off, vent, "
                    "and begin anew"
                )
            raise Failed(f"{words(event)} came, where {demanded}")
        return event

    def none_since(self, since: int, what: str) -> None:
        """Demand that no AirEvent has come since a mark."""
        self.bench.listen(0.05)
        events = self.events(since)
        if events:
            raise Failed(f"{words(events[0])} came after {what}, which changes nothing")

    def quiet(self, seconds: float) -> None:
        """Listen for so long without a word of the host: not even HostAlive."""
        self.bench.alive = False
        self.bench.listen(seconds)

    def say_alive(self) -> None:
        """Say once that the host is there."""
        self.bench.send(HostAlive())
