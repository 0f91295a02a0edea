"""What does not fit is refused before it is sent; samples become columns."""

from __future__ import annotations

import struct
import time
from dataclasses import replace
from typing import Any

import pytest
from borewire.codec import Decoder, encode
from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    BlockFlags,
    CamEvent,
    Cause,
    ChannelDescription,
    EchoRequest,
    Fitted,
    Identity,
    Message,
    Quantity,
    SampleBlock,
    StreamStart,
)
from borewire.samples import sample_columns
from hypothesis import given
from hypothesis import strategies as st

IDENTITY = Identity(1, 1, 0, 0, "", "", 0, 0, 0, 0, 0, Fitted(0), 0, 0)
CHANNEL = ChannelDescription(1, 0, Quantity.PRESSURE_REGULATED, 0, 1, 0.0, 1.0, 5.0)
BLOCK = SampleBlock(0, 0, 0, BlockFlags(0), 1, 1, bytes(6))
NOT_A_WORD: Any = 99


@pytest.mark.parametrize(
    ("message", "reason"),
    [
        (Ack(1, 256, 0), "Ack: ubyte format"),
        (Ack(-1, 2, 0), "Ack: "),
        (Ack(1, 2, 1 << 32), "Ack: "),
        (StreamStart(1, 65536, 8), "StreamStart: "),
        (AirEvent(0, NOT_A_WORD, Cause.POWER_UP, 0, 0), "air must be a AirState"),
        (AirEvent(0, AirState.VENTED, Cause.POWER_UP, 0, 1 << 31), "AirEvent: "),
        (replace(IDENTITY, fitted=NOT_A_WORD << 8), "fitted must be a Fitted"),
        (replace(IDENTITY, serial_number="é" * 33), "serial_number: 66 octets, but at most 64"),
        (replace(IDENTITY, serial_number="\ud800"), "surrogates"),
        (replace(CHANNEL, volts_per_raw=float("nan")), "volts_per_raw must be finite"),
        (replace(CHANNEL, volts_per_raw=1e39), "ChannelDescription: "),
        (EchoRequest(1, bytes(201)), "201 octets, but at most 200"),
        (CamEvent(0, 0, 2), "level is outside its range of at most 1"),
        (replace(BLOCK, sample_count=0, samples=b""), "sample_count is outside its range of at least 1"),
        (replace(BLOCK, channel_count=0, samples=bytes(4)), "channel_count is outside"),
        (replace(BLOCK, sample_count=2), "samples must have sample_count"),
        (replace(BLOCK, sample_count=40, samples=bytes(240)), "at most 253"),
    ],
)
def test_what_does_not_fit_is_not_sent(message: Message, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        encode(message)


def test_reserved_flags_cannot_even_be_made() -> None:
    with pytest.raises(ValueError, match="invalid value"):
        BlockFlags(1 << 7)


@given(st.floats(width=32, allow_nan=False, allow_infinity=False))
def test_a_binary32_survives_the_wire(volts: float) -> None:
    message = replace(CHANNEL, volts_at_zero=volts)
    assert Decoder("host").feed(encode(message)) == [message]


SAMPLES = st.integers(1, 4).flatmap(
    lambda channels: st.lists(
        st.tuples(st.integers(-(2**31), 2**31 - 1), st.lists(st.integers(0, 0xFFFF), min_size=channels, max_size=channels)),
        min_size=1,
        max_size=40,
    )
)


@given(SAMPLES, st.integers(1, 15))
def test_columns_are_the_samples_in_order(samples: list[tuple[int, list[int]]], block_size: int) -> None:
    channels = len(samples[0][1])
    blocks = []
    for at in range(0, len(samples), block_size):
        part = samples[at : at + block_size]
        octets = b"".join(struct.pack(f"<i{channels}H", count, *words) for count, words in part)
        blocks.append(SampleBlock(0, 0, 0, BlockFlags(0), len(part), channels, octets))
    crank_count, raw = sample_columns(blocks)
    assert crank_count.tolist() == [count for count, _ in samples]
    assert raw.T.tolist() == [words for _, words in samples]
    assert (str(crank_count.dtype), str(raw.dtype)) == ("int64", "uint16")
    assert raw.flags.c_contiguous
    assert raw.flags.writeable


def test_no_blocks_or_mixed_blocks_are_refused() -> None:
    with pytest.raises(ValueError, match="there is none"):
        sample_columns([])
    with pytest.raises(ValueError, match="differ in their number of channels"):
        sample_columns([BLOCK, replace(BLOCK, channel_count=2, samples=bytes(8))])


def test_decoding_is_several_times_quicker_than_the_fastest_line() -> None:
    # processor time, not the clock on the wall; 32 times is usual, the limit leaves room for slow machines
    line_octets_per_s = 1.5e6
    samples = b"".join(struct.pack("<iHH", 1000 + k, 700 + k, 690 + k) for k in range(8))
    octets = b"".join(encode(SampleBlock(k & 0xFFFF, k * 8000, k * 8, BlockFlags.VENT_OPEN, 8, 2, samples)) for k in range(10_000))
    decoder = Decoder("host")
    best_s = float("inf")
    for _ in range(3):
        start_s = time.process_time()
        blocks: list[Any] = [event for at in range(0, len(octets), 4096) for event in decoder.feed(octets[at : at + 4096])]
        sample_columns(blocks)
        best_s = min(best_s, time.process_time() - start_s)
    assert decoder.counters.frames_good == 30_000
    assert len(octets) / best_s > 4 * line_octets_per_s
