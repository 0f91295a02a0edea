"""What the watches that are tried by hand have in common: waiting for the device to vent, and judging when it did."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from borewire.interlock import TABLE
from borewire.messages import AirEvent, AirState, Cause, SampleBlock
from borewire.wirelog import words

from borewright.conform.air import Air, name_of
from borewright.conform.bench import Bench, samples_of, ticks_from
from borewright.conform.check import Check, Failed, Need, NotTried
from borewright.conform.verdict import Figure, vented_figure

__all__ = [
    "AFTER_S",
    "BY_HAND_NEEDS",
    "TIME_MS",
    "WIDE_COUNTS",
    "Over",
    "Shows",
    "in_samples",
    "judge",
    "ticked",
    "wait_for_vented",
    "watch_checks",
]

AFTER_S: Final = 0.15
BY_HAND_NEEDS: Final = (Need.VALVES, Need.AIR, Need.HANDS)
EVENT_WITHIN_S: Final = 0.5
TIME_MS: Final = 60_000
WIDE_COUNTS: Final = 1_000_000

Over = Callable[[tuple[int, ...]], int]
Shows = Callable[[Any], bool]


def wait_for_vented(air: Air, cause: Cause, patience_s: float, since: int, shows: Shows) -> AirEvent:
    """The AirEvent with which the device vents. shows: whether something that came shows that it has to vent.

    Failed when the data show it and the device does not vent; NotTried when nothing is seen of it at all.
    """
    bench = air.bench
    bench.until(lambda what: isinstance(what, AirEvent) or shows(what), patience_s, since=since)
    event = air.next_event(EVENT_WITHIN_S, since)
    if event is not None and (event.air, event.cause) == (AirState.VENTED, cause):
        bench.listen(AFTER_S)
        air.is_in(AirState.VENTED)
        return event
    due = f"an AirEvent vented, because of {name_of(cause)}, is due"
    if any(shows(heard.what) for heard in bench.heard[since:]):
        came = "no AirEvent came" if event is None else f"{words(event)} came"
        raise Failed(f"what came from the device shows it, but {came}, where {due}")
    if event is not None and event.cause is Cause.OVER_PRESSURE_CYLINDER and cause is Cause.SENSOR_FAULT:
        raise NotTried("the transducer's reading went up, which over_pressure_cylinder sees first; let it go to the lower end")
    if event is not None and event.cause is not Cause.TIME_LIMIT:
        raise Failed(f"{words(event)} came, where {due}")
    raise NotTried(f"nothing was seen of it within {min(patience_s, TIME_MS / 1000):g} s")


def in_samples(over: Over) -> Shows:
    """Whether a block holds a sample that is over."""
    return lambda what: isinstance(what, SampleBlock) and any(over(sample) > 0 for sample in samples_of(what))


def ticked(bench: Bench, since: int) -> list[tuple[int, tuple[int, ...]]]:
    """The samples since a mark, each with its tick."""
    return [
        ((block.device_tick + at * bench.sample_ticks) & 0xFFFFFFFF, sample)
        for block in bench.only(SampleBlock, since)
        for at, sample in enumerate(samples_of(block))
    ]


def judge(bench: Bench, event: AirEvent, since: int, what: str, over: Over, slack: int) -> list[Figure]:
    """The event against the samples: within reaction_ms after the first that is over.

    over: by how much a sample is over the limit, 0 or less when it is not. slack: a device may look more often than it tells
    samples, and see between two of them what neither shows; then one of them has to be so near the limit: one of those before the
    event, from which the device may still have been about to act, or the next one after it.
    """
    samples = ticked(bench, since)
    first = next((tick for tick, sample in samples if over(sample) > 0), None)
    took_ms = None if first is None else bench.ms(ticks_from(first, event.device_tick))
    if took_ms is not None and took_ms > TABLE.reaction_ms:
        raise Failed(
            f"the device vented {took_ms:.1f} ms after the first sample in which {what}; {TABLE.reaction_ms} ms are allowed"
        )
    if took_ms is not None and took_ms >= -bench.ms(bench.sample_ticks):
        return [vented_figure(took_ms, "the first such sample", "because the device may look more often than it tells samples")]
    reaction_ticks = bench.ticks(TABLE.reaction_ms / 1000)
    about = [
        over(sample) for tick, sample in samples if -bench.sample_ticks <= ticks_from(tick, event.device_tick) <= reaction_ticks
    ]
    if max(about, default=-slack - 1) < -slack:
        raise Failed(f"the device vented with {name_of(event.cause)}, but in no sample about that moment {what}, nor nearly so")
    return [Figure("vented_between_samples (nearest to the limit by)", -max(about))]


def watch_checks(name: str, cause: Cause, make: Callable[[AirState], Callable[[Bench], Any]], *more: Need) -> tuple[Check, ...]:
    """A check of this watch for each state that it is on in. more: what they need beside valves, air and hands."""
    row = next(watch for watch in TABLE.watches if watch.cause is cause)
    return tuple(
        Check(
            f"{name}-{name_of(state)}",
            f"In {name_of(state)} the device shuts and vents with {name_of(cause)} within {TABLE.reaction_ms} ms: {row.when}.",
            f"PROTOCOL.md 7, Watches; interlock.toml {name_of(cause)}",
            make(state),
            (*BY_HAND_NEEDS, *more),
        )
        for state in (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED)
        if state in row.in_states
    )
