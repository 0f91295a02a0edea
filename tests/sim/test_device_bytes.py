"""The simulated device's octets: the same for any cut of time, for a seed; garbage and random commands never hurt; speed."""

from __future__ import annotations

import copy
import random
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from boresim import device
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from boresim.stream import scans_in_a_sample
from borewire.codec import Decoder, encode
from borewire.interlock import TABLE
from borewire.messages import (
    AirState,
    BlockFlags,
    Cause,
    FaultCode,
    FaultEvent,
    HoldEvent,
    HostAlive,
    IdentifyRequest,
    Identity,
    IndexEvent,
    RefusalReason,
    Refused,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyOpen,
    SupplyShut,
    VentClose,
    VentOpen,
)
from borewire.samples import sample_columns
from hypothesis import given, settings
from hypothesis import strategies as st

from .effort import calls_of

MOST_CALLS_A_MINUTE = 800_000  # 778 513 when the speed was measured, and a little for other numpys

STORY = (
    (0.05, encode(StreamStart(1, 1000, 8))),
    (0.1, "hose 1"),
    (0.2, "to tdc 1 off 9"),
    (0.3, "hold press"),
    (20.0, "open"),
    (20.3, encode(HostAlive())),
    (23.0, encode(StreamStart(2, 400, 5))),
    (23.4, "hold release"),
    (25.0, "power-cycle"),
    (26.3, encode(IdentifyRequest(3, 1, 0))),
    (26.4, b"\x00\x03garbage"),
)
END_S = 28.0


def _play(seed: int, cuts_s: list[float]) -> bytes:
    """The same story, the time cut at these moments too; everything that came out."""
    rig = SimRig(load_scenario("hillclimb-before"), seed)
    out = bytearray()
    moments_ns = sorted({round(at * 1e9) for at in cuts_s} | {round(at * 1e9) for at, _ in STORY} | {round(END_S * 1e9)})
    told = {round(at * 1e9): what for at, what in STORY}
    now_ns = 0
    for moment_ns in moments_ns:
        rig.advance((moment_ns - now_ns) / 1e9)
        now_ns = moment_ns
        out += rig.transmit()
        what = told.get(moment_ns)
        if what == "open":
            count = rig.electronics.count_at(rig.plant.crank_deg)
            rig.receive(encode(SupplyOpen(5, 1, 60_000, count - 10, count + 10, 3900, 3900)))
        elif isinstance(what, str):
            assert rig.operator.do(what).startswith("ok ")
        elif what is not None:
            rig.receive(what)
    return bytes(out)


@pytest.fixture(scope="module")
def uncut() -> bytes:
    return _play(11, [])


def test_the_story_contains_a_trip_an_index_a_reset_and_two_streams(uncut: bytes) -> None:
    events = Decoder("host").feed(uncut)
    assert Cause.CRANK_LEFT_WINDOW in [getattr(event, "cause", None) for event in events]
    assert [event for event in events if isinstance(event, IndexEvent)]
    assert len({event.boot_id for event in events if isinstance(event, Status)}) == 2
    assert {event.sample_count for event in events if isinstance(event, SampleBlock)} == {5, 8}


@settings(max_examples=8, deadline=None)
@given(st.lists(st.floats(0.0, END_S), max_size=200))
def test_the_octets_do_not_depend_on_how_time_is_cut(uncut: bytes, cuts_s: list[float]) -> None:
    assert _play(11, cuts_s) == uncut


def test_cut_into_milliseconds_around_the_trip_the_octets_are_the_same(uncut: bytes) -> None:
    assert _play(11, [at / 1000 for at in range(19_990, 20_600)] + [20.0003, 20.1007, 20.2]) == uncut


def test_somebody_who_looks_at_the_crank_sees_the_same_however_time_is_cut() -> None:
    """Looks do not end a batch; what comes after one that saw the crank stand, at once or later, comes when it would have."""

    def played(cut_s: float) -> bytes:
        scenario = load_scenario("hillclimb-before")
        rig = SimRig(replace(scenario, operator=replace(scenario.operator, reaction_s=0.03)))
        rig.receive(encode(StreamStart(1, 1000, 8)))
        for words in ("turn +50 rpm 40", "turn -30", "wait 0.001", "turn +9", "hold press", "turn +5"):
            assert rig.operator.do(words).startswith("ok ")
        for _ in range(round(5.6 / cut_s)):
            rig.advance(cut_s)
        assert not rig.operator.busy
        return rig.transmit()

    out = played(0.032)
    assert sum(isinstance(event, HoldEvent) for event in Decoder("host").feed(out)) == 1
    assert [cut_s for cut_s in (0.001, 0.014, 0.7) if played(cut_s) != out] == []


def test_a_copy_in_the_middle_of_a_stream_goes_on_like_the_first() -> None:
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.receive(encode(StreamStart(1, 1000, 8)))
    rig.advance(1.0)
    rig.transmit()
    other = copy.deepcopy(rig)
    said = []
    for one in (rig, other):
        one.operator.do("turn +90 rpm 15")
        one.advance(2.0)
        said.append(one.transmit())
    assert said[0] == said[1]
    (first, *_, last) = [one for one in Decoder("host").feed(said[1]) if isinstance(one, SampleBlock)]
    assert sample_columns([first])[0][0] != sample_columns([last])[0][-1]  # it was turned


def test_a_seed_gives_the_same_octets_and_another_seed_others(uncut: bytes) -> None:
    assert _play(11, []) == uncut
    assert _play(12, []) != uncut


def test_samples_follow_each_other_without_a_gap_at_any_rate_and_block_size(make_bench: Any, pick: Any) -> None:
    for rate_hz, block_size in ((1000, 8), (2000, 28), (64, 3), (10, 1), (1, 1)):
        bench = make_bench()
        bench.send(StreamStart(1, rate_hz, block_size))
        bench.run(4.5)
        blocks = pick(SampleBlock, bench.heard)
        assert len(blocks) * block_size == pytest.approx(4.5 * rate_hz, abs=block_size + 1)
        first = blocks[0]
        for number, block in enumerate(blocks):
            assert (block.sequence, block.sample_index) == (number, number * block_size)
            assert (block.device_tick - first.device_tick) % 2**32 == number * block_size * 1_000_000 // rate_hz


def test_however_slow_the_stream_the_interlock_looks_every_millisecond(make_bench: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(StreamStart(1, 1, 1))
    bench.ask(bench.opening())
    bench.run(1.0)
    bench.rig.press_hold(False)
    before_tick = bench.rig.device.next_tick
    bench.rig.advance(0.002)
    assert bench.rig.device.interlock.state is AirState.VENTED
    assert bench.rig.device.next_tick - before_tick <= 2000


@given(st.integers(1, 2000).filter(lambda rate: 1_000_000 % rate == 0), st.integers(1, 1000))
def test_scans_divide_a_sample_and_are_never_further_apart_than_allowed(rate_hz: int, longest_ticks: int) -> None:
    sample_ticks = 1_000_000 // rate_hz
    number = scans_in_a_sample(sample_ticks, longest_ticks)
    assert sample_ticks % number == 0
    assert sample_ticks // number <= longest_ticks


def test_counts_and_index_pulses_agree_with_one_turn_between_pulses(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.send(StreamStart(1, 1000, 8))
    bench.tell("turn +1500 rpm 30")
    pulses = pick(IndexEvent, bench.heard)
    assert [pulse.index_number for pulse in pulses] == list(range(1, len(pulses) + 1))
    assert len(pulses) >= 4
    assert set(np.diff([pulse.crank_count for pulse in pulses]).tolist()) == {4096}
    counts, _ = sample_columns(pick(SampleBlock, bench.heard))
    assert counts[0] == 0
    assert abs(int(counts[-1]) - 1500 * 4096 / 360) < 60


def test_ticks_wrap_and_the_stream_goes_on(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.send(StreamStart(1, 1000, 8))
    bench.run(51.0)
    ticks = [block.device_tick for block in pick(SampleBlock, bench.heard)]
    assert ticks[0] > 2**31 > ticks[-1]
    assert {(later - earlier) % 2**32 for earlier, later in pairwise(ticks)} == {8000}


def test_identify_tells_what_is_fitted_and_refuses_another_major_version(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    (identity,) = pick(Identity, bench.ask(IdentifyRequest(1, 1, 99)))
    assert (identity.counts_per_rev, identity.channel_count) == (4096, 2)
    assert identity.fitted.name == "SUPPLY_VALVE|VENT_VALVE|HOLD_SWITCH"
    (refused,) = pick(Refused, bench.ask(IdentifyRequest(2, 2, 0)))
    assert refused.reason is RefusalReason.VERSION_UNSUPPORTED
    (by_hand,) = pick(Identity, make_bench("hillclimb-before-hand").ask(IdentifyRequest(1, 1, 0)))
    assert not by_hand.fitted


@pytest.mark.parametrize(
    ("message", "reason"),
    [
        (StreamStart(1, 0, 8), RefusalReason.RATE_UNSUPPORTED),
        (StreamStart(1, 999, 8), RefusalReason.RATE_UNSUPPORTED),
        (StreamStart(1, 4000, 8), RefusalReason.RATE_UNSUPPORTED),
        (StreamStart(1, 1000, 0), RefusalReason.BLOCK_TOO_LARGE),
        (StreamStart(1, 1000, 29), RefusalReason.BLOCK_TOO_LARGE),
    ],
)
def test_a_stream_that_cannot_be_is_refused_and_the_old_one_goes_on(
    make_bench: Any, pick: Any, message: StreamStart, reason: RefusalReason
) -> None:
    bench = make_bench()
    bench.ask(StreamStart(1, 1000, 8))
    (refused,) = pick(Refused, bench.ask(message))
    assert refused.reason is reason
    assert len(pick(SampleBlock, bench.run(0.08))) == 10


def test_a_power_cycle_vents_resets_and_changes_the_boot_id(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())
    bench.run(3.0)
    assert bench.rig.plant.p_cylinder_gauge_pa > 300_000.0
    before = bench.rig.device.boot_id
    bench.rig.power_cycle()
    events = bench.run(1.0)
    (status,) = pick(Status, events)
    assert status.boot_id != before
    assert (status.air, status.crank_count, status.streaming, status.frames_received) == (AirState.VENTED, 0, 0, 0)
    assert bench.rig.plant.p_cylinder_gauge_pa < 5000.0
    assert len({SimRig(load_scenario("hillclimb-before"), seed).device.boot_id for seed in range(20)}) == 20


def test_a_pulled_cable_loses_what_is_said_and_the_device_shuts_by_itself(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())
    bench.rig.unplug()
    assert bench.run(1.0) == []
    assert bench.rig.device.interlock.state is AirState.VENTED
    bench.rig.plug()
    blocks = pick(SampleBlock, bench.run(0.1))
    assert blocks[0].sequence - pick(SampleBlock, bench.heard)[0].sequence > 100


def test_a_host_that_does_not_read_loses_samples_and_is_told_how_many(make_bench: Any, pick: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr(device, "OUTBOX_OCTETS", 2000)
    bench = make_bench()
    bench.send(StreamStart(1, 1000, 8))
    bench.rig.advance(1.0)
    bench.run(0.0)
    events = bench.run(0.05)
    (fault,) = pick(FaultEvent, events)
    blocks = pick(SampleBlock, bench.heard)
    lost = int(np.sum(np.diff([block.sequence for block in blocks]) - 1)) * 8
    assert (fault.fault, fault.detail) == (FaultCode.SAMPLES_DROPPED, lost)
    assert [block for block in blocks if block.flags & BlockFlags.DROPPED_BEFORE] == [pick(SampleBlock, events)[0]]


# ------------------------------------------------------------------ random hosts

_OPENINGS = st.builds(
    SupplyOpen,
    request_id=st.just(1),
    opening_id=st.integers(0, 3),
    time_limit_ms=st.sampled_from((0, 1, 40, 5000, 60_001)),
    window_low_count=st.sampled_from((-100_000, -20, 30)),
    window_high_count=st.sampled_from((100_000, 20, -30)),
    limit_regulated_raw=st.sampled_from((0, 900, 3900, 4095)),
    limit_cylinder_raw=st.sampled_from((0, 900, 3900, 4095)),
)
_GOOD_OPENINGS = st.builds(
    SupplyOpen,
    request_id=st.just(1),
    opening_id=st.integers(1, 30),
    time_limit_ms=st.sampled_from((40, 5000)),
    window_low_count=st.sampled_from((-100_000, -20)),
    window_high_count=st.sampled_from((100_000, 20)),
    limit_regulated_raw=st.sampled_from((900, 3900)),
    limit_cylinder_raw=st.just(3900),
)
_COMMANDS = st.one_of(
    _OPENINGS,
    _GOOD_OPENINGS,
    _GOOD_OPENINGS,
    _GOOD_OPENINGS,
    st.builds(SupplyShut, st.just(2), st.sampled_from((0, 30, 10_000, 130_000))),
    st.builds(VentClose, st.just(3), st.sampled_from((0, 50, 10_000, 130_000)), st.sampled_from((0, 500, 3900, 4095))),
    st.just(VentOpen(4)),
    st.builds(StreamStart, st.just(5), st.sampled_from((1000, 500, 0)), st.sampled_from((8, 0))),
    st.just(StreamStop(6)),
    st.just(StatusRequest(7)),
    st.just(HostAlive()),
).map(encode)
_ACTS = st.sampled_from(
    (
        "hold press",
        "hold release",
        "turn +40 rpm 60",
        "turn -3",
        "hose 2",
        "halt",
        "restrain 50",
        "unplug",
        "plug",
        "power-cycle",
        "nonsense",
    )
)


def _play_against_the_rules(steps: list[tuple[bytes | str, float]]) -> Counter[AirState]:
    """Plays the steps, checking the rules after every scan; in how many scans the interlock was in which state."""
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.receive(encode(StreamStart(1, 1000, 8)))
    rig.press_hold(True)
    rig.advance(0.01)
    decoder = Decoder("host")
    states: Counter[AirState] = Counter()
    for what, dt_s in steps:
        if isinstance(what, str):
            rig.operator.do(what)
        else:
            rig.receive(what)
        left_s = dt_s
        while left_s > 1e-9:
            pressed = rig.device.hold_pressed
            rig.advance(min(left_s, 0.0005))
            left_s -= 0.0005
            _check_rules(rig, pressed)
            states[rig.device.interlock.state] += 1
        decoder.feed(rig.transmit())
    # left alone, any rig ends vented, in its state and in its air
    rig.advance(4.0)
    assert rig.device.interlock.state is AirState.VENTED
    assert abs(rig.plant.p_cylinder_gauge_pa) < 5000.0
    assert abs(rig.plant.p_regulated_gauge_pa) < 5000.0
    # a cable pulled in the midst of a frame cuts it; nothing else may
    pulled = any(what == "unplug" for what, _ in steps)
    assert pulled or decoder.counters.frames_bad == 0
    return states


_STEPS = st.tuples(
    st.one_of(_COMMANDS, _COMMANDS, _COMMANDS, st.binary(max_size=40), _ACTS), st.sampled_from((0.0005, 0.003, 0.05, 0.3, 0.6))
)


@settings(max_examples=40, deadline=None)
@given(st.lists(_STEPS, max_size=30))
def test_no_host_and_no_person_can_make_the_device_fall_or_keep_the_air_on_against_its_table(
    steps: list[tuple[bytes | str, float]],
) -> None:
    _play_against_the_rules(steps)


def test_a_long_restless_host_visits_every_state_and_never_breaks_a_rule() -> None:
    luck = random.Random(2)
    count_limits = (-40, 40)
    steps: list[tuple[bytes | str, float]] = []
    for number in range(1, 160):
        command = luck.choice(
            (
                SupplyOpen(1, number, luck.choice((30, 5000)), *count_limits, 3900, luck.choice((700, 3900))),
                SupplyOpen(1, number, 5000, *count_limits, 3900, 3900),
                SupplyShut(2, luck.choice((0, 20, 5000))),
                VentClose(3, luck.choice((50, 5000)), 3900),
                VentOpen(4),
                HostAlive(),
                StreamStop(5),
                StreamStart(6, 1000, 8),
                StreamStart(6, 1000, 8),
            )
        )
        steps.append((encode(command), luck.choice((0.002, 0.05, 0.2, 0.55))))
    assert set(_play_against_the_rules(steps)) == {AirState.VENTED, AirState.CLOSED, AirState.OPEN, AirState.ISOLATED}


def _check_rules(rig: SimRig, was_pressed: bool) -> None:
    """After every scan: air is on only while all that the table asks for holds. A switch let go at a scan is seen at the next."""
    micro, lock = rig.device, rig.device.interlock
    if not rig.powered or lock.state not in (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED):
        return
    now_tick = micro.next_tick - micro.scan_ticks
    assert micro.streaming
    assert now_tick - lock.heard_tick < TABLE.host_silence_ms * 1000
    assert now_tick < lock.limits.deadline_tick
    if lock.state is AirState.CLOSED:
        return
    assert lock.opening_id not in lock.ended
    assert lock.limits.window_low_count <= micro._crank_count <= lock.limits.window_high_count
    assert micro.hold_pressed or was_pressed


@pytest.mark.parametrize("scenario", ["hillclimb-before", "hillclimb-before-hand"])
def test_random_octets_are_only_counted(make_bench: Any, pick: Any, scenario: str) -> None:
    bench = make_bench(scenario)
    noise = np.random.default_rng(5)
    for _ in range(200):
        bench.rig.receive(noise.bytes(97))
        bench.rig.advance(0.001)
    bench.rig.receive(b"\x00")
    status = pick(Status, bench.ask(StatusRequest(1)))[-1]
    assert status.request_id == 1
    assert status.frames_bad > 50
    assert status.streaming == 0


def test_a_minute_of_a_test_with_electronics_and_wire_is_not_more_work_than_when_its_speed_was_measured(make_bench: Any) -> None:
    """Calls, those of the code that was measured so; tests/bench says the speed here."""
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())

    def run() -> None:
        for step in range(600):
            if step == 300:
                bench.send(SupplyShut(3, 60_000))
            bench.send(HostAlive())
            bench.rig.advance(0.1)
            bench.rig.transmit()

    calls = calls_of(run)
    assert bench.rig.device.interlock.state is AirState.ISOLATED
    assert calls <= MOST_CALLS_A_MINUTE
