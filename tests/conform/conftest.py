"""Runs the suite once over each device, however many tests ask what came of it; builds the firmware first."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest
from borewright.conform.suite import Run, run_suite
from borewright.link import open_link

from ..firmware.conftest import FIRMWARE, make
from .devices import DEVICES, run_in_memory

HARDWARE = "hardware"


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Each test of `device` over all devices, and over the one at --device-url only when that is given."""
    if "device" in metafunc.fixturenames:
        url = metafunc.config.getoption("--device-url", default=None)
        metafunc.parametrize("device", [*DEVICES, *([HARDWARE] if url else [])], scope="session")


@cache
def _built(target: str) -> None:
    make(FIRMWARE, *target.split())


@cache
def _run(device: str, url: str | None) -> Run:
    if device == HARDWARE:
        assert url is not None
        endpoint = open_link(url)
        try:
            return run_suite(endpoint)  # without air: nobody has said that the supply is off
        finally:
            endpoint.close()
    if device == "firmware-pc":
        _built("host")
    if device == "firmware-emulator":
        _built("BAUD=500000")
        _built("bench")
    return run_in_memory(device)


@pytest.fixture(scope="session")
def run_over(request: pytest.FixtureRequest) -> Callable[[str], Run]:
    """What came of the suite over a device."""
    return lambda device: _run(device, request.config.getoption("--device-url", default=None))
