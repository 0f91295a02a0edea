"""The closed loop around a board without a firmware: what it is shown, how finely, and what becomes of what it does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest
from avr_rig.analog import BoardElectronics
from avr_rig.child import ROUND_CYCLES, Answer, Codes, OutputChange, Pin, PinEvent, ResetCause
from avr_rig.rig import LONG_MS, SHORT_MS, FirmwareRig
from boresim.endpoint import SimEndpoint, SimPortError
from boresim.plant import Plant
from boresim.scenario import Scenario, load_scenario

from .test_firmware_rig_edges import Listener

MS_CYCLES = 16_000
ORDERS = {ord("O"): (True, True), ord("C"): (False, True), ord("V"): (False, False)}  # open, close the vent, vent
ACTS_AT = 5000  # cycles after the beginning of the step that brings the order


@dataclass
class Watcher:
    """A board that writes down all it is shown, does to its valves what single letters say, and repeats every octet."""

    steps: list[int] = field(default_factory=list)
    shown: list[tuple[int, int, int]] = field(default_factory=list)
    codes: list[Codes] = field(default_factory=list)
    resets: list[tuple[ResetCause, int]] = field(default_factory=list)
    cycle: int = 0
    outputs: tuple[bool, bool] = (False, False)
    levels: dict[int, int] = field(default_factory=lambda: dict.fromkeys(Pin, 0))
    listener: Listener | None = None
    resets_itself: int = 0
    acts_at: int = ACTS_AT

    def step(
        self, duration_cycles: int, pins: Sequence[PinEvent] = (), codes: Sequence[Codes] = (), octets: bytes = b"", /
    ) -> Answer:
        self.steps.append(duration_cycles // MS_CYCLES)
        self.shown += [(self.cycle + event.offset_cycles, event.pin, event.level) for event in pins]
        wires = []
        for event in pins:
            if event.pin != Pin.HOLD and event.level != self.levels[event.pin]:
                wires.append(event)
            self.levels[event.pin] = event.level
        if self.listener is not None:
            self.listener.hear(wires, duration_cycles)
        self.codes += codes
        self.cycle += duration_cycles
        changes = []
        for order in octets:
            if order in ORDERS and ORDERS[order] != self.outputs:
                self.outputs = ORDERS[order]
                changes.append(OutputChange(self.acts_at, *self.outputs))
        resets, self.resets_itself = self.resets_itself, 0
        if resets:
            self._begin_anew()
        return Answer(self.cycle, octets, tuple(changes), resets, duration_cycles // 10)

    def reset(self, cause: ResetCause = ResetCause.RESET_PIN, held_cycles: int = 0, /) -> Answer:
        self.resets.append((cause, held_cycles))
        self.cycle += held_cycles
        self._begin_anew()
        return Answer(self.cycle, b"", (), 1, 0)

    def _begin_anew(self) -> None:
        self.outputs = (False, False)
        self.listener = Listener([PinEvent(0, pin, self.levels[pin]) for pin in (Pin.ENCODER_A, Pin.ENCODER_B, Pin.INDEX)])


def rig_and_board() -> tuple[FirmwareRig, Watcher]:
    board = Watcher()
    return FirmwareRig(load_scenario("hillclimb-after"), board), board


def done(rig: FirmwareRig, words: str) -> None:
    assert rig.operator.do(words).startswith("ok")
    while rig.operator.busy:
        rig.advance(0.032)


def test_the_board_counts_what_the_electronics_count() -> None:
    rig, board = rig_and_board()
    for words in ("turn +500 rpm 30", "turn -333 rpm 60", "turn +7 rpm 3"):
        done(rig, words)
        assert board.listener is not None
        assert board.listener.count == rig.electronics.count_at(rig.plant.crank_deg) != 0
    done(rig, "power-cycle")
    assert not rig.powered
    done(rig, "turn +90 rpm 60")
    rig.advance(1.0)
    assert rig.powered
    assert board.listener.count == rig.electronics.count_at(rig.plant.crank_deg) != 0
    rig.reset()
    assert rig.electronics.count_at(rig.plant.crank_deg) == 0
    done(rig, "turn -90 rpm 60")
    assert board.listener.count == rig.electronics.count_at(rig.plant.crank_deg) < 0


def test_what_the_crank_turns_while_the_board_is_held_in_reset_is_not_counted() -> None:
    rig, board = rig_and_board()
    assert rig.operator.do("turn +900 rpm 60").startswith("ok")
    rig.advance(1.9)
    assert rig.plant.turning
    rig.reset(held_ms=200)
    assert rig.plant.turning
    rig.advance(3.0)
    assert board.listener is not None
    assert board.listener.count == rig.electronics.count_at(rig.plant.crank_deg) > 500


def test_a_reset_of_its_own_begins_the_count_anew() -> None:
    rig, board = rig_and_board()
    assert rig.operator.do("turn +300 rpm 60").startswith("ok")
    rig.advance(1.9)
    assert rig.plant.turning
    resets = rig.resets
    board.resets_itself = 1
    rig.advance(0.002)
    assert rig.resets == resets + 1
    assert abs(rig.electronics.count_at(rig.plant.crank_deg)) < 50
    rig.advance(3.0)
    assert board.listener is not None
    assert board.listener.count == rig.electronics.count_at(rig.plant.crank_deg) > 500


@pytest.mark.parametrize("slices_s", [(0.001,), (0.0137, 0.0004, 0.21), (0.5,)])
def test_the_board_is_shown_the_same_however_time_is_cut(slices_s: tuple[float, ...]) -> None:
    """A host that speaks each half second and a person who works; both at the same moments."""
    logs = []
    for cuts in ((0.032,), slices_s):
        rig, board = rig_and_board()
        told = bytearray()
        for number, octets in enumerate((b"hello", b"", b"C", b"O", b"more", b"V", b"")):
            rig.receive(octets)
            if number == 1:
                rig.operator.do("turn +20 rpm 40")
            left_s, at = 0.5, 0
            while left_s > 1e-9:
                slice_s = min(cuts[at % len(cuts)], left_s)
                rig.advance(slice_s)
                left_s -= slice_s
                at += 1
            told += rig.transmit()
        logs.append((board.steps, board.shown, board.codes, bytes(told), rig.plant.p_cylinder_gauge_pa))
    assert logs[0] == logs[1]
    assert {LONG_MS, SHORT_MS} == set(logs[0][0])


def test_steps_are_short_while_anything_goes_on() -> None:
    rig, board = rig_and_board()
    rig.advance(1.0)
    assert set(board.steps[50:]) == {LONG_MS}

    def steps_while(act: bytes | str, seconds: float) -> set[int]:
        if isinstance(act, bytes):
            rig.receive(act)
        else:
            rig.operator.do(act)
        first = len(board.steps)
        rig.advance(seconds)
        return set(board.steps[first:])

    done(rig, "hose capped")
    assert steps_while(b"O", 1.0) == {SHORT_MS}
    assert rig.plant.p_cylinder_gauge_pa > 500_000.0
    assert steps_while(b"C", 1.0) == {SHORT_MS}
    assert steps_while(b"V", 0.02) == {SHORT_MS}
    rig.advance(2.0)
    assert rig.plant.p_cylinder_gauge_pa < 100.0
    assert steps_while(b"", 1.0) == {LONG_MS}
    rig.plant.turn_by(30.0, 20.0)
    assert steps_while(b"", 0.2) == {SHORT_MS}
    assert steps_while(b"", 2.0) == {SHORT_MS, LONG_MS}
    assert not rig.plant.turning


def test_a_valve_moves_when_it_is_driven_and_shows_from_the_next_step_on() -> None:
    rig, board = rig_and_board()
    done(rig, "hose capped")
    rig.advance(1.0)
    rig.receive(b"O")
    before = len(board.codes)
    rig.advance(0.3)
    assert rig.plant.supply_open
    assert not rig.plant.vent_open
    alone, round_s = Plant(rig.scenario), rig.electronics.true_period_s(ROUND_CYCLES / 16e6)
    alone.attach_hose("capped")
    driven_at = before // 4 + 2  # the order comes with the next step, and is obeyed in its second round
    rounds = alone.advance(1, round_s)
    while (rounds.position + 1) // 4 < driven_at // 4:
        rounds = alone.advance(1, round_s)
    alone.set_supply(True)
    alone.set_vent(False)
    pressure = alone.advance(1200, round_s).p_regulated_abs_pa
    assert pressure[-1] > 500_000.0
    assert rig.plant.p_regulated_gauge_pa + rig.scenario.ambient.pressure_abs_pa == pytest.approx(float(pressure[-1]), rel=1e-3)


@pytest.mark.parametrize("acts_at", [0, 1, MS_CYCLES - 1, MS_CYCLES, MS_CYCLES + 2])
def test_a_valve_may_be_driven_at_any_cycle_and_by_the_last_instruction_of_a_step(acts_at: int) -> None:
    rig, board = rig_and_board()
    board.acts_at = acts_at
    rig.advance(0.1)
    rig.receive(b"O")
    rig.advance(0.1)
    assert rig.plant.supply_open
    assert len(board.codes) * ROUND_CYCLES == sum(board.steps[1:]) * MS_CYCLES
    assert rig.plant.now_s == pytest.approx(0.2, abs=0.001)


def test_pulling_the_cable_loses_what_is_on_its_way() -> None:
    rig, board = rig_and_board()
    port = SimEndpoint(rig)
    port.write(b"hello")
    assert port.read(5) == b"hello"
    port.write(b"O")
    rig.unplug()
    rig.receive(b"O")
    rig.advance(0.1)
    assert board.outputs == (False, False)
    with pytest.raises(SimPortError, match="check its cable"):
        port.read(1)
    rig.plug()
    port.write(b"C")
    assert port.read(1) == b"C"
    assert board.outputs == (False, True)
    rig.power_cycle()
    assert rig.plant.vent_open
    rig.receive(b"O")
    rig.advance(1.0)
    assert board.outputs == (False, False)
    assert board.resets[-2:] == [(ResetCause.POWER_ON, 300 * MS_CYCLES), (ResetCause.POWER_ON, 0)]


def test_the_hold_switch_and_what_it_is_at_power_up() -> None:
    rig, board = rig_and_board()
    done(rig, "hold press")
    assert rig.hold_pressed
    assert board.levels[Pin.HOLD] == 1
    rig.power_cycle()
    rig.press_hold(False)
    rig.advance(1.0)
    assert board.levels[Pin.HOLD] == 0


# ---------------------------------------------------------------------- codes


def at_pressure(gauge_pa: float, scenario: Scenario, count: int) -> Any:
    plant = Plant(scenario)
    trace = plant.advance(count, 0.00025)
    absolute = np.full(count, gauge_pa + scenario.ambient.pressure_abs_pa)
    return replace(trace, p_regulated_abs_pa=absolute, p_cylinder_abs_pa=absolute)


def ideal(scenario: Scenario, **transducers: float) -> Scenario:
    parts = scenario.rig.transducers
    none = dict.fromkeys(
        ("noise_pa", "zero_limit_pa", "zero_drift_pa", "zero_drift_limit_pa_h", "span_u", "tie_u", "bow_limit_pa",
         "bow_mismatch_limit_pa", "hum_limit_pa", "converter_limit_lsb"), 0.0,
    )  # fmt: skip
    return replace(scenario, rig=replace(scenario.rig, transducers=replace(parts, **(none | transducers))))


@pytest.mark.parametrize(
    ("gauge_pa", "code"),
    # by hand: 10 % of 1024 codes at 0, 90 % at 1000 kPa, to the nearest
    [(0.0, 102), (500_000.0, 512), (1_000_000.0, 922), (2_000_000.0, 1023), (-200_000.0, 0)],
)
def test_the_law_of_a_transducer(gauge_pa: float, code: int) -> None:
    scenario = ideal(load_scenario("hillclimb-after"))
    codes = BoardElectronics(scenario).codes(at_pressure(gauge_pa, scenario, 3))
    # the spare one is open to the room: 0.1 · 1024 = 102.4; the reference of 1.1 V against 5 V: 225.3
    assert codes == [(code, code, 102, 225)] * 3


@pytest.mark.parametrize("ar1", [0.0, 0.6])
def test_the_sum_of_four_conversions_has_the_noise_of_a_sample(ar1: float) -> None:
    scenario = ideal(load_scenario("hillclimb-after"), noise_pa=5000.0, noise_ar1=ar1)
    codes = np.array(BoardElectronics(scenario).codes(at_pressure(500_000.0, scenario, 160_000)))[:, :2]
    words = codes.reshape(-1, 4, 2).sum(axis=1)
    # 4096 words are 5 V, 80 % of which are 1000 kPa
    spread_pa = words.std(axis=0) / (0.8 * 4096) * 1e6
    assert spread_pa == pytest.approx([5000.0, 5000.0], rel=0.02)


@pytest.mark.parametrize(
    ("change", "named"),
    [({"valves": "hand"}, "valves"), ({"hold_switch": False}, "hold_switch")],
)
def test_a_rig_that_the_firmware_is_not_built_for(change: dict[str, Any], named: str) -> None:
    scenario = load_scenario("hillclimb-after")
    with pytest.raises(ValueError, match=f"{named} = .* take another scenario"):
        FirmwareRig(replace(scenario, rig=replace(scenario.rig, **change)), Watcher())


def test_rounds_and_steps_fit() -> None:
    rig, board = rig_and_board()
    rig.advance(0.1)
    assert len(board.codes) * ROUND_CYCLES == sum(board.steps[1:]) * MS_CYCLES
