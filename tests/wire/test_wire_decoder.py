"""The decoder on any octets: events only, the same for any chunking, bounded memory, quick enough."""

from __future__ import annotations

import sys
from typing import Any, Literal

from borewire.codec import BadFrame, BadReason, Counters, Decoder, FrameError, Received, UnknownMessage, encode
from borewire.framing import frame_of
from borewire.messages import Ack, BlockFlags, HostAlive, Message, SampleBlock, StatusRequest
from borewire.runs import BlockRun
from borewire.samples import run_columns, sample_columns
from hypothesis import given, settings
from hypothesis import strategies as st

from .vector_files import build, load

MESSAGES = [build(case["message"], case["fields"]) for to in ("device", "host") for case in load(f"accept/to_{to}.json")["cases"]]
FRAMES = st.sampled_from([encode(message) for message in MESSAGES])
FEW_OCTETS = st.lists(st.sampled_from([0, 1, 2, 0xF5]), max_size=40).map(bytes)
NOISE = st.binary(max_size=40) | st.binary(min_size=240, max_size=300) | FEW_OCTETS
CUT_FRAMES = FRAMES.map(lambda frame: frame[3:]) | FRAMES.map(lambda frame: frame[:-3])
STREAM = st.lists(FRAMES | NOISE | CUT_FRAMES, max_size=30).map(b"".join)
SIDE: Any = st.sampled_from(["host", "device"])


def _feed_in_pieces(decoder: Decoder, octets: bytes, cuts: list[int]) -> list[Received]:
    events: list[Received] = []
    at = 0
    for cut in cuts:
        events += decoder.feed(octets[at : at + cut])
        at += cut
    return events + decoder.feed(octets[at:])


@settings(max_examples=300)
@given(SIDE, STREAM, st.lists(st.integers(0, 300), max_size=60))
def test_any_octets_give_the_same_events_and_counters_for_any_chunking(
    side: Literal["host", "device"], octets: bytes, cuts: list[int]
) -> None:
    whole, cut, single = Decoder(side), Decoder(side), Decoder(side)
    events = whole.feed(octets)
    assert _feed_in_pieces(cut, octets, cuts) == events
    assert _feed_in_pieces(single, octets, [1] * len(octets)) == events
    assert cut.counters == whole.counters == single.counters


BLOCKS = st.lists(
    st.builds(
        lambda number, flags, shape, octet: encode(
            SampleBlock(number, 8 * number, number, BlockFlags(flags), *shape, bytes([octet]) * (shape[0] * (4 + 2 * shape[1])))
        ),
        st.integers(0, 0xFFFF),
        st.sampled_from([0, 0, 0, 3]),
        st.sampled_from([(8, 2), (8, 2), (2, 2), (1, 1)]),
        st.sampled_from([0, 0, 1, 0xF5]),  # as 0xF5 the payload is many COBS runs
    )
    | STREAM.map(lambda octets: octets[:60]),
    max_size=30,
).map(b"".join)


@settings(max_examples=200)
@given(SIDE, BLOCKS, st.lists(st.integers(0, 300), max_size=30))
def test_runs_of_blocks_hold_the_same_events_for_any_chunking(
    side: Literal["host", "device"], octets: bytes, cuts: list[int]
) -> None:
    plain, runs = Decoder(side), Decoder(side)
    told: list[Received] = []
    at = 0
    for cut in [*cuts, len(octets)]:
        for event in runs.feed_runs(octets[at : at + cut]):
            told += list(event) if isinstance(event, BlockRun) else [event]
        at += cut
    assert told == plain.feed(octets)
    assert runs.counters == plain.counters


def test_blocks_that_are_alike_are_one_run_and_its_columns_are_theirs() -> None:
    blocks = [SampleBlock(k, 8000 * k, 8 * k, BlockFlags(2), 8, 2, bytes(range(k, k + 64))) for k in (*range(90), 0xF5 - 63)]
    others = [SampleBlock(300, 1, 2, BlockFlags(3), 8, 2, bytes(64)), SampleBlock(301, 1, 2, BlockFlags(3), 1, 1, bytes(6))]
    first, second, third = Decoder("host").feed_runs(b"".join(map(encode, blocks + others)))
    for run, of_it in ((first, blocks), (second, others[:1]), (third, others[1:])):
        assert isinstance(run, BlockRun)
        assert list(run) == of_it
        assert run.places() == [(block.sequence, block.device_tick, block.sample_index) for block in of_it]
        assert (run.flags, run.sample_count, run.channel_count) == (of_it[0].flags, of_it[0].sample_count, of_it[0].channel_count)
        for found, wanted in zip(run_columns(run), sample_columns(of_it), strict=True):
            assert found.tolist() == wanted.tolist()


@given(SIDE, STREAM)
def test_a_good_frame_after_any_octets_is_heard(side: Literal["host", "device"], octets: bytes) -> None:
    message: Message = Ack(1, 2, 3) if side == "host" else StatusRequest(9)
    decoder = Decoder(side)
    decoder.feed(octets)
    assert decoder.feed(b"\x00" + encode(message))[-1] == message


@given(SIDE, STREAM)
def test_each_frame_is_counted_once(side: Literal["host", "device"], octets: bytes) -> None:
    decoder = Decoder(side)
    events = decoder.feed(octets)
    unknown = sum(isinstance(event, UnknownMessage) for event in events)
    bad = sum(isinstance(event, BadFrame) and event.reason is not BadReason.RESYNC for event in events)
    resync = sum(isinstance(event, BadFrame) for event in events) - bad
    assert decoder.counters.frames_unknown == unknown
    assert decoder.counters.frames_good == len(events) - unknown - bad - resync
    assert decoder.counters.frames_bad >= bad
    assert resync <= 1
    assert decoder.counters.bytes_discarded <= len(octets)


def _held_octets(decoder: Decoder) -> int:
    return sum(sys.getsizeof(value) for value in vars(decoder).values() if isinstance(value, bytes | bytearray | list))


def test_memory_stays_bounded_when_no_zero_comes() -> None:
    decoder = Decoder("host")
    decoder.feed(b"\x00")
    most = 0
    events: list[Received] = []
    for _ in range(500):
        events += decoder.feed(b"\x55" * 97)
        most = max(most, _held_octets(decoder))
    assert most < 1000
    assert [event.reason for event in events if isinstance(event, BadFrame)] == [BadReason.TOO_LONG]
    assert decoder.counters.bytes_discarded == 500 * 97


def test_a_run_of_bad_frames_is_counted_whole_and_told_sixteen_times() -> None:
    decoder = Decoder("host")
    events = decoder.feed(b"\x00" + b"\x01\x00" * 1000)
    assert len(events) == 16
    assert decoder.counters == Counters(frames_good=0, frames_bad=1000, frames_unknown=0, bytes_discarded=1000)
    decoder.feed(encode(Ack(1, 2, 3)))
    assert len(decoder.feed(b"\x01\x00" * 3)) == 3


def test_only_the_first_octets_of_a_bad_frame_are_kept() -> None:
    (event,) = Decoder("host").feed(b"\x00" + bytes(range(1, 100)) + b"\x00")
    assert isinstance(event, BadFrame)
    assert event.octets == bytes(range(1, 33))


def test_a_type_of_a_newer_minor_version_is_skipped_and_counted() -> None:
    decoder = Decoder("device")
    assert decoder.feed(frame_of(0x7E, b"new") + encode(HostAlive())) == [UnknownMessage(0x7E, b"new"), HostAlive()]
    assert decoder.counters == Counters(frames_good=1, frames_bad=0, frames_unknown=1, bytes_discarded=0)


@given(st.sampled_from(MESSAGES), st.data())
def test_decoding_a_body_raises_only_the_one_error(message: Message, data: st.DataObject) -> None:
    changed = bytearray(message.encode_body())
    for at in data.draw(st.lists(st.integers(0, len(changed) - 1), max_size=3)) if changed else []:
        changed[at] = data.draw(st.integers(0, 255))
    body = data.draw(st.just(bytes(changed)) | st.binary(max_size=250))
    try:
        again = type(message).decode_body(body)
    except FrameError:
        return
    # what is accepted is exactly what would be sent: no two bodies mean the same
    assert again.encode_body() == body
