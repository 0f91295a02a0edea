"""The built-in rig as the station's source: paced by a clock, unplugged and back, seen and never told the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

import pytest
from borewright.errors import LinkError, UseError
from borewright.link import Endpoint
from borewright.simrig.builtin import BuiltInRig
from borewright.simrig.paced import LONGEST_READ_S
from borewright.simrig.rig_view import BuiltInFacts, BuiltInView


class Clock:
    """The computer's clock, which goes only while somebody waits, or when it is put on."""

    def __init__(self) -> None:
        self.now_s = 100.0
        self.waits: list[float] = []

    def __call__(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.waits.append(seconds)
        self.now_s += seconds


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def make_rig(clock: Clock) -> Callable[..., BuiltInRig]:
    return lambda speed=1.0, scenario="hillclimb-before": BuiltInRig(scenario, speed=speed, clock=clock, wait=clock.wait)


def reads(rig: BuiltInRig, clock: Clock, seconds: float) -> float:
    """Read for so long by the clock; gives the virtual time that passed."""
    port = rig.open()
    before, until_s = port.monotonic(), clock() + seconds
    while clock() < until_s:
        port.read(4096)
    return port.monotonic() - before


def read_on(port: Endpoint) -> None:
    """Read for as long as an act of the person may take."""
    for _ in range(400):
        port.read(4096)


@pytest.mark.parametrize("speed", [1.0, 2.0, 4.0])
def test_virtual_time_goes_by_the_clock_times_the_speed(make_rig: Callable[..., BuiltInRig], clock: Clock, speed: float) -> None:
    assert reads(make_rig(speed), clock, 2.0) == pytest.approx(2.0 * speed, abs=0.02 * speed)


def test_a_read_waits_fifteen_milliseconds_at_most_and_in_few_waits(make_rig: Callable[..., BuiltInRig], clock: Clock) -> None:
    port = make_rig().open()
    while port.read(4096):  # what the device says at first
        pass
    for timeout_s in (1.0, None, 0.005):
        port.timeout = timeout_s
        clock.waits.clear()
        before = clock()
        assert port.read(4096) == b""
        assert clock() - before <= min(LONGEST_READ_S, timeout_s or LONGEST_READ_S) + 1e-9
        assert 1 <= len(clock.waits) <= 4


def test_a_computer_that_slept_does_not_make_the_rig_run_after(make_rig: Callable[..., BuiltInRig], clock: Clock) -> None:
    port = make_rig().open()
    port.read(4096)
    before = port.monotonic()
    clock.now_s += 3600.0
    for _ in range(20):
        port.read(4096)
    assert port.monotonic() - before < 1.0


def test_the_host_is_heard_before_its_silence_could_trip_the_device(make_rig: Callable[..., BuiltInRig], clock: Clock) -> None:
    port = make_rig(4.0).open()
    port.read(4096)
    clock.now_s += 0.2  # somebody else had the processor
    before = port.monotonic()
    port.timeout = 0.0
    port.read(4096)
    assert port.monotonic() - before < 0.1  # the device waits half a second for a word


def test_speed_is_changed_in_words(make_rig: Callable[..., BuiltInRig]) -> None:
    rig = make_rig()
    assert rig.do("speed 4").startswith("ok")
    assert rig.speed == rig.view().speed == 4.0
    assert rig.do("speed 100").startswith("no: ")
    assert BuiltInRig(speed=None).do("speed 2").startswith("no: ")


def test_unplugged_it_is_not_to_be_had_until_somebody_plugs_it_in(make_rig: Callable[..., BuiltInRig], clock: Clock) -> None:
    rig = make_rig()
    port = rig.open()
    rig.do("unplug")
    with pytest.raises(OSError, match="check its cable"):
        read_on(port)
    with pytest.raises(LinkError, match="put it back"):
        rig.open()
    rig.do("plug")
    tries = 0
    while not rig.view().plugged:
        clock.now_s += 1.0  # the station asks again every second
        tries += 1
        rig.view()
    assert tries <= 4
    assert reads(rig, clock, 0.2) > 0.1


def test_unpaced_a_try_to_open_lets_time_pass_so_that_it_can_be_plugged_in() -> None:
    rig = BuiltInRig(speed=None)
    port = rig.open()
    port.timeout = 0.2
    rig.do("unplug")
    with pytest.raises(OSError, match="check its cable"):
        read_on(port)
    rig.do("plug")
    for _ in range(5):
        try:
            port = rig.open()
            break
        except LinkError:
            continue
    assert len(port.read(4096)) >= 0
    assert rig.view().plugged


def test_what_is_to_be_seen_follows_what_is_done() -> None:
    rig = BuiltInRig("hillclimb-before-hand", speed=None)
    port = rig.open()
    port.timeout = 0.2

    def pass_time(seconds: float) -> None:
        until_s = port.monotonic() + seconds
        while port.monotonic() < until_s:
            port.read(4096)

    for words in ("hose 3", "restrain 40", "vent shut", "stop 3 exhaust on", "meter 3 breather 4", "wet 3 5", "regulator 300"):
        assert rig.do(words).startswith("ok"), words
        pass_time(14.0)
    seen = rig.view()
    assert (seen.hose_at, seen.restraint_nm, seen.vent_open, seen.hand_valves) == (3, 40.0, False, True)
    assert seen.stopped == ((3, "exhaust"),)
    assert seen.metered == ((3, "breather", 4.0),)
    assert seen.oil_cm3 == ((3, 5.0),)
    assert seen.regulator_gauge_pa == pytest.approx(300e3)
    assert [place for _, place, _ in seen.place_gauges] == ["breather", "exhaust"]
    assert rig.do("supply open").startswith("ok")
    pass_time(3.0)
    heard = {one.place: one.strength for one in rig.view().heard}
    assert heard["exhaust"] != "none"  # past the stop's relief, or through its leak
    assert rig.view().supply_open


def test_another_scenario_is_another_rig_with_its_own_serial_number() -> None:
    rig = BuiltInRig(speed=2.0)
    other = rig.with_scenario("v-twin-uneven")
    assert other.facts.engine_name != rig.facts.engine_name
    assert other.speed == 2.0
    with pytest.raises(UseError):
        rig.with_scenario("nowhere")


def test_nothing_of_the_truth_is_to_be_seen() -> None:
    names = {field.name for kind in (BuiltInFacts, BuiltInView) for field in fields(kind)}
    assert not [name for name in names if "truth" in name or "leak" in name or "area" in name]
    rig = BuiltInRig("hillclimb-before", speed=None)
    assert "leakage_percent" not in repr(rig.facts)


def test_a_check_valve_is_seen_only_with_the_hose_off() -> None:
    rig = BuiltInRig("check-valve-left-in", speed=None)
    port = rig.open()
    port.timeout = 0.2
    assert rig.view().check_valve_seen
    rig.do("hose 1")
    until_s = port.monotonic() + 8.0
    while port.monotonic() < until_s:
        port.read(4096)
    assert rig.view().hose_at == 1
    assert not rig.view().check_valve_seen
