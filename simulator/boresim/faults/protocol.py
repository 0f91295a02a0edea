"""What can go wrong with what the device says and understands."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from itertools import count
from typing import TYPE_CHECKING, Any

from borewire.framing import frame_of
from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    FaultCode,
    FaultEvent,
    IdentifyRequest,
    Identity,
    RefusalReason,
    Refused,
    SampleBlock,
    Status,
    StatusRequest,
    ToHost,
)

from boresim.faults.fault import Fault, Level, Moment, Outcome
from boresim.faults.parts import MISSING, Act, of_octets, passed
from boresim.said import Rewrite, Understood

if TYPE_CHECKING:
    from boresim.rig import SimRig

__all__ = ["PROTOCOL"]

NOT_KNOWN_TYPE = 0x9A
OTHER_REQUEST = 1000
RESERVED_OCTET = 11  # of a block's body: the upper one of its flags
RESERVED_BIT = 0x80
BLOCKS_TO_WRONG_LENGTH = 40
LAST_OPENING = 0xFFFE
# so that the counters come round while the pressure stands, some 46 s after the scripted person begins
BLOCKS_BEFORE_WRAP, SAMPLES_BEFORE_WRAP, TICKS_AHEAD = 5_800, 46_500, 4_000_000


def _says(name: str, rewrite: Callable[[], Rewrite]) -> tuple[Act, Act]:
    """Another thing goes out. rewrite: makes what keeps count anew each time the fault begins."""

    def begin(rig: SimRig) -> None:
        rig.device.messages.out[name] = rewrite()

    def end(rig: SimRig) -> None:
        del rig.device.messages.out[name]

    return begin, end


def _hears(name: str, understand: Understood, rewrite: Rewrite | None = None) -> tuple[Act, Act]:
    """Something is not understood, or otherwise; rewrite: and that is said to it."""

    def begin(rig: SimRig) -> None:
        rig.device.messages.into[name] = understand
        if rewrite is not None:
            rig.device.messages.out[name] = rewrite

    def end(rig: SimRig) -> None:
        del rig.device.messages.into[name]
        rig.device.messages.out.pop(name, None)

    return begin, end


def _only(kind: type[ToHost], change: Callable[[Any], Iterable[ToHost | bytes]]) -> Callable[[], Rewrite]:
    """Messages of this kind are changed, the others go out as they are."""
    return lambda: lambda message: change(message) if isinstance(message, kind) else (message,)


def _counted(kind: type[ToHost], change: Callable[[Any, int], Iterable[ToHost | bytes]]) -> Callable[[], Rewrite]:
    """As _only, with the number of the message of its kind, from 0 on."""

    def make() -> Rewrite:
        numbers = count()
        return lambda message: change(message, next(numbers)) if isinstance(message, kind) else (message,)

    return make


def _first_only(message: ToHost) -> Callable[[], Rewrite]:
    """This is said once, before whatever comes first."""

    def make() -> Rewrite:
        left = [message]
        return lambda other: (left.pop(), other) if left else (other,)

    return make


def _newer(identity: Identity) -> Iterable[ToHost | bytes]:
    known = replace(identity, protocol_minor=identity.protocol_minor + 3, schema_fingerprint=identity.schema_fingerprint ^ 0xFFFF)
    return frame_of(NOT_KNOWN_TYPE, b"new"), known


def _not_known(message: ToHost) -> Iterable[ToHost | bytes]:
    """With every message come three that nobody knows: one to the host, one to the device, one without a body."""
    return frame_of(NOT_KNOWN_TYPE, bytes(range(40))), message, frame_of(0x70, b"\xf5\x00\xff"), frame_of(0xFF, b"")


def _reserved(block: SampleBlock) -> Iterable[ToHost | bytes]:
    body = bytearray(block.encode_body())
    body[RESERVED_OCTET] |= RESERVED_BIT
    return (frame_of(SampleBlock.TYPE, bytes(body)),)


def _too_long(block: SampleBlock, number: int) -> Iterable[ToHost | bytes]:
    if number % BLOCKS_TO_WRONG_LENGTH != BLOCKS_TO_WRONG_LENGTH - 1:
        return (block,)
    return (frame_of(SampleBlock.TYPE, block.encode_body() + b"\0"),)


def _refuses_version(message: ToHost) -> Iterable[ToHost | bytes]:
    if isinstance(message, Identity):
        return (Refused(message.request_id, IdentifyRequest.TYPE, RefusalReason.VERSION_UNSUPPORTED, 0),)
    return (message,)


def _ticks_ahead(message: Any) -> Iterable[ToHost | bytes]:
    if not hasattr(message, "device_tick"):
        return (message,)
    return (replace(message, device_tick=(message.device_tick + TICKS_AHEAD) & 0xFFFFFFFF),)


def _nothing(_message: object) -> tuple[()]:
    return ()


def _to_others(message: Any) -> Iterable[ToHost | bytes]:
    return (replace(message, request_id=(message.request_id + OTHER_REQUEST) & 0xFFFF),)


def _restarted(rig: SimRig) -> None:
    rig.power_cycle()


_row = partial(of_octets, Level.PROTOCOL)

PROTOCOL: tuple[Fault, ...] = (
    _row(
        "older-minor",
        "The device is of an older minor version: it passes over a message of the host that it does not know.",
        Moment.START,
        _hears("older-minor", lambda heard: () if isinstance(heard, StatusRequest) else (heard,)),
        Outcome.NUMBER,
    ),
    _row(
        "newer-minor",
        "The device is of a newer minor version and says more than the host knows.",
        Moment.START,
        _says("newer-minor", _only(Identity, _newer)),
        Outcome.NUMBER,
    ),
    _row(
        "other-major",
        "The device is of another major version of the protocol.",
        Moment.START,
        _says("other-major", _only(Identity, lambda identity: (replace(identity, protocol_major=2),))),
        Outcome.NONE,
        r"speaks version 2\.0 .* and this program version 1\.0",
        r"speaks version 2\.0 .* and this program version 1\.0",
    ),
    _row(
        "refuses-our-major",
        "The device refuses the host's major version of the protocol.",
        Moment.START,
        _says("refuses-our-major", lambda: _refuses_version),
        Outcome.NONE,
        r"the device refuses version 1\.0 of the wire protocol",
        r"the device refuses version 1\.0 of the wire protocol",
    ),
    _row(
        "unknown-messages",
        "Between the device's messages come others that nobody knows.",
        Moment.START,
        _says("unknown-messages", lambda: _not_known),
        Outcome.NUMBER,
    ),
    _row(
        "wrong-length",
        "One block of samples in forty is an octet longer than it says.",
        Moment.FULL,
        _says("wrong-length", _counted(SampleBlock, _too_long)),
        Outcome.VOID,
        MISSING,
        MISSING,
        after_s=1.0,
    ),
    _row(
        "reserved-bits",
        "From now on every block has a flag set that has no name.",
        Moment.FULL,
        _says("reserved-bits", _only(SampleBlock, _reserved)),
        Outcome.VOID,
        "no samples that can be used.*SHUT AND VENT BY HAND",
        "the link to the rig was lost",
        after_s=1.0,
    ),
    _row(
        "sequence-gap",
        "One block of samples is lost.",
        Moment.FULL,
        _says("sequence-gap", _counted(SampleBlock, lambda block, number: (block,) if number else ())),
        Outcome.VOID,
        MISSING,
        MISSING,
        after_s=1.0,
    ),
    _row(
        "blocks-wrap",
        "The blocks' 16-bit sequence comes round to 0 while the pressure stands.",
        Moment.START,
        _says(
            "blocks-wrap",
            _only(SampleBlock, lambda block: (replace(block, sequence=(block.sequence - BLOCKS_BEFORE_WRAP) & 0xFFFF),)),
        ),
        Outcome.NUMBER,
    ),
    _row(
        "openings-wrap",
        "The 16-bit number of the openings comes round between the puff and full pressure.",
        Moment.START,
        _says("openings-wrap", _only(Status, lambda status: (replace(status, opening_id=status.opening_id or LAST_OPENING),))),
        Outcome.NUMBER,
    ),
    _row(
        "samples-wrap",
        "The 32-bit index of the samples comes round to 0 while the pressure stands.",
        Moment.START,
        _says(
            "samples-wrap",
            _only(
                SampleBlock, lambda block: (replace(block, sample_index=(block.sample_index - SAMPLES_BEFORE_WRAP) & 0xFFFFFFFF),)
            ),
        ),
        Outcome.NUMBER,
    ),
    _row(
        "ticks-wrap",
        "The 32-bit clock of the device comes round to 0 while the pressure stands.",
        Moment.START,
        _says("ticks-wrap", lambda: _ticks_ahead),
        Outcome.NUMBER,
    ),
    _row(
        "restart-in-a-test",
        "The device loses its power for a moment with air on: another boot id, all counters at 0.",
        Moment.FULL,
        (_restarted, passed),
        Outcome.VOID,
        "the rig was restarted; stroke and hose must be shown again",
        "the rig was restarted while air was on",
        after_s=1.0,
    ),
    _row(
        "answers-to-others",
        "The device's answers carry the numbers of other requests.",
        Moment.START,
        _says("answers-to-others", _only(Ack, _to_others)),
        Outcome.NONE,
        "does not answer when it is asked for samples",
        "does not answer when it is asked for samples",
    ),
    _row(
        "later-answers-to-others",
        "From the squeeze on the device's answers carry the numbers of other requests.",
        Moment.SQUEEZE,
        _says("later-answers-to-others", _only(Ack, _to_others)),
        Outcome.NUMBER,
    ),
    _row(
        "hangs",
        "The device's program hangs with air on: it says nothing and hears nothing, only its interlock still works.",
        Moment.FULL,
        _hears("hangs", _nothing, _nothing),
        Outcome.VOID,
        "silent.*SHUT AND VENT BY HAND",
        "the link to the rig was lost",
        after_s=1.0,
    ),
    _row(
        "answers-lost",
        "Every other answer of the device is lost.",
        Moment.START,
        _says("answers-lost", _counted(Ack, lambda ack, number: (ack,) if number % 2 else ())),
        Outcome.NUMBER,
    ),
    _row(
        "opening-not-told",
        "The device does not say that it has opened its supply.",
        Moment.START,
        _says("opening-not-told", _only(AirEvent, lambda event: () if event.air is AirState.OPEN else (event,))),
        Outcome.NUMBER,
    ),
    _row(
        "fault-told",
        "The device reports with air on that its own supply is too low.",
        Moment.FULL,
        _says("fault-told", _first_only(FaultEvent(0, FaultCode.SUPPLY_VOLTAGE, 4310))),
        Outcome.VOID,
        r"the rig reports a fault: supply voltage \(4310\)",
        "the rig reported a fault while air was on",
        after_s=1.0,
    ),
)
