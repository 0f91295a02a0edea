"""The C codec does what the golden vectors say, natively and under the sanitizers, however the octets are cut."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest
from borewire.bad import BadReason
from borewire.codec import Decoder
from borewire.framing import payload_of

from .c_codec import KINDS, RUNNER, SANITIZED_RUNNER, ask, events_of, line_of, lines_of, told_as_by_borewire
from .vector_files import build, load

SIDES: Any = ("device", "host")
ACCEPT = [(side, case) for side in SIDES for case in load(f"accept/to_{side}.json")["cases"]]
REJECT = [(side, case) for side in SIDES for case in load(f"reject/to_{side}.json")["cases"]]
STREAMS = load("accept/streams.json")["cases"]

pytestmark = pytest.mark.usefixtures("c_codec", "sanitized_c_codec")
BOTH_BUILDS = pytest.mark.parametrize("runner", [RUNNER, SANITIZED_RUNNER], ids=["native", "sanitized"])


def _name(value: Any) -> str:
    return value["name"] if isinstance(value, dict) else str(value)


@pytest.mark.parametrize(("side", "case"), ACCEPT, ids=_name)
def test_accepted_both_ways(side: str, case: dict[str, Any]) -> None:
    message = build(case["message"], case["fields"])
    frame = bytes.fromhex(case["frame"])
    assert events_of(side, [frame]) == [[line_of(message)]]
    assert ask([f"say {line_of(message)}"]) == case["frame"] + "\n"


@BOTH_BUILDS
def test_all_that_is_accepted_as_one_stream(runner: Path) -> None:
    for side in SIDES:
        cases = [case for to, case in ACCEPT if to == side]
        messages = [line_of(build(case["message"], case["fields"])) for case in cases]
        assert events_of(side, [bytes.fromhex(case["frame"]) for case in cases], runner) == [[line] for line in messages]
        assert ask([f"say {line}" for line in messages], runner).split() == [case["frame"] for case in cases]


@pytest.mark.parametrize(("side", "case"), REJECT, ids=_name)
def test_refused_for_the_reason_given(side: str, case: dict[str, Any]) -> None:
    assert events_of(side, [bytes.fromhex(case["frame"])]) == [[f"bad {case['reason']}"]]


@BOTH_BUILDS
def test_all_that_is_refused_as_one_stream(runner: Path) -> None:
    for side in SIDES:
        cases = [case for to, case in REJECT if to == side]
        answers = events_of(side, [bytes.fromhex(case["frame"]) for case in cases], runner)
        assert answers == [[f"bad {case['reason']}"] for case in cases]


def _expected(case: dict[str, Any]) -> list[str]:
    lines = []
    for event in case["events"]:
        if "message" in event:
            lines.append(line_of(build(event["message"], event["fields"])))
        elif "unknown" in event:
            lines.append(f"unknown {event['unknown']} {event['body']}")
        elif BadReason[event["bad"].upper()] is not BadReason.RESYNC:  # the C decoder says nothing of what was cut at the start
            lines.append(f"bad {event['bad']}")
    return lines


def _cuttings(octets: bytes, seed: int) -> list[list[bytes]]:
    draw = random.Random(seed)
    cuttings = [[octets], [octets[at : at + 1] for at in range(len(octets))]]
    for longest in (2, 3, 7, 20, 60):
        pieces, rest = [], octets
        while rest:
            length = draw.randint(0, longest)
            pieces.append(rest[:length])
            rest = rest[length:]
        cuttings.append(pieces)
    return cuttings


@BOTH_BUILDS
@pytest.mark.parametrize("case", STREAMS, ids=_name)
def test_streams_give_their_events_however_cut(case: dict[str, Any], runner: Path) -> None:
    for pieces in _cuttings(bytes.fromhex(case["octets"]), seed=1):
        answers = told_as_by_borewire(events_of(case["to"], pieces, runner))
        assert [line for answer in answers for line in answer] == _expected(case)
        decoder = Decoder(case["to"])
        assert answers == [lines_of(decoder.feed(piece)) for piece in pieces], "an event came with another octet"


@BOTH_BUILDS
def test_bodies_are_refused_at_every_length_but_their_own(runner: Path) -> None:
    for side, case in ACCEPT:
        number, *octets = payload_of(bytes.fromhex(case["frame"])[1:-1])
        body = bytes(octets)
        wrong = [body[:length] for length in range(len(body))] + [body + b"\x00"] * (len(body) < 250)
        frames = ask([f"close {bytes((number, *one)).hex()}" for one in wrong], runner).split()
        for answer in events_of(side, [bytes.fromhex(frame) for frame in frames], runner):
            assert answer in (["bad length"], ["bad value"]), KINDS[case["message"]]
