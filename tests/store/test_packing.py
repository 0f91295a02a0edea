"""Raw samples come back bit for bit, and damage is seen."""

from __future__ import annotations

import numpy as np
import pytest
from borewright.core.samples import SampleColumns
from borewright.store.packing import pack, unpack
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp


def same(a: SampleColumns, b: SampleColumns) -> bool:
    return a.tick_rate_hz == b.tick_rate_hz and all(
        np.array_equal(getattr(a, name), getattr(b, name)) and getattr(a, name).dtype == getattr(b, name).dtype
        for name in ("tick", "index", "crank_count", "raw", "flags")
    )


@st.composite
def any_columns(draw: st.DrawFn) -> SampleColumns:
    n = draw(st.integers(0, 40))
    channels = draw(st.integers(1, 6))
    wide = hnp.arrays(np.int64, n)
    return SampleColumns(
        draw(wide),
        draw(wide),
        draw(wide),
        draw(hnp.arrays(np.uint16, (channels, n))),
        draw(hnp.arrays(np.uint16, n)),
        draw(st.integers(1, 2**32 - 1)),
    )


@given(any_columns())
def test_every_column_comes_back_bit_for_bit(columns: SampleColumns) -> None:
    assert same(unpack(pack(columns)), columns)


def a_second_of_noise() -> SampleColumns:
    rng = np.random.default_rng(7)
    n = np.arange(1000, dtype=np.int64)
    raw = np.rint(rng.normal(2210.0, 4.0, (2, 1000))).astype(np.uint16)
    return SampleColumns(n * 1000 + 2**33, n + 5, np.full(1000, -812, np.int64), raw, np.full(1000, 1, np.uint16), 1_000_000)


def test_a_second_of_noise_takes_a_third_of_its_wire_size_or_less() -> None:
    wire_octets = 1000 * (4 + 2 * 2)
    assert len(pack(a_second_of_noise())) < wire_octets / 3


@pytest.mark.parametrize("cut", [0, 5, 11, 40, -1])
def test_a_cut_block_is_refused(cut: int) -> None:
    with pytest.raises(ValueError, match="damaged"):
        unpack(pack(a_second_of_noise())[:cut])


@given(st.integers(0, 100_000), st.integers(1, 255))
def test_a_changed_octet_is_seen_wherever_it_stands(place: int, flip: int) -> None:
    packed = bytearray(pack(a_second_of_noise()))
    packed[place % len(packed)] ^= flip
    with pytest.raises(ValueError, match=r"^packed samples (are damaged|of format)"):
        unpack(bytes(packed))


def test_a_block_of_a_later_format_is_refused_by_its_number() -> None:
    with pytest.raises(ValueError, match="format 2; this program knows format 1"):
        unpack(b"\x02" + pack(a_second_of_noise())[1:])
