"""What is said of the air when a command at the rig is ended before its time."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest
from borewire.messages import AirState
from borewright.cli import at_the_rig


@pytest.mark.parametrize(
    ("valves", "air", "lost", "alarm"),
    [
        (True, AirState.VENTED, None, False),
        (True, AirState.OPEN, None, True),
        (True, AirState.VENTED, "the rig has been silent", True),
        (False, AirState.VENTED, None, True),
    ],
)
def test_the_alarm_comes_only_where_no_rig_says_that_it_vented(valves: bool, air: AirState, lost: str | None, alarm: bool) -> None:
    said: list[str] = []
    state = SimpleNamespace(pressurised=True, has_valves=valves, device_air=air, lost=lost)
    bench = SimpleNamespace(state=state, done=[], take_leave=lambda: None)
    console = SimpleNamespace(tell_plainly=said.append, stay_until_vented=lambda: None)
    at_the_rig._leave(cast(Any, bench), cast(Any, console))
    assert ["SHUT THE SUPPLY AND OPEN THE VENT BY HAND" in line for line in said] == [alarm]
    assert said[0].startswith("supply shut, vent open") is not alarm
