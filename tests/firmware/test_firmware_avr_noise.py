"""Noise on a wire of the encoder, in the emulator: interrupts hold up the one that takes the conversions.

The crank hardly moves: one of the two lines goes up and down, so that the window is not left and no other watch looks.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable

import pytest
from avr_rig.child import Pin, PinEvent
from borewire.messages import HostAlive, SampleBlock, SupplyOpen

from .conftest import Board
from .emulated import AT_REST, MS_CYCLES, S_CYCLES, Emulated, of_kind

SLICE_MS = 20
WORDS_AT_REST = tuple(4 * code for code in AT_REST[:3])
OPENING = SupplyOpen(2, 7, 60_000, -20, 20, 2000, 2000)


class Wire:
    """Line A, whose next edge comes as many cycles later as `apart` says."""

    def __init__(self, apart: Callable[[], float]) -> None:
        self._apart = apart
        self._level = 0
        self._next = 0.0

    def edges(self, cycles: int) -> list[PinEvent]:
        """Those of so many cycles."""
        events: list[PinEvent] = []
        while self._next < cycles:
            self._level ^= 1
            events.append(PinEvent(int(self._next), Pin.ENCODER_A, self._level))
            self._next += self._apart()
        self._next -= cycles
        return events


def bursts(chance: random.Random) -> float:
    """Some edges close together, then a pause: 18 000 edges a second."""
    return chance.uniform(60, 90) if chance.random() < 0.8 else chance.expovariate(1 / 4000)


def even_chance(chance: random.Random) -> float:
    """60 000 edges a second, without a rhythm."""
    return chance.expovariate(60_000 / S_CYCLES)


@pytest.mark.parametrize("apart", [bursts, even_chance])
@pytest.mark.parametrize(("baud", "garbage"), [(500_000, 0), (1_000_000, 900)])
def test_channels_are_not_mixed_up(new_board: Board, apart: Callable[[random.Random], float], baud: int, garbage: int) -> None:
    """The voltages stand still, so each raw word is four times the code of its own channel, and of no other."""
    board = new_board(baud)
    board.boot()
    board.stream()
    chance = random.Random(1)
    wire = Wire(lambda: apart(chance))
    heard: list[object] = []
    for _ in range(50):
        octets = b"\0" + bytes(chance.randrange(1, 255) for _ in range(garbage))
        heard += board.step(SLICE_MS, octets, pins=wire.edges(SLICE_MS * MS_CYCLES))
    samples = [sample[1:] for block in of_kind(heard, SampleBlock) for sample in struct.iter_unpack("<iHHH", block.samples)]
    assert len(samples) > 900
    assert set(samples) == {WORDS_AT_REST}
    assert board.resets == 0


def ms_until_vented(board: Emulated, wire: Wire, at_most_ms: int) -> float:
    began = board.cycle
    for _ in range(at_most_ms // SLICE_MS):
        board.step(SLICE_MS, pins=wire.edges(SLICE_MS * MS_CYCLES))
        if board.outputs == (False, False):
            return (board.changes[-1].cycle - began) / MS_CYCLES
    return float("inf")


@pytest.mark.parametrize("edges_per_s", [70_000, 150_000, 152_000, 155_000, 160_000])
def test_noise_does_not_stretch_the_times_of_the_interlock(board: Emulated, edges_per_s: int) -> None:
    """The host is silent for 500 ms, or the watchdog of 64 ms finds that conversions come at less than half their rate."""
    board.open_air(OPENING)
    board.step(5, HostAlive())
    assert ms_until_vented(board, Wire(lambda: S_CYCLES / edges_per_s), 3000) <= 500 * 64 / 32
