"""How many times faster than a real rig the simulator is, with electronics and wire at 1 kHz in reads of 32 ms. Issue 2: 100."""

from __future__ import annotations

import time
from collections.abc import Callable

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import encode
from borewire.messages import HostAlive, StreamStart, VentClose

READ_S = 0.032
ALIVE_EVERY = 5  # reads
SECONDS = 30.0
REPEATS = 3


def streaming(scenario: str) -> SimEndpoint:
    """A rig that streams at 1 kHz in blocks of 8."""
    port = SimEndpoint(SimRig(load_scenario(scenario)), timeout=READ_S)
    port.write(encode(StreamStart(1, 1000, 8)))
    watched(port, 0.5)
    return port


def watched(port: SimEndpoint, seconds: float) -> int:
    """Let time pass as a host does, read by read, and keep the device from falling silent; octets that came."""
    until_s, octets, reads = port.monotonic() + seconds, 0, 0
    while port.monotonic() < until_s:
        octets += len(port.read(65536))
        reads += 1
        if reads % ALIVE_EVERY == 0:
            port.write(encode(HostAlive()))
    return octets


def vented() -> SimEndpoint:
    """At rest, vent open."""
    return streaming("hillclimb-before")


def opened() -> SimEndpoint:
    """At compression TDC with the supply open: the rig whose valves are turned by hand."""
    port = streaming("hillclimb-before-hand")
    operator = port.rig.operator
    for words in ("hose 1", "to tdc 1", "restrain 40", "vent shut", "supply open"):
        operator.do(words)
    while operator.busy:
        watched(port, 0.1)
    watched(port, 3.0)
    if port.rig.plant.p_cylinder_gauge_pa < 400e3:
        raise SystemExit("the cylinder did not fill; what is measured here is not a rig with air on")
    return port


def turning() -> SimEndpoint:
    """Turned at 20 rev/min with the hose in a cylinder, vent open."""
    port = streaming("hillclimb-before")
    for words in ("hose 1", "turn +7200 rpm 20"):
        port.rig.operator.do(words)
    watched(port, 8.0)
    return port


def squeezing() -> SimEndpoint:
    """Turned at 20 rev/min with the hose in a cylinder, vent closed."""
    port = turning()
    port.write(encode(VentClose(2, 100_000, 4095)))
    watched(port, 0.5)
    return port


CASES: dict[str, Callable[[], SimEndpoint]] = {
    "vented": vented,
    "supply open": opened,
    "turning, vent open": turning,
    "turning, vent closed": squeezing,
}


def main() -> None:
    """Print the table."""
    print("simulated rig            × real time    octets/s")
    for name, begin in CASES.items():
        best, rate = 0.0, 0.0
        for _ in range(REPEATS):
            port = begin()
            began_s, began_at_s = time.perf_counter(), port.monotonic()
            octets = watched(port, SECONDS)
            if octets < 1000 * SECONDS:
                raise SystemExit(f"{name}: the rig did not stream, so this is not its speed")
            passed_s = port.monotonic() - began_at_s
            best, rate = max(best, passed_s / (time.perf_counter() - began_s)), octets / passed_s
        print(f"{name:22} {best:13.0f} {rate:11.0f}")


if __name__ == "__main__":
    main()
