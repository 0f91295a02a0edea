"""Who is there: the handshake, what it says of the device, and the versions."""

from __future__ import annotations

from typing import Any, Final

from borewire.messages import (
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    SCHEMA_FINGERPRINT,
    Ack,
    ChannelDescription,
    EchoReply,
    Fitted,
    IdentifyRequest,
    Identity,
    Quantity,
    RefusalReason,
    Refused,
)

from borewright.conform.bench import Bench, answers
from borewright.conform.check import Check, Failed, chapter_of
from borewright.conform.verdict import Figure

__all__ = ["HANDSHAKE", "IDENTIFY", "impossible"]

ASK_EVERY_S: Final = 0.5
ASK_FOR_S: Final = 8.0  # a bootloader may wait for some seconds before it starts the program
CHANNELS_WITHIN_S: Final = 1.0
MOST_BODY_OCTETS: Final = 250
BLOCK_FIELDS_OCTETS: Final = 14
FURTHEST_MINOR: Final = 9


def _request(minor: int = PROTOCOL_MINOR, major: int = PROTOCOL_MAJOR) -> IdentifyRequest:
    return IdentifyRequest(0, major, minor)


def _handshake(bench: Bench) -> list[Figure]:
    """Ask until there is an answer, as a host does; everything else rests on it."""
    began_s = bench.now_s
    asked = 0
    answer: Any = None
    while answer is None and bench.now_s - began_s < ASK_FOR_S:
        request = bench.numbered(_request())
        bench.send_octets(b"\x00", "0x00")
        bench.send(request)
        asked += 1
        heard = bench.until(lambda what, number=request.request_id: answers(what, number), ASK_EVERY_S)  # type: ignore[misc]
        answer = None if heard is None else heard.what
    if answer is None:
        bad = f"; {bench.bad_frames} bad frames came" if bench.bad_frames else ""
        raise Failed(f"no Identity came in {ASK_FOR_S:g} s, asked {asked} times{bad}")
    if not isinstance(answer, Identity):
        raise Failed("the question who is there was answered by something else than an Identity")
    _took_in(bench, answer)
    return [Figure("asked", asked), Figure("answer_after_s", bench.now_s - began_s)]


def _took_in(bench: Bench, identity: Identity) -> None:
    channels = _channels_behind(bench, identity)
    if identity.protocol_major != PROTOCOL_MAJOR:
        raise Failed(
            f"the device speaks protocol {identity.protocol_major}.{identity.protocol_minor}; this suite tries {PROTOCOL_MAJOR}.x"
        )
    bench.identity = identity
    bench.channels = channels


def _channels_behind(bench: Bench, identity: Identity) -> tuple[ChannelDescription, ...]:
    """The descriptions that follow an Identity; they have to be all, in order, with no other answer between."""
    since = next(at for at, heard in enumerate(bench.heard) if heard.what is identity) + 1
    number = identity.channel_count
    bench.until(lambda _: len(bench.only(ChannelDescription, since)) >= number, CHANNELS_WITHIN_S if number else 0.0, since=since)
    came = bench.only(ChannelDescription, since)[:number]
    if [channel.channel for channel in came] != list(range(number)):
        raise Failed(
            f"behind an Identity with channel_count {number} came the descriptions of channels {[c.channel for c in came]}, "
            "where each of "
            f"0 to {number - 1} is due once, in order"
        )
    if any(channel.request_id != identity.request_id for channel in came):
        raise Failed("a ChannelDescription carries another request_id than the IdentifyRequest")
    last = next(at for at, heard in enumerate(bench.heard) if at >= since and heard.what is came[-1]) if came else since
    if any(isinstance(heard.what, Ack | Refused | EchoReply | Identity) for heard in bench.heard[since:last]):
        raise Failed("another answer came between an Identity and its ChannelDescriptions")
    return tuple(came)


def impossible(device: Identity) -> list[str]:
    """What in an Identity cannot be, one sentence each; nothing that rests on its numbers can be tried then."""
    sample_octets = 4 + 2 * device.streamed_channels
    most = (MOST_BODY_OCTETS - BLOCK_FIELDS_OCTETS) // sample_octets
    return [
        sentence
        for holds, sentence in (
            (device.tick_rate_hz > 0, "tick_rate_hz is 0"),
            (device.counts_per_rev > 0, "counts_per_rev is 0"),
            (0 < device.max_rate_hz <= device.tick_rate_hz, "max_rate_hz is 0 or over tick_rate_hz"),
            (0 < device.max_block_size <= most, f"max_block_size is not 1 to {most}, which is what fits a frame"),
            (device.streamed_channels >= 2, "fewer than the two pressures are streamed"),
            (device.streamed_channels <= device.channel_count, "streamed_channels is over channel_count"),
        )
        if not holds
    ]


def _fields(bench: Bench) -> list[Figure]:
    device = bench.device
    wrong = impossible(device)
    if wrong:
        raise Failed("; ".join(wrong))
    same = "same" if device.schema_fingerprint == SCHEMA_FINGERPRINT else "another"
    return [
        Figure("protocol", f"{device.protocol_major}.{device.protocol_minor}"),
        Figure("schema_fingerprint", f"0x{device.schema_fingerprint:08X} ({same} as this program's)"),
    ]


def _channels(bench: Bench) -> list[Figure]:
    channels = bench.channels
    quantities = tuple(channel.quantity for channel in channels[:2])
    if quantities != (Quantity.PRESSURE_REGULATED, Quantity.PRESSURE_CYLINDER):
        raise Failed("the first two channels are not the regulated and the cylinder pressure, in this order")
    for channel in channels:
        if channel.raw_min >= channel.raw_max:
            raise Failed(f"channel {channel.channel} has raw_min {channel.raw_min}, which is not under raw_max {channel.raw_max}")
        if channel.volts_per_raw == 0.0:
            raise Failed(f"channel {channel.channel} has volts_per_raw 0, so that its raw words mean nothing")
    told = {
        Fitted.AMBIENT_PRESSURE: Quantity.PRESSURE_AMBIENT,
        Fitted.AMBIENT_TEMPERATURE: Quantity.TEMPERATURE_AMBIENT,
        Fitted.SPARE_CHANNEL: Quantity.PRESSURE_SPARE,
    }
    described = {channel.quantity for channel in channels}
    missing = [
        str(flag.name).lower() for flag, quantity in told.items() if flag & bench.device.fitted and quantity not in described
    ]
    if missing:
        raise Failed(f"fitted, says the Identity, but not described by any channel: {', '.join(missing)}")
    return [Figure("channels", ", ".join(channel.quantity.name.lower() for channel in channels))]


def _again(bench: Bench) -> None:
    answer = bench.ask(_request())
    if not isinstance(answer, Identity):
        raise Failed("the second IdentifyRequest was answered by something else than an Identity")
    before = bench.device
    channels = _channels_behind(bench, answer)
    if answer.encode_body()[2:] != before.encode_body()[2:]:
        raise Failed("the second Identity differs from the first in more than its request_id")
    if [channel.encode_body()[2:] for channel in channels] != [channel.encode_body()[2:] for channel in bench.channels]:
        raise Failed("the channels were described in another way the second time")


def _other_minor(bench: Bench) -> None:
    for minor in (0, FURTHEST_MINOR, 255):
        answer = bench.ask(_request(minor))
        if not isinstance(answer, Identity):
            raise Failed(f"a host of minor version {minor} was not answered with an Identity; minors may differ")
        _channels_behind(bench, answer)


def _other_major(bench: Bench) -> None:
    before = bench.status()
    for major in (0, PROTOCOL_MAJOR + 1, 255):
        bench.refused(_request(major=major), RefusalReason.VERSION_UNSUPPORTED)
    since = bench.mark()
    bench.listen(0.1)
    if any(isinstance(heard.what, Identity | ChannelDescription) for heard in bench.heard[since:]):
        raise Failed("a refused IdentifyRequest was followed by an Identity or channels all the same")
    refused = bench.status().commands_refused - before.commands_refused
    if refused != 3:
        raise Failed(f"commands_refused rose by {refused} over 3 refused commands")


HANDSHAKE = Check(
    "handshake",
    "IdentifyRequest is answered with Identity and a ChannelDescription for each channel, channel 0 first.",
    "PROTOCOL.md 5, Handshake",
    _handshake,
    chapter="Who is there",
)
IDENTIFY = chapter_of(
    "Who is there",
    Check("identity-fields", "What the Identity says is possible and fits together.", "PROTOCOL.md 6, 10 Identity", _fields),
    Check(
        "channels",
        "The first two channels are the regulated and the cylinder pressure; what is fitted is described.",
        "PROTOCOL.md 6, 10 ChannelDescription",
        _channels,
    ),
    Check("identify-again", "Asked again, the device says the same.", "PROTOCOL.md 5, Commands and answers", _again),
    Check("other-minor", "A host of another minor version is answered as any other.", "PROTOCOL.md 5, Handshake", _other_minor),
    Check(
        "other-major",
        "A host of another major version is refused with version_unsupported, and the device goes on.",
        "PROTOCOL.md 5, Handshake",
        _other_major,
    ),
)
