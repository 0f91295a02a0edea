"""The exchanges of the vectors against the firmware on the PC, octets in and octets out."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from borewire.messages import TYPES_TO_DEVICE, TYPES_TO_HOST, HoldState, Identity, Message

from .pc_child import FIRMWARE, bench, passed_over

FILES = sorted((FIRMWARE.parent / "vectors" / "exchanges").glob("*.json"))
ANSWER_MS = 20
VECTOR_CHANNELS = 2


def _without_more_channels(answers: list[Any]) -> list[Any]:
    """The answers as of a device with the two channels of the vectors; this one has a spare channel, which must be described."""
    if not answers or not isinstance(answers[0], Identity):
        return answers
    identity, *channels = answers
    assert [channel.channel for channel in channels] == list(range(identity.channel_count))
    assert identity.streamed_channels == identity.channel_count == 3
    return [
        replace(identity, channel_count=VECTOR_CHANNELS, streamed_channels=VECTOR_CHANNELS),
        *(channel for channel in channels if channel.channel < VECTOR_CHANNELS),
    ]


def _fixed(message: Message, step: dict[str, Any]) -> dict[str, Any]:
    """A message's fields as the vector files write them, without those that the device chooses."""
    chosen = step.get("device_chooses", [])
    values: dict[str, Any] = {}
    for field in fields(message):
        value = getattr(message, field.name)
        if isinstance(value, bytes):
            value = value.hex()
        elif hasattr(value, "name"):
            value = value.name.lower()
        if field.name not in chosen:
            values[field.name] = value
    return values


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_firmware_answers_as_the_vectors_say(path: Path) -> None:
    exchange = json.loads(path.read_text("utf-8"))
    kinds = {kind.__name__: kind for kind in [*TYPES_TO_DEVICE.values(), *TYPES_TO_HOST.values()]}
    with bench(valves="supply_valve" in exchange["device"]["fitted"]) as rig:
        rig.run(20)
        (pressed,) = rig.hold(True)
        assert pressed.hold is HoldState.PRESSED  # type: ignore[union-attr]
        answers: list[Any] = []
        for step in exchange["steps"]:
            if step["from"] == "host":
                assert answers == []
                heard = rig.run(ANSWER_MS, octets=bytes.fromhex(step["frame"]))
                answers = _without_more_channels([event for event in heard if not passed_over(event)])
            else:
                assert answers, f"no answer where {step['message']} is due"
                answer = answers.pop(0)
                assert type(answer) is kinds[step["message"]]
                wanted = {name: value for name, value in step["fields"].items() if name not in step.get("device_chooses", [])}
                assert _fixed(answer, step) == wanted
        assert answers == []
