"""A disk that stands still: whatever goes to the rig goes at the same moment as with a quick one, and nothing is lost."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from borewire.codec import Decoder
from borewire.messages import SupplyOpen, SupplyShut, ToDevice, VentOpen
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.store.writer import CaptureKept, StoreWriter, WriteFailed

from ..store.disk_shim import Tap, tapped
from .test_air_in_the_simulator import AirOn

Sent = list[tuple[float, bytes]]


class StandsStill(Tap):
    """Takes no write and no sync until it is let go."""

    def __init__(self) -> None:
        self.go = threading.Event()
        self.held = 0

    def _wait(self) -> None:
        if not self.go.is_set():
            self.held += 1
            assert self.go.wait(120.0)

    def write(self, path: str, offset: int, data: bytes, go: Callable[[bytes], int]) -> int:
        self._wait()
        return super().write(path, offset, data, go)

    def sync(self, path: str, go: Callable[[], int]) -> int:
        self._wait()
        return super().sync(path, go)


def whole(air: AirOn) -> None:
    """Puff, fill, a word of somebody who listens, steady, decay, vent."""
    air.fill()
    air.shop.bench.act(acts.SetHold(True))
    air.shop.bench.act(acts.NoteHeard("exhaust", "strong"))
    air.shop.seconds(2.0)
    air.shop.bench.act(acts.SetHold(False))
    air.shop.person.wait_until(lambda: bool(air.shop.bench.done), 40.0)


def let_go(air: AirOn) -> None:
    """The switch is let go at full pressure."""
    air.fill()
    air.shop.person.at_the_rig("hold release")
    air.until_vented()


def crank_moves(air: AirOn) -> None:
    """The crank leaves its window, and the host shuts and vents."""
    air.fill()
    air.shop.rig.operator.do("restrain off")
    air.shop.rig.operator.do("turn +6 rpm 15")
    air.shop.until(State.VENTING)
    air.until_vented()


def stopped(air: AirOn) -> None:
    """Stop, at full pressure."""
    air.fill()
    air.shop.bench.act(acts.StopAll())
    air.until_vented()


def run(folder: Path, test: Callable[[AirOn], None], tap: StandsStill, *, still: bool) -> tuple[Sent, AirOn]:
    """What went onto the wire, and when by the rig's clock, while a thread writes the record. still: on such a disk."""
    folder.mkdir()
    with tapped(tap):
        tap.go.set()  # the file itself is made
        air = AirOn(folder)
        air.shop.bench.job_id = air.store.create_job("climb", "before", air.store.save_engine("four", {}))
        if still:
            tap.go.clear()
        air.shop.bench._writer = StoreWriter(air.store)
        sent: Sent = []
        usual = air.shop.port.write

        def write(data: bytes) -> int:
            sent.append((air.shop.port.monotonic(), data))
            return usual(data)

        air.shop.port.write = write  # type: ignore[method-assign]
        test(air)
        tap.go.set()
        air.shop.bench.flush_writer()
        assert air.shop.bench._writer.close()
    return sent, air


def times_of(sent: Sent, kind: type[ToDevice]) -> list[float]:
    return [at_s for at_s, data in sent for message in Decoder("device").feed(b"\0" + data) if isinstance(message, kind)]


@pytest.mark.parametrize("test", [whole, let_go, crank_moves, stopped])
def test_the_wire_never_waits_for_the_disk(tmp_path: Path, test: Callable[[AirOn], None]) -> None:
    quick, _ = run(tmp_path / "quick", test, StandsStill(), still=False)
    disk = StandsStill()
    still, air = run(tmp_path / "still", test, disk, still=True)
    assert disk.held > 0
    assert still == quick
    assert times_of(still, SupplyOpen)
    assert times_of(still, VentOpen)
    assert times_of(still, SupplyShut) or test is not whole

    kept = [word for word in air.shop.bench.writer_news if isinstance(word, CaptureKept)]
    assert [word for word in air.shop.bench.writer_news if isinstance(word, WriteFailed)] == []
    assert len(kept) == 1
    loaded = air.store.load_capture(kept[0].capture_id)
    assert loaded.meta.state == ("complete" if test is whole else "void")
    assert set(np.diff(loaded.columns.index).tolist()) == {1}
    if test is whole:
        (finding,) = air.store.list_findings(1)
        assert (finding.place, finding.capture_id) == ("exhaust", kept[0].capture_id)


def test_a_disk_that_stands_still_for_too_long_voids_the_test_and_says_so(tmp_path: Path) -> None:
    disk = StandsStill()
    disk.go.set()
    with tapped(disk):
        air = AirOn(tmp_path)
        disk.go.clear()
        air.shop.bench._writer = StoreWriter(air.store, capacity=10)
        whole(air)
        disk.go.set()
        air.shop.bench.flush_writer()
        assert air.shop.bench._writer.close()
    news = air.shop.bench.writer_news
    told = [word.reason for word in news if isinstance(word, WriteFailed) and word.ticket is not None]
    assert told == [f"the disk is too slow for {air.store.path}; put the record on another disk and test again"]
    (kept,) = [word for word in news if isinstance(word, CaptureKept)]
    assert (kept.state, kept.void_reason) == ("void", f"part of the record is missing: {told[0]}")
