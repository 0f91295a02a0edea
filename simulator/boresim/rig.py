"""The simulated rig at its byte boundary: plant, electronics, device and the person, in virtual time.

Time moves from scan to scan of the device; several scans are taken at once (a batch) as long as nothing happens between them. The
octets do not depend on how `SimRig.advance` is cut nor on where batches end.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil

import numpy as np
from borewire.messages import Quantity

from boresim.device import Channel, Device, DeviceSetup, IndexPass
from boresim.electronics import Electronics
from boresim.faults.board import FaultBoard
from boresim.faults.words import told
from boresim.interlock import Scans
from boresim.line import Line
from boresim.operator import Operator
from boresim.plant import Plant, PlantTrace
from boresim.scenario import Scenario
from boresim.stream import MAX_BLOCK_SIZE

__all__ = ["FIRMWARE_VERSION", "SimRig"]

FIRMWARE_VERSION = "boresim 1"
BATCH_SCANS = 32
OFF_S = 0.3
BURST_S = 0.032


class SimRig:
    """A rig with its engine and its person, from a scenario; `seed` replaces the scenario's.

    receive and transmit are the cable; advance lets virtual time pass. plant, electronics, device and operator may be looked at and
    used between two calls of advance; what is done then is done at the last scan.

    >>> from boresim.scenario import load_scenario
    >>> rig = SimRig(load_scenario("hillclimb-before"))
    >>> rig.operator.do("hose 1")
    'ok putting the hose into cylinder 1'
    >>> rig.advance(10.0); rig.plant.hose_at, rig.now_s
    (1, 10.0)
    """

    def __init__(self, scenario: Scenario, seed: int | None = None) -> None:
        self.scenario = scenario if seed is None else replace(scenario, seed=seed)
        self.plant: Plant = Plant(self.scenario)
        self.electronics: Electronics = Electronics(self.scenario)
        self.plugged = True
        self.powered = True
        self._setup = _device_setup(self.scenario, self.electronics)
        self._tick_s = self.electronics.true_period_s(1.0 / self._setup.tick_rate_hz)
        self._clock_from = (0, 0.0)  # a tick and its time from which on the clock has gone as it does
        self._now_ns = 0
        self._ticks = 0  # of the device's clock, from the beginning to the last scan
        self._on_again_tick = 0
        self._boots = 0
        self._hold_pressed = False
        self._out = bytearray()
        self.line = Line(self._out, round(BURST_S * self._setup.tick_rate_hz))
        self.device = Device(self._setup, 0, self._out)
        self.operator: Operator = Operator(self.plant, self, self.scenario.operator, self.scenario.seed)
        self.faults: FaultBoard = FaultBoard(self)
        for planned in self.scenario.faults:
            self.faults.arm(planned.name, planned.at, planned.after_s)

    # ------------------------------------------------------------------ time and cable

    @property
    def now_s(self) -> float:
        """Virtual seconds since the rig was made."""
        return self._now_ns / 1e9

    def advance(self, dt_s: float) -> None:
        """Let virtual time pass, to the nanosecond. Raises ValueError for a negative or endless time."""
        if not 0.0 <= dt_s < float("inf"):
            raise ValueError(f"dt_s must be a time from 0 on, not {dt_s}")
        self._now_ns += round(dt_s * 1e9)
        from_tick, from_s = self._clock_from
        end_tick = from_tick + int((self.now_s - from_s) / self._tick_s)
        while self._ticks + self._scan_ticks <= end_tick:
            self._batch(end_tick)

    def receive(self, data: bytes) -> None:
        """Octets from the host, carried out at the device's next scan; lost while the cable is out or the power off."""
        if self.plugged and self.powered:
            self.device.hear(self.line.from_host(data, self._ticks) if self.line.worn else data)

    def transmit(self) -> bytes:
        """The octets for the host since the last call."""
        if self.line.worn:
            self.line.from_device(self._ticks)
            return self.line.to_host.take(self._ticks)
        data = bytes(self._out)
        self._out.clear()
        return data

    # ------------------------------------------------------------------ what the person reaches (operator.Panel)

    @property
    def hold_fitted(self) -> bool:
        """Whether there is a hold-to-run switch."""
        return self._setup.hold_fitted

    @property
    def hold_pressed(self) -> bool:
        """Whether the hold-to-run switch is pressed."""
        return self._hold_pressed

    def press_hold(self, pressed: bool) -> None:
        """Press the hold-to-run switch or let it go. Raises ValueError when none is fitted."""
        if not self.hold_fitted:
            raise ValueError("hold: no hold-to-run switch is fitted to this rig")
        self._hold_pressed = pressed
        if self.powered:
            self.device.press_hold(pressed)

    def unplug(self) -> None:
        """Pull the cable: what is on its way is lost. The device keeps its power."""
        self.plugged = False
        self.line.lose()

    def plug(self) -> None:
        """Put the cable back."""
        self.plugged = True

    def power_cycle(self) -> None:
        """Switch the device off, and on again a moment later: valves at rest, counters at 0, another boot id."""
        self.powered = False
        self._on_again_tick = self._ticks + round(OFF_S * self._setup.tick_rate_hz)
        if self._setup.valves:
            self.plant.set_supply(False)
            self.plant.set_vent(True)

    def set_clock_error(self, ppm: float) -> None:
        """The device's clock is so much too slow from the last scan on; negative: too fast."""
        self._clock_from = (self._ticks, self._time_s(self._ticks))
        self.electronics.clock_error_ppm = ppm
        self._tick_s = self.electronics.true_period_s(1.0 / self._setup.tick_rate_hz)

    def _time_s(self, tick: int) -> float:
        from_tick, from_s = self._clock_from
        return from_s + (tick - from_tick) * self._tick_s

    def _tick_at(self, time_s: float) -> int:
        """The first tick at or after a time."""
        from_tick, from_s = self._clock_from
        return from_tick + ceil((time_s - from_s) / self._tick_s)

    def _power_up(self) -> None:
        self.powered = True
        self._boots += 1
        self.electronics.power_up(self.plant.crank_deg, self.plant.now_s)
        self.device = Device(self._setup, self._boots, self._out, hold_pressed=self._hold_pressed, messages=self.device.messages)

    # ------------------------------------------------------------------ what goes wrong (faults.board)

    @property
    def scan_s(self) -> float:
        """Virtual time of the last scan."""
        return self._time_s(self._ticks)

    def become(self, scenario: Scenario) -> None:
        """Engine, air side and room are those of another scenario from now on; `scenario` still says what they were made from."""
        self.plant.become(scenario)
        self.electronics.stand_in(scenario.ambient.pressure_abs_pa)

    def worn_line(self) -> Line:
        """The cable, to make something go wrong with it from now on: what the device has said until now gets through."""
        self.line.seal(self._ticks)
        return self.line

    def play_fault(self, words: tuple[str, ...]) -> str:
        """What the person tells about faults; see boresim.faults.words."""
        return told(self.faults, words)

    # ------------------------------------------------------------------ batches

    @property
    def _scan_ticks(self) -> int:
        return self.device.scan_ticks if self.powered else self._setup.longest_scan_ticks

    def _batch(self, end_tick: int) -> None:
        """Some scans, up to the first at which somebody acts; then what is done there."""
        if self.faults.waiting:
            self.faults.look(self.scan_s)
        step = self._scan_ticks
        count = min(BATCH_SCANS, (end_tick - self._ticks) // step, self._scans_to_act(step))
        if self.powered:
            self._device_scans(count, step)
        else:
            self.plant.advance(count, self.electronics.true_period_s(step / self._setup.tick_rate_hz))
            self._ticks += count * step
            self._look_back(count, step)
            if self._ticks >= self._on_again_tick:
                self._power_up()
        due_s = self.operator.due_s
        if due_s is not None and self._ticks >= self._tick_at(due_s):
            self.operator.act(self.scan_s)
        if not self.plugged:
            self.line.lose()
        elif self.line.worn:
            self._over_the_line()

    def _over_the_line(self) -> None:
        self.line.from_device(self._ticks)
        arrived = self.line.to_device.take(self._ticks)
        if arrived and self.powered:
            self.device.hear(arrived)

    def _scans_to_act(self, step: int) -> int:
        """How many scans there are until somebody acts of whom it is known beforehand, BATCH_SCANS at most."""
        if self.powered and self.device.waiting:
            return 1
        ticks, operator = self._ticks, self.operator
        first = ticks + BATCH_SCANS * step
        if (due_s := operator.due_s) is not None and not operator.only_looks:
            first = min(first, self._tick_at(due_s))
        if (due_s := self.faults.due_s) is not None:
            first = min(first, self._tick_at(due_s))
        if self.line.worn:
            first = min([first, *self.line.due_ticks(ticks)])
        if not self.powered:
            first = min(first, self._on_again_tick)
        elif (due_tick := self.device.due_tick) is not None:
            first = min(first, due_tick - self.device.next_tick + step + ticks)
        return max(1, -((ticks - first) // step))

    def _look_back(self, count: int, step: int) -> None:
        """The person's looks before the last of so many scans, which did not end a batch because nothing comes of them yet."""
        operator, first_tick = self.operator, self._ticks - (count - 1) * step
        while operator.only_looks and (due_s := operator.due_s) is not None:
            scan = max(0, -((first_tick - self._tick_at(due_s)) // step))
            if scan >= count - 1:
                return
            operator.act(self._time_s(first_tick + scan * step))

    def _device_scans(self, count: int, step: int) -> None:
        device, plant = self.device, self.plant
        before = plant.snapshot() if device.interlock.watching else None
        trace, scans = self._scan(count, step)
        trip = device.first_trip(scans) if before is not None else None
        if before is not None and trip is not None and trip[0] + 1 < count:
            plant.restore(before)
            count = trip[0] + 1
            trace, scans = self._scan(count, step)
        self._ticks += count * step
        self._look_back(count, step)
        driven = device.interlock.supply_open, device.interlock.vent_open
        device.take(scans, self._index_passes(trace, scans), trip=trip[1] if trip else None)
        self._drive(driven)

    def _scan(self, count: int, step: int) -> tuple[PlantTrace, Scans]:
        device = self.device
        trace = self.plant.advance(count, self.electronics.true_period_s(step / self._setup.tick_rate_hz))
        counts, raw = self.electronics.counts(trace), self.electronics.raw(trace)
        return trace, Scans(device.next_tick, step, counts, raw, device.hold_pressed, device.streaming)

    def _index_passes(self, trace: PlantTrace, scans: Scans) -> list[IndexPass]:
        passes = []
        for pulse in self.electronics.index_pulses(trace):
            scan = min(int(np.searchsorted(trace.t_s, pulse.t_s)), len(scans) - 1)
            tick = scans.first_tick + scan * scans.step_ticks - round((float(trace.t_s[scan]) - pulse.t_s) / self._tick_s)
            passes.append(IndexPass(scan, tick, pulse.count))
        return passes

    def _drive(self, driven: tuple[bool, bool]) -> None:
        interlock = self.device.interlock
        if not self._setup.valves:
            return
        if interlock.supply_open != driven[0]:
            self.plant.set_supply(interlock.supply_open)
        if interlock.vent_open != driven[1]:
            self.plant.set_vent(interlock.vent_open)


def _device_setup(scenario: Scenario, electronics: Electronics) -> DeviceSetup:
    parts = scenario.rig.device
    channels = tuple(
        Channel(
            quantity,
            electronics.raw_min,
            electronics.raw_max,
            electronics.volts_at_zero,
            electronics.volts_per_raw,
            electronics.sensor_supply_v,
        )
        for quantity in (Quantity.PRESSURE_REGULATED, Quantity.PRESSURE_CYLINDER)
    )
    return DeviceSetup(
        serial_number=parts.serial_number,
        firmware_version=FIRMWARE_VERSION,
        counts_per_rev=electronics.counts_per_rev,
        channels=channels,
        valves=scenario.rig.valves == "solenoid",
        hold_fitted=scenario.rig.hold_switch,
        tick_rate_hz=parts.tick_rate_hz,
        first_tick=parts.first_tick,
        max_rate_hz=parts.max_rate_hz,
        max_block_size=min(parts.max_block_size, MAX_BLOCK_SIZE),
        seed=scenario.seed,
    )
