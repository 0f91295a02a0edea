"""The watches for which somebody has to do something at the rig: turn the crank, work the switch, reset the board."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from borewire.interlock import TABLE
from borewire.messages import AirState, BlockFlags, Cause, HoldEvent, HoldState, IndexEvent, SampleBlock, VentOpen

from borewright.conform.air import Air, name_of
from borewright.conform.bench import Bench, ticks_from
from borewright.conform.check import Check, Failed, Need, NotTried, chapter_of
from borewright.conform.hand_judgement import (
    AFTER_S,
    BY_HAND_NEEDS,
    TIME_MS,
    WIDE_COUNTS,
    in_samples,
    judge,
    wait_for_vented,
    watch_checks,
)
from borewright.conform.hands import Task
from borewright.conform.power_up import reset
from borewright.conform.transducers_by_hand import TRANSDUCERS_BY_HAND
from borewright.conform.verdict import Figure, vented_figure

__all__ = ["BY_HAND"]

CRANK_SLACK_COUNTS: Final = 2


def _left_window(state: AirState) -> Callable[[Bench], list[Figure]]:
    """In open the window is taken over from a renewal, which so is tried too."""

    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        narrow = air.opening(time_limit_ms=TIME_MS)
        if state is AirState.OPEN:
            wide = {"window_low_count": air.count - WIDE_COUNTS, "window_high_count": air.count + WIDE_COUNTS}
            air.to(state, time_ms=TIME_MS, **wide, opening_id=narrow.opening_id)
            bench.acked(narrow)
        else:
            air.to(state, time_ms=TIME_MS)
        since = bench.mark()
        low, high = narrow.window_low_count, narrow.window_high_count

        def over(sample: tuple[int, ...]) -> int:
            return max(low - sample[0], sample[0] - high)

        event = wait_for_vented(air, Cause.CRANK_LEFT_WINDOW, bench.have_done(Task.TURN_AWAY), since, in_samples(over))
        if low <= event.crank_count <= high:
            raise Failed(f"the AirEvent has crank_count {event.crank_count}, which is inside the window {low} to {high}")
        bench.wait_for_hands()
        outside = f"the crank is outside {low} to {high}"
        return judge(bench, event, since, outside, over, CRANK_SLACK_COUNTS)

    return run


def _index(bench: Bench) -> list[Figure]:
    bench.start_stream()
    since = bench.mark()
    patience_s = bench.have_done(Task.TURN_ROUND)
    if bench.until(lambda _: len(bench.only(IndexEvent, since)) >= 2, patience_s, since=since) is None:
        raise NotTried(f"two index pulses were not seen within {patience_s:g} s; turn further, or look after the index wire")
    bench.wait_for_hands()
    one, two = bench.only(IndexEvent, since)[:2]
    apart = abs(two.crank_count - one.crank_count)
    if (two.index_number - one.index_number) & 0xFFFF != 1:
        raise Failed(f"index_number rose from {one.index_number} to {two.index_number}; it counts the pulses")
    if abs(apart - bench.device.counts_per_rev) > 2:
        raise Failed(f"the crank count moved by {apart} from index to index, where counts_per_rev is {bench.device.counts_per_rev}")
    seen = bench.mark()
    bench.listen(AFTER_S)
    if not all(block.flags & BlockFlags.INDEX_SEEN for block in bench.only(SampleBlock, seen)):
        raise Failed("blocks after an index pulse have not the flag index_seen")
    return [Figure("counts_from_index_to_index", apart)]


# ---------------------------------------------------------------------- switch


def _is_released(what: Any) -> bool:
    return isinstance(what, HoldEvent) and what.hold is HoldState.RELEASED


def _hold_released(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        air.to(state, time_ms=TIME_MS)
        since = bench.mark()
        event = wait_for_vented(air, Cause.HOLD_RELEASED, bench.have_done(Task.RELEASE_HOLD), since, _is_released)
        told = [held for held in bench.only(HoldEvent, since) if held.hold is HoldState.RELEASED]
        if len(told) != 1:
            raise Failed(f"{len(told)} HoldEvent released came, where exactly one is due")
        took_ms = bench.ms(ticks_from(told[0].device_tick, event.device_tick))
        if abs(took_ms) > TABLE.reaction_ms:
            raise Failed(f"the device vented {took_ms:.1f} ms after the switch was let go; {TABLE.reaction_ms} ms are allowed")
        return [vented_figure(took_ms, "the HoldEvent", "whose tick is taken after the valves were driven")]

    return run


# ---------------------------------------------------------------------- reset


def _reset_under_air(state: AirState) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        air = Air(bench)
        air.to(state, time_ms=TIME_MS)
        figures = reset(bench)
        bench.acked(VentOpen(0))
        return figures

    return run


BY_HAND = (
    *chapter_of(
        "Crank by hand",
        Check(
            "index",
            "IndexEvent comes once a turn, and index_number counts them.",
            "PROTOCOL.md 6; 10 IndexEvent",
            _index,
            (Need.HANDS,),
        ),
    ),
    *chapter_of(
        "Air: watches by hand",
        *watch_checks("crank-left-window", Cause.CRANK_LEFT_WINDOW, _left_window),
        *TRANSDUCERS_BY_HAND,
        *watch_checks("hold-released", Cause.HOLD_RELEASED, _hold_released, Need.HOLD),
        *(
            Check(
                f"reset-{name_of(state)}",
                f"A reset in {name_of(state)} leaves the device vented, with AirEvent power_up.",
                "PROTOCOL.md 5, Power-up; 7",
                _reset_under_air(state),
                BY_HAND_NEEDS,
            )
            for state in (AirState.CLOSED, AirState.OPEN)
        ),
    ),
)
