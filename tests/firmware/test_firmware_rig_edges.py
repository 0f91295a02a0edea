"""From the crank to the encoder's wires: what a decoder of them counts is what the electronics count."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from avr_rig.analog import BoardElectronics
from avr_rig.child import ROUND_CYCLES, Pin, PinEvent
from avr_rig.edges import Encoder, levels
from boresim.plant import Plant
from boresim.scenario import Scenario, load_scenario
from hypothesis import given
from hypothesis import strategies as st

# the four levels of A and B in the order in which they come while the count rises: A leads B, as hal.h says
ORDER = [(0, 0), (1, 0), (1, 1), (0, 1)]


class Listener:
    """Counts the edges on three wires, one after the other, as anybody would who looks at them."""

    def __init__(self, standing: Sequence[PinEvent]) -> None:
        self.level = {event.pin: event.level for event in standing}
        self.count = 0
        self.index_at: list[int] = []

    def hear(self, events: Sequence[PinEvent], duration_cycles: int) -> None:
        offsets = [event.offset_cycles for event in events]
        assert offsets == sorted(offsets)
        assert all(0 <= offset < duration_cycles for offset in offsets)
        for event in events:
            before = self._place_in_order()
            assert self.level[event.pin] != event.level
            self.level[event.pin] = event.level
            if event.pin != Pin.INDEX:
                self.count += (self._place_in_order() - before + 1) % 4 - 1
            elif event.level:
                self.index_at.append(self.count)

    def _place_in_order(self) -> int:
        return ORDER.index((self.level[Pin.ENCODER_A], self.level[Pin.ENCODER_B]))


def test_the_order_of_the_levels() -> None:
    assert [levels(count) for count in range(-4, 4)] == ORDER * 2


@given(
    st.lists(st.floats(-30.0, 30.0, allow_nan=False), min_size=1, max_size=40),
    st.integers(0, 15),
    st.sampled_from([1, 0.25, 0.125]),
)
def test_the_count_is_that_of_every_place(moves: list[float], index_count: int, grain: float) -> None:
    places = np.cumsum(np.round(np.array(moves) / grain) * grain) + 0.5
    encoder = Encoder(16, index_count, 0.5)
    listener = Listener(encoder.standing())
    for place in places.tolist():
        listener.hear(encoder.edges([place], ROUND_CYCLES), ROUND_CYCLES)
        assert listener.count == math.floor(place)
        in_pulse = 0.125 <= (place - index_count) % 16 < 0.875
        assert listener.level[Pin.INDEX] == in_pulse
    assert all((count - index_count) % 16 == 0 for count in listener.index_at)


@given(st.lists(st.floats(-30.0, 30.0, allow_nan=False), min_size=2, max_size=40), st.data())
def test_the_same_edges_however_the_way_is_cut(moves: list[float], data: st.DataObject) -> None:
    places = np.cumsum(moves)
    whole = Encoder(16, 3, 0.0).edges(places, ROUND_CYCLES)
    cut = data.draw(st.integers(1, len(moves) - 1))
    parts = Encoder(16, 3, 0.0)
    first = parts.edges(places[:cut], ROUND_CYCLES)
    second = [shifted(event, cut * ROUND_CYCLES) for event in parts.edges(places[cut:], ROUND_CYCLES)]
    got, wanted = np.array([*first, *second]), np.array(whole)
    assert got.shape == wanted.shape
    if len(got):
        assert np.array_equal(got[:, 1:], wanted[:, 1:])
        assert np.max(np.abs(got[:, 0] - wanted[:, 0])) <= 1


def shifted(event: PinEvent, later: int) -> PinEvent:
    return PinEvent(event.offset_cycles + later, event.pin, event.level)


def turned(sign: int) -> Scenario:
    scenario = load_scenario("hillclimb-after")
    return replace(scenario, rig=replace(scenario.rig, encoder=replace(scenario.rig.encoder, sign=sign)))


@pytest.mark.parametrize("sign", [1, -1])
def test_after_a_turn_and_back_the_wires_agree_with_the_electronics(sign: int) -> None:
    plant = Plant(turned(sign))
    electronics = BoardElectronics(turned(sign))
    encoder = Encoder(electronics.counts_per_rev, electronics.index_count, electronics.place(plant.crank_deg))
    listener = Listener(encoder.standing())
    pulses = []
    for turn_deg in (800.0, -650.0, 3.0, -3.0, 420.0):
        plant.turn_by(turn_deg, 60.0)
        while plant.turning:
            trace = plant.advance(32, 0.00025)
            listener.hear(encoder.edges(electronics.places(trace), ROUND_CYCLES), 32 * ROUND_CYCLES)
            pulses += electronics.index_pulses(trace)
            assert listener.count == electronics.counts(trace)[-1]
    assert len(pulses) > 4
    assert listener.index_at == [pulse.count for pulse in pulses]
