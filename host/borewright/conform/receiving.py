"""What the device makes of good frames and of everything else that may come over a line."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from typing import Final

from borewire.bad import FrameError
from borewire.framing import checksum, frame_of, payload_of, stuff, unstuff
from borewire.messages import (
    TYPES_TO_DEVICE,
    Ack,
    EchoReply,
    EchoRequest,
    HostAlive,
    RefusalReason,
    Status,
    StatusRequest,
    StreamStart,
    SupplyOpen,
    VentClose,
)

from borewright.conform.bench import ANSWERS, Bench
from borewright.conform.check import Check, Failed, chapter_of
from borewright.conform.vector_frames import accept_frames, reject_frames
from borewright.conform.verdict import Figure

__all__ = ["RECEIVING"]

LONGEST_ECHO: Final = 200
XOR: Final = 0xF5
UNKNOWN_TYPES: Final = (0x00, 0x0B, 0x70, 0x7F, 0x80, 0xFF)
WAITS_S: Final = 0.02  # a frame that should not be answered would be by then, more often than not; a later answer is seen too


# ---------------------------------------------------------------------- counting


def _counts(before: Status, after: Status) -> tuple[int, int, int]:
    """Good, bad and unknown frames from one Status to the next, that of the second request not counted."""
    return (
        after.frames_received - before.frames_received - 1,
        after.frames_bad - before.frames_bad,
        after.frames_unknown - before.frames_unknown,
    )


def _is_alive(bench: Bench, what: str) -> Status:
    try:
        return bench.status()
    except Failed as failed:
        raise Failed(f"after {what} the device did not answer any more: {failed}") from failed


def _each_is_bad(bench: Bench, frames: Iterable[tuple[str, bytes]]) -> list[Figure]:
    """Each of these frames has to be counted once as bad and never answered; afterwards the device is as it was."""
    before = bench.status()
    number = left_out = 0
    for name, octets in frames:
        if _could_open(octets) and not bench.air:
            left_out += 1
            continue  # a device that takes it for good would let air in, and nobody has said that the supply is off
        since = bench.mark()
        bench.send_octets(octets, f"{name}: {octets[:40].hex(' ')}{' …' if len(octets) > 40 else ''}")
        bench.listen(WAITS_S)
        after = _is_alive(bench, name)
        answered = [heard.what for heard in bench.heard[since:] if isinstance(heard.what, ANSWERS) and heard.what is not after]
        if any(answer.request_id for answer in answered):
            raise Failed(f"{name}: the frame was answered; a bad frame is never answered")
        good, bad, unknown = _counts(before, after)
        if (good, bad, unknown) != (0, 1, 0):
            raise Failed(
                f"{name}: frames_received rose by {good}, frames_bad by {bad} and frames_unknown by {unknown}, where the "
                "frame has to be "
                "counted once, as bad"
            )
        if after.air is not before.air or after.streaming != before.streaming:
            raise Failed(f"{name}: the bad frame changed the state of the device")
        before = after
        number += 1
    figures = [Figure("frames", number)]
    if left_out:  # what was not tried is not proven
        figures.append(Figure("frames_left_out (of commands that let air in or keep it in; tried with --air)", left_out))
    return figures


def _could_open(octets: bytes) -> bool:
    """Whether a careless device could take this for a command that closes the vent or opens the supply."""
    try:
        content = _xored(unstuff(octets.strip(b"\x00")))
    except FrameError:
        return False
    return content[:1] in {bytes([SupplyOpen.TYPE]), bytes([VentClose.TYPE])}


def _xored(payload: bytes) -> bytes:
    return bytes(octet ^ XOR for octet in payload)


# ---------------------------------------------------------------------- echo


def _echo(bench: Bench, octets: bytes, name: str) -> None:
    answer = bench.ask(EchoRequest(0, octets))
    if not isinstance(answer, EchoReply) or answer.octets != octets:
        came = answer.octets.hex(" ") if isinstance(answer, EchoReply) else type(answer).__name__
        raise Failed(f"the echo of {name} ({octets.hex(' ')}) came back as {came}")


def _echo_vectors(bench: Bench) -> list[Figure]:
    number = 0
    for name, frame in (*accept_frames(), *reject_frames()):
        if len(frame) <= LONGEST_ECHO:
            _echo(bench, frame, name)
            number += 1
    return [Figure("frames_echoed", number)]


def _echo_octets(bench: Bench) -> None:
    every = bytes(range(256))
    for length in (0, 1, 2, 3, LONGEST_ECHO - 1, LONGEST_ECHO):
        _echo(bench, every[:length], f"{length} octets")
    _echo(bench, every[-LONGEST_ECHO:], "the highest octets")
    for octet in (0x00, XOR, 0xFF, 0xFE, 0x0A):
        _echo(bench, bytes([octet]) * LONGEST_ECHO, f"200 times 0x{octet:02x}")
    luck = random.Random("borewright echo")
    for _ in range(20):
        _echo(
            bench, bytes(luck.choice((luck.randrange(256), XOR)) for _ in range(luck.randrange(LONGEST_ECHO + 1))), "random octets"
        )


# ---------------------------------------------------------------------- frames that are none


def _rejected_vectors(bench: Bench) -> list[Figure]:
    return _each_is_bad(bench, reject_frames())


def _framed(payload: bytes) -> bytes:
    return b"\x00" + stuff(_xored(payload)) + b"\x00"


def _broken_frames() -> list[tuple[str, bytes]]:
    """Frames broken in their stuffing, their checksum and their length, of a command that would be answered."""
    content = bytes([StatusRequest.TYPE, 0x11, 0x22])
    check = checksum(content)
    low_first, high_first = check.to_bytes(2, "little"), check.to_bytes(2, "big")
    good = _framed(content + low_first)
    stuffed = good[1:-1]
    return [
        ("one octet between two zeros", b"\x00\x01\x00"),
        ("three octets between two zeros", b"\x00\x03\x0a\x0b\x00"),
        ("a COBS code 0xff", b"\x00\xff" + stuffed[1:] + b"\x00"),
        ("a COBS code past the end", b"\x00" + bytes([stuffed[0] + 1]) + stuffed[1:] + b"\x00"),
        ("the checksum high octet first", _framed(content + high_first)),
        ("a checksum begun at 0", _framed(content + _crc_from(content, 0).to_bytes(2, "little"))),
        ("no XOR", b"\x00" + stuff(content + low_first) + b"\x00"),
        ("one bit of the content turned", _framed(bytes([content[0], content[1] ^ 0x10, content[2]]) + low_first)),
        ("one bit of the checksum turned", _framed(content + bytes([low_first[0], low_first[1] ^ 0x80]))),
        ("the last octet cut off", good[:-2] + b"\x00"),
        ("255 octets between two zeros", b"\x00" + bytes([0x55]) * 255 + b"\x00"),
        ("600 octets between two zeros", b"\x00" + bytes([0x55]) * 600 + b"\x00"),
    ]


def _crc_from(octets: bytes, start: int) -> int:
    crc = start
    for octet in octets:
        crc ^= octet << 8
        for _ in range(8):
            crc = (crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1
            crc &= 0xFFFF
    return crc


def _broken(bench: Bench) -> list[Figure]:
    return _each_is_bad(bench, _broken_frames())


def _wrong_lengths() -> list[tuple[str, bytes]]:
    """Every command with a body that is one octet too long, or too short by one, two and by all of it; checksums are right."""
    frames = []
    for name, frame in accept_frames():
        content = payload_of(frame[1:-1])
        kind = TYPES_TO_DEVICE.get(content[0])
        if kind is None or len(content) > 30:
            continue
        body = content[1:]
        if len(body) >= 2 and kind is not HostAlive:
            frames += [(f"{name}, {cut} octets cut off", frame_of(content[0], body[:-cut])) for cut in {1, 2, len(body)}]
        frames.append((f"{name}, one octet more", frame_of(content[0], body + b"\x00")))
    return frames


def _lengths(bench: Bench) -> list[Figure]:
    return _each_is_bad(bench, _wrong_lengths())


def _cut(bench: Bench) -> None:
    """A frame that is cut in its midst by the zero of the next one."""
    before = bench.status()
    sent = bench.numbered(StatusRequest(0))
    cut = frame_of(EchoRequest.TYPE, EchoRequest(1, b"a frame that is cut").encode_body())[:9]
    since = bench.mark()
    bench.send_octets(cut, f"half an EchoRequest: {cut.hex(' ')}")
    bench.send(sent)
    after = bench.answer_to(sent, since)
    good, bad, unknown = _counts(before, after)
    if (good, bad, unknown) != (0, 1, 0):
        raise Failed(f"frames_bad rose by {bad}, frames_received by {good} and frames_unknown by {unknown} over one cut frame")


def _in_pieces(bench: Bench) -> None:
    """A frame that arrives octet by octet, and frames that share a zero."""
    sent = bench.numbered(StatusRequest(0))
    frame = frame_of(sent.TYPE, sent.encode_body())
    since = bench.mark()
    bench.send_octets(frame[:1], f"octet by octet: {frame.hex(' ')}")
    for octet in frame[1:]:
        bench.send_octets(bytes([octet]))
        bench.read()
    bench.answer_to(sent, since)
    one, two = bench.numbered(StatusRequest(0)), bench.numbered(StatusRequest(0))
    since = bench.mark()
    shared = frame_of(one.TYPE, one.encode_body()) + frame_of(two.TYPE, two.encode_body())[1:]
    bench.send_octets(shared, f"two StatusRequest that share a zero: {shared.hex(' ')}")
    bench.answer_to(one, since)
    bench.answer_to(two, since)


def _zeros(bench: Bench) -> None:
    before = bench.status()
    bench.send_octets(bytes(300), "300 zeros")
    bench.listen(WAITS_S)
    counts = _counts(before, _is_alive(bench, "300 zeros"))
    if counts != (0, 0, 0):
        raise Failed(f"300 zeros were counted as frames: {counts} good, bad, unknown; nothing between two zeros is nothing")


def _unknown(bench: Bench) -> None:
    before = bench.status()
    frames = [(f"type 0x{number:02x}", frame_of(number, b"new")) for number in UNKNOWN_TYPES]
    frames.append(("an Ack, which is for the host", frame_of(Ack.TYPE, Ack(7, 4, 1000).encode_body())))
    frames.append(("an Ack that is too short", frame_of(Ack.TYPE, b"\x07")))
    frames.append(("type 0x70 with 250 octets", frame_of(0x70, bytes(range(250)))))
    for name, octets in frames:
        since = bench.mark()
        bench.send_octets(octets, name)
        bench.listen(WAITS_S)
        after = _is_alive(bench, name)
        good, bad, unknown = _counts(before, after)
        if (good, bad, unknown) != (0, 0, 1):
            raise Failed(
                f"{name}: frames_received rose by {good}, frames_bad by {bad} and frames_unknown by {unknown}, where it has to "
                "be counted once, as unknown"
            )
        if any(
            isinstance(heard.what, ANSWERS) and heard.what.request_id and heard.what is not after for heard in bench.heard[since:]
        ):
            raise Failed(f"{name} was answered; it has to be skipped")
        before = after


def _good_counted(bench: Bench) -> None:
    before = bench.status()
    for _ in range(10):
        bench.send(HostAlive())
        bench.ask(EchoRequest(0, b"count"))
    bench.refused(StreamStart(0, 0, 1), RefusalReason.RATE_UNSUPPORTED)
    after = bench.status()
    if _counts(before, after) != (21, 0, 0):
        good, bad, unknown = _counts(before, after)
        raise Failed(f"over 21 good frames frames_received rose by {good}, frames_bad by {bad}, frames_unknown by {unknown}")


def _noise(bench: Bench) -> list[Figure]:
    """Octets at random; whatever the device makes of them, it has to go on."""
    luck = random.Random("borewright noise")
    before = bench.status()
    for _ in range(20):
        noise = bytes(luck.randrange(256) for _ in range(luck.randrange(1, 400)))
        bench.send_octets(noise, f"{len(noise)} octets of noise")
        bench.listen(WAITS_S)
    bench.send_octets(b"\x00", "0x00")
    after = _is_alive(bench, "noise")
    if after.frames_bad == before.frames_bad:
        raise Failed("20 bursts of noise were not counted in frames_bad")
    if (after.air, after.streaming, after.boot_id) != (before.air, before.streaming, before.boot_id):
        raise Failed("noise changed the state of the device")
    return [Figure("frames_bad", after.frames_bad - before.frames_bad)]


def _while_streaming(tried: Callable[[Bench], list[Figure]]) -> Callable[[Bench], list[Figure]]:
    def run(bench: Bench) -> list[Figure]:
        bench.start_stream()
        return tried(bench)

    return run


THREE = "PROTOCOL.md 3"
RECEIVING = chapter_of(
    "Receiving",
    Check(
        "echo-vectors",
        "The frames of the vectors, sent as octets, come back unchanged.",
        "PROTOCOL.md 9 EchoRequest; 11",
        _echo_vectors,
    ),
    Check(
        "echo-octets",
        "Octets of every kind and number up to 200 come back unchanged.",
        "PROTOCOL.md 2; 9 EchoRequest",
        _echo_octets,
    ),
    Check("good-frames", "frames_received counts good frames.", "PROTOCOL.md 10 Status", _good_counted),
    Check("bad-vectors", "Each frame of the reject vectors is counted as bad and not answered.", f"{THREE}; 11", _rejected_vectors),
    Check("bad-frames", "Broken stuffing, checksum or length is counted as bad and not answered.", THREE, _broken),
    Check(
        "bad-lengths",
        "A body has to be exactly as long as its message says, also while streaming.",
        THREE,
        _while_streaming(_lengths),
    ),
    Check("cut-frame", "A frame cut by the next one costs itself alone.", THREE, _cut),
    Check("pieces", "Frames may come octet by octet and may share one zero.", "PROTOCOL.md 2, Delimiters", _in_pieces),
    Check("zeros", "Any number of zeros between frames is nothing.", "PROTOCOL.md 2, Delimiters; 3", _zeros),
    Check("unknown-types", "A good frame of unknown type is skipped and counted as unknown.", THREE, _unknown),
    Check("noise", "Noise is thrown away and counted, and the device goes on.", "PROTOCOL.md 1; 3", _noise),
)
