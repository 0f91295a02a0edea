"""The real host, a record and the scripted person at a rig whose device is the firmware; the cable between them can lose octets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from avr_rig.child import ROUND_CYCLES, Answer, Child, Codes, PinEvent, ResetCause
from avr_rig.edges import Encoder
from avr_rig.rig import FirmwareRig
from boresim.endpoint import SimEndpoint
from boresim.scenario import load_scenario
from boresim.truth import plant_truth
from borewire.codec import Decoder, Received
from borewire.messages import FaultEvent, SampleBlock, Status, SupplyOpen
from borewright.core.readiness_table import State
from borewright.service import acts, effects
from borewright.service.bench import Bench, Done
from borewright.service.conditions_of_air import AirConditions
from borewright.service.engines import engine_from_document
from borewright.service.guide import next_step
from borewright.simrig.person import Person
from borewright.simrig.whole_job import READ_S
from borewright.store.records import LoadedCapture
from borewright.store.store import Store
from borewright.store.writer import StoreWriter

UNIX_S = 1.8e9
SCENARIO = "hillclimb-after"
CUT_OCTETS = 15  # what is longer is more than a sign of life
REACTION_S = 0.2  # a person who is quick: what is waited for is emulated too


def _cut(data: bytes) -> bytes:
    """The same without its middle third."""
    return data[: len(data) // 3] + data[2 * len(data) // 3 :]


class Cable(SimEndpoint):
    """The port to a rig. Keeps what went over it as it was sent; it can cut what goes over it next, in either direction.

    cuts_said, cuts_told: how many of the next reads and writes of more than CUT_OCTETS lose their middle.
    """

    def __init__(self, rig: FirmwareRig) -> None:
        super().__init__(rig)
        self.messages: list[Received] = []  # of the device
        self.openings: list[SupplyOpen] = []  # the open frames that went to it
        self._hears = Decoder("host"), Decoder("device")
        self.cuts_said = 0
        self.cuts_told = 0

    def read(self, size: int = 1) -> bytes:
        data = super().read(size)
        self.messages += self._hears[0].feed(data)
        if self.cuts_said and len(data) > CUT_OCTETS:
            self.cuts_said -= 1
            return _cut(data)
        return data

    def write(self, data: bytes) -> int:
        self.openings += [message for message in self._hears[1].feed(data) if isinstance(message, SupplyOpen)]
        if self.cuts_told and len(data) > CUT_OCTETS:
            self.cuts_told -= 1
            super().write(_cut(data))
            return len(data)
        return super().write(data)


class Spinning:
    """A child, and on its wires an encoder that can be spun far faster than a person turns a crank."""

    def __init__(self, child: Child) -> None:
        self._child = child
        self._encoder: Encoder | None = None
        self._places: list[float] = []  # of the encoder, at the end of each round to come

    def spin(self, rig: FirmwareRig, turns: int, counts_per_s: float) -> None:
        """Spin it by so many turns, so that it comes to rest where the crank stands."""
        electronics = rig.electronics
        place, counts = electronics.place(rig.plant.crank_deg), turns * electronics.counts_per_rev
        self._encoder = Encoder(electronics.counts_per_rev, electronics.index_count, place)
        in_a_round = counts_per_s * ROUND_CYCLES / 16e6
        self._places = [place + in_a_round * number for number in range(1, int(counts / in_a_round) + 1)] + [place + counts]

    def step(
        self, duration_cycles: int, pins: Sequence[PinEvent] = (), codes: Sequence[Codes] = (), octets: bytes = b"", /
    ) -> Answer:
        """A step; while the encoder spins nothing else may change a pin."""
        if self._places and self._encoder is not None:
            assert not pins
            rounds = duration_cycles // ROUND_CYCLES
            places, self._places = self._places[:rounds], self._places[rounds:]
            pins = self._encoder.edges(places, ROUND_CYCLES)
        return self._child.step(duration_cycles, pins, codes, octets)

    def reset(self, cause: ResetCause = ResetCause.RESET_PIN, held_cycles: int = 0, /) -> Answer:
        """A reset."""
        return self._child.reset(cause, held_cycles)


class Workshop:
    """Host, record and person at the firmware that a child runs."""

    def __init__(self, child: Child, folder: Path, seed: int | None = None) -> None:
        scenario = load_scenario(SCENARIO, seed)
        self.scenario = replace(scenario, operator=replace(scenario.operator, reaction_s=REACTION_S))
        self.truth = plant_truth(self.scenario)
        self.wires = Spinning(child)
        self.rig = FirmwareRig(self.scenario, self.wires)
        self.store = Store.open(folder / "shop.db", clock=lambda: UNIX_S)
        self.words: list[str] = []
        self.refusals: list[effects.AirRefused] = []
        self.cable, self.bench, self.person = self._host()

    def _host(self) -> tuple[Cable, Bench, Person]:
        cable, air = Cable(self.rig), self.scenario.ambient
        bench = Bench(
            cable,
            StoreWriter(self.store, threaded=False),
            wall_clock=lambda: UNIX_S + cable.monotonic(),
            tell=self._hear,
            engine=engine_from_document(self.scenario.engine_document, SCENARIO),
            who="tester",
            ambient=AirConditions(air.pressure_abs_pa, air.air_k, air.engine_k),
            read_s=READ_S,
        )
        bench.act(acts.CarryStroke(True))
        return cable, bench, Person(bench, cable)

    def _hear(self, word: effects.Say | effects.AirRefused) -> None:
        if isinstance(word, effects.AirRefused):
            self.refusals.append(word)
        else:
            self.words.append(word.text)

    def close(self) -> None:
        """Leave it."""
        self.cable.close()
        self.store.close()

    def plug_in_again(self) -> None:
        """Put the cable back and start the program anew: what it knows of before is in the record."""
        self.rig.plug()
        self.cable.close()
        self.cable, self.bench, self.person = self._host()

    # ------------------------------------------------------------------ what goes on

    @property
    def state(self) -> State:
        """Where the way to air and back stands."""
        return self.bench.state.readiness.state

    def until(self, reached: State | Callable[[], bool], limit_s: float = 30.0) -> None:
        """Look on until the host is in that state, or until that is so."""
        self.person.wait_until(reached if callable(reached) else lambda: self.state is reached, limit_s)

    def test(self, cylinder: int) -> Done:
        """Follow the guide through a whole test of a cylinder."""
        self.person.carry_out(acts.Purpose("test", cylinder))
        return self.bench.done[-1]

    def ready_for_air(self, cylinder: int) -> None:
        """Follow the guide until a cylinder is ready for air."""
        self.person.tell(acts.SetPurpose(acts.Purpose("test", cylinder)))
        self.person.follow_until("give_air")

    def fill(self, cylinder: int) -> None:
        """Let air in and keep it on: puff, watch, and a second at full pressure."""
        self.ready_for_air(cylinder)
        self.person.follow(next_step(self.bench.state))
        self.until(State.FILLING)
        self.person.wait(1.0)
        assert self.state is State.FILLING
        assert self.rig.plant.supply_open
        assert self.rig.plant.p_cylinder_gauge_pa > 300_000.0

    def until_vented(self) -> None:
        """Let the switch go, if it is pressed, and wait until nothing is locked any more."""
        self.person.let_go()
        self.until(lambda: not self.bench.state.readiness.locked)
        self.person.wait(0.5)
        assert self.rig.plant.vent_open
        assert self.rig.plant.p_cylinder_gauge_pa < 5_000.0

    def last_capture(self) -> LoadedCapture:
        """The newest capture in the record."""
        newest = max(self.store.list_captures(), key=lambda capture: capture.id)
        return self.store.load_capture(newest.id)

    def latest_status(self) -> Status:
        """What the device last said of itself."""
        return next(message for message in reversed(self.cable.messages) if isinstance(message, Status))

    def faults(self) -> list[FaultEvent]:
        """The faults that the device told."""
        return [message for message in self.cable.messages if isinstance(message, FaultEvent)]

    def lost_blocks(self) -> int:
        """How many sample blocks are missing in what the device sent; a sequence begins anew with each power-up."""
        sequences = [message.sequence for message in self.cable.messages if isinstance(message, SampleBlock)]
        return sum((after - before - 1) % 0x10000 for before, after in pairwise(sequences) if after != 0)
