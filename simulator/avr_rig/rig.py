"""The simulated rig with the real firmware as its device: boresim's plant, transducers, encoder and person in closed loop with a
child process that runs the firmware.

Time goes in steps on a grid of the firmware's own clock, however `FirmwareRig.advance` is cut. Inside a step the loop is open:
codes and edges are computed beforehand, so what the firmware does to its valves shows in the codes from the next step on. A step is
SHORT_MS while air is on, pressure is left, the crank moves or octets of the host are about; else LONG_MS. In the plant a valve
moves when the firmware moves it: at the next 250 µs, and there at the next 1/1024 s of the plant's own grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil, inf
from typing import Protocol

from boresim.operator import Operator
from boresim.plant import Plant, PlantTrace
from boresim.scenario import Scenario
from boresim.words import CannotError

from avr_rig.analog import BoardElectronics
from avr_rig.child import ROUND_CYCLES, Answer, Codes, Pin, PinEvent, ResetCause
from avr_rig.edges import Encoder

__all__ = ["LONG_MS", "SHORT_MS", "Board", "FirmwareRig"]

CLOCK_HZ = 16_000_000
SHORT_MS = 1
LONG_MS = 8
BATCH_MS = 32  # computed at once; what lies beyond a valve's move is computed again
ROUNDS_PER_MS = 4
MS_CYCLES = ROUNDS_PER_MS * ROUND_CYCLES
OFF_MS = 300
QUIET_PA = 1000.0
MOST_OCTETS = 0xFFFF  # that a step takes


class Board(Protocol):
    """What runs the firmware: avr_rig.child.Child, or what stands in for it in a test."""

    def step(
        self, duration_cycles: int, pins: Sequence[PinEvent] = (), codes: Sequence[Codes] = (), octets: bytes = b"", /
    ) -> Answer:
        """Let cycles pass."""

    def reset(self, cause: ResetCause = ResetCause.RESET_PIN, held_cycles: int = 0, /) -> Answer:
        """Reset the microcontroller and hold it so."""


class FirmwareRig:
    """A rig with its engine and its person, from a scenario, whose device is the firmware that a board runs.

    The same face as boresim.rig.SimRig. seed replaces the scenario's. The firmware is restarted when the rig is made. What is done
    from outside between two calls of advance is done at the end of the last step. busy_cycles: for how many cycles the processor
    did not sleep. resets: how often it was reset, by itself too. Raises ValueError for a scenario whose rig the firmware is not
    built for, and ChildError, in every method that lets time pass, when the child has ended.
    """

    def __init__(self, scenario: Scenario, board: Board, seed: int | None = None) -> None:
        self.scenario = scenario if seed is None else replace(scenario, seed=seed)
        self.plant = Plant(self.scenario)
        self.electronics = BoardElectronics(self.scenario)
        self.plugged = True
        self.powered = True
        self.busy_cycles = 0
        self.resets = 0
        self._board = board
        self._round_s = self.electronics.true_period_s(ROUND_CYCLES / CLOCK_HZ)
        self._ms_s = ROUNDS_PER_MS * self._round_s
        self._now_ns = 0
        self._ms = 0  # of the firmware's clock, to the end of the last step
        self._awake_until_ms = 0
        self._heard_until_ms = 0
        self._on_again_ms = 0
        self._moving = False
        self._hold_pressed = False
        self._outputs = (False, False)
        self._pins: list[PinEvent] = []  # to be changed at the next step
        self._to_device = bytearray()
        self._out = bytearray()
        place = self.electronics.place(self.plant.crank_deg)
        self._encoder = Encoder(self.electronics.counts_per_rev, self.electronics.index_count, place)
        self._power_up()
        self.operator = Operator(self.plant, self, self.scenario.operator, self.scenario.seed)

    # ------------------------------------------------------------------ time and cable

    @property
    def now_s(self) -> float:
        """Virtual seconds since the rig was made."""
        return self._now_ns / 1e9

    def advance(self, dt_s: float) -> None:
        """Let virtual time pass, to the nanosecond. Raises ValueError for a negative or endless time."""
        if not 0.0 <= dt_s < inf:
            raise ValueError(f"dt_s must be a time from 0 on, not {dt_s}")
        self._now_ns += round(dt_s * 1e9)
        end_ms = int(self.now_s / self._ms_s)
        while (steps := self._steps_until(end_ms)) is not None:
            self._run(*steps)
            if not self.powered and self._ms >= self._on_again_ms:
                self._power_up(off_ms=OFF_MS)
            if self._ms >= self._person_due_ms:
                self.operator.act(self._ms * self._ms_s)

    def receive(self, data: bytes) -> None:
        """Octets from the host, on the line from the next step on; lost while the cable is out or the power off."""
        if self.plugged and self.powered:
            self._to_device += data

    def transmit(self) -> bytes:
        """The octets for the host since the last call."""
        data = bytes(self._out)
        self._out.clear()
        return data

    # ------------------------------------------------------------------ what the person reaches (operator.Panel)

    @property
    def hold_fitted(self) -> bool:
        """Whether there is a hold-to-run switch."""
        return True

    @property
    def hold_pressed(self) -> bool:
        """Whether the hold-to-run switch is pressed."""
        return self._hold_pressed

    def press_hold(self, pressed: bool) -> None:
        """Press the hold-to-run switch or let it go."""
        self._hold_pressed = pressed
        self._pins.append(PinEvent(0, Pin.HOLD, int(pressed)))

    def unplug(self) -> None:
        """Pull the cable: what is on its way is lost. The device keeps its power."""
        self.plugged = False
        self._to_device.clear()
        self._out.clear()

    def plug(self) -> None:
        """Put the cable back."""
        self.plugged = True

    def play_fault(self, words: tuple[str, ...]) -> str:
        """Faults are played at boresim's own device. Raises CannotError always."""
        raise CannotError(f"fault {' '.join(words)}: faults are played by borewright sim only, where the device is simulated too")

    def power_cycle(self) -> None:
        """Switch the device off, and on again a moment later."""
        self.powered = False
        self._on_again_ms = self._ms + OFF_MS
        self._to_device.clear()
        self._drive((False, False))

    def reset(self, cause: ResetCause = ResetCause.RESET_PIN, held_ms: int = 2) -> None:
        """Reset the microcontroller and hold it so for a while, in which time passes at once."""
        self._to_device.clear()
        self._drive((False, False))
        self._let_pass(held_ms * ROUNDS_PER_MS)
        self._ms += held_ms
        self._show_where_the_crank_is(1)
        self._take(self._board.reset(cause, held_ms * MS_CYCLES))
        self._restarted()

    def _power_up(self, off_ms: int = 0) -> None:
        """The wires have their levels before the firmware begins: it counts from where the crank stands."""
        self.powered = True
        if off_ms:
            self._board.reset(ResetCause.POWER_ON, off_ms * MS_CYCLES)
        self._show_where_the_crank_is(MS_CYCLES)
        self._take(self._board.reset(ResetCause.POWER_ON))
        self._restarted()

    def _show_where_the_crank_is(self, cycles: int) -> None:
        """Bring the wires to their levels before a reset, after which the firmware counts from there."""
        self._encoder.place = self.electronics.place(self.plant.crank_deg)
        self._board.step(cycles, [*self._encoder.standing(), PinEvent(0, Pin.HOLD, int(self._hold_pressed))])
        self._pins.clear()

    def _restarted(self) -> None:
        self.electronics.power_up(self.plant.crank_deg)
        self._stay_awake()

    # ------------------------------------------------------------------ steps

    @property
    def _person_due_ms(self) -> float:
        """The end of the step at which the person next does something."""
        due_s = self.operator.due_s
        return inf if due_s is None else ceil(due_s / self._ms_s)

    def _stay_awake(self) -> None:
        self._awake_until_ms = (self._ms // BATCH_MS + 1) * BATCH_MS

    def _steps_until(self, end_ms: int) -> tuple[int, int] | None:
        """How long the next steps are and how many of them come before anything has to be looked at; None: none ends by end_ms.

        Only what is so at the end of the last step decides, on a grid of LONG_MS, so that it is the same however time is cut.
        """
        due_ms = min(self._person_due_ms, inf if self.powered else self._on_again_ms)
        if self._ms >= self._awake_until_ms:
            if any(self._outputs) or self._moving or self.plant.turning or self.plant.p_cylinder_gauge_pa > QUIET_PA:
                self._stay_awake()
            elif self._to_device or self._pins or self._ms < self._heard_until_ms or due_ms < self._ms + LONG_MS:
                self._awake_until_ms = self._ms + LONG_MS
        if self._ms >= self._awake_until_ms:
            count = (min(end_ms, due_ms, self._ms + BATCH_MS) - self._ms) // LONG_MS
            return (LONG_MS, int(count)) if count > 0 else None
        count = max(1, min(end_ms, due_ms, self._awake_until_ms) - self._ms)
        return (SHORT_MS, int(count)) if self._ms < end_ms else None

    def _run(self, step_ms: int, count: int) -> None:
        rounds = step_ms * ROUNDS_PER_MS
        before = self.plant.snapshot()
        trace = self.plant.advance(count * rounds, self._round_s)
        self._moving = _moved_at_last(trace)
        if not self.powered:
            self._ms += count * step_ms
            return
        places, codes = self.electronics.places(trace), self.electronics.codes(trace)
        pins = self._pins_of_steps(self._encoder.edges(places, ROUND_CYCLES), rounds * ROUND_CYCLES, count)
        for number in range(count):
            octets = bytes(self._to_device[:MOST_OCTETS])
            del self._to_device[:MOST_OCTETS]
            first, end = number * rounds, (number + 1) * rounds
            answer = self._board.step(rounds * ROUND_CYCLES, pins[number], codes[first:end], octets)
            self._ms += step_ms
            if octets:
                self._heard_until_ms = self._ms + LONG_MS
            self._take(answer)
            if answer.outputs or answer.resets:
                self._encoder.place = float(places[end - 1])
                self.plant.restore(before)
                self._replay(first, end, answer)
                return

    def _pins_of_steps(self, edges: list[PinEvent], step_cycles: int, count: int) -> list[list[PinEvent]]:
        steps: list[list[PinEvent]] = [[] for _ in range(count)]
        steps[0], self._pins = self._pins, []
        for edge in edges:
            number, offset = divmod(edge.offset_cycles, step_cycles)
            steps[number].append(PinEvent(offset, edge.pin, edge.level))
        return steps

    def _take(self, answer: Answer) -> None:
        self.busy_cycles += answer.busy_cycles
        self.resets += answer.resets
        if self.plugged:
            self._out += answer.octets

    def _replay(self, first: int, end: int, answer: Answer) -> None:
        """From the beginning of the batch to the end of its step from `first` to `end`, with what was done to the valves."""
        passed = 0
        for change in answer.outputs:
            # the last instruction may end a little after the step
            at = min(first - (-change.offset_cycles // ROUND_CYCLES), end)
            self._let_pass(at - passed)
            passed = at
            self._drive((change.supply_energised, change.vent_energised))
        self._let_pass(end - passed)
        self._moving = True
        if answer.resets:
            self._restarted()

    def _let_pass(self, rounds: int) -> None:
        if rounds:
            self.plant.advance(rounds, self._round_s)

    def _drive(self, outputs: tuple[bool, bool]) -> None:
        """An energised supply valve is open, an energised vent valve closed."""
        (supply, vent), self._outputs = self._outputs, outputs
        if outputs[0] != supply:
            self.plant.set_supply(outputs[0])
        if outputs[1] != vent:
            self.plant.set_vent(not outputs[1])


def _moved_at_last(trace: PlantTrace) -> bool:
    """Whether the crank was moving in the last round of a trace."""
    before = float(trace.crank_deg[-2]) if len(trace) > 1 else trace.crank_before_deg
    return float(trace.crank_deg[-1]) != before
