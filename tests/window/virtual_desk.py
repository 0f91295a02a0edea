"""A desk on the built-in rig in virtual time, for tests and for the pictures: nothing happens but what its user does."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from borewright.app.desk import Desk, Paths
from borewright.app.settings import Settings
from borewright.app.theme.look import dress, load_letters
from borewright.service.conditions_of_air import AirConditions
from borewright.service.station import Station
from borewright.service.workers import Workers
from borewright.simrig.builtin import BuiltInRig, built_in_scenario
from borewright.simrig.virtual_clock import VirtualClock
from borewright.simrig.whole_job import run_job
from borewright.store.store import Store
from PySide6.QtWidgets import QApplication

__all__ = ["TURNS_A_LOOK_AT_BEST", "AnsweredFiles", "NeverError", "bench_time", "bench_until", "make_shop_record", "open_desk"]

BEGAN_UNIX_S = 1.8e9
DAY_S = 86_400.0
TURNS_A_LOOK = 5  # a turn of the bench takes up to 15 ms: a screen that keeps up with half of its 30 looks a second
TURNS_A_LOOK_AT_BEST = 2


class NeverError(AssertionError):
    """What was waited for never came about."""


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


def make_shop_record(path: Path) -> None:
    """A record with the demo engine before and after its rebuild, two cylinders tested at each stage."""
    clock = VirtualClock(BEGAN_UNIX_S)
    with Store.open(path, clock=clock) as store:
        for name in ("hillclimb-before", "hillclimb-after"):
            scenario = built_in_scenario(name)
            run_job(scenario, store, "Larch hill-climb four", clock, cylinders=(1, 3), listen_over_percent=10.0, technician="demo")
            clock.go_to(clock() + 5 * DAY_S)
            store.save_in_library(scenario.engine_document)


def open_desk(
    record: Path, folder: Path, scenario: str = "hillclimb-before", settings: Settings | None = None
) -> tuple[Desk, Callable[[], None]]:
    """A desk on a record, its built-in rig connected, its settings in a folder; and what closes it."""
    load_letters()
    clock = VirtualClock(BEGAN_UNIX_S + 30 * DAY_S)
    store = Store.open(record, clock=clock)
    workers = Workers(record, store, inline=True)
    station = Station(store, workers, wall_clock=clock, threaded=False, who="test")
    rig = BuiltInRig(scenario, speed=None)
    station.connect(rig)
    desk = Desk(
        record,
        station,
        workers,
        settings=settings or Settings(theme="light"),
        paths=Paths(folder / "window.toml", folder / "units.toml"),
        files=AnsweredFiles(),
        builtin=rig,
        clock=lambda: station.snapshot().read_at_s,
    )
    app = QApplication.instance()
    if isinstance(app, QApplication):
        dress(app, desk.palette, desk.settings.scale_percent)
    desk.use_air(AirConditions())

    def close() -> None:
        station.close()
        workers.close()
        store.close()

    return desk, close


def bench_time(desk: Desk, seconds: float) -> None:
    """Let so much of the rig's time pass, with the screen looking on."""
    until_s = desk.station.snapshot().read_at_s + seconds

    def passed() -> bool:
        snapshot = desk.station.snapshot()
        return snapshot.read_at_s >= until_s or snapshot.link.kind in ("lost", "none")  # then no time can be read

    bench_until(desk, passed, limit_turns=400 + int(seconds * 200))


def bench_until(desk: Desk, reached: Callable[[], bool], limit_turns: int = 20_000, *, turns_a_look: int = TURNS_A_LOOK) -> None:
    """Let the rig's time pass until something is so. Raises NeverError where it never is."""
    for turn in range(limit_turns):
        desk.station.turn()
        if turn % turns_a_look == 0:
            desk.refresh()
            QApplication.processEvents()
            if reached():
                return
    step = desk.snapshot.step
    raise NeverError(f"the next step is {step.text if step is not None else 'none'}; told last: {desk.snapshot.told[-3:]}")
