"""Both codecs say the same of drawn and changed frames, of long streams, of every odd piece of UTF-8."""

from __future__ import annotations

import itertools
from collections import Counter
from typing import Any

import pytest
from borewire.bad import BadReason
from borewire.codec import Decoder
from borewire.framing import frame_of
from borewire.messages import Identity

from .c_agreement import compare
from .c_codec import KINDS, SANITIZED_RUNNER, ask, events_of, lines_of, told_as_by_borewire
from .frame_mill import Mill

pytestmark = pytest.mark.usefixtures("c_codec", "sanitized_c_codec")

FRAMES = 50_000
SANITIZED_FRAMES = 10_000


def test_both_codecs_agree_on_drawn_and_changed_frames() -> None:
    tally = compare(FRAMES, seed=1)
    assert (tally.frames, tally.told["written"] + tally.told["refused"]) == (FRAMES, FRAMES // 5)
    assert tally.disagreements == 0, "\n".join(tally.first)
    reasons = {f"bad {reason.name.lower()}" for reason in BadReason if reason is not BadReason.RESYNC}
    assert set(tally.told) == set(KINDS) | reasons | {"unknown", "written", "refused"}, "the mill does not draw everything"


def test_both_codecs_agree_under_the_sanitizers() -> None:
    tally = compare(SANITIZED_FRAMES, seed=2, runner=SANITIZED_RUNNER)
    assert tally.disagreements == 0, "\n".join(tally.first)


@pytest.mark.parametrize("side", ["device", "host"])
def test_both_codecs_agree_octet_by_octet_on_a_long_stream(side: Any) -> None:
    mill = Mill(seed=3)
    stream = b"".join(mill.case()[1] for _ in range(2_000))
    decoder = Decoder(side)
    pieces = [stream[at : at + 1] for at in range(len(stream))]
    expected = [lines_of(decoder.feed(piece)) for piece in pieces]
    assert told_as_by_borewire(events_of(side, pieces)) == expected
    assert Counter(line.split(" ", 1)[0] for lines in expected for line in lines)["bad"] > 100


def _odd_texts() -> list[bytes]:
    """Every sequence of up to two octets; of three and four those at the edges of RFC 3629's table of byte sequences."""
    edges = bytes.fromhex("7f808f909fa0bfc0")
    few = bytes.fromhex("7f80bfc0")
    texts = [bytes(pair) for length in (1, 2) for pair in itertools.product(range(256), repeat=length)]
    texts += [bytes(octets) for octets in itertools.product(range(0xDF, 0xF1), edges, few)]
    texts += [bytes(octets) for octets in itertools.product(range(0xEF, 0xF7), edges, few, few)]
    return texts


def test_both_codecs_take_the_same_texts_for_utf8() -> None:
    # the fields of Identity around its two texts; the octets behind the second could continue a text that ends too early
    before, after = bytes(8), b"\x80" * 14 + bytes(5)
    frames = [frame_of(Identity.TYPE, before + b"\0" + bytes((len(text),)) + text + after) for text in _odd_texts()]
    expected = [lines_of(Decoder("host").feed(frame)) for frame in frames]
    assert events_of("host", frames) == expected
    assert {lines[0][:8] for lines in expected} == {"Identity", "bad text"}


def test_a_writer_refuses_what_its_reader_would_refuse() -> None:
    identity = "Identity request_id=1 protocol_major=1 protocol_minor=0 schema_fingerprint=1 firmware_version={} serial_number={}"
    rest = "boot_id=1 tick_rate_hz=1 counts_per_rev=1 max_rate_hz=1 max_block_size=1 fitted={} channel_count=1 streamed_channels=1"
    channel = "ChannelDescription request_id=1 channel=0 quantity={} raw_min=0 raw_max=1 volts_at_zero={} volts_per_raw=0"
    block = "SampleBlock sequence=1 device_tick=1 sample_index=1 flags=0 sample_count={} channel_count={} samples={}"
    lines = [
        f"{identity.format('41' * 65, '')} {rest.format(0)}",
        f"{identity.format('', '41' * 65)} {rest.format(0)}",
        f"{identity.format('ff', '')} {rest.format(0)}",
        f"{identity.format('', 'eda080')} {rest.format(0)}",
        f"{identity.format('', '')} {rest.format(128)}",
        f"{channel.format(6, '00000000')} sensor_supply_volts=0",
        f"{channel.format(0, '7f800000')} sensor_supply_volts=0",
        f"{channel.format(0, '00000000')} sensor_supply_volts=7fc00000",
        block.format(1, 1, "00" * 5),
        block.format(0, 1, ""),
        block.format(1, 0, "00" * 4),
        block.format(1, 117, "00" * 238),
        block.format(128, 254, ""),  # 65 536 octets, which is 0 in 16 bits
        f"EchoReply request_id=1 octets={'00' * 201}",
        "CamEvent device_tick=1 crank_count=1 level=2",
    ]
    assert ask([f"say {line}" for line in lines], SANITIZED_RUNNER).split() == ["refused"] * len(lines)
    for longest in (
        f"{identity.format('41' * 64, '41' * 64)} {rest.format(127)}",
        f"{channel.format(5, '7f7fffff')} sensor_supply_volts=ff7fffff",
        block.format(1, 116, "00" * 236),
        f"EchoReply request_id=1 octets={'00' * 200}",
    ):
        (frame,) = ask([f"say {longest}"], SANITIZED_RUNNER).split()
        assert events_of("host", [bytes.fromhex(frame)]) == [lines_of(Decoder("host").feed(bytes.fromhex(frame)))]


def test_frames_of_every_length_are_closed_alike() -> None:
    # the check value of CRC-16/IBM-3740 over the nine digits is 0x29B1 (PROTOCOL.md section 2, RevEng's catalogue of CRCs)
    assert ask(["close 313233343536373839"]).strip() == "000c" + bytes(o ^ 0xF5 for o in b"123456789\xb1\x29").hex() + "00"
    for octet in (0x00, 0xF5, 0x01):  # 0xF5 is a zero after the XOR: a run of no length for each
        contents = [bytes((octet,)) * length for length in range(1, 252)]
        frames = ask([f"close {content.hex()}" for content in contents], SANITIZED_RUNNER).split()
        assert frames == [frame_of(content[0], content[1:]).hex() for content in contents]
    too_long = [f"close {'01' * length}" for length in (252, 253, 254, 255)]
    assert ask(["close ", *too_long], SANITIZED_RUNNER).split() == ["refused"] * 5
