"""The conformance suite over every device that there is: one test for each check and device."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from borewire.interlock import TABLE
from borewright.conform.check import Need
from borewright.conform.suite import SUITE, Run
from borewright.conform.verdict import Ending, Outcome, result_lines

from .devices import NOT_TRIED

NAMES = [check.name for check in SUITE]
NEED = {check.name: check.needs for check in SUITE}


@pytest.mark.parametrize("name", NAMES)
def test_the_device_does_what_the_page_demands(run_over: Callable[[str], Run], device: str, name: str) -> None:
    run = run_over(device)
    (result,) = [result for result in run.results if result.name == name]
    if name in NOT_TRIED.get(device, ()):
        assert result.outcome is Outcome.NOT_TRIED
    elif device not in NOT_TRIED:  # hardware: what nobody can do there is not tried, and says so
        assert run.ending is Ending.COMPLETE, "the line to the device was lost, so nothing is proven"
        assert result.outcome is not Outcome.FAILED, "\n".join(result_lines(result))
    else:
        assert result.outcome is Outcome.PASSED, "\n".join(result_lines(result))


def test_every_check_has_a_name_of_its_own_a_requirement_and_a_section() -> None:
    assert len(set(NAMES)) == len(NAMES)
    for check in SUITE:
        assert check.requirement.endswith(".")
        assert check.section.startswith(("PROTOCOL.md ", "interlock.toml "))
        assert check.chapter


def test_every_row_of_the_interlock_table_has_a_check() -> None:
    short = {"SupplyOpen": "open", "SupplyShut": "shut", "VentClose": "close"}
    for row in TABLE.commands:
        for refusal in row.refuse:
            reason = refusal.reason.name.lower().replace("_", "-")
            in_order = {"fault-present": "sensor-fault-open", "air-is-on": "close-order"}
            assert in_order.get(reason, f"{short[row.command]}-{reason}") in NAMES
    for watch in TABLE.watches:
        for state in watch.in_states:
            assert f"{watch.cause.name.lower().replace('_', '-')}-{state.name.lower()}" in NAMES


def test_nothing_that_drives_a_valve_is_tried_before_the_air_has_been_said_to_be_off() -> None:
    assert all(Need.AIR in needs for needs in NEED.values() if Need.VALVES in needs)
