"""The exchanges of the vectors against the firmware on the PC, octets in and octets out."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from borewire.messages import TYPES_TO_DEVICE, TYPES_TO_HOST, ChannelDescription, HoldState, Message

from .pc_child import FIRMWARE, bench, passed_over

FILES = sorted((FIRMWARE.parent / "vectors" / "exchanges").glob("*.json"))
ANSWER_MS = 20
VECTOR_CHANNELS = 2


def _asked_for(event: Any) -> bool:
    """Whether the vectors look at it: they know of two channels, and this device has a third."""
    return not passed_over(event) and not (isinstance(event, ChannelDescription) and event.channel >= VECTOR_CHANNELS)


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
                answers = [event for event in heard if _asked_for(event)]
            else:
                assert answers, f"no answer where {step['message']} is due"
                answer = answers.pop(0)
                assert type(answer) is kinds[step["message"]]
                wanted = {name: value for name, value in step["fields"].items() if name not in step.get("device_chooses", [])}
                assert _fixed(answer, step) == wanted
        assert answers == []
