"""The window without a screen, on the built-in rig in virtual time: nothing happens but what a test does."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from borewright.app.desk import Desk, Paths
from borewright.app.settings import Settings
from borewright.app.theme.look import dress, load_letters
from borewright.service.conditions_of_air import AirConditions
from borewright.service.station import Station
from borewright.service.workers import Workers
from borewright.simrig.builtin import BuiltInRig
from borewright.simrig.virtual_clock import VirtualClock
from borewright.simrig.whole_job import run_job
from borewright.store.store import Store
from boresim.scenario import load_scenario
from PySide6.QtWidgets import QApplication

BEGAN_UNIX_S = 1.8e9
BETWEEN_REFRESHES = 3  # turns of the bench; a screen looks 30 times a second and a turn takes up to 15 ms


class AnsweredFiles:
    """Answers every question for a file with what the test has laid down."""

    def __init__(self) -> None:
        self.save_to: Path | None = None
        self.opened: list[Path] = []

    def save_as(self, title: str, suggested: str, kinds: str) -> Path | None:
        del title, suggested, kinds
        return self.save_to

    def open_files(self, title: str, kinds: str) -> list[Path]:
        del title, kinds
        return self.opened


@pytest.fixture(scope="session")
def shop_record_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with the demo engine before and after its rebuild, two cylinders tested at each stage."""
    path = tmp_path_factory.mktemp("shop") / "shop.borewright"
    clock = VirtualClock(BEGAN_UNIX_S)
    with Store.open(path, clock=clock) as store:
        for name in ("hillclimb-before", "hillclimb-after"):
            scenario = load_scenario(name)
            run_job(scenario, store, "Larch hill-climb four", clock, cylinders=(1, 3), listen_over_percent=10.0, technician="demo")
            clock.go_to(clock() + 5 * 86400.0)
        store.save_in_library(scenario.engine_document)
    return path


@pytest.fixture
def shop_record(shop_record_made: Path, tmp_path: Path) -> Path:
    """A copy of that record, to be changed at will."""
    return Path(shutil.copy(shop_record_made, tmp_path / "shop.borewright"))


@pytest.fixture
def make_desk(qapp: QApplication, tmp_path: Path) -> Iterator[Callable[..., Desk]]:
    """Makes a desk: record (a new one without), scenario of its built-in rig, settings."""
    opened: list[tuple[Station, Workers, Store]] = []

    def make(record: Path | None = None, scenario: str = "hillclimb-before", settings: Settings | None = None) -> Desk:
        load_letters()
        path = record or tmp_path / "new.borewright"
        clock = VirtualClock(BEGAN_UNIX_S + 30 * 86400.0)
        store = Store.open(path, clock=clock)
        workers = Workers(path, store, inline=True)
        station = Station(store, workers, wall_clock=clock, threaded=False, who="test")
        rig = BuiltInRig(scenario, speed=None)
        station.connect(rig)
        opened.append((station, workers, store))
        desk = Desk(
            path,
            station,
            workers,
            settings=settings or Settings(theme="light"),
            paths=Paths(tmp_path / "window.toml", tmp_path / "units.toml"),
            files=AnsweredFiles(),
            builtin=rig,
            clock=lambda: station.snapshot().read_at_s,
        )
        dress(qapp, desk.palette, desk.settings.scale_percent)
        desk.use_air(AirConditions())
        return desk

    yield make
    for station, workers, store in opened:
        station.close()
        workers.close()
        store.close()


@pytest.fixture
def desk(make_desk: Callable[..., Desk]) -> Desk:
    """A desk on a new record, its built-in rig streaming."""
    made = make_desk()
    bench_time(made, 1.0)
    return made


def bench_time(desk: Desk, seconds: float) -> None:
    """Let so much of the rig's time pass, with the screen looking on."""
    until_s = desk.station.snapshot().read_at_s + seconds
    bench_until(desk, lambda: desk.station.snapshot().read_at_s >= until_s, limit_turns=200 + int(seconds * 200))


def bench_until(desk: Desk, reached: Callable[[], bool], limit_turns: int = 20_000) -> None:
    """Let the rig's time pass until something is so; fails where it never is."""
    for turn in range(limit_turns):
        desk.station.turn()
        if turn % BETWEEN_REFRESHES == 0:
            desk.refresh()
            QApplication.processEvents()
            if reached():
                return
    step = desk.snapshot.step
    pytest.fail(f"never came about; the next step is {step.text if step is not None else 'none'}; told: {desk.snapshot.told[-3:]}")
