"""How many times faster than a real rig the simulator is, with electronics and wire at 1 kHz in reads of 32 ms, in processor time.

A capture is a minute of everything: vented, puff, fill, steady, decay, vented again. Turning is by hand at 20 rev/min with the hose
in a cylinder. Each is measured several times over: the median is held to what is asked, the best is told beside it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import encode
from borewire.messages import AirState, HostAlive, Message, StreamStart, SupplyOpen, SupplyShut, VentClose, VentOpen
from parts.rows import Row, at_least, tell

READ_S = 0.032
ALIVE_EVERY = 5  # reads
CAPTURE_S = 60.0
TURNING_S = 30.0
REPEATS = 7
ONE, EIGHT = "hillclimb-before", "lime-eight"
WORD = 4000  # a limit no pressure here comes to
FAR = 1_000_000
TIMES_REAL = "× real time"

Told = tuple[float, Message]


@dataclass(frozen=True)
class Case:
    """What is measured: how the rig comes to its beginning, how long it is watched, what the host says and when."""

    begin: Callable[[], SimEndpoint]
    seconds: float
    says: tuple[Told, ...] = ()
    ends_in: AirState = AirState.VENTED


def watched(port: SimEndpoint, seconds: float, says: Sequence[Told] = ()) -> int:
    """Let time pass as a host does, read by read, say what is due, and keep the device from falling silent; octets that came."""
    began_s, octets, reads, waiting = port.monotonic(), 0, 0, list(says)
    while (passed_s := port.monotonic() - began_s) < seconds:
        while waiting and waiting[0][0] <= passed_s:
            port.write(encode(waiting.pop(0)[1]))
        octets += len(port.read(65536))
        reads += 1
        if reads % ALIVE_EVERY == 0:
            port.write(encode(HostAlive()))
    return octets


def told(scenario: str, words: Sequence[str]) -> SimEndpoint:
    """A rig that streams at 1 kHz in blocks of 8, when its person has done that (turning is only begun)."""
    port = SimEndpoint(SimRig(load_scenario(scenario)), timeout=READ_S)
    port.write(encode(StreamStart(1, 1000, 8)))
    for word in words:
        port.rig.operator.do(word)
    while port.rig.operator.busy and not (port.rig.plant.turning and words[-1].startswith("turn")):
        watched(port, 0.1)
    watched(port, 1.0)
    return port


def at_tdc(scenario: str) -> SimEndpoint:
    """At the compression TDC of the first cylinder, restrained, the switch held."""
    return told(scenario, ("hose 1", "to tdc 1", "restrain 40", "hold press"))


def turning() -> SimEndpoint:
    """Turned with the vent open."""
    return told(ONE, ("hose 1", "turn +7200 rpm 20"))


CAPTURE: tuple[Told, ...] = (
    (3.0, VentClose(2, 100_000, WORD)),
    (3.5, SupplyOpen(3, 1, 1000, -FAR, FAR, WORD, WORD)),
    (3.8, SupplyShut(4, 3000)),
    (5.0, VentOpen(5)),
    (8.0, SupplyOpen(6, 2, 60_000, -FAR, FAR, WORD, WORD)),
    (35.0, SupplyShut(7, 30_000)),
    (55.0, VentOpen(8)),
)

CASES = {
    "capture, one cylinder": Case(lambda: at_tdc(ONE), CAPTURE_S, CAPTURE),
    "capture, eight cylinders": Case(lambda: at_tdc(EIGHT), CAPTURE_S, CAPTURE),
    "turning, vent open": Case(turning, TURNING_S),
    "turning, vent closed": Case(turning, TURNING_S, ((0.0, VentClose(2, 100_000, WORD)),), AirState.CLOSED),
}
ASKED = {"capture, one cylinder": 300.0, "turning, vent open": 200.0, "turning, vent closed": 200.0}


def times_real(name: str, case: Case) -> float:
    """How many times faster it passes, by processor time; SystemExit where something else passed than was meant."""
    port = case.begin()
    highest = 0.0
    began_s = time.process_time()
    octets = watched(port, case.seconds / 2, case.says)
    spent_s = time.process_time() - began_s
    if case.says is CAPTURE:
        highest = port.rig.plant.p_cylinder_gauge_pa
    began_s = time.process_time()
    octets += watched(port, case.seconds / 2, [(at - case.seconds / 2, say) for at, say in case.says if at >= case.seconds / 2])
    spent_s += time.process_time() - began_s
    rig = port.rig
    if octets < 1000 * case.seconds or not isinstance(rig, SimRig) or rig.device.interlock.state is not case.ends_in:
        raise SystemExit(f"{name}: the rig did not stream, or its valves did not follow; this is not its speed")
    if case.says is CAPTURE and highest < 300e3:
        raise SystemExit(f"{name}: the cylinder did not fill; what is measured here is no capture")
    if case.begin is turning and not rig.plant.turning:
        raise SystemExit(f"{name}: the crank stands; what is measured here is no turning")
    return case.seconds / spent_s


def rows() -> list[Row]:
    """Each case in turn, round after round, so that what else the computer does falls on all of them."""
    rounds = [{name: times_real(name, case) for name, case in CASES.items()} for _ in range(REPEATS)]
    found = []
    for name in CASES:
        times = [one[name] for one in rounds]
        found.append(at_least(f"simulator: {name}, median", TIMES_REAL, median(times), ASKED.get(name)))
        found.append(at_least(f"simulator: {name}, best", TIMES_REAL, max(times), None))
    ratio = median(one["capture, eight cylinders"] / one["capture, one cylinder"] for one in rounds)
    found.append(at_least("simulator: capture, eight cylinders", "× one cylinder", ratio, 0.8))
    return found


if __name__ == "__main__":
    tell(rows())
