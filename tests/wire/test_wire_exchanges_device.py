"""The exchanges of the vectors against the simulated rig, octets in and octets out; neither was written from the other."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder, Received
from borewire.messages import HoldEvent, IndexEvent, SampleBlock, SlowReading, Status

from .vector_files import ROOT, build, load

FILES = sorted((ROOT / "vectors" / "exchanges").glob("*.json"))
SCENARIO_BY_VALVES = {True: "hillclimb-before", False: "hillclimb-before-hand"}
ANSWER_S = 0.02


def _passed_over(event: Received) -> bool:
    if isinstance(event, Status):
        return event.request_id == 0
    return isinstance(event, SampleBlock | IndexEvent | SlowReading | HoldEvent)


def _fixed(message: Any, step: dict[str, Any]) -> dict[str, Any]:
    chosen = step.get("device_chooses", [])
    return {"message": type(message).__name__} | {
        field.name: getattr(message, field.name) for field in fields(message) if field.name not in chosen
    }


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_simulated_device_answers_as_the_vectors_say(path: Path) -> None:
    exchange = load(f"exchanges/{path.name}")
    valves = "supply_valve" in exchange["device"]["fitted"]
    rig = SimRig(load_scenario(SCENARIO_BY_VALVES[valves]), seed=1)
    if rig.hold_fitted:
        rig.press_hold(True)
    ear = Decoder("host")
    ear.feed(rig.transmit())
    answers: list[Received] = []
    for step in exchange["steps"]:
        if step["from"] == "host":
            assert answers == []
            rig.receive(bytes.fromhex(step["frame"]))
            rig.advance(ANSWER_S)
            answers = [event for event in ear.feed(rig.transmit()) if not _passed_over(event)]
        else:
            assert answers, f"no answer where {step['message']} is due"
            assert _fixed(answers.pop(0), step) == _fixed(build(step["message"], step["fields"]), step)
    assert answers == []
    assert ear.counters.frames_bad == 0
