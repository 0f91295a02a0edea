"""A practice job made ready for tests: the rig's checks are made once for all of them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from borewright.app.desk import Desk
from borewright.core.rig import RigCheck
from borewright.simrig.practice import begin_practice, prepared_checks
from borewright.store.store import Store

from .virtual_desk import BEGAN_UNIX_S, DAY_S, bench_time, bench_until

__all__ = ["begin_job", "checks_of"]


@cache
def checks_of(scenario: str, folder: Path) -> tuple[RigCheck, ...]:
    """The checks of the built-in rig with this scenario, made just before the day of the tests. folder: for an empty record."""
    with Store.open(folder / "checks.borewright") as store:
        return prepared_checks(store, scenario, BEGAN_UNIX_S + 30 * DAY_S)


def begin_job(desk: Desk, checks: tuple[RigCheck, ...]) -> None:
    """Begin and open the practice job of the engine on the stand, with these checks held."""
    rig = desk.builtin
    assert rig is not None
    jobs: list[int] = []
    desk.write(begin_practice, rig.facts.scenario, checks, "test", then=jobs.append)
    bench_until(desk, lambda: bool(jobs))
    desk.station.know_checks_again()
    desk.open_job(jobs[0])
    bench_time(desk, 1.0)
