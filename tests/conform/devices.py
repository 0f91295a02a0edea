"""The devices that the suite is run over in these tests, each in virtual time in memory, with a quick person at the rig."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from avr_rig.child import Child
from avr_rig.programs import in_the_emulator, on_the_pc
from avr_rig.rig import FirmwareRig
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import Scenario, load_scenario
from borewright.conform.check import Need
from borewright.conform.hands import Task
from borewright.conform.simulated_hands import SimulatedHands
from borewright.conform.suite import SUITE, Run, run_suite

from ..firmware.pc_child import program

__all__ = ["DEVICES", "NOT_TRIED", "QuickHands", "quick", "run_in_memory"]

SOLENOID = "hillclimb-before"
HAND_VALVES = "hillclimb-before-hand"


def quick(scenario: str) -> Scenario:
    """The scenario with a person who is quick and exact: the suite waits for them, not for what they are like."""
    loaded = load_scenario(scenario)
    return replace(loaded, operator=replace(loaded.operator, reaction_s=0.1, turn_rpm=100.0, hand_error_deg=0.05))


class QuickHands(SimulatedHands):
    """The person at a rig in memory, who can take a transducer's plug off also where the firmware is the device."""

    def __init__(self, rig: Any) -> None:
        super().__init__(rig.operator.do)
        self._by_word = isinstance(rig, SimRig)
        self._electronics = rig.electronics
        self._measured: Callable[[Any], Any] = rig.electronics.raw

    def begin(self, task: Task) -> str | None:
        """As at any simulated rig; a wire that is off reads as the lower end of the converter."""
        if self._by_word:
            return super().begin(task)
        if task is Task.BREAK_SENSOR:
            self._electronics.raw = self._torn
        elif task is Task.MEND_SENSOR:
            self._electronics.raw = self._measured
        else:
            return super().begin(task)
        return None

    def _torn(self, trace: Any) -> Any:
        raw = self._measured(trace)
        raw[1] = self._electronics.raw_min
        return raw


@contextmanager
def _simulator() -> Iterator[Any]:
    yield SimRig(quick(SOLENOID))


@contextmanager
def _simulator_with_hand_valves() -> Iterator[Any]:
    yield SimRig(quick(HAND_VALVES))


@contextmanager
def _firmware_on_the_pc() -> Iterator[Any]:
    with on_the_pc() as child:
        yield FirmwareRig(quick(SOLENOID), child)


@contextmanager
def _firmware_for_hand_valves() -> Iterator[Any]:
    # the plant's valves are solenoids that this program never drives: it is the same to the wire
    with Child(program(valves=False, sanitized=False)) as child:
        yield FirmwareRig(quick(SOLENOID), child)


@contextmanager
def _firmware_in_the_emulator() -> Iterator[Any]:
    with in_the_emulator() as child:
        yield FirmwareRig(quick(SOLENOID), child)


DEVICES: dict[str, Callable[[], Any]] = {
    "simulator": _simulator,
    "simulator-hand-valves": _simulator_with_hand_valves,
    "firmware-pc": _firmware_on_the_pc,
    "firmware-pc-hand-valves": _firmware_for_hand_valves,
    "firmware-emulator": _firmware_in_the_emulator,
}
"""The rigs by name, each a context manager."""

_OF_VALVES = {check.name for check in SUITE if Need.VALVES in check.needs}
_OF_NO_VALVES = {check.name for check in SUITE if Need.NO_VALVES in check.needs}
NOT_TRIED = {name: _OF_VALVES if name.endswith("hand-valves") else _OF_NO_VALVES for name in DEVICES}
"""What cannot be tried on each device, because of what is fitted to it."""


def run_in_memory(device: str) -> Run:
    """The whole suite over one of the devices."""
    with DEVICES[device]() as rig:
        return run_suite(SimEndpoint(rig), air=True, hands=QuickHands(rig))
