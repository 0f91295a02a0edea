"""Every row of refusals, each alone and all in their order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from borewire.interlock import TABLE
from borewire.messages import (
    AirState,
    Cause,
    HoldState,
    RefusalReason,
    SupplyShut,
    VentOpen,
)

from borewright.conform.air import Air, name_of
from borewright.conform.bench import Bench
from borewright.conform.check import Check, Failed, Need, NotTried, chapter_of
from borewright.conform.hands import Task
from borewright.conform.verdict import Figure

__all__ = ["AIR_REFUSALS"]

FAR_COUNTS: Final = 1000
ENDED_KEPT: Final = 16
FAULT_WITHIN_S: Final = 1.0
Make = Callable[[Air], Any]


def _unchanged(bench: Bench, air: Air, tried: Callable[[], object], times: int = 1) -> None:
    """Do this, which is refused so many times, and demand that nothing has changed but the count of refusals."""
    before = bench.status()
    since = bench.mark()
    tried()
    air.none_since(since, "a refused command")
    after = bench.status()
    same = ("air", "supply", "vent", "opening_id", "streaming")
    changed = [name for name in same if getattr(before, name) != getattr(after, name)]
    if changed:
        raise Failed(f"a refused command changed {', '.join(changed)} of the Status")
    if after.commands_refused - before.commands_refused != times:
        raise Failed(f"commands_refused rose by {after.commands_refused - before.commands_refused} over {times} refused commands")


def _refused_for(bench: Bench, air: Air, command: Any, reason: RefusalReason, which: str = "") -> None:
    _unchanged(bench, air, lambda: bench.refused(command, reason, which))


# ---------------------------------------------------------------------- one row alone


def _bad_limits(air: Air) -> list[tuple[str, Any]]:
    raw_max = [channel.raw_max for channel in air.bench.channels[:2]]
    opening = air.opening()
    return [
        ("opening_id 0", replace(opening, opening_id=0)),
        ("time_limit_ms 0", replace(opening, time_limit_ms=0)),
        (f"time_limit_ms {TABLE.time_limit_max_ms + 1}", replace(opening, time_limit_ms=TABLE.time_limit_max_ms + 1)),
        ("window_low_count over window_high_count", replace(opening, window_low_count=opening.window_high_count + 1)),
        ("limit_regulated_raw at raw_max", replace(opening, limit_regulated_raw=raw_max[0])),
        ("limit_cylinder_raw at raw_max", replace(opening, limit_cylinder_raw=raw_max[1])),
        ("limit_cylinder_raw 65535", replace(opening, limit_cylinder_raw=0xFFFF)),
    ]


def _open_limits(bench: Bench) -> None:
    air = Air(bench)
    cases = _bad_limits(air)

    def tried() -> None:
        for which, command in cases:
            bench.refused(command, RefusalReason.LIMITS_INVALID, which)

    _unchanged(bench, air, tried, len(cases))


def _open_one(reason: RefusalReason, make: Make) -> Callable[[Bench], None]:
    def run(bench: Bench) -> None:
        air = Air(bench)
        command = make(air)
        _refused_for(bench, air, command, reason)

    return run


def _ended(air: Air) -> Any:
    air.to(AirState.OPEN)
    air.vent()
    return air.opening(opening_id=air.opening_id)


def _no_stream(make: Make) -> Callable[[Bench], None]:
    def run(bench: Bench) -> None:
        air = Air(bench)
        command = make(air)
        bench.stop_stream()
        _refused_for(bench, air, command, RefusalReason.NOT_STREAMING)

    return run


def _over_pressure(bench: Bench) -> None:
    air = Air(bench)
    for name, channel in (("limit_regulated_raw", 0), ("limit_cylinder_raw", 1)):
        command = replace(air.opening(), **{name: bench.channels[channel].raw_min})
        _refused_for(bench, air, command, RefusalReason.OVER_PRESSURE, f"{name} under the reading")


def _release(bench: Bench) -> None:
    if bench.status().hold is HoldState.RELEASED:
        return
    patience_s = bench.have_done(Task.RELEASE_HOLD)
    until_s = bench.now_s + patience_s
    while bench.status().hold is not HoldState.RELEASED:
        if bench.now_s > until_s:
            raise NotTried(f"the hold-to-run switch was not let go within {patience_s:g} s")
        bench.listen(0.05)


def _hold(bench: Bench) -> None:
    air = Air(bench)
    _release(bench)
    _refused_for(bench, air, air.opening(), RefusalReason.HOLD_NOT_PRESSED)


# ---------------------------------------------------------------------- all rows in their order


def _open_order(bench: Bench) -> list[Figure]:
    """For each row a command for which it and all rows behind it hold: the first is the reason."""
    air = Air(bench)
    ended = _ended(air).opening_id
    if bench.has_hold and bench.hands is not None:
        _release(bench)
    low_raw = bench.channels[0].raw_min
    released = bench.has_hold and bench.status().hold is HoldState.RELEASED
    changes: dict[RefusalReason, dict[str, int]] = {
        RefusalReason.LIMITS_INVALID: {"time_limit_ms": 0},
        RefusalReason.NOT_STREAMING: {},
        RefusalReason.OPENING_OVER: {"opening_id": ended},
        RefusalReason.OUTSIDE_WINDOW: {
            "window_low_count": air.count + FAR_COUNTS,
            "window_high_count": air.count + 2 * FAR_COUNTS,
        },
        RefusalReason.OVER_PRESSURE: {"limit_regulated_raw": low_raw},
        RefusalReason.HOLD_NOT_PRESSED: {},
    }
    if not released:
        del changes[RefusalReason.HOLD_NOT_PRESSED]
    order = [row.reason for row in TABLE.command("SupplyOpen").refuse if row.reason in changes]
    for at, reason in enumerate(order):
        holds = order[at:]
        if RefusalReason.NOT_STREAMING in holds:
            bench.stop_stream()
        else:
            bench.start_stream()
            bench.listen(0.05)
        joined: dict[str, int] = {}
        for other in holds:
            joined |= changes[other]
        command = replace(air.opening(), **joined)
        bench.refused(command, reason, f"for which {', '.join(map(name_of, holds))} hold")
    return [Figure("order_tried", " ".join(map(name_of, order)))]


def _close_order(bench: Bench) -> list[Figure]:
    air = Air(bench)
    low_raw = bench.channels[1].raw_min
    air.to(AirState.OPEN)
    worst = air.closing(time_limit_ms=0, limit_cylinder_raw=low_raw)
    bench.refused(worst, RefusalReason.AIR_IS_ON, "for which limits_invalid and over_pressure hold too")
    air.vent()
    bench.stop_stream()
    bench.refused(worst, RefusalReason.LIMITS_INVALID, "for which not_streaming and over_pressure hold too")
    bench.refused(replace(worst, time_limit_ms=1000), RefusalReason.NOT_STREAMING, "for which over_pressure holds too")
    bench.start_stream()
    bench.listen(0.05)
    bench.refused(replace(worst, time_limit_ms=1000), RefusalReason.OVER_PRESSURE)
    return [Figure("order_tried", "air_is_on limits_invalid not_streaming over_pressure")]


# ---------------------------------------------------------------------- the other commands


def _close_limits(bench: Bench) -> None:
    air = Air(bench)
    raw_max = bench.channels[1].raw_max
    cases = [
        ("time_limit_ms 0", air.closing(time_limit_ms=0)),
        (f"time_limit_ms {TABLE.close_limit_max_ms + 1}", air.closing(time_limit_ms=TABLE.close_limit_max_ms + 1)),
        ("limit_cylinder_raw at raw_max", air.closing(limit_cylinder_raw=raw_max)),
    ]

    def tried() -> None:
        for which, command in cases:
            bench.refused(command, RefusalReason.LIMITS_INVALID, which)

    _unchanged(bench, air, tried, len(cases))


def _shut_limits(bench: Bench) -> None:
    air = Air(bench)
    too_long = SupplyShut(0, TABLE.isolate_max_ms + 1)
    for state in (AirState.VENTED, AirState.CLOSED, AirState.OPEN, AirState.ISOLATED):
        air.to(state)
        _refused_for(bench, air, too_long, RefusalReason.LIMITS_INVALID, f"isolate_ms {too_long.isolate_ms}")
        air.vent()


def _at_the_bounds(bench: Bench) -> None:
    """The last values that are allowed; each is vented at once."""
    air = Air(bench)
    raw_max = [channel.raw_max for channel in bench.channels[:2]]
    air.needs_hold()
    for changes in (
        {"time_limit_ms": TABLE.time_limit_max_ms},
        {"window_low_count": air.count, "window_high_count": air.count},
        {"limit_regulated_raw": raw_max[0] - 1},
        {"limit_cylinder_raw": raw_max[1] - 1},
        {"window_low_count": -(2**31), "window_high_count": 2**31 - 1},
    ):
        bench.acked(replace(air.opening(), **changes))
        bench.acked(VentOpen(0))
    bench.acked(air.closing(time_limit_ms=TABLE.close_limit_max_ms, limit_cylinder_raw=raw_max[1] - 1))
    bench.acked(VentOpen(0))
    air.to(AirState.OPEN)
    bench.acked(SupplyShut(0, TABLE.isolate_max_ms))
    air.event(AirState.ISOLATED, Cause.COMMAND_SHUT)
    air.vent()


def _sixteen(bench: Bench) -> list[Figure]:
    air = Air(bench)
    ended = []
    for _ in range(ENDED_KEPT):
        air.to(AirState.OPEN)
        air.vent()
        ended.append(air.opening_id)
    for opening_id in ended:
        bench.refused(air.opening(opening_id=opening_id), RefusalReason.OPENING_OVER, f"opening {opening_id}, which has ended")
    return [Figure("ended_openings_remembered", len(ended))]


def _row(command: str, reason: RefusalReason) -> str:
    when = next(row.when for row in TABLE.command(command).refuse if row.reason is reason)
    return f"{command} is refused with {name_of(reason)}: {when}."


def _section(command: str) -> str:
    return f"PROTOCOL.md 7, Commands; interlock.toml {command}, refuse"


def _outside(air: Air) -> Any:
    return air.opening(window_low_count=air.count + FAR_COUNTS, window_high_count=air.count + 2 * FAR_COUNTS)


def _check(name: str, command: str, reason: RefusalReason, run: Callable[[Bench], Any], *more: Need) -> Check:
    return Check(name, _row(command, reason), _section(command), run, (*NEEDS, *more))


NEEDS: Final = (Need.VALVES, Need.AIR)
R = RefusalReason
AIR_REFUSALS = chapter_of(
    "Air: refusals",
    _check("open-limits-invalid", "SupplyOpen", R.LIMITS_INVALID, _open_limits),
    _check("open-not-streaming", "SupplyOpen", R.NOT_STREAMING, _no_stream(lambda air: air.opening())),
    _check("open-opening-over", "SupplyOpen", R.OPENING_OVER, _open_one(R.OPENING_OVER, _ended)),
    _check("open-outside-window", "SupplyOpen", R.OUTSIDE_WINDOW, _open_one(R.OUTSIDE_WINDOW, _outside)),
    _check("open-over-pressure", "SupplyOpen", R.OVER_PRESSURE, _over_pressure),
    _check("open-hold-not-pressed", "SupplyOpen", R.HOLD_NOT_PRESSED, _hold, Need.HOLD),
    Check(
        "open-order",
        "If several rows hold, SupplyOpen is refused with the first of the table.",
        "PROTOCOL.md 7, Order",
        _open_order,
        NEEDS,
    ),
    _check("shut-limits-invalid", "SupplyShut", R.LIMITS_INVALID, _shut_limits),
    _check("close-limits-invalid", "VentClose", R.LIMITS_INVALID, _close_limits),
    _check("close-not-streaming", "VentClose", R.NOT_STREAMING, _no_stream(lambda air: air.closing())),
    _check(
        "close-over-pressure",
        "VentClose",
        R.OVER_PRESSURE,
        _open_one(R.OVER_PRESSURE, lambda air: air.closing(limit_cylinder_raw=air.bench.channels[1].raw_min)),
    ),
    Check(
        "close-order",
        "If several rows hold, VentClose is refused with the first of the table.",
        "PROTOCOL.md 7, Order",
        _close_order,
        NEEDS,
    ),
    Check(
        "air-bounds",
        "The greatest values that the table allows are taken.",
        "PROTOCOL.md 7, Commands; interlock.toml",
        _at_the_bounds,
        NEEDS,
    ),
    Check(
        "sixteen-openings",
        "The ids of the last 16 ended openings open nothing.",
        "PROTOCOL.md 7, Openings",
        _sixteen,
        NEEDS,
    ),
)
