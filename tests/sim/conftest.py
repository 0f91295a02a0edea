"""What the tests of the simulated device share: a host of a few lines that talks to it in messages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import pytest
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import BadFrame, Decoder, Received, UnknownMessage, encode
from borewire.messages import HostAlive, StreamStart, SupplyOpen, ToDevice

AnyMessage = TypeVar("AnyMessage")

KEEP_ALIVE_S = 0.1


class Bench:
    """A simulated rig and a host that keeps it alive."""

    def __init__(self, scenario: str = "hillclimb-before", seed: int | None = None, *, hold_switch: bool = True) -> None:
        loaded = load_scenario(scenario, seed)
        rig_parts = replace(loaded.rig, hold_switch=hold_switch and loaded.rig.hold_switch)
        self.rig = SimRig(replace(loaded, rig=rig_parts))
        self.octets = bytearray()
        self.heard: list[Received] = []
        self.decoder = Decoder("host")

    def send(self, *messages: ToDevice) -> None:
        for message in messages:
            self.rig.receive(encode(message))

    def run(self, dt_s: float, *, alive: bool = True) -> list[Received]:
        """Let time pass, saying that the host is there; gives what came in that time."""
        left_s = dt_s
        while left_s > 1e-9:
            step_s = min(KEEP_ALIVE_S, left_s)
            if alive:
                self.send(HostAlive())
            self.rig.advance(step_s)
            left_s -= step_s
        data = self.rig.transmit()
        self.octets += data
        came = self.decoder.feed(data)
        assert not [event for event in came if isinstance(event, (BadFrame, UnknownMessage))]
        self.heard += came
        return came

    def ask(self, message: ToDevice, dt_s: float = 0.002) -> list[Received]:
        """Send one message and give what came in the next two milliseconds."""
        self.send(message)
        return self.run(dt_s, alive=False)

    def tell(self, *acts: str) -> None:
        """Tell the person something and let time pass until it is done."""
        for words in acts:
            assert self.rig.operator.do(words).startswith("ok ")
        while self.rig.operator.busy:
            self.run(0.1)

    def at_tdc(self, *, hose: str = "1", off_deg: float = 0.0, restraint_nm: float = 60.0) -> None:
        """Streaming, hose on, crank at the compression TDC of cylinder 1 (or so many degrees after it), switch pressed."""
        self.send(StreamStart(1, 1000, 8))
        self.tell(f"hose {hose}", f"to tdc 1 off {off_deg:g}", f"restrain {restraint_nm:g}")
        if self.rig.hold_fitted:
            self.tell("hold press")

    def opening(self, opening_id: int = 1, time_limit_ms: int = 60_000, window_counts: int = 17) -> SupplyOpen:
        """An opening with a window around where the crank stands."""
        count = self.rig.electronics.count_at(self.rig.plant.crank_deg)
        return SupplyOpen(9, opening_id, time_limit_ms, count - window_counts, count + window_counts, 3800, 3800)


def only(kind: type[AnyMessage], events: list[Received]) -> list[AnyMessage]:
    """The messages of one kind."""
    return [event for event in events if isinstance(event, kind)]


@pytest.fixture
def make_bench() -> Callable[..., Bench]:
    """Makes benches: make_bench("hillclimb-before", seed=3, hold_switch=False)."""
    return Bench


@pytest.fixture
def pick() -> Callable[[type[AnyMessage], list[Received]], list[AnyMessage]]:
    """Picks the messages of one kind."""
    return only
