"""Framing against sources outside borewire: the catalogued CRC check value, and the `cobs` package."""

from __future__ import annotations

import pytest
from borewire.bad import BadReason, FrameError
from borewire.framing import MAX_BODY, checksum, frame_of, payload_of, stuff, unstuff
from cobs import cobs  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st

ZERO_RICH = st.lists(st.sampled_from([0, 0, 1, 0xF5, 0xFE, 0xFF]), max_size=253).map(bytes)
PAYLOADS = st.binary(max_size=253) | ZERO_RICH


def test_checksum_has_the_catalogued_check_value() -> None:
    # published catalogue of CRCs, CRC-16/IBM-3740 [M]: from memory, unverified
    assert checksum(b"123456789") == 0x29B1


def _bitwise_crc(octets: bytes) -> int:
    register = 0xFFFF
    for octet in octets:
        register ^= octet << 8
        for _ in range(8):
            register = (register << 1) ^ (0x1021 if register & 0x8000 else 0)
            register &= 0xFFFF
    return register


@given(st.binary(max_size=300))
def test_checksum_is_the_polynomial_of_the_page(octets: bytes) -> None:
    assert checksum(octets) == _bitwise_crc(octets)


@given(PAYLOADS)
def test_stuffing_agrees_with_the_cobs_package(payload: bytes) -> None:
    assert stuff(payload) == cobs.encode(payload)
    assert unstuff(cobs.encode(payload)) == payload
    assert 0 not in stuff(payload)


@given(st.binary(min_size=1, max_size=254).filter(lambda octets: 0 not in octets))
def test_every_stuffed_form_is_the_only_one_of_its_payload(stuffed: bytes) -> None:
    try:
        payload = cobs.decode(stuffed)
    except cobs.DecodeError:
        payload = None
    if payload is None:
        with pytest.raises(FrameError) as caught:
            unstuff(stuffed)
        assert caught.value.reason is BadReason.STUFFING
    else:
        assert unstuff(stuffed) == payload
        assert stuff(payload) == stuffed


@given(st.integers(1, 255), st.binary(max_size=MAX_BODY) | st.binary(max_size=3).map(lambda octets: octets + b"\xf5" * 200))
def test_a_frame_gives_its_content_back(number: int, body: bytes) -> None:
    frame = frame_of(number, body)
    assert frame[0] == frame[-1] == 0
    assert 0 not in frame[1:-1]
    assert payload_of(frame[1:-1]) == bytes((number,)) + body


def test_the_longest_frame_uses_code_0xfe_and_one_octet_more_is_refused() -> None:
    longest = frame_of(1, b"\x01" * MAX_BODY)
    assert len(longest) == 256
    with pytest.raises(ValueError, match="at most 253"):
        frame_of(1, b"\x01" * (MAX_BODY + 1))


@given(st.binary(max_size=MAX_BODY), st.data())
def test_a_flipped_bit_never_passes(body: bytes, data: st.DataObject) -> None:
    frame = bytearray(frame_of(7, body)[1:-1])
    bit = data.draw(st.integers(0, len(frame) * 8 - 1))
    frame[bit // 8] ^= 1 << bit % 8
    pieces = [piece for piece in bytes(frame).split(b"\x00") if piece]
    for piece in pieces:
        with pytest.raises(FrameError):
            payload_of(piece)
