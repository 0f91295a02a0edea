"""Every air command in every state: what it is answered with, what event follows, in what state the device is then."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from borewire.messages import (
    AirEvent,
    AirState,
    BlockFlags,
    Cause,
    RefusalReason,
    Refused,
    SampleBlock,
    StreamStop,
    SupplyOpen,
    SupplyShut,
    VentClose,
    VentOpen,
)

from borewright.conform.air import STATES, Air, name_of
from borewright.conform.bench import Bench, ticks_from
from borewright.conform.check import Check, Failed, Need, chapter_of
from borewright.conform.verdict import Figure

__all__ = ["AIR_STATES"]

ISOLATE_MS: Final = 10_000
FLAGS_S: Final = 0.3
TICK_TOLERANCE_MS: Final = 20


@dataclass(frozen=True, slots=True)
class _Row:
    """A command in a state. next_state None: it is refused with `refused`. cause None: no AirEvent follows."""

    state: AirState
    command: str
    next_state: AirState | None
    cause: Cause | None = None
    refused: RefusalReason | None = None


VENTED, CLOSED, OPEN, ISOLATED = STATES
ROWS: Final = (
    _Row(VENTED, "SupplyOpen", OPEN, Cause.COMMAND_OPEN),
    _Row(VENTED, "SupplyShut 0", VENTED),
    _Row(VENTED, "SupplyShut isolate", VENTED),
    _Row(VENTED, "VentOpen", VENTED),
    _Row(VENTED, "VentClose", CLOSED, Cause.COMMAND_CLOSE),
    _Row(CLOSED, "SupplyOpen", OPEN, Cause.COMMAND_OPEN),
    _Row(CLOSED, "SupplyShut 0", VENTED, Cause.COMMAND_SHUT),
    _Row(CLOSED, "SupplyShut isolate", CLOSED),
    _Row(CLOSED, "VentOpen", VENTED, Cause.COMMAND_VENT),
    _Row(CLOSED, "VentClose", CLOSED),
    _Row(OPEN, "SupplyOpen same", OPEN),
    _Row(OPEN, "SupplyOpen", None, refused=RefusalReason.OPENING_OVER),
    _Row(OPEN, "SupplyShut 0", VENTED, Cause.COMMAND_SHUT),
    _Row(OPEN, "SupplyShut isolate", ISOLATED, Cause.COMMAND_SHUT),
    _Row(OPEN, "VentOpen", VENTED, Cause.COMMAND_VENT),
    _Row(OPEN, "VentClose", None, refused=RefusalReason.AIR_IS_ON),
    _Row(ISOLATED, "SupplyOpen same", None, refused=RefusalReason.OPENING_OVER),
    _Row(ISOLATED, "SupplyOpen", None, refused=RefusalReason.OPENING_OVER),
    _Row(ISOLATED, "SupplyShut 0", VENTED, Cause.COMMAND_SHUT),
    _Row(ISOLATED, "SupplyShut isolate", ISOLATED),
    _Row(ISOLATED, "VentOpen", VENTED, Cause.COMMAND_VENT),
    _Row(ISOLATED, "VentClose", None, refused=RefusalReason.AIR_IS_ON),
)


def _command(air: Air, words: str) -> Any:
    make: dict[str, Callable[[], Any]] = {
        "SupplyOpen": air.opening,
        "SupplyOpen same": lambda: air.opening(opening_id=air.opening_id),
        "SupplyShut 0": lambda: SupplyShut(0, 0),
        "SupplyShut isolate": lambda: SupplyShut(0, ISOLATE_MS),
        "VentOpen": lambda: VentOpen(0),
        "VentClose": air.closing,
    }
    return make[words]()


def _try(row: _Row) -> Callable[[Bench], None]:
    def run(bench: Bench) -> None:
        air = Air(bench)
        air.to(row.state)
        if row.command.startswith("SupplyOpen"):
            air.needs_hold()
        before = air.is_in(row.state)
        command = bench.numbered(_command(air, row.command))
        since = bench.mark()
        answer = bench.exactly(command)
        if row.next_state is None:
            _is_refused(command, answer, row)
            air.none_since(since, "a refused command")
            after = air.is_in(row.state)
            if after.opening_id != before.opening_id:
                raise Failed(
                    f"a refused command changed the opening_id of the Status from {before.opening_id} to {after.opening_id}"
                )
            return
        ack = bench.is_ack(command, answer)
        if row.cause is None:
            air.none_since(since, f"{row.command} in {name_of(row.state)}")
        else:
            event = air.event(row.next_state, row.cause)
            _event_fits(bench, air, event, ack.device_tick)
        air.is_in(row.next_state)
        # the same frame again, as a host does that has missed the answer
        since = bench.mark()
        bench.is_ack(command, bench.exactly(command))
        air.none_since(since, f"{row.command}, repeated,")
        air.is_in(AirState.VENTED if row.command == "SupplyShut 0" else row.next_state)

    return run


def _is_refused(command: Any, answer: Any, row: _Row) -> None:
    reason = row.refused
    if reason is None or not isinstance(answer, Refused) or answer.reason is not reason or answer.command != command.TYPE:
        came = f"refused with {name_of(answer.reason)}" if isinstance(answer, Refused) else f"answered with {type(answer).__name__}"
        due = "" if reason is None else name_of(reason)
        raise Failed(f"{row.command} in {name_of(row.state)} was {came}, where Refused with {due} is due")


def _event_fits(bench: Bench, air: Air, event: AirEvent, ack_tick: int) -> None:
    if abs(bench.ms(ticks_from(ack_tick, event.device_tick))) > TICK_TOLERANCE_MS:
        raise Failed(f"the AirEvent has tick {event.device_tick}, the Ack of the command {ack_tick}; they are of the same moment")
    if event.opening_id != air.opening_id:
        raise Failed(
            f"the AirEvent has opening_id {event.opening_id}, where {air.opening_id}, that of the present or last opening, is due"
        )


def _flags(bench: Bench) -> None:
    """Blocks that begin after the event of a state have its flags."""
    air = Air(bench)
    for state in STATES:
        air.to(state)
        bench.listen(0.1)
        since = bench.mark()
        bench.listen(FLAGS_S)
        due = (state is OPEN, state is VENTED)
        for block in bench.only(SampleBlock, since):
            said = (bool(block.flags & BlockFlags.SUPPLY_OPEN), bool(block.flags & BlockFlags.VENT_OPEN))
            if said != due:
                raise Failed(
                    f"in {name_of(state)} the flags say supply_open {said[0]}, vent_open {said[1]}, where {due[0]}, {due[1]} is due"
                )
        air.vent()


def _status_ids(bench: Bench) -> list[Figure]:
    """The Status keeps the id of the present or the last opening."""
    air = Air(bench)
    air.to(OPEN)
    opened = air.is_in(OPEN)
    air.vent()
    after = bench.status()
    bench.acked(StreamStop(0))
    if (opened.opening_id, after.opening_id) != (air.opening_id, air.opening_id):
        raise Failed(
            f"Status has opening_id {opened.opening_id} during opening {air.opening_id} and {after.opening_id} after it; it "
            "has to be that "
            "of the present or the last opening"
        )
    return [Figure("opening_id", after.opening_id)]


def _requirement(row: _Row) -> str:
    if row.next_state is None:
        return f"{row.command} in {name_of(row.state)} is refused with {name_of(row.refused)} and changes nothing."
    if row.cause is None:
        return (
            f"{row.command} in {name_of(row.state)} is acknowledged without an AirEvent; the state stays {name_of(row.next_state)}."
        )
    return (
        f"{row.command} in {name_of(row.state)} is acknowledged, then comes AirEvent {name_of(row.next_state)}, "
        f"{name_of(row.cause)}."
    )


def _section(row: _Row) -> str:
    command = row.command.split()[0]
    assert command in {kind.__name__ for kind in (SupplyOpen, SupplyShut, VentOpen, VentClose)}
    return f"PROTOCOL.md 7, Commands; interlock.toml {command}"


NEEDS: Final = (Need.VALVES, Need.AIR)
AIR_STATES = chapter_of(
    "Air: commands in each state",
    *(
        Check(f"{name_of(row.state)}-{row.command.replace(' ', '-')}", _requirement(row), _section(row), _try(row), NEEDS)
        for row in ROWS
    ),
    Check("air-flags", "The flags of the blocks tell what the valves are driven to.", "PROTOCOL.md 8 BlockFlags", _flags, NEEDS),
    Check(
        "opening-id-in-status",
        "Status has the opening_id of the present or the last opening.",
        "PROTOCOL.md 10 Status",
        _status_ids,
        NEEDS,
    ),
)
