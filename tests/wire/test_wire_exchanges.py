"""The exchanges are lawful conversations: every frame is exact, every command is answered once and in order."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from borewire.codec import Decoder, encode
from borewire.messages import Ack, AirEvent, AirState, EchoReply, HostAlive, Identity, Refused, Status

from .vector_files import ROOT, build, load

FILES = sorted((ROOT / "vectors" / "exchanges").glob("*.json"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_frame_is_the_message_it_says(path: Path) -> None:
    sides: dict[str, Any] = {"host": Decoder("device"), "device": Decoder("host")}
    for step in load(f"exchanges/{path.name}")["steps"]:
        message = build(step["message"], step["fields"])
        assert encode(message).hex() == step["frame"]
        assert sides[step["from"]].feed(bytes.fromhex(step["frame"])) == [message]
        assert set(step.get("device_chooses", [])) <= set(step["fields"])
        assert not ("device_chooses" in step and step["from"] == "host")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_command_is_answered_once_and_in_order(path: Path) -> None:
    waiting: list[tuple[int, int]] = []
    for step in load(f"exchanges/{path.name}")["steps"]:
        message: Any = build(step["message"], step["fields"])
        if step["from"] == "host" and not isinstance(message, HostAlive):
            waiting.append((message.request_id, message.TYPE))
        elif isinstance(message, Ack | Refused):
            assert (message.request_id, message.command) == waiting.pop(0)
        elif isinstance(message, Identity | EchoReply | Status):
            assert message.request_id == waiting.pop(0)[0]
    assert waiting == []


def test_a_refusal_is_not_followed_by_a_change_of_the_air() -> None:
    for path in FILES:
        steps = [build(step["message"], step["fields"]) for step in load(f"exchanges/{path.name}")["steps"]]
        for before, after in pairwise(steps):
            if isinstance(before, Refused):
                assert not isinstance(after, AirEvent)
        if any(isinstance(step, AirEvent) for step in steps):
            assert [step.air for step in steps if isinstance(step, AirEvent)][-1] is AirState.VENTED
