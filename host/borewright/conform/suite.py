"""The whole suite in its order, and the run of it over one endpoint."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from borewire.messages import ChannelDescription, Identity, StreamStop, VentOpen

from borewright.conform.air import AirIsOn
from borewright.conform.air_by_hand import BY_HAND
from borewright.conform.air_refusals import AIR_REFUSALS
from borewright.conform.air_states import AIR_STATES
from borewright.conform.air_watches import AIR_WATCHES
from borewright.conform.answers import ANSWERING
from borewright.conform.bench import Bench, Endpoint
from borewright.conform.check import Check, Failed, Need, NotTried, chapter_of
from borewright.conform.hands import Hands, Task
from borewright.conform.identify import HANDSHAKE, IDENTIFY, impossible
from borewright.conform.no_valves import NO_VALVES
from borewright.conform.power_up import POWER_UP, listen_at_opening
from borewright.conform.receiving import RECEIVING
from borewright.conform.streaming import STREAMING
from borewright.conform.timing import TIMING
from borewright.conform.verdict import Ending, Figure, Outcome, Result
from borewright.errors import LinkError

__all__ = ["SUITE", "BrokenOff", "Run", "run_suite"]

LINE_LOST: Final = "the line was lost"
BROKEN_OFF: Final = "the run was broken off before it was through"
NOT_JUDGED: Final = (ArithmeticError, LookupError, ValueError, TypeError, AttributeError, StopIteration)


def _line(bench: Bench) -> list[Figure]:
    if bench.bad_frames > bench.resets:  # a reset may cut the frame that was being sent
        raise Failed(f"{bench.bad_frames} frames of the device were bad in this run; a line that loses octets would show the same")
    return []


SUITE: Final = (
    HANDSHAKE,
    *IDENTIFY,
    *POWER_UP,
    *STREAMING,
    *TIMING,
    *ANSWERING,
    *RECEIVING,
    *NO_VALVES,
    *AIR_STATES,
    *AIR_REFUSALS,
    *AIR_WATCHES,
    *BY_HAND,
    *chapter_of("The line", Check("good-frames-only", "The frames of the device are good.", "PROTOCOL.md 2", _line)),
)


@dataclass(frozen=True, slots=True)
class Run:
    """What a run gave: who the device is, as far as it said so, and the results in their order."""

    device: Identity | None
    channels: tuple[ChannelDescription, ...]
    results: tuple[Result, ...]
    ending: Ending = Ending.COMPLETE


class BrokenOff(KeyboardInterrupt):
    """Somebody broke the run off. run: what it had given by then; what is left stands there as not tried."""

    def __init__(self, run: Run) -> None:
        super().__init__("the run was broken off")
        self.run = run


def run_suite(
    endpoint: Endpoint,
    *,
    only: Sequence[str] = (),
    air: bool = False,
    hands: Hands | None = None,
    steady_clock: bool = True,
    tell: Callable[[Result], None] = lambda _: None,
    about: Callable[[str, int, int], None] = lambda _name, _at, _of: None,
) -> Run:
    """Try the device behind an endpoint.

    only: names of checks, all when empty; the handshake is always made. air: the air supply has been stated to be shut off and
    vented, so that the device may drive its valves. hands: who does what the wire cannot. steady_clock: whether the clock of the
    endpoint may judge the device's. tell: told each result as it comes. about: told each check before it is tried, with its number
    and how many there are.

    At the end, however it comes, the device is told to vent and to stop its stream, and the hands let the hold-to-run switch go. A
    line that is lost ends the run; the check that was under way has then no verdict either, and what was not tried by then is not
    tried. Raises BrokenOff, which is a KeyboardInterrupt, when somebody interrupts it.
    """
    bench = Bench(endpoint, hands, air=air)
    checks = [check for check in SUITE if not only or check.name in only]
    results: list[Result] = []
    try:
        try:
            for result in _tried(bench, checks, steady_clock, about):
                results.append(result)
                tell(result)
        finally:
            _leave(bench)
    except KeyboardInterrupt as interrupt:
        told = {result.name for result in results}
        results += [_result(check, Outcome.NOT_TRIED, BROKEN_OFF) for check in checks if check.name not in told]
        raise BrokenOff(Run(bench.identity, bench.channels, tuple(results), Ending.BROKEN_OFF)) from interrupt
    return Run(bench.identity, bench.channels, tuple(results), Ending.LINE_LOST if bench.lost else Ending.COMPLETE)


def _tried(bench: Bench, checks: Sequence[Check], steady_clock: bool, about: Callable[[str, int, int], None]) -> Iterator[Result]:
    why_not: str | None = None
    met = False
    order = [HANDSHAKE, *(check for check in checks if check is not HANDSHAKE)]
    about(HANDSHAKE.name, 1, len(order))
    try:
        bench.at_opening = listen_at_opening(bench)
        if bench.hands is not None and bench.air:
            _air_off(bench)
        handshake = _try(bench, HANDSHAKE)
        met = handshake.outcome is Outcome.PASSED
        if HANDSHAKE in checks or not met:
            yield handshake
        why_not = None if met else "the device did not say who it is"
    except (LinkError, OSError) as lost:
        why_not = _lost(bench, lost)
        yield _result(HANDSHAKE, Outcome.NOT_TRIED, why_not, bench)
    for number, check in enumerate(order[1:], 2):
        missing = why_not or _missing(bench, check, steady_clock)
        if missing is not None:
            yield _result(check, Outcome.NOT_TRIED, missing)
            continue
        about(check.name, number, len(order))
        try:
            result = _try(bench, check)
        except (LinkError, OSError) as lost:
            why_not = _lost(bench, lost)
            result = _result(check, Outcome.NOT_TRIED, why_not, bench)
        yield result


def _lost(bench: Bench, lost: Exception) -> str:
    """A line that is lost says nothing of the device: the cable, the adapter and the computer are on it too."""
    bench.lost = True
    return f"{LINE_LOST}: {lost}"


def _missing(bench: Bench, check: Check, steady_clock: bool) -> str | None:
    """Why the check cannot be tried here, or None."""
    if check not in IDENTIFY and (wrong := impossible(bench.device)):
        return f"the device says of itself what cannot be: {'; '.join(wrong)}"
    there = {
        Need.VALVES: bench.has_valves,
        Need.NO_VALVES: not bench.has_valves,
        Need.AIR: bench.air,
        Need.HANDS: bench.hands is not None,
        Need.HOLD: bench.has_hold,
        Need.STEADY_CLOCK: steady_clock,
    }
    return next((need.value for need in check.needs if not there[need]), None)


def _try(bench: Bench, check: Check) -> Result:
    try:
        bench.begin()
        figures = check.run(bench)
        result = Result(check.name, check.chapter, check.section, check.requirement, Outcome.PASSED, "", tuple(figures or ()))
    except Failed as failed:
        result = _result(check, Outcome.FAILED, str(failed), bench)
    except NOT_JUDGED as error:  # a device is free to say what nobody thought of; the run goes on, and ends with a verdict
        what = f"{type(error).__name__}: {error}".rstrip(": ")
        sentence = f"what came could not be judged ({what}); if the device is right there, this program is wrong: please report it"
        result = _result(check, Outcome.FAILED, sentence, bench)
    except AirIsOn as on:
        bench.air = False
        result = _result(check, Outcome.NOT_TRIED, str(on))
    except NotTried as why:
        result = _result(check, Outcome.NOT_TRIED, str(why))
    _settle(bench, check)
    return result


def _result(check: Check, outcome: Outcome, sentence: str, bench: Bench | None = None) -> Result:
    sent, came = (bench.sent_words, bench.came_words) if bench is not None else ((), ())
    return Result(check.name, check.chapter, check.section, check.requirement, outcome, sentence, (), sent, came)


def _settle(bench: Bench, check: Check) -> None:
    """After a check: vented and without a stream, whatever the check left behind."""
    if check is HANDSHAKE and bench.identity is None:
        return
    bench.alive = False
    commands = ([VentOpen(0)] if Need.VALVES in check.needs else []) + [StreamStop(0)]
    with suppress(Failed):  # the next check will say what is wrong with a device that does not even do this
        for command in commands:
            bench.ask(command)


def _air_off(bench: Bench) -> None:
    """Let the hands see to it that no air comes; a person has been asked before."""
    if bench.hands is not None and bench.hands.begin(Task.AIR_OFF) is None:
        bench.wait_for_hands()


def _leave(bench: Bench) -> None:
    """The last words to the device, of which no answer is waited for, and to the hands; over a lost line nothing can be said."""
    bench.alive = False
    with suppress(LinkError, OSError):
        if bench.identity is None or bench.has_valves:
            bench.send(VentOpen(bench.next_id()))
        bench.send(StreamStop(bench.next_id()))
        bench.listen(0.05)
    with suppress(LinkError, OSError):
        bench.let_hold_go()
