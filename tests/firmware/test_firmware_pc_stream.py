"""The sample stream of the firmware on the PC: numbers, ticks, flags, what is dropped, and the wraps of its counters."""

from __future__ import annotations

import random
from itertools import pairwise

import numpy as np
import pytest
from avr_rig.child import Pin
from borewire.codec import Received
from borewire.messages import (
    Ack,
    BlockFlags,
    EchoReply,
    EchoRequest,
    FaultCode,
    FaultEvent,
    HostAlive,
    IndexEvent,
    Refused,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    VentOpen,
)
from borewire.samples import sample_columns

from .pc_child import RAW_PER_CODE, TICKS_PER_MS, Bench, bench, only, open_command

# 1000 / n that are whole, as far as they divide the tick rate too: a sample each n-th millisecond
RATES_HZ = (1000, 500, 250, 200, 125, 100, 50, 40, 25, 20, 10, 8, 5, 4, 2, 1)
TICK_RATE_HZ = 1000 * TICKS_PER_MS
ROUND_TICKS = TICKS_PER_MS // 4


def start(rig: Bench, rate_hz: int = 1000, block_size: int = 8) -> list[Received]:
    rig.run(20)
    heard = rig.run(8, StreamStart(rig.request_id(), rate_hz, block_size))
    assert isinstance(only(Ack, heard)[0], Ack)
    return heard


def whole(blocks: list[SampleBlock], rate_hz: int, block_size: int) -> None:
    """The blocks lack nothing: sequence, index and tick are exact, and no block says that something was dropped."""
    period = TICK_RATE_HZ // rate_hz
    assert [block.sequence for block in blocks] == [(blocks[0].sequence + k) & 0xFFFF for k in range(len(blocks))]
    assert [block.sample_index for block in blocks] == [block_size * k for k in range(len(blocks))]
    assert [block.device_tick for block in blocks] == [
        (blocks[0].device_tick + block_size * k * period) & 0xFFFFFFFF for k in range(len(blocks))
    ]
    assert {(block.sample_count, block.channel_count) for block in blocks} == {(block_size, 3)}
    assert not any(block.flags & BlockFlags.DROPPED_BEFORE for block in blocks)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_every_rate_that_is_taken_is_kept_exactly(rate_hz: int) -> None:
    with bench() as rig:
        heard = start(rig, rate_hz, 3) + rig.run(12_500 / rate_hz)
        whole(blocks := only(SampleBlock, heard), rate_hz, 3)
        assert len(blocks) >= 4
        (ack,) = only(Ack, heard)
        assert 0 <= blocks[0].device_tick - ack.device_tick <= TICKS_PER_MS


def test_every_other_rate_is_refused() -> None:
    with bench() as rig:
        rig.run(20)
        for rate_hz in set(range(1101)) | {0xFFFF}:
            answer = rig.answer(StreamStart(1, rate_hz, 8), ms=3)
            assert isinstance(answer, Ack if rate_hz in RATES_HZ else Refused), rate_hz


@pytest.mark.parametrize("block_size", range(1, 9))
def test_every_block_size_is_kept_at_the_fastest_rate(block_size: int) -> None:
    with bench() as rig:
        heard = start(rig, 1000, block_size) + rig.run(500)
        whole(blocks := only(SampleBlock, heard), 1000, block_size)
        assert len(blocks) * block_size >= 480


def test_a_sample_has_the_count_of_its_moment_and_the_sums_of_the_four_rounds_around_it() -> None:
    """The crank turns evenly and one channel rises by a code each round, so that both can be computed from the tick."""
    with bench() as rig:
        rig.codes = (100, 200, 300, 225)
        heard = start(rig)
        rig.child.step(rig.cycle % 4000 and 4000 - rig.cycle % 4000)
        began_tick = rig.cycle // 8
        rows = [(100 + k, 200, 300, 225) for k in range(160)]
        every = 400
        answer = rig.child.step(40 * 16_000, rig.edges(40 * 16_000 // every, every), rows)
        heard += rig.ear.feed(answer.octets)
        blocks = [block for block in only(SampleBlock, heard) if block.device_tick > began_tick + 2 * TICKS_PER_MS]
        assert len(blocks) >= 3
        for block in blocks:
            counts, raw = sample_columns([block])
            ticks = block.device_tick + np.arange(8) * TICKS_PER_MS
            # an edge at the very moment of the sample is before it
            assert counts.tolist() == ((ticks - began_tick) * 8 // every + 1).tolist()
            regulated, cylinder, spare = raw
            # each of the four codes is that of its round; the round in which the moment lies is one of the middle two
            assert np.abs(regulated - RAW_PER_CODE * (100 + (ticks - began_tick) / ROUND_TICKS)).max() <= RAW_PER_CODE
            assert set(cylinder.tolist()) == {RAW_PER_CODE * 200}
            assert set(spare.tolist()) == {RAW_PER_CODE * 300}


def test_alike_and_repeated_the_stream_goes_on_and_another_one_begins_anew() -> None:
    with bench() as rig:
        heard = start(rig) + rig.run(100)
        heard += rig.run(100, StreamStart(7, 1000, 8))
        whole(before := only(SampleBlock, heard), 1000, 8)
        after = only(SampleBlock, rig.run(100, StreamStart(8, 500, 4)))
        fresh = [block for block in after if block.sample_count == 4]
        whole(fresh, 500, 4)
        assert fresh[0].sequence == len(before) + len(after) - len(fresh)
        rig.run(10, StreamStop(9))
        assert only(SampleBlock, rig.run(100)) == []


def test_status_comes_each_second_while_streaming() -> None:
    with bench() as rig:
        (ack,) = only(Ack, start(rig))
        told = only(Status, rig.run(3500))
        assert [status.request_id for status in told] == [0, 0, 0]
        for number, status in enumerate(told, 1):
            assert 0 <= status.device_tick - ack.device_tick - number * TICK_RATE_HZ <= 3 * TICKS_PER_MS
        rig.run(10, StreamStop(9))
        assert only(Status, rig.run(2500)) == []


def test_flags_say_what_was_true_at_the_first_sample() -> None:
    with bench() as rig:
        start(rig, block_size=1)

        def flags() -> BlockFlags:
            return only(SampleBlock, rig.run(5))[-1].flags

        assert flags() is BlockFlags.VENT_OPEN
        rig.hold(True)
        assert flags() == BlockFlags.VENT_OPEN | BlockFlags.HOLD_PRESSED
        rig.answers(open_command())
        assert flags() == BlockFlags.SUPPLY_OPEN | BlockFlags.HOLD_PRESSED
        rig.run(1, VentOpen(1), pins=[(0, Pin.INDEX, 1)])
        rig.codes = (0, 300, 300, 225)
        rig.run(3)
        assert flags() == BlockFlags.VENT_OPEN | BlockFlags.HOLD_PRESSED | BlockFlags.INDEX_SEEN | BlockFlags.SATURATED
        rig.codes = (300, 1023, 300, 225)
        rig.run(3)
        assert flags() & BlockFlags.SATURATED
        rig.codes = (1, 1022, 0, 225)  # the spare channel is no pressure that air hangs on
        rig.run(3)
        assert not flags() & BlockFlags.SATURATED


def gaps(heard: list[Received], block_size: int) -> list[int]:
    """Samples missing between blocks: index, sequence, tick, flag and fault events say the same of them."""
    blocks = only(SampleBlock, heard)
    missing = []
    for before, after in pairwise(blocks):
        gap = after.sample_index - before.sample_index - block_size
        assert (gap > 0) == bool(after.flags & BlockFlags.DROPPED_BEFORE)
        assert gap == block_size * ((after.sequence - before.sequence - 1) & 0xFFFF)
        assert after.device_tick - before.device_tick == (gap + block_size) * TICKS_PER_MS
        missing += [gap] if gap else []
    assert [fault.detail for fault in only(FaultEvent, heard) if fault.fault is FaultCode.SAMPLES_DROPPED] == missing
    return missing


def test_index_events_have_their_turn_in_a_line_full_of_answers() -> None:
    with bench() as rig:
        heard = start(rig)
        for k in range(20):
            echoes = [EchoRequest(20 * k + j, bytes(200)) for j in range(10)]  # 41.4 ms of the line, either way
            heard += rig.run(43, *echoes, pins=[(50, Pin.INDEX, 1), (2000, Pin.INDEX, 0)])
        heard += rig.run(100)
        assert [event.index_number for event in only(IndexEvent, heard)] == list(range(1, 21))
        assert [reply.request_id for reply in only(EchoReply, heard)] == [20 * k + j for k in range(20) for j in range(10)]


@pytest.mark.parametrize("block_size", [1, 3, 8])
def test_gap_upon_gap_is_told_each_with_its_own_size(block_size: int) -> None:
    chance = random.Random(block_size)
    with bench() as rig:
        heard = start(rig, 1000, block_size)
        for _ in range(60):
            burst = chance.randrange(3, 12)
            heard += rig.run(burst * 4.2 + chance.randrange(1, 12), *[EchoRequest(k, bytes(200)) for k in range(burst)])
        heard += rig.run(100)
        missing = gaps(heard, block_size)
        assert len(missing) > 10
        assert rig.answer(StatusRequest(1000)).samples_dropped == sum(missing)
        # the crank stands and nothing else changes: what is in a sample came from no other one
        assert {block.samples for block in only(SampleBlock, heard)} == {only(SampleBlock, heard)[-1].samples}


@pytest.mark.parametrize("block_size", [1, 3, 8])
def test_a_line_full_of_answers_drops_samples_says_so_and_loses_no_answer(block_size: int) -> None:
    with bench() as rig:
        heard = start(rig, 1000, block_size)
        echoes = [EchoRequest(k, bytes([k]) * 200) for k in range(120)]
        heard += rig.run(600, *echoes)
        heard += rig.run(200)
        assert [(reply.request_id, reply.octets) for reply in only(EchoReply, heard)] == [
            (echo.request_id, echo.octets) for echo in echoes
        ]
        missing = gaps(heard, block_size)
        assert sum(missing) > 100
        status = rig.answer(StatusRequest(1000))
        assert status.samples_dropped == sum(missing)


def test_samples_dropped_before_a_stop_are_told_with_the_next_stream() -> None:
    with bench() as rig:
        start(rig)
        storm = [EchoRequest(k, bytes(200)) for k in range(30)]
        rig.run(126, *storm, StreamStop(500))
        heard = rig.run(50, StreamStart(501, 1000, 8))
        faults = [fault for fault in only(FaultEvent, heard) if fault.fault is FaultCode.SAMPLES_DROPPED]
        first = next(block for block in only(SampleBlock, heard) if block.sample_index == 0)
        assert first.flags & BlockFlags.DROPPED_BEFORE
        assert [fault.detail for fault in faults] == [only(Status, rig.run(1500))[0].samples_dropped]
        assert faults[0].detail > 0


def test_a_storm_of_starts_ends_in_the_last_of_them() -> None:
    with bench() as rig:
        rig.run(20)
        # an Ack is longer than a StreamStart; with something unanswered between, the line can carry the answers
        storm = [message for k in range(500) for message in (StreamStart(k, RATES_HZ[k % 5], 1 + k % 8), HostAlive())]
        heard = rig.run(400, *storm)
        answers = only(Ack, heard)
        assert [ack.request_id for ack in answers] == list(range(500))
        blocks = [block for block in only(SampleBlock, rig.run(400)) if block.sample_count == 1 + 499 % 8]
        assert len(blocks) >= 10
        assert {after.sample_index - before.sample_index for before, after in pairwise(blocks)} == {1 + 499 % 8}


def test_the_sequence_wraps_at_sixteen_bits() -> None:
    with bench(sanitized=False) as rig:
        heard = start(rig, 1000, 1)
        sequences = [block.sequence for block in only(SampleBlock, heard)]
        for _ in range(134):
            sequences += [block.sequence for block in only(SampleBlock, rig.run(500))]
        assert len(sequences) > 0x10000 + 1000
        assert sequences == [k & 0xFFFF for k in range(len(sequences))]


def test_the_tick_wraps_at_thirty_two_bits_with_air_on() -> None:
    """Status, blocks, the time limit and the host's silence go on over the wrap as if it were not there."""
    before_s = 3
    with bench("--first-tick", str(2**32 - before_s * TICK_RATE_HZ)) as rig:
        rig.hold(True, ms=40)
        heard = rig.run(2800, StreamStart(1, 1000, 8))
        ack, event = rig.answers(open_command(time_limit_ms=700))
        assert ack.device_tick > 2**32 - TICK_RATE_HZ
        opened = rig.outputs[-1][0]
        heard += rig.run(350, HostAlive()) + rig.run(2000, HostAlive())
        # the answers took 8 ms, of which nothing was kept here
        kept = [block for block in only(SampleBlock, heard) if block.sample_index == block.sequence * 8]
        assert kept == only(SampleBlock, heard)
        first = kept[0].device_tick
        assert [block.device_tick for block in kept] == [(first + block.sample_index * TICKS_PER_MS) & 0xFFFFFFFF for block in kept]
        assert kept[-1].device_tick < 2**31 < first
        assert len(only(Status, heard)) == 5
        assert 700 * 16_000 <= rig.outputs[-1][0] - opened <= 701 * 16_000
        assert event.opening_id == 7
