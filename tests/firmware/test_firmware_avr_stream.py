"""The stream and the line of the real program in the emulator: nothing lost unflagged, counts right, bad octets survived."""

from __future__ import annotations

import struct
from itertools import pairwise

import pytest
from avr_rig.child import Pin, PinEvent
from borewire.codec import BadFrame, encode
from borewire.messages import (
    BlockFlags,
    EchoReply,
    EchoRequest,
    FaultCode,
    FaultEvent,
    HostAlive,
    IndexEvent,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
)

from .conftest import BAUDS, Board
from .emulated import AT_REST, MS_CYCLES, Crank, Emulated, of_kind

SLICE_MS = 100


def turn(board: Emulated, crank: Crank, seconds: float, counts_per_s: float) -> list[object]:
    """The stream while the crank turns, with a host that is alive."""
    heard: list[object] = []
    for _ in range(round(seconds * 1000 / SLICE_MS)):
        heard += board.step(SLICE_MS, HostAlive(), pins=crank.turn(SLICE_MS * MS_CYCLES, counts_per_s))
    return heard


def status(board: Emulated) -> Status:
    return of_kind(board.step(50, b"\0", StatusRequest(5)), Status)[-1]


def samples_of(blocks: list[SampleBlock]) -> list[tuple[int, int, int, int]]:
    """Count and raw words of each sample."""
    return [sample for block in blocks for sample in struct.iter_unpack("<iHHH", block.samples)]


def assert_whole(blocks: list[SampleBlock]) -> None:
    """No block lost, all ticks on the grid of the first."""
    for before, block in pairwise(blocks):
        assert block.sequence == (before.sequence + 1) & 0xFFFF
        assert block.sample_index == before.sample_index + before.sample_count
        assert block.device_tick == (before.device_tick + 2000 * before.sample_count) & 0xFFFFFFFF
        assert not block.flags & BlockFlags.DROPPED_BEFORE


def illegal_steps(heard: list[object]) -> int:
    return sum(fault.detail for fault in of_kind(heard, FaultEvent) if fault.fault == FaultCode.ENCODER_ILLEGAL_STEP)


@pytest.mark.parametrize("baud", BAUDS)
def test_10_000_counts_a_second_for_20_s(new_board: Board, baud: int) -> None:
    board, crank = new_board(baud), Crank()
    board.boot()
    board.stream()
    heard = turn(board, crank, 20, 10_000)
    after = status(board)
    assert of_kind(heard, FaultEvent) == []
    assert of_kind(heard, BadFrame) == []
    assert (after.crank_count, after.samples_dropped, after.frames_bad) == (crank.count, 0, 0)
    blocks = of_kind(board.heard, SampleBlock)
    assert_whole(blocks)
    samples = samples_of(blocks)
    assert len(samples) >= 20_000
    assert {sample[1:] for sample in samples} == {tuple(4 * code for code in AT_REST[:3])}
    turning = [sample[0] for sample in samples if 0 < sample[0] < crank.count]
    first = turning[0]
    assert all(abs(count - first - 10 * k) <= 1 for k, count in enumerate(turning)), "10 counts a millisecond"
    index = of_kind(heard, IndexEvent)
    assert [event.index_number for event in index] == list(range(1, crank.index_passes + 1))
    assert {event.crank_count % 4096 for event in index} <= {0, 1}, "one count wide, and told at most one count late"


@pytest.mark.parametrize("baud", BAUDS)
@pytest.mark.parametrize(("counts_per_s", "seconds"), [(30_000, 3), (-30_000, 3), (55_000, 1)])
def test_faster_than_a_hand(new_board: Board, baud: int, counts_per_s: int, seconds: int) -> None:
    """7 turns a second, and 13: still nothing lost, dropped or miscounted."""
    board, crank = new_board(baud), Crank()
    board.boot()
    board.stream()
    heard = turn(board, crank, seconds, counts_per_s)
    after = status(board)
    assert of_kind(heard, FaultEvent) == []
    assert (after.crank_count, after.samples_dropped, after.frames_bad) == (crank.count, 0, 0)
    assert_whole(of_kind(board.heard, SampleBlock))
    assert len(of_kind(heard, IndexEvent)) == crank.index_passes


@pytest.mark.parametrize("counts_per_s", [90_000, 110_000])
def test_too_fast_is_told(board: Emulated, counts_per_s: int) -> None:
    """Steps are missed, which is told, and the count is wrong by no more than what is told: no block is lost unflagged."""
    crank = Crank()
    board.boot()
    board.stream()
    heard = turn(board, crank, 1, counts_per_s)
    heard += board.step(300)
    after = status(board)
    missed = illegal_steps(heard)
    assert missed > 0
    assert after.crank_count != crank.count
    assert board.resets == 0
    blocks = of_kind(board.heard, SampleBlock)
    for before, block in pairwise(blocks):
        whole = block.sample_index == before.sample_index + before.sample_count
        assert whole or block.flags & BlockFlags.DROPPED_BEFORE
    heard = turn(board, crank, 0.5, 1000)
    assert illegal_steps(heard) <= 1, "afterwards it counts as before"


def test_ticks_are_right_at_every_moment_of_the_timers_wrap(board: Emulated) -> None:
    """The index at all phases of the 1000 cycles between two wraps: told later by what an interrupt may wait, never 62.5 µs off."""
    board.boot()
    board.stream()
    happened: list[int] = []
    for phase in range(0, 1000, 3):
        happened.append(board.cycle + 16_000 + phase)
        pulse = [PinEvent(16_000 + phase, Pin.INDEX, 1), PinEvent(16_800 + phase, Pin.INDEX, 0)]
        board.step(3, HostAlive(), pins=pulse)
    told = of_kind(board.heard, IndexEvent)
    assert len(told) == len(happened)
    late = [8 * event.device_tick - cycle for event, cycle in zip(told, happened, strict=True)]
    assert max(late) - min(late) <= 500, "31 µs, half of a wrap"


def test_noise_on_the_encoder_beyond_all_measure_ends_in_resets_and_recovers(board: Emulated) -> None:
    board.boot()
    board.stream()
    turn(board, Crank(), 0.5, 400_000)
    assert board.resets > 0
    board.step(200)
    assert status(board).streaming == 0
    resets = board.resets
    board.keep_alive(1000)
    assert board.resets == resets


@pytest.mark.parametrize("baud", BAUDS)
@pytest.mark.parametrize(("rate_hz", "block_size"), [(1000, 1), (1000, 8), (500, 3), (100, 8), (1, 1)])
def test_rates_and_block_sizes(new_board: Board, baud: int, rate_hz: int, block_size: int) -> None:
    board = new_board(baud)
    board.boot()
    board.stream(rate_hz, block_size)
    heard = turn(board, Crank(), max(1.0, 2.1 / rate_hz), 5000)
    blocks = of_kind(board.heard, SampleBlock)
    assert sum(block.sample_count for block in blocks) >= rate_hz - block_size
    for before, block in pairwise(blocks):
        assert block.sequence == (before.sequence + 1) & 0xFFFF
        assert (block.device_tick - before.device_tick) & 0xFFFFFFFF == 2_000_000 // rate_hz * block_size
    assert of_kind(heard, FaultEvent) == []


@pytest.mark.parametrize("baud", BAUDS)
def test_bad_octets_are_survived_and_counted(new_board: Board, baud: int) -> None:
    """A cut frame, garbage and an unknown type between good commands: each good one is answered."""
    board = new_board(baud)
    board.boot()
    request = encode(StatusRequest(11))
    board.step(10, request[3:])  # the rest of a frame that began before anybody listened
    assert status(board).frames_bad == 0
    board.step(10, request[:5], b"\0")
    assert status(board).frames_bad == 1
    board.step(10, bytes(range(1, 200)), b"\0")
    assert status(board).frames_bad == 2
    board.step(30, b"\x07" * 400, b"\0")
    assert status(board).frames_bad == 3
    # a HostAlive with type 0x7F and its checksum, by the steps of PROTOCOL.md section 2
    board.step(10, bytes.fromhex("00") + stuffed(bytes([0x7F])) + bytes.fromhex("00"))
    after = status(board)
    assert (after.frames_bad, after.frames_unknown) == (3, 1)


def stuffed(content: bytes) -> bytes:
    """A frame's octets between the zeros, for a content without any octet that becomes zero."""
    crc = 0xFFFF
    for octet in content:
        crc ^= octet << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021) & 0xFFFF if crc & 0x8000 else crc << 1
    xored = bytes(octet ^ 0xF5 for octet in content + crc.to_bytes(2, "little"))
    assert 0 not in xored
    return bytes([len(xored) + 1]) + xored


@pytest.mark.parametrize("baud", BAUDS)
def test_longest_frames_while_streaming(new_board: Board, baud: int) -> None:
    """200 octets there and back at the full rate of the line, again and again: no octet lost, no sample dropped."""
    board, crank = new_board(baud), Crank()
    board.boot()
    board.stream()
    said = bytes(range(200))
    for request_id in range(100):
        board.step(10, EchoRequest(request_id, said), pins=crank.turn(10 * MS_CYCLES, 10_000))
    board.step(20)
    assert of_kind(board.heard, EchoReply) == [EchoReply(request_id, said) for request_id in range(100)]
    assert_whole(of_kind(board.heard, SampleBlock))
    assert status(board).samples_dropped == 0


def test_more_than_the_line_carries_is_told(board: Emulated) -> None:
    """Echoes without a pause fill the line; samples that found no room are counted, and told by fault, flag and sample index."""
    board.boot()
    board.stream(1000, 1)
    for request_id in range(300):
        board.step(4, EchoRequest(request_id & 0xFFFF, bytes(200)))
    board.step(300)
    after = status(board)
    blocks = of_kind(board.heard, SampleBlock)
    missing = 0
    for before, block in pairwise(blocks):
        lost = block.sample_index - before.sample_index - before.sample_count
        assert (lost > 0) == bool(block.flags & BlockFlags.DROPPED_BEFORE)
        missing += lost
    told = sum(fault.detail for fault in of_kind(board.heard, FaultEvent) if fault.fault == FaultCode.SAMPLES_DROPPED)
    assert missing == told == after.samples_dropped


def test_two_runs_are_alike_to_the_last_octet(new_board: Board) -> None:
    def run() -> tuple[bytes, list[object], int]:
        board = new_board()
        board.boot()
        board.step(20, StreamStart(3, 1000, 4))
        turn(board, Crank(), 1, 12_345)
        return bytes(board.octets), list(board.changes), board.busy_cycles

    assert run() == run()
