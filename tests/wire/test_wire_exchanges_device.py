"""The exchanges of the vectors against the simulated device; neither was written from the other, both from the page."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from boresim.device import Channel, Device, DeviceSetup
from boresim.interlock import Scans
from borewire.codec import Decoder, Received
from borewire.messages import IndexEvent, Quantity, SampleBlock, Status

from .vector_files import ROOT, build, load

FILES = sorted((ROOT / "vectors" / "exchanges").glob("*.json"))
RAW_AT_NO_PRESSURE = 410


def _device(fitted: list[str], out: bytearray) -> Device:
    channels = tuple(
        Channel(quantity, raw_min=0, raw_max=4095, volts_at_zero=0.0, volts_per_raw=5 / 4096, sensor_supply_volts=5.0)
        for quantity in (Quantity.PRESSURE_REGULATED, Quantity.PRESSURE_CYLINDER)
    )
    setup = DeviceSetup(
        serial_number="R-0001",
        firmware_version="0.1.0",
        counts_per_rev=4096,
        channels=channels,
        valves="supply_valve" in fitted,
        hold_fitted="hold_switch" in fitted,
        tick_rate_hz=1_000_000,
        first_tick=0,
        max_rate_hz=2000,
        max_block_size=16,
        seed=0,
    )
    return Device(setup, 0, out)


def _scan(device: Device) -> None:
    """One look at the inputs: the crank at count 0, no pressure."""
    raw = np.full((2, 1), RAW_AT_NO_PRESSURE, np.uint16)
    device.take(Scans(device.next_tick, device.scan_ticks, np.zeros(1, np.int64), raw, False, device.streaming), [], [])


def _passed_over(event: Received) -> bool:
    return isinstance(event, SampleBlock | IndexEvent) or (isinstance(event, Status) and event.request_id == 0)


def _fixed(message: Any, step: dict[str, Any]) -> dict[str, Any]:
    chosen = step.get("device_chooses", [])
    return {"message": type(message).__name__} | {
        field.name: getattr(message, field.name) for field in fields(message) if field.name not in chosen
    }


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_simulated_device_answers_as_the_vectors_say(path: Path) -> None:
    exchange = load(f"exchanges/{path.name}")
    out = bytearray()
    device = _device(exchange["device"]["fitted"], out)
    ear = Decoder("host")
    ear.feed(bytes(out))
    out.clear()
    answers: list[Received] = []
    for step in exchange["steps"]:
        if step["from"] == "host":
            assert answers == []
            device.hear(bytes.fromhex(step["frame"]))
            _scan(device)
            answers = [event for event in ear.feed(bytes(out)) if not _passed_over(event)]
            out.clear()
        else:
            assert answers, f"no answer where {step['message']} is due"
            assert _fixed(answers.pop(0), step) == _fixed(build(step["message"], step["fields"]), step)
    assert answers == []
    assert ear.counters.frames_bad == 0
