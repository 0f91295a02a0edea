"""What can go wrong on the cable between device and host."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Literal

from boresim.faults.fault import Fault, Level, Moment, Outcome
from boresim.faults.parts import MISSING, Act, of_octets, passed
from boresim.line import Line, Scratch, Way
from boresim.noise import seeded_unit

if TYPE_CHECKING:
    from boresim.rig import SimRig

__all__ = ["LINE"]

Direction = Literal["to_host", "to_device"]

GARBAGE_OCTETS = 300
CUT_OCTETS = 7
BACK_AFTER_S = 4.0
LARGEST_PIECE = 400


def _way(line: Line, direction: Direction) -> Way:
    return line.to_host if direction == "to_host" else line.to_device


def _ticks(rig: SimRig, seconds: float) -> int:
    return round(seconds * rig.device.setup.tick_rate_hz)


def _scratched(name: str, *directions: Direction, flipped: float = 0.0, lost: float = 0.0, added: float = 0.0) -> tuple[Act, Act]:
    """Chances for each octet of a direction."""

    def begin(rig: SimRig) -> None:
        line = rig.worn_line()
        for direction in directions:
            scratch = Scratch(rig.scenario.seed, f"{name} {direction}", flipped=flipped, lost=lost, added=added)
            _way(line, direction).changes[name] = scratch.worn

    def end(rig: SimRig) -> None:
        for direction in directions:
            del _way(rig.line, direction).changes[name]

    return begin, end


def _late(name: str, late_s: float) -> tuple[Act, Act]:
    """All that is said arrives so much later, both ways."""

    def begin(rig: SimRig) -> None:
        line, late = rig.worn_line(), _ticks(rig, late_s)
        line.to_host.dues[name] = line.to_device.dues[name] = lambda tick: tick + late

    def end(rig: SimRig) -> None:
        del rig.line.to_host.dues[name], rig.line.to_device.dues[name]

    return begin, end


def _stalled(name: str, stall_s: float) -> tuple[Act, Act]:
    """The device's octets are held back once for so long, then come all at once."""

    def begin(rig: SimRig) -> None:
        line = rig.worn_line()
        until = line.sealed_tick + _ticks(rig, stall_s)
        line.to_host.dues[name] = lambda tick: max(tick, until)

    def end(rig: SimRig) -> None:
        del rig.line.to_host.dues[name]

    return begin, end


def _dead(name: str, *directions: Direction, echo: bool = False) -> tuple[Act, Act]:
    """Nothing gets through any more; with echo the host hears itself."""

    def begin(rig: SimRig) -> None:
        line = rig.worn_line()
        for direction in directions:
            _way(line, direction).dead.add(name)
        if echo:
            line.echoes.add(name)

    def end(rig: SimRig) -> None:
        for direction in directions:
            _way(rig.line, direction).dead.discard(name)
        rig.line.echoes.discard(name)

    return begin, end


def _in_pieces(name: str) -> tuple[Act, Act]:
    def begin(rig: SimRig) -> None:
        seed = rig.scenario.seed
        rig.worn_line().to_host.pieces[name] = lambda place: 1 + int(LARGEST_PIECE * seeded_unit(seed, f"{name} {place}") ** 3)

    def end(rig: SimRig) -> None:
        del rig.line.to_host.pieces[name]

    return begin, end


def _out(name: str, back: bool) -> tuple[Act, Act]:
    """The cable is out; back: somebody puts it back a little later."""

    def begin(rig: SimRig) -> None:
        rig.unplug()
        if back:
            rig.faults.again(name, BACK_AFTER_S, rig.plug)

    def end(rig: SimRig) -> None:
        rig.plug()

    return begin, end


def _garbage(name: str) -> tuple[Act, Act]:
    """Before the device's first octets comes what nobody sent, as from a line that floats while the device starts."""

    def begin(rig: SimRig) -> None:
        seed = rig.scenario.seed
        noise = bytes(int(256 * seeded_unit(seed, f"{name} {place}")) for place in range(GARBAGE_OCTETS))
        rig.line.to_host.add(noise, 0)
        rig.worn_line()

    return begin, passed


def _first_cut() -> tuple[Act, Act]:
    """Opening the port throws away what the computer had of the first frame already."""

    def begin(rig: SimRig) -> None:
        rig.line.to_host.add(rig.transmit()[CUT_OCTETS:], 0)

    return begin, passed


def _twice(name: str) -> tuple[Act, Act]:
    def begin(rig: SimRig) -> None:
        rig.device.messages.out[name] = lambda message: (message, message)

    def end(rig: SimRig) -> None:
        del rig.device.messages.out[name]

    return begin, end


_row = partial(of_octets, Level.LINE)

LINE: tuple[Fault, ...] = (
    _row(
        "bits-flip",
        "Bits of what the device says are turned over on the cable, one octet in two thousand.",
        Moment.FULL,
        _scratched("bits-flip", "to_host", flipped=5e-4),
        Outcome.VOID,
        MISSING,
        MISSING,
        after_s=1.0,
    ),
    _row(
        "bits-flip-always",
        "Bits are turned over on the cable all the time, both ways, one octet in five hundred.",
        Moment.START,
        _scratched("bits-flip-always", "to_host", "to_device", flipped=2e-3),
        Outcome.NONE,
        "missing",
        "missing",
    ),
    _row(
        "commands-garbled",
        "Bits of what the host says are turned over on the cable, one octet in a hundred.",
        Moment.SQUEEZE,
        _scratched("commands-garbled", "to_device", flipped=0.01),
        Outcome.NUMBER,
    ),
    _row(
        "octets-lost",
        "The cable loses octets, one in two thousand.",
        Moment.FULL,
        _scratched("octets-lost", "to_host", lost=5e-4),
        Outcome.VOID,
        MISSING,
        MISSING,
        after_s=1.0,
    ),
    _row(
        "octets-added",
        "Octets that nobody sent come in between, one to two hundred.",
        Moment.DECAY,
        _scratched("octets-added", "to_host", added=5e-3),
        Outcome.VOID,
        MISSING,
        MISSING,
        after_s=0.2,
    ),
    _row(
        "messages-twice",
        "Every message of the device arrives twice.",
        Moment.START,
        _twice("messages-twice"),
        Outcome.NUMBER,
    ),
    _row(
        "a-little-late",
        "Everything arrives an eighth of a second late, both ways.",
        Moment.START,
        _late("a-little-late", 0.125),
        Outcome.NUMBER,
    ),
    _row(
        "late",
        "Everything arrives two fifths of a second late, both ways.",
        Moment.START,
        _late("late", 0.4),
        Outcome.VOID,
        "did not say that it opened its supply",
        "did not say that it opened its supply",
    ),
    _row(
        "in-pieces",
        "The stream is cut and joined as it likes, down to single octets.",
        Moment.PUFF,
        _in_pieces("in-pieces"),
        Outcome.NUMBER,
    ),
    _row(
        "short-stall",
        "Nothing comes for a third of a second, then all at once.",
        Moment.FULL,
        _stalled("short-stall", 0.33),
        Outcome.NUMBER,
        after_s=1.0,
    ),
    _row(
        "stall",
        "Nothing comes for two seconds, then all at once.",
        Moment.FULL,
        _stalled("stall", 2.0),
        Outcome.VOID,
        "the rig is silent.*SHUT AND VENT BY HAND",
        "the link to the rig was lost",
        after_s=1.0,
    ),
    _row(
        "dead-to-the-device",
        "What the host says does not arrive any more; what the device says does.",
        Moment.FULL,
        _dead("dead-to-the-device", "to_device"),
        Outcome.VOID,
        "does not hear this program any more: check the cable",
        "does not hear this program any more",
        after_s=1.0,
    ),
    _row(
        "dead-to-the-host",
        "What the device says does not arrive any more; what the host says does.",
        Moment.FULL,
        _dead("dead-to-the-host", "to_host"),
        Outcome.VOID,
        "silent.*SHUT AND VENT BY HAND",
        "the link to the rig was lost",
        after_s=1.0,
    ),
    _row(
        "cable-out",
        "The cable comes out before any air, and stays out.",
        Moment.SQUEEZE,
        _out("cable-out", back=False),
        Outcome.NONE,
        "PRESSURISED as far as is known: shut the supply and open the vent by hand",
        "there is no port of the simulated rig; plug it in",
        after_s=1.0,
    ),
    _row(
        "cable-out-and-in",
        "The cable comes out with air on, and is put back a little later.",
        Moment.FULL,
        _out("cable-out-and-in", back=True),
        Outcome.VOID,
        "SHUT AND VENT BY HAND",
        "the link to the rig was lost",
        after_s=1.0,
    ),
    _row(
        "garbage-at-start",
        "Before the device's first word comes noise.",
        Moment.START,
        _garbage("garbage-at-start"),
        Outcome.NUMBER,
    ),
    _row(
        "first-frame-cut",
        "The first frame has lost its beginning when the port is opened.",
        Moment.START,
        _first_cut(),
        Outcome.NUMBER,
    ),
    _row(
        "own-echo",
        "The host gets back all that it sends.",
        Moment.START,
        _dead("own-echo", echo=True),
        Outcome.NUMBER,
    ),
    _row(
        "own-echo-alone",
        "The host hears nothing but what it sends itself.",
        Moment.FULL,
        _dead("own-echo-alone", "to_host", echo=True),
        Outcome.VOID,
        "no samples that can be used.*SHUT AND VENT BY HAND",
        "the link to the rig was lost",
        after_s=1.0,
    ),
)
