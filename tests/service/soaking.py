"""A station at the simulated rig for a long virtual time, with faults, reconnects and a record: what adds up and what stays flat.

The device's frames are counted where it makes them, the octets where the host reads them, and both are held against the host's own
counters.
"""

from __future__ import annotations

import gc
import sys
import threading
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from boresim.device import Device
from boresim.faults import FAULTS
from boresim.rig import SimRig
from borewire.codec import BadFrame, Decoder
from borewire.messages import SampleBlock
from borewright.errors import LinkError
from borewright.link import Endpoint
from borewright.service import acts
from borewright.service.bench import Bench
from borewright.session.session import Phase
from borewright.simrig.person import StuckError
from borewright.store.store import Store

from .at_station import AtStation, SimSource, TappedEnd

__all__ = ["Flat", "Soak", "Tally", "flat_now"]

SEQUENCES = 1 << 16
PATIENCE_S = 150.0
IDLE_S = (20.0, 400.0)  # between tests
BACK_WITHIN_S = 30.0


class MiscountedError(Exception):
    """What was sent is not what came and what was counted as lost; nothing in a soak takes it for a person who is stuck."""


@dataclass
class Tally:
    """What was sent and what came.

    blocks_sent: by the device, over all boots; of these: received, and counted as lost by the host; the rest was sent while the
    host had no stream. A fault that moves the blocks' sequence makes the host count what was never sent. octets, bad_frames: as the
    host counted them, and as they were read. frames_to_device: that the host wrote; of these: heard by the device, bad ones too,
    and lost while its power or its cable was off. worn: something was wrong with the cable, so that frames to the device can be
    missing or be more.
    """

    blocks_sent: int = 0
    blocks_received: int = 0
    blocks_counted_lost: int = 0
    samples_dropped: int = 0
    octets_read: int = 0
    octets_counted: int = 0
    bad_frames_read: int = 0
    bad_frames_counted: int = 0
    frames_to_device: int = 0
    frames_heard: int = 0
    frames_not_heard: int = 0
    worn: bool = False
    connections: int = 0
    boots: int = 1
    tests: int = 0
    faults: Counter[str] = field(default_factory=Counter)
    reconnects: Counter[str] = field(default_factory=Counter)
    stuck: Counter[str] = field(default_factory=Counter)
    failed: set[str] = field(default_factory=set)  # last lines of what the program failed over

    @property
    def adds_up(self) -> bool:
        """Whether every octet, bad frame and frame to the device is accounted for; blocks are, as each stream ends."""
        octets, bad = self.octets_read == self.octets_counted, self.bad_frames_read == self.bad_frames_counted
        return octets and bad and (self.worn or self.frames_to_device == self.frames_heard + self.frames_not_heard)


@dataclass(frozen=True)
class Flat:
    """What must not grow: megabytes of memory in use, blocks of the allocator, objects, open files, threads."""

    rss_mb: float
    allocated_blocks: int
    objects: int
    files: int
    threads: int


def flat_now() -> Flat:
    """As it is now."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    files = len(list(Path("/proc/self/fd").iterdir()))
    return Flat(pages * 4096 / 1e6, sys.getallocatedblocks(), len(gc.get_objects()), files, threading.active_count())


class CountedEnd(TappedEnd):
    """An end that counts what is read from it, and keeps nothing."""

    def __init__(self, rig: SimRig) -> None:
        super().__init__(rig)
        self.octets = 0
        self.bad_frames = 0
        self.blocks: list[int] = []  # numbers of those that came in the last read
        self._heard = Decoder("host")

    def read(self, size: int = 1) -> bytes:
        data = super().read(size)
        self.octets += len(data)
        heard = list(self._heard.feed(data))
        self.bad_frames += sum(isinstance(item, BadFrame) for item in heard)
        self.blocks = [item.sequence for item in heard if isinstance(item, SampleBlock)]
        return data

    def write(self, data: bytes) -> int:
        written = super().write(data)
        self.told.clear()
        return written


class CountedSource(SimSource):
    """The rig as a source, of whose ends only the newest is kept."""

    def open(self) -> Endpoint:
        if not self.rig.plugged:
            self.rig.advance(0.032)
            raise LinkError("there is no port of the simulated rig; plug it in")
        self.ends = [CountedEnd(self.rig)]
        return self.ends[-1]


class Soak(AtStation):
    """The station that is left on. Make it, connect it, go on for as long as you like."""

    def __init__(self, store: Store, seed: int, scenario: str = "hillclimb-after", idle_s: tuple[float, float] = IDLE_S) -> None:
        super().__init__(store, scenario)
        self._idle_s = idle_s
        self.source = CountedSource(scenario)
        self.rig = self.source.rig
        self.person = type(self.person)(self, _port_of(self.rig))  # type: ignore[arg-type]
        self.tally = Tally()
        self._rng = Random(seed)
        self._bench: Bench | None = None
        self._end: CountedEnd | None = None
        self._last: int | None = None  # absolute number of the newest block that came in this stream of the host
        self._came: int = 0
        self._lost_before = 0
        self._span_first = 0
        self._device: Device = self.rig.device
        self._sent_before_boot = 0
        self._watch_line()
        self._watch_device()

    # ------------------------------------------------------------------ the device's side

    def _watch_line(self) -> None:
        """Count what the host writes, and what of it nobody can hear."""
        rig, receive, written = self.rig, self.rig.receive, Decoder("device")

        def counted(data: bytes) -> None:
            frames = sum(1 for _ in written.feed(data))
            self.tally.frames_to_device += frames
            self.tally.frames_not_heard += 0 if rig.plugged and rig.powered else frames
            self.tally.worn |= rig.line.worn
            receive(data)

        rig.receive = counted  # type: ignore[method-assign]

    def _take_heard(self) -> None:
        counters = self._device._decoder.counters
        self.tally.frames_heard += counters.frames_good + counters.frames_bad + counters.frames_unknown

    def _watch_device(self) -> None:
        """Count what this device puts out, from now on."""
        device = self.rig.device
        send_block = device._send_block
        self._sent_before_boot = self.tally.blocks_sent
        self._device = device

        def counted(block: Any) -> None:
            before = device._dropped
            send_block(block)
            self.tally.blocks_sent += 1
            self.tally.samples_dropped += device._dropped - before

        device._send_block = counted  # type: ignore[method-assign]

    # ------------------------------------------------------------------ the host's side

    def turn(self) -> None:
        self.station.turn()
        if self.rig.device is not self._device:
            self.tally.boots += 1
            self._take_heard()
            self._end_stream()
            self._watch_device()
        self._account()

    def _account(self) -> None:
        connection = self.station._connection
        bench = None if connection is None else connection.bench
        if bench is not self._bench:
            self._end_stream()
            self._take_counters()
            self._bench, self._end = bench, self.source.ends[-1] if bench is not None else None  # type: ignore[assignment]
            self._lost_before = 0
            self.tally.connections += bench is not None
        if bench is None or self._end is None:
            return
        session, blocks = bench.state.session, self._end.blocks
        self._end.blocks = []
        if session.track is None or session.phase not in (Phase.STREAMING, Phase.SILENT):
            self._end_stream()
            return
        if session.track.sequence is None or not blocks:
            return
        for sequence in blocks:
            self._take_block(sequence)

    def _take_block(self, sequence: int) -> None:
        in_this_boot = self.tally.blocks_sent - self._sent_before_boot
        number = in_this_boot - 1 - (in_this_boot - 1 - sequence) % SEQUENCES
        if self._last is None:
            self._span_first, self._last, self._came = number, number, 1
        elif number > self._last:
            self._last, self._came = number, self._came + 1

    def _end_stream(self) -> None:
        """The host's stream is over: what it received and what it counted as lost have to be all that lay between its ends."""
        if self._last is None:
            return
        lost = 0 if self._bench is None else self._bench.counters.lost_blocks - self._lost_before
        self._lost_before += lost
        span = self._last - self._span_first + 1
        if span != self._came + lost:
            raise MiscountedError(
                f"{span} blocks were sent while the host listened; {self._came} came, {lost} were counted as lost"
            )
        self.tally.blocks_received += self._came
        self.tally.blocks_counted_lost += lost
        self._last, self._came = None, 0

    def _take_counters(self) -> None:
        if self._bench is None or self._end is None:
            return
        counters = self._bench.counters
        self.tally.octets_counted += counters.octets
        self.tally.bad_frames_counted += counters.bad_frames
        self.tally.octets_read += self._end.octets
        self.tally.bad_frames_read += self._end.bad_frames

    def add_up(self) -> Tally:
        """The counters so far; the connection is given up for it."""
        self.station.disconnect()
        self.turn()
        self._end_stream()
        self._take_counters()
        self._take_heard()
        self._bench = self._end = None
        return self.tally

    # ------------------------------------------------------------------ what happens

    def go_on(self, seconds: float, each: Callable[[], None] = lambda: None) -> None:
        """So much virtual time: tests with and without faults, idling, reconnects. each: called between them."""
        until_s = self.rig.now_s + seconds
        while self.rig.now_s < until_s:
            self._test(until_s)
            self._idle(min(self._rng.uniform(*self._idle_s), until_s - self.rig.now_s))
            self._reconnect()
            each()

    def _idle(self, seconds: float) -> None:
        until_s = self.rig.now_s + seconds
        while self.rig.now_s < until_s:
            self.turn()

    def _test(self, until_s: float) -> None:
        rng = self._rng
        fault = rng.choice(FAULTS).name if rng.random() < 0.6 else None
        if fault is not None:
            with suppress(ValueError):  # it cannot be played at this rig
                self.rig.faults.arm(fault)
                self.tally.faults[fault] += 1
        cylinder, began_s, before = rng.choice(self.engine.firing_order), self.rig.now_s, self._tests_done()
        try:
            self._meet()
            if self.state.tdc is None:
                self.person.find_true_tdc(self.engine.firing_order[0])
            self.act(acts.CarryStroke(rng.random() < 0.5))
            self.act(acts.SetPurpose(acts.Purpose("test", cylinder)))
            while self._tests_done() == before and self.rig.now_s < min(began_s + PATIENCE_S, until_s + PATIENCE_S):
                if self.kind() == "open" and self.snapshot.step is not None:
                    self.person.follow(self.step)
                else:
                    self.turn()
        except (StuckError, AssertionError) as stuck:
            self.tally.stuck[str(stuck)[:60]] += 1
        self._put_right(fault)
        self.tally.tests += self._tests_done() - before

    def _tests_done(self) -> int:
        done = self.snapshot.done
        return done[-1].number if done else 0

    def _put_right(self, fault: str | None) -> None:
        if fault is not None:
            with suppress(ValueError):  # it was never armed
                self.rig.faults.end(fault)
        self.tally.failed |= {text.splitlines()[-1] for text in self.told("fault")}
        self.person.let_go()
        self.station.tell(acts.StopAll())
        self._idle(3.0)

    def _meet(self) -> None:
        until_s = self.rig.now_s + BACK_WITHIN_S
        while self.kind() != "open" and self.rig.now_s < until_s:
            self.turn()
        if self.kind() != "open":
            raise StuckError(self.snapshot.link.words)

    def _reconnect(self) -> None:
        kind = self._rng.choice(("none", "none", "cable", "power", "port", "again", "blink"))
        self.tally.reconnects[kind] += 1
        operator = self.rig.operator
        match kind:
            case "cable":
                operator.do("unplug")
                self._idle(self._rng.uniform(1.0, 8.0))
                operator.do("plug")
            case "blink":
                self.rig.unplug()
                self.rig.advance(self._rng.uniform(0.01, 0.4))
                self.rig.plug()
            case "power":
                self.rig.power_cycle()
            case "port":
                if self._end is not None:
                    self._end.fault = OSError("the port went away")
            case "again":
                self.station.connect(self.source)
        self._idle(2.0)


def _port_of(rig: SimRig) -> TappedEnd:
    return TappedEnd(rig)
