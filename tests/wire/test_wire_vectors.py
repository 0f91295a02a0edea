"""The golden vectors: what every codec must accept and refuse, however the octets are cut."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pytest
from borewire.bad import BadReason, FrameError
from borewire.codec import BadFrame, Decoder, Received, UnknownMessage, encode
from borewire.framing import payload_of
from borewire.messages import TYPES_TO_DEVICE, TYPES_TO_HOST, Message
from hypothesis import given
from hypothesis import strategies as st

from .vector_files import build, load

MessageOf = Callable[[str, Mapping[str, Any]], Message]
SIDES = ("device", "host")
ACCEPT = [(side, case) for side in SIDES for case in load(f"accept/to_{side}.json")["cases"]]
REJECT = [(side, case) for side in SIDES for case in load(f"reject/to_{side}.json")["cases"]]
STREAMS = load("accept/streams.json")["cases"]


def _name(value: Any) -> str:
    return value["name"] if isinstance(value, dict) else str(value)


def _bytewise(decoder: Decoder, octets: bytes) -> list[Received]:
    return [event for octet in octets for event in decoder.feed(bytes((octet,)))]


@pytest.mark.parametrize(("side", "case"), ACCEPT, ids=_name)
def test_accepted_both_ways(side: Any, case: dict[str, Any]) -> None:
    message = build(case["message"], case["fields"])
    frame = bytes.fromhex(case["frame"])
    assert encode(message) == frame
    assert message.encode_body().hex() == case["body"]
    assert Decoder(side).feed(frame) == [message]
    assert _bytewise(Decoder(side), frame) == [message]


@pytest.mark.parametrize(("side", "case"), ACCEPT, ids=_name)
def test_accepted_with_trailing_octets(side: Any, case: dict[str, Any]) -> None:
    message = build(case["message"], case["fields"])
    frame = bytes.fromhex(case["frame"])
    decoder = Decoder(side)
    assert decoder.feed(frame + frame[:-1]) == [message]
    assert decoder.feed(b"\x00\x01") == [message]
    assert decoder.counters.frames_good == 2


@pytest.mark.parametrize(("side", "case"), REJECT, ids=_name)
def test_refused_for_the_reason_given(side: Any, case: dict[str, Any]) -> None:
    frame = bytes.fromhex(case["frame"])
    for decoder, feed in ((Decoder(side), Decoder.feed), (Decoder(side), _bytewise)):
        events = feed(decoder, frame)
        assert [type(event) for event in events] == [BadFrame]
        assert isinstance(events[0], BadFrame)
        assert events[0].reason is BadReason[case["reason"].upper()]
        assert (decoder.counters.frames_good, decoder.counters.frames_bad) == (0, 1)


def test_every_message_and_every_reason_has_a_vector() -> None:
    accepted = {case["message"] for _, case in ACCEPT}
    assert accepted == {kind.__name__ for kind in [*TYPES_TO_DEVICE.values(), *TYPES_TO_HOST.values()]}
    streams = {event["bad"] for case in STREAMS for event in case["events"] if "bad" in event}
    refused = {case["reason"] for _, case in REJECT}
    assert refused | streams == {reason.name.lower() for reason in BadReason}


def test_every_word_has_a_vector() -> None:
    import borewire.messages as wire  # noqa: PLC0415 - looked through by name

    told: dict[type, set[Any]] = {}
    for _, case in ACCEPT:
        message = build(case["message"], case["fields"])
        for name in case["fields"]:
            value = getattr(message, name)
            told.setdefault(type(value), set()).add(value)
    for kind in (wire.Cause, wire.RefusalReason, wire.FaultCode):
        assert told[kind] == set(kind)


def _expected(events: list[dict[str, Any]]) -> list[object]:
    expected: list[object] = []
    for event in events:
        if "bad" in event:
            expected.append(BadReason[event["bad"].upper()])
        elif "unknown" in event:
            expected.append(UnknownMessage(event["unknown"], bytes.fromhex(event["body"])))
        else:
            expected.append(build(event["message"], event["fields"]))
    return expected


def _plain(events: list[Received]) -> list[object]:
    return [event.reason if isinstance(event, BadFrame) else event for event in events]


@pytest.mark.parametrize("case", STREAMS, ids=_name)
@given(cuts=st.lists(st.integers(1, 40), max_size=60))
def test_streams_give_their_events_however_cut(case: dict[str, Any], cuts: list[int]) -> None:
    octets = bytes.fromhex(case["octets"])
    decoder = Decoder(case["to"])
    events: list[Received] = []
    at = 0
    for cut in cuts:
        events += decoder.feed(octets[at : at + cut])
        at += cut
    events += decoder.feed(octets[at:])
    assert _plain(events) == _expected(case["events"])
    assert _plain(_bytewise(Decoder(case["to"]), octets)) == _expected(case["events"])


def test_a_resync_is_not_counted_as_bad() -> None:
    case = next(case for case in STREAMS if case["name"] == "listening begins within a frame")
    decoder = Decoder("host")
    decoder.feed(bytes.fromhex(case["octets"]))
    assert (decoder.counters.frames_good, decoder.counters.frames_bad) == (1, 0)
    assert decoder.counters.bytes_discarded > 0


def test_bodies_are_refused_at_every_length_but_their_own() -> None:
    for _, case in ACCEPT:
        content = payload_of(bytes.fromhex(case["frame"])[1:-1])
        kind = (TYPES_TO_HOST | TYPES_TO_DEVICE)[content[0]]
        body = content[1:]
        for wrong in [body[:length] for length in range(len(body))] + [body + b"\x00"]:
            with pytest.raises(FrameError):
                kind.decode_body(wrong)
