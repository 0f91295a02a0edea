"""The firmware on the PC and the simulated device of boresim, given the same random story, must answer alike.

Neither was written from the other; both are held to interlock.toml and PROTOCOL.md. A story is a list of turns; in each of them
something is done at the rig and commands are sent, and both devices are compared at its end. What may differ: ticks, the count
at which a trip is told (the firmware looks at every edge, the simulated device each millisecond), and whether a stopped stream's
AirEvent comes before or behind its Ack. Time limits end in the middle of turns, so that a millisecond decides nothing.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
import pytest
from avr_rig.child import Codes, Pin
from boresim.device import Channel, Device, DeviceSetup
from boresim.interlock import Scans
from borewire.codec import Decoder, encode
from borewire.messages import (
    Ack,
    AirEvent,
    Cause,
    EchoReply,
    EchoRequest,
    HoldEvent,
    HostAlive,
    IdentifyRequest,
    Identity,
    Message,
    Quantity,
    RefusalReason,
    Refused,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyOpen,
    SupplyShut,
    VentClose,
    VentOpen,
)

from .pc_child import QUIET, TICKS_PER_MS, Bench, bench

TURN_MS = 20
LOOK = 0xFFFF  # request_id of the look at the end of each turn
TURNS = 300
RAW_MAX = 4092
REMEMBERED = 16  # openings; PROTOCOL.md section 7: the firmware may forget older ones, the simulated device never does
NOT_COMPARED = {"device_tick", "boot_id", "firmware_version", "serial_number", "fitted", "channel_count", "streamed_channels"}


@dataclass
class Story:
    """Random turns from a seed."""

    random: random.Random
    opening_id: int = 0
    request_id: int = 0
    pressed: bool = False
    count: int = 0
    codes: Codes = QUIET
    sent: list[Message] = field(default_factory=list)

    def turns(self) -> Iterator[int]:
        """How long each turn is; the rest are the fields."""
        for _ in range(TURNS):
            if self.random.random() < 0.25:
                self.sent = self._all_well()
            else:
                self._act()
                self.sent = [self._command() for _ in range(self.random.choice((0, 1, 1, 1, 2)))]
            yield self.random.choice((1, 1, 1, 1, 1, 2, 5, 30)) * TURN_MS

    def _all_well(self) -> list[Message]:
        """Nothing is against an opening, and one is asked for."""
        self.pressed, self.count, self.codes = True, 0, QUIET
        self.request_id = (self.request_id + 1) & 0xFFFF
        start = StreamStart(self.request_id, 1000, 8)
        self.request_id = (self.request_id + 1) & 0xFFFF
        self.opening_id += 1
        return [start, SupplyOpen(self.request_id, self.opening_id, self.random.choice((410, 990, 60_000)), -20, 20, 2500, 2500)]

    def _act(self) -> None:
        kind = self.random.choice(("hold", "hold", "turn", "codes", "codes", "none", "none", "none"))
        if kind == "hold":
            self.pressed = self.random.random() < 0.4
        elif kind == "turn":
            self.count += self.random.choice((-30, -3, -1, 1, 3, 30)) if abs(self.count) < 30 else -self.count
        elif kind == "codes":
            channel = self.random.randrange(2)
            codes = list(self.codes)
            codes[channel] = self.random.choice((0, 0, 1, 300, 300, 700, 1023))
            self.codes = (codes[0], codes[1], codes[2], codes[3])

    def _command(self) -> Message:
        self.request_id = (self.request_id + 1) & 0xFFFF
        draw = self.random.random()
        if draw < 0.4:
            return self._open()
        return self.random.choice(
            (
                SupplyShut(self.request_id, self.random.choice((0, 0, 50, 410, 120_000, 120_001))),
                SupplyShut(self.request_id, 510),
                VentOpen(self.request_id),
                VentClose(
                    self.request_id, self.random.choice((0, 30, 410, 990, 120_000, 120_001)), self.random.choice((1500, 2500, 4092))
                ),
                VentClose(self.request_id, 990, 2500),
                StreamStart(self.request_id, 1000, 8),
                StreamStart(self.request_id, self.random.choice((0, 100, 200, 1000, 1001)), self.random.choice((0, 4, 8, 9))),
                StreamStart(self.request_id, 1000, 8),
                StreamStop(self.request_id),
                StatusRequest(self.request_id),
                EchoRequest(self.request_id, self.random.randbytes(self.random.randrange(201))),
                IdentifyRequest(self.request_id, self.random.choice((1, 1, 2)), 0),
                HostAlive(),
            )
        )

    def _open(self) -> SupplyOpen:
        if self.random.random() < 0.6:
            self.opening_id += 1
        opening_id = self.opening_id - self.random.choice((0, 0, 0, 0, 1, 3)) if self.opening_id > REMEMBERED else self.opening_id
        valid = self.random.random() < 0.8
        return SupplyOpen(
            self.request_id,
            opening_id if valid or self.random.random() < 0.7 else 0,
            self.random.choice((30, 410, 990, 60_000) if valid else (0, 60_001, 990)),
            self.random.choice((-20, -20, -2)),
            self.random.choice((20, 20, 2) if valid else (20, -21)),
            self.random.choice((2500, 4091) if valid else (1000, 4092)),
            self.random.choice((2500, 4091) if valid else (1000, 4092)),
        )


class Simulated:
    """The simulated device, shown the same world a millisecond at a time."""

    def __init__(self, valves: bool, hold: bool) -> None:
        channels = tuple(
            Channel(quantity, 0, RAW_MAX, 0.0, 5.0 / 4096, 5.0)
            for quantity in (Quantity.PRESSURE_REGULATED, Quantity.PRESSURE_CYLINDER)
        )
        self.out = bytearray()
        self.device = Device(
            DeviceSetup("unset", "boresim 1", 4096, channels, valves, hold, 1000 * TICKS_PER_MS, 0, 1000, 8, 1), 0, self.out
        )
        self.ear = Decoder("host")

    def run(self, story: Story, ms: int, messages: list[Message]) -> list[Any]:
        if self.device.setup.hold_fitted:
            self.device.press_hold(story.pressed)
        self.device.hear(b"".join(map(encode, messages)))
        end_tick = self.device.next_tick + ms * TICKS_PER_MS
        while self.device.next_tick < end_tick:
            scans = Scans(
                self.device.next_tick,
                self.device.scan_ticks,
                np.array([story.count], np.int64),
                np.array([[4 * story.codes[0]], [4 * story.codes[1]]], np.uint16),
                self.device.hold_pressed,
                self.device.streaming,
            )
            trip = self.device.first_trip(scans)
            self.device.take(scans, (), trip=trip[1] if trip else None)
        heard = self.ear.feed(bytes(self.out))
        self.out.clear()
        return list(heard)


def at_the_rig(rig: Bench, story: Story, pressed: bool) -> list[tuple[int, int, int]]:
    pins: list[tuple[int, int, int]] = [*rig.edges(story.count - rig.count, every_cycles=200)]
    if story.pressed != pressed:
        pins.append((16_000, Pin.HOLD, int(story.pressed)))
    rig.codes = story.codes
    return pins


def told(events: list[Any]) -> dict[str, list[Any]]:
    """The answers, the changes of the air and of the switch: what is to be alike of each, in order."""
    answers = [event for event in events if isinstance(event, Ack | Refused | EchoReply | Identity | Status)]
    kinds: dict[str, list[Any]] = {
        "answers": [event for event in answers if not (isinstance(event, Status) and event.request_id == 0)],
        "air": [event for event in events if isinstance(event, AirEvent)],
        "hold": [event for event in events if isinstance(event, HoldEvent)],
    }
    return {kind: [_alike(event) for event in told_of_kind] for kind, told_of_kind in kinds.items()}


def _alike(event: Message) -> tuple[str, dict[str, Any]]:
    without = NOT_COMPARED | ({"crank_count"} if isinstance(event, AirEvent) else set())
    if isinstance(event, Status) and event.request_id != LOOK:
        without = without | {"frames_received"}  # a command behind it may have been heard already or not
    return type(event).__name__, {item.name: getattr(event, item.name) for item in fields(event) if item.name not in without}


@pytest.mark.parametrize(("valves", "hold"), [(True, True), (True, False), (False, True)], ids=("valves-hold", "no-hold", "hand"))
@pytest.mark.parametrize("seed", range(2))
def test_firmware_and_simulated_device_answer_alike(seed: int, valves: bool, hold: bool) -> None:
    story = Story(random.Random(1000 * seed + 10 * valves + hold))
    simulated = Simulated(valves, hold)
    seen: list[Any] = []
    with bench(valves=valves, hold=hold) as rig:
        rig.run(TURN_MS)
        simulated.run(story, TURN_MS, [])
        pressed = story.pressed
        for number, ms in enumerate(story.turns()):
            # the act first, the commands when a press has been debounced, a look at how things stand in the end
            both: list[list[Any]] = [[], []]
            parts: list[tuple[int, list[Message], list[tuple[int, int, int]]]] = [
                (TURN_MS, [], at_the_rig(rig, story, pressed)),
                (ms, story.sent, []),
                (TURN_MS, [StatusRequest(LOOK)], []),
            ]
            for part_ms, messages, pins in parts:
                both[0] += rig.run(part_ms, *messages, pins=pins)
                both[1] += simulated.run(story, part_ms, messages)
            pressed = story.pressed
            assert told(both[0]) == told(both[1]), f"turn {number}: {story.sent}"
            seen += both[0]
    if valves:  # the story was worth telling
        assert {event.cause for event in seen if isinstance(event, AirEvent)} >= set(Cause) - {Cause.POWER_UP} - (
            set() if hold else {Cause.HOLD_RELEASED}
        )
        assert {event.reason for event in seen if isinstance(event, Refused)} >= set(RefusalReason) - {RefusalReason.NO_VALVES} - (
            set() if hold else {RefusalReason.HOLD_NOT_PRESSED}
        )
    else:
        assert RefusalReason.NO_VALVES in {event.reason for event in seen if isinstance(event, Refused)}
