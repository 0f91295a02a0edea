"""Another scenario on the stand of the built-in rig, and a job made ready for the engine that is on it."""

from __future__ import annotations

import time
from collections.abc import Callable

from borewright.app.desk import Desk
from borewright.core.rig import RigCheck
from borewright.errors import BorewrightError, UseError
from borewright.service.conditions_of_air import AirConditions
from borewright.simrig.practice import begin_practice, prepared_checks

__all__ = ["prepare_practice", "put_on_stand"]


def put_on_stand(desk: Desk, scenario: str) -> None:
    """Take leave of the built-in rig there is, and put one with this scenario on the stand; not under pressure."""
    rig = desk.builtin
    if rig is None:
        return
    if desk.snapshot.state is not None and desk.snapshot.state.readiness.locked:
        desk.notice("warning", "PRESSURISED: shut and vent before another engine is put on the stand")
        return
    try:
        desk.builtin = rig.with_scenario(scenario)
    except UseError as wrong:
        desk.notice("warning", str(wrong))
        return
    desk.open_job(None)
    desk.station.connect(desk.builtin)


def prepare_practice(
    desk: Desk,
    scenario: str,
    then: Callable[[], None] = lambda: None,
    failed: Callable[[BorewrightError], None] | None = None,
    *,
    keep_checks: bool = False,
) -> None:
    """Make the rig's own checks, put its engine into the library, begin its job and open it; then `then` is called, or `failed`.

    keep_checks: those that the record holds are good enough. The air around is stated as the stand's barometer and thermometers
    show it.
    """
    rig = desk.builtin
    if rig is None:
        return
    facts, who = rig.facts, desk.settings.who

    def keep(checks: tuple[RigCheck, ...]) -> None:
        desk.write(begin_practice, scenario, checks, who, then=opened, failed=failed)

    def opened(job_id: int) -> None:
        desk.station.know_checks_again()
        desk.use_air(AirConditions(facts.ambient_abs_pa, facts.air_k, facts.engine_k))
        desk.open_job(job_id)
        then()

    if keep_checks:
        keep(())
    else:
        state = desk.snapshot.state
        at_unix_s = time.time() if state is None or state.reading is None else state.unix_s
        words = "making the checks of the built-in rig"
        desk.ask(prepared_checks, scenario, at_unix_s, then=keep, failed=failed, key="practice", words=words)
