"""What is said of the air when a command at the rig is ended before its time."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest
from borewire.messages import AirState
from borewright.cli import at_the_rig


@pytest.mark.parametrize("falls", [True, False])
@pytest.mark.parametrize(
    ("valves", "air", "lost", "vented"),
    [
        (True, AirState.VENTED, None, True),
        (True, AirState.OPEN, None, False),
        (True, AirState.VENTED, "the rig has been silent", False),
        (False, AirState.VENTED, None, False),
    ],
)
def test_only_the_gauges_end_the_alarm_and_only_a_rig_that_is_heard_says_how_its_valves_are(
    valves: bool, air: AirState, lost: str | None, vented: bool, falls: bool
) -> None:
    said: list[str] = []
    sounded: list[str] = []
    state = SimpleNamespace(pressurised=True, has_valves=valves, device_air=air, lost=lost)
    bench = SimpleNamespace(state=state, done=[], take_leave=lambda: None)

    def stay() -> None:
        state.pressurised = not falls

    console = SimpleNamespace(tell_plainly=said.append, sound=sounded.append, tell_once_vented=lambda: None, stay_until_vented=stay)
    at_the_rig._leave(cast(Any, bench), cast(Any, console))
    assert [line.startswith("supply shut, vent open") for line in said] == ([True] if vented else [])
    assert ["SHUT THE SUPPLY AND OPEN THE VENT BY HAND" in line for line in sounded] == ([] if falls else [True])
