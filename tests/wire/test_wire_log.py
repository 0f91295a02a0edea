"""Wire logs: written, read back, cut, damaged, and read in words."""

from __future__ import annotations

from io import BytesIO, StringIO, TextIOWrapper

import pytest
from borewire.codec import BadFrame, BadReason, Decoder, UnknownMessage, encode
from borewire.messages import (
    BlockFlags,
    ChannelDescription,
    EchoReply,
    HostAlive,
    Quantity,
    SampleBlock,
)
from borewire.wirelog import Direction, WireLogError, WireLogWriter, WireRecord, read_wire_log, words
from hypothesis import given
from hypothesis import strategies as st

from .vector_files import build, load

DIRECTIONS: list[Direction] = ["to_host", "to_device"]
RECORDS = st.lists(
    st.builds(
        WireRecord,
        st.sampled_from(DIRECTIONS),
        st.integers(0, 10**15).map(lambda nanoseconds: nanoseconds / 1e9),
        st.binary(min_size=1, max_size=40),
    ),
    max_size=10,
)


def _text(records: list[WireRecord]) -> str:
    file = StringIO()
    log = WireLogWriter(file)
    for record in records:
        log.write(record.direction, record.t_s, record.data)
    return file.getvalue()


@given(RECORDS)
def test_records_come_back_as_they_were(records: list[WireRecord]) -> None:
    again = list(read_wire_log(StringIO(_text(records))))
    assert [(record.direction, record.data) for record in again] == [(record.direction, record.data) for record in records]
    assert [record.t_s for record in again] == pytest.approx([record.t_s for record in records], abs=1e-9)


@given(RECORDS, st.data())
def test_a_cut_end_costs_at_most_the_last_record(records: list[WireRecord], data: st.DataObject) -> None:
    text = _text(records)
    head = text.index("\n") + 1
    cut = text[: data.draw(st.integers(head, len(text)))]
    whole_lines = cut.count("\n") - 1
    assert [record.data for record in read_wire_log(StringIO(cut))] == [record.data for record in records[:whole_lines]]


def test_nothing_is_no_record_and_time_does_not_run_backwards_past_zero() -> None:
    file = StringIO()
    log = WireLogWriter(file)
    log.write("to_host", 0.0, b"")
    assert list(read_wire_log(StringIO(file.getvalue()))) == []
    with pytest.raises(ValueError, match="negative"):
        log.write("to_host", -1.0, b"x")


@pytest.mark.parametrize("text", ["", "hello\n", "borewire-log\n", "borewire-log x protocol\n", "borewire-log 1 protocol 1.0 sch"])
def test_another_file_is_no_log(text: str) -> None:
    with pytest.raises(WireLogError, match="not a wire log"):
        list(read_wire_log(StringIO(text)))


def test_a_binary_file_is_no_log() -> None:
    with pytest.raises(WireLogError, match="not text"):
        list(read_wire_log(TextIOWrapper(BytesIO(b"\xff\xfe\x00" * 10), "utf-8")))


def test_a_newer_log_is_refused_with_both_versions() -> None:
    with pytest.raises(WireLogError, match=r"version 2 .* version 1"):
        list(read_wire_log(StringIO("borewire-log 2 and more\n")))


DAMAGED = ["? 0.000000000 00", "< 1 00", "< 0.000000000 0", "< 0.000000000 ", "", "< -1.000000000 00", "< 0.000000000 0G"]


@pytest.mark.parametrize("line", DAMAGED)
def test_a_damaged_line_is_named(line: str) -> None:
    text = _text([WireRecord("to_host", 0.5, b"\x01")]) + line + "\n" + "< 0.600000000 02\n"
    reader = read_wire_log(StringIO(text))
    assert next(reader).data == b"\x01"
    with pytest.raises(WireLogError, match="line 3 "):
        next(reader)


def test_a_log_plays_back_through_a_decoder() -> None:
    messages = [build(case["message"], case["fields"]) for case in load("accept/to_host.json")["cases"]]
    octets = b"".join(encode(message) for message in messages)
    text = _text([WireRecord("to_host", at / 1000, octets[at : at + 17]) for at in range(0, len(octets), 17)])
    decoder = Decoder("host")
    assert [event for record in read_wire_log(StringIO(text)) for event in decoder.feed(record.data)] == messages


def test_every_message_has_one_line_of_words() -> None:
    for side in ("device", "host"):
        for case in load(f"accept/to_{side}.json")["cases"]:
            line = words(build(case["message"], case["fields"]))
            assert line.startswith(case["message"])
            assert "\n" not in line
            for name in case["fields"]:
                assert f" {name}=" in line


def test_words_are_plain() -> None:
    assert words(HostAlive()) == "HostAlive"
    flags = BlockFlags.VENT_OPEN | BlockFlags.INDEX_SEEN
    assert words(SampleBlock(1, 2, 3, flags, 1, 1, bytes(6))) == (
        "SampleBlock sequence=1 device_tick=2 sample_index=3 flags=vent_open+index_seen sample_count=1 channel_count=1 "
        "samples=000000000000"
    )
    assert words(EchoReply(1, b"")) == "EchoReply request_id=1 octets=none"
    channel = ChannelDescription(1, 0, Quantity.PRESSURE_CYLINDER, 0, 4095, 0.0, 0.5, 5.0)
    assert " quantity=pressure_cylinder raw_min=0 raw_max=4095 " in words(channel)
    assert words(channel).endswith(" volts_at_zero=0 volts_per_raw=0.5 sensor_supply_volts=5")
    assert words(BadFrame(BadReason.CHECKSUM, b"\x01\x02")) == "bad frame: the checksum does not match: 01 02"
    assert words(UnknownMessage(0xE0, b"\x01")) == "unknown message 0xe0 of 1 octets: 01"
