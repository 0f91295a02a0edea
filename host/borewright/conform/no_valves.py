"""A device that lacks either valve: it refuses every air command, before it looks at anything else."""

from __future__ import annotations

from typing import Any

from borewire.interlock import TABLE
from borewire.messages import AirEvent, AirState, RefusalReason, SampleBlock, SupplyOpen, SupplyShut, VentClose, VentOpen

from borewright.conform.air import name_of
from borewright.conform.bench import Bench
from borewright.conform.check import Check, Failed, Need, chapter_of

__all__ = ["NO_VALVES"]


def _no_valves(bench: Bench) -> None:
    """A device without valves: every air command is refused, with whatever fields, and no AirEvent comes."""
    bench.start_stream()
    bench.until(lambda what: isinstance(what, SampleBlock), since=bench.mark())
    air_commands: list[Any] = [
        SupplyShut(0, 0),
        SupplyShut(0, TABLE.isolate_max_ms + 1),
        VentOpen(0),
        VentClose(0, 1000, 1),
        VentClose(0, 0, 1),
    ]
    from_here = bench.mark()
    for command in (*_openings(), *air_commands):
        bench.refused(command, RefusalReason.NO_VALVES)
    bench.stop_stream()
    for command in air_commands:
        bench.refused(command, RefusalReason.NO_VALVES)
    if bench.only(AirEvent, from_here):
        raise Failed("an AirEvent came from a device without valves")
    status = bench.status()
    told = (name_of(status.air), name_of(status.supply), name_of(status.vent))
    if status.air is not AirState.NO_VALVES:
        raise Failed(f"Status says air {told[0]}, supply {told[1]}, vent {told[2]}, where no_valves is due")


def _openings() -> list[Any]:
    return [SupplyOpen(0, 1, 1000, -10, 10, 1, 1), SupplyOpen(0, 0, 0, 10, -10, 0xFFFF, 0xFFFF)]


NO_VALVES = chapter_of(
    "A device without valves",
    Check(
        "no-valves",
        "SupplyOpen, SupplyShut, VentOpen and VentClose are refused with no_valves, whatever else is wrong with them; no "
        "AirEvent comes.",
        "PROTOCOL.md 7",
        _no_valves,
        (Need.NO_VALVES,),
    ),
)
