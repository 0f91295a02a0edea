"""The built-in rig: the simulated one as a source for the station, with the person who works at it.

It is driven from one thread, the station's, and needs no locks; what it shows of itself is frozen and may go to any.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import Scenario, ScenarioError, load_scenario

from borewright.errors import LinkError, UseError
from borewright.link import Endpoint
from borewright.simrig.paced import Pace, PacedEndpoint
from borewright.simrig.rig_view import BuiltInFacts, BuiltInView, facts_of, look_at

__all__ = ["FASTEST", "SPEED_HELP", "BuiltInFacts", "BuiltInRig", "BuiltInView", "built_in_scenario"]

FASTEST = 8.0
PASSES_UNPLUGGED_S = 1.0  # of virtual time at most, each time that somebody tries to open a port without its cable
SPEED_HELP = "speed N: let N virtual seconds pass for each second of the clock"


class BuiltInRig:
    """A simulated rig with its engine and its person. Raises UseError when there is no such scenario.

    scenario: name or file. speed: virtual seconds for each second of the clock; None: time passes only while the port is read, as
    fast as it is. clock and wait: of the computer.

    >>> rig = BuiltInRig("hillclimb-before", speed=None)
    >>> port = rig.open()
    >>> port.timeout = 0.5
    >>> len(port.read(4096)) > 0, rig.do("crank +30")
    (True, 'ok following by +30 degrees')
    >>> _ = [port.read(4096) for _ in range(4)]
    >>> round(rig.view().crank_deg)
    241
    """

    def __init__(
        self,
        scenario: str = "hillclimb-before",
        *,
        speed: float | None = 1.0,
        seed: int | None = None,
        clock: Callable[[], float] = time.monotonic,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self._rig = SimRig(built_in_scenario(scenario, seed))
        self.name = f"built-in rig, {self._rig.scenario.name}"
        self.facts: BuiltInFacts = facts_of(self._rig.scenario)
        self._clock, self._wait = clock, wait
        self._pace = None if speed is None else Pace(self._rig, _checked(speed), clock)
        self._port: PacedEndpoint | SimEndpoint | None = None
        self._oil_cm3: dict[int, float] = {}
        self._said = ""

    @property
    def speed(self) -> float | None:
        """Virtual seconds for each second of the clock; None: unpaced."""
        return None if self._pace is None else self._pace.speed

    def with_scenario(self, scenario: str) -> BuiltInRig:
        """Another rig like this one with another scenario, as new. Raises UseError when there is none of that name."""
        return BuiltInRig(scenario, speed=self.speed, clock=self._clock, wait=self._wait)

    def open(self) -> Endpoint:
        """The port. Raises LinkError while the cable is out; time passes at the rig all the same, so that it can be put back."""
        self._pass_time()
        if not self._rig.plugged:
            raise LinkError("the cable of the built-in rig is out; put it back")
        if self._port is not None:
            self._port.close()
        if self._pace is None:
            self._port = SimEndpoint(self._rig)
        else:
            self._pace.begin_again()
            self._port = PacedEndpoint(self._rig, self._pace, self._clock, self._wait)
        return self._port

    def do(self, words: str) -> str:
        """Tell the person at the rig something, in the words of boresim.words or SPEED_HELP. Answers "ok …" or "no: …"."""
        told = words.lower().split()
        self._said = self._set_speed(told[1:]) if told[:1] == ["speed"] else self._rig.operator.do(words)
        if told[:1] == ["wet"] and self._said.startswith("ok "):
            self._oil_cm3[int(told[1])] = self._oil_cm3.get(int(told[1]), 0.0) + float(told[2])
        return self._said

    def view(self) -> BuiltInView:
        """What is to be seen at the rig now."""
        if self._pace is not None:
            self._pass_time()
        return look_at(self._rig, oil_cm3=sorted(self._oil_cm3.items()), said=self._said, speed=self.speed)

    def _pass_time(self) -> None:
        """While nobody can read the port, the person at the rig goes on."""
        if self._port is not None and self._port.is_open and self._rig.plugged:
            return
        if self._pace is None:
            self._rig.advance(0.0 if self._rig.plugged else PASSES_UNPLUGGED_S)
        else:
            self._pace.catch_up(PASSES_UNPLUGGED_S, PASSES_UNPLUGGED_S)

    def _set_speed(self, rest: list[str]) -> str:
        if self._pace is None:
            return "no: this rig is not paced by the clock"
        try:
            self._pace.speed = _checked(float(" ".join(rest)))
        except (ValueError, UseError):
            return f"no: say {SPEED_HELP}, from 0.25 to {FASTEST:g}"
        return f"ok {self._pace.speed:g} virtual seconds a second"


def built_in_scenario(name: str, seed: int | None = None) -> Scenario:
    """A scenario as the built-in rig has it: with a serial number of its own, for its transducers and encoder are not another's.

    Raises UseError when there is none of that name, and no such file.

    >>> built_in_scenario("hillclimb-after").rig.device.serial_number
    'BW-REF-0001-1908'
    """
    try:
        scenario = load_scenario(name, seed)
    except ScenarioError as wrong:
        raise UseError(str(wrong)) from wrong
    device = scenario.rig.device
    valves = "H" if scenario.rig.valves == "hand" else ""
    own = replace(device, serial_number=f"{device.serial_number}-{scenario.seed}{valves}")
    return replace(scenario, rig=replace(scenario.rig, device=own))


def _checked(speed: float) -> float:
    if not 0.25 <= speed <= FASTEST:
        raise UseError(f"the built-in rig goes from 0.25 to {FASTEST:g} times as fast as the clock, not {speed:g}")
    return speed
