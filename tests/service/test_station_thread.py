"""The station in its own thread: nobody waits for it, and it ends when it is asked to."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from borewire.messages import VentOpen
from borewright.errors import LinkError
from borewright.link import Endpoint
from borewright.service import acts, station
from borewright.service.conditions_of_air import AirConditions
from borewright.service.snapshot import Snapshot
from borewright.service.station import Station
from borewright.service.workers import Workers
from borewright.store.store import Store

from .at_station import SimSource, opened

SOON_S = 60.0
TURNS = 3_000


def until(of: Station, reached: Callable[[Snapshot], bool]) -> Snapshot:
    """Let the station turn, each time as far as to answer, until something is so."""
    for _ in range(TURNS):
        of.at_rig("busy").result(SOON_S)
        if reached(of.snapshot()):
            return of.snapshot()
    raise AssertionError(f"it did not come so far: {of.snapshot().link}")


def begun(store: Store, source: SimSource) -> Station:
    of = Station(store, Workers(store.path, store, inline=True), who="tester")
    of.connect(source)
    return of


def test_it_reads_by_itself_heeds_acts_and_ends_with_the_rig_vented(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        source = SimSource("hillclimb-after")
        of = begun(store, source)
        first = until(of, lambda seen: seen.link.kind == "open")
        of.tell(acts.SetPurpose(acts.Purpose("sealed", asked_gauge_pa=3e5)))
        later = until(of, lambda seen: seen.state is not None and seen.state.purpose.asked_gauge_pa == 3e5)
        assert later.number > first.number
        assert later.read_at_s > first.read_at_s
        until(of, lambda seen: seen.trace.newest_s > later.trace.newest_s)
        assert of.close()
        assert any(isinstance(message, VentOpen) for message in source.ends[0].sent())
        assert not source.ends[0].is_open
        assert of.snapshot().link.kind == "none"
        assert "borewright-station" not in {thread.name for thread in threading.enumerate()}


class Stubborn(SimSource):
    """A port that takes its time to be opened."""

    def __init__(self) -> None:
        super().__init__("hillclimb-after")
        self.asked, self.may = threading.Event(), threading.Event()

    def open(self) -> Endpoint:
        self.asked.set()
        if not self.may.wait(SOON_S):
            raise LinkError("nobody let it open")
        return super().open()


def test_who_looks_does_not_wait_for_a_port_that_opens_slowly(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        source = Stubborn()
        of = begun(store, source)
        assert source.asked.wait(SOON_S)
        seen = of.snapshot()
        assert (seen.link.kind, seen.link.words) == ("opening", "opening the simulated rig")
        of.tell(acts.StopAll())  # handed over at once, too
        of.use_job(None, None, AirConditions())
        assert not of.close(wait_s=0.0)  # it has not ended, and says so
        source.may.set()
        assert of.close(SOON_S)


def test_a_fault_at_the_rig_itself_is_told_and_the_thread_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(station, "AFTER_FAULT_S", 0.0)
    with opened(tmp_path) as store:
        source = SimSource("hillclimb-after")
        of = begun(store, source)
        until(of, lambda seen: seen.link.kind == "open")

        def fails(words: str) -> str:
            if words == "busy":
                return "ok"
            raise RuntimeError("a fault at the rig")

        source.do = fails  # type: ignore[method-assign]
        with pytest.raises(RuntimeError, match="a fault at the rig"):
            of.at_rig("look").result(SOON_S)
        seen = until(of, lambda seen: len(source.ends) == 2 and seen.link.kind == "open")
        (alarm,) = [word.text for word in seen.told if word.level == "alarm"]
        assert "the program failed while reading the rig (RuntimeError: a fault at the rig)" in alarm
        assert any(isinstance(message, VentOpen) for message in source.ends[0].sent())
        assert of.close(SOON_S)


def test_what_is_seen_at_the_rig_is_renewed_no_more_often_than_the_trace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(station, "VIEW_S", 1e9)
    with opened(tmp_path) as store:
        source = SimSource("hillclimb-after")
        views: list[int] = []
        source.view = lambda: views.append(len(views))  # type: ignore[method-assign]
        of = begun(store, source)
        first = until(of, lambda seen: seen.link.kind == "open")
        until(of, lambda seen: seen.number > first.number + 20)
        assert views == [0]
        assert of.close(SOON_S)


def test_the_disk_does_not_hold_up_the_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(tmp_path) as store:
        held, may = threading.Event(), threading.Event()
        append = store.append

        def slow(*arguments: object, **named: object) -> None:
            held.set()
            assert may.wait(SOON_S)
            append(*arguments, **named)  # type: ignore[arg-type]

        monkeypatch.setattr(store, "append", slow)
        of = Station(store, Workers(store.path, store), who="tester")
        of.connect(SimSource("hillclimb-after"))
        assert held.wait(SOON_S)  # the rig has said who it is, which is being written
        before = of.snapshot()
        after = until(of, lambda seen: seen.trace.newest_s > before.trace.newest_s + 1.0)
        assert after.link.kind == "meeting"  # what the record knows of the rig cannot be looked up yet
        may.set()
        until(of, lambda seen: seen.link.kind == "open")
        assert of.close(SOON_S)
