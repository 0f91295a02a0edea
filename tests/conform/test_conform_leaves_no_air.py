"""Where a check waits for somebody to bring the rig back to rest, the device has been told to vent before."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import boresim.interlock as boresim_interlock
import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from borewire.codec import Decoder
from borewire.messages import Cause, VentOpen
from borewright.conform.hands import Task
from borewright.conform.suite import BrokenOff, run_suite

from .devices import SOLENOID, QuickHands, quick

TO_REST = {
    "over-pressure-cylinder-closed": Task.LOWER_CYLINDER,
    "over-pressure-regulated-open": Task.LOWER_REGULATED,
    "sensor-fault-open": Task.MEND_SENSOR,
}


class _Kept(SimEndpoint):
    """The port of a simulated rig, which keeps what the host sends."""

    def __init__(self, rig: SimRig) -> None:
        super().__init__(rig)
        self.sent: list[Any] = []
        self._hears = Decoder("device")

    def write(self, data: bytes) -> int:
        self.sent += self._hears.feed(data)
        return super().write(data)


class _Watched(QuickHands):
    """Hands that note whether the device had been told to vent when they were asked for something."""

    def __init__(self, rig: SimRig, port: _Kept, interrupted_by: Task | None = None) -> None:
        super().__init__(rig)
        self._port = port
        self._interrupted_by = interrupted_by
        self.vented_before: dict[Task, bool] = {}

    def begin(self, task: Task) -> str | None:
        self.vented_before[task] = any(isinstance(message, VentOpen) for message in self._port.sent)
        if task is self._interrupted_by:
            raise KeyboardInterrupt
        return super().begin(task)


@pytest.mark.parametrize("name", TO_REST)
def test_a_device_that_does_not_vent_is_vented_before_somebody_is_waited_for(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for cause in (Cause.OVER_PRESSURE_CYLINDER, Cause.OVER_PRESSURE_REGULATED, Cause.SENSOR_FAULT):
        monkeypatch.setitem(boresim_interlock._WATCHES, cause, lambda *_: None)
    rig = SimRig(quick(SOLENOID))
    port = _Kept(rig)
    hands = _Watched(rig, port)
    run_suite(port, only=[name], air=True, hands=hands)
    assert hands.vented_before[TO_REST[name]]


@pytest.mark.parametrize(
    ("name", "asked"),
    [
        ("over-pressure-cylinder-closed", Task.RAISE_CYLINDER),
        ("over-pressure-regulated-open", Task.RAISE_REGULATED),
        ("sensor-fault-open", Task.BREAK_SENSOR),
    ],
)
def test_a_run_that_is_broken_off_vents_and_waits_for_nobody(name: str, asked: Task) -> None:
    rig = SimRig(quick(SOLENOID))
    port = _Kept(rig)
    hands = _Watched(rig, port, interrupted_by=asked)
    with suppress(BrokenOff):
        run_suite(port, only=[name], air=True, hands=hands)
    assert TO_REST[name] not in hands.vented_before
    assert rig.device.interlock.vent_open
