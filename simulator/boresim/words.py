"""The words that the person at the simulated rig understands, and how one of them is read."""

from __future__ import annotations

from boresim.engine import SimEngine

__all__ = ["HELP", "CannotError", "bare", "cylinder_of", "number", "one_of", "place_of", "usage"]

HELP = {
    "turn": "turn +DEG|-DEG [rpm N]: turn the crank by hand, + in running direction",
    "crank": "crank +DEG|-DEG [rpm N]|stop: the hand that is on the crank follows by so much more at once, or comes off it",
    "to": "to tdc N [off DEG]: turn in running direction to the compression TDC of cylinder N, or DEG after it",
    "restrain": "restrain NM|off: hold the crank with a restraint good for NM newton metres",
    "hose": "hose N|off|capped|orifice MM2: put the hose into cylinder N, leave it open, cap it, or put an orifice on it",
    "supply": "supply open|shut: move the hand supply valve",
    "vent": "vent open|shut: move the hand vent valve",
    "regulator": "regulator KPA: set the regulator to a gauge pressure",
    "hold": "hold press|release: the hold-to-run switch",
    "stop": "stop N PLACE on [relief KPA]|off: stop a place of cylinder N, with a gauge and a relief on it, or free it again",
    "meter": "meter N PLACE MM2|off: lead the air of a place of cylinder N through an orifice with a low-pressure gauge before it",
    "place-gauge": "place-gauge N PLACE: what the gauge at a stopped or metered place shows, to a hundredth of a kPa",
    "wet": "wet N CM3: put oil into cylinder N",
    "decompression": "decompression on|off: hold the decompression device on by hand, or release it",
    "check-valve": "check-valve out: take out the check valve that was left in the adapter",
    "piston-stop": "piston-stop N|out: screw the piston stop into cylinder N, or take it out",
    "listen": "listen: how the air sounds at each place of the cylinder that the hose is in",
    "gauge": "gauge: what the reference gauge on the end of the capped hose shows, to a tenth of a kPa",
    "look": "look: where the hose is, how the crank stands, what the gauges show",
    "wait": "wait S: do nothing for so many seconds",
    "unplug": "unplug: pull the cable",
    "plug": "plug: put the cable back",
    "power-cycle": "power-cycle: switch the device off and on again",
    "fault": "fault NAME|NAME at start|squeeze|puff|full|decay|vent|NAME off|list: something goes wrong, or is well again",
    "halt": "halt: drop everything under way, the turning too",
    "busy": "busy: whether anything is still to be done",
    "help": "help [WORD]: these words",
}


class CannotError(Exception):
    """The words ask for something that cannot be done; the text says why."""


def usage(word: str) -> CannotError:
    """What is answered to a known word with anything else behind it than its HELP says."""
    return CannotError(f"say {HELP[word]}")


def number(word: str, what: str, low: float, high: float) -> float:
    """The number in a word. what: what it is of, for the error that is raised when it is none or out of bounds."""
    try:
        value = float(word)
    except ValueError:
        raise CannotError(f"{what} must be a number, not {word!r}") from None
    if not low <= value <= high:
        raise CannotError(f"{what} must be from {low:g} to {high:g}, not {word}")
    return value


def one_of(word: str, rest: tuple[str, ...], yes: str, no: str) -> bool:
    """Whether the one word behind another is yes; it must be yes or no."""
    if rest not in ((yes,), (no,)):
        raise usage(word)
    return rest == (yes,)


def bare(word: str, rest: tuple[str, ...]) -> str:
    """The word itself, behind which nothing may stand."""
    if rest:
        raise usage(word)
    return word


def cylinder_of(word: str, engine: SimEngine) -> int:
    """The cylinder that a word names."""
    cylinders = sorted(engine.firing_order)
    if not word.isdecimal() or int(word) not in cylinders:
        raise CannotError(f"{word!r} is no cylinder of this engine; it has {', '.join(map(str, cylinders))}")
    return int(word)


def place_of(word: str, engine: SimEngine) -> str:
    """The place that a word names."""
    place = word.replace("-", "_")
    if place not in engine.places:
        raise CannotError(f"{word!r} is no place of this engine; it has {', '.join(engine.places)}")
    return place
