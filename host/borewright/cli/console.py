"""The terminal as the place where the person is guided: prints each step once, takes Enter, a number or a word, turns the bench.

Lines are read in a thread of their own, so that the rig is never left waiting for the keyboard.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable

from borewright.cli.holding import HoldView, heard_acts, places_lines
from borewright.cli.live_line import LiveLine
from borewright.core.conditions import CONFIRMATIONS
from borewright.core.heard import STRENGTHS
from borewright.errors import LinkError, NotReadyError, StoreError, UseError
from borewright.service import acts, effects
from borewright.service.answers import act_of_answer, asks
from borewright.service.bench import Bench, Done
from borewright.service.facts import said_vented
from borewright.service.guide import Step, next_step
from borewright.session.session import Phase
from borewright.store.writer import WriteFailed

__all__ = ["Console", "Lines"]

LIVE_EVERY_S = 0.5
ALARM_EVERY_S = 5.0
FALLS_WITHIN_S = 1.0  # once supply and vent have moved a cylinder is empty in a tenth of that
VALVES_STAY_S = 60.0  # a rig with valves vents by itself: what is not gone by then has to be seen to at the rig
NOT_FALLING = "the pressure does not fall: SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing"
BY_HAND = "SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing until the gauges are down"
VENTED = "  vented: the gauges are down"
YES = ("", "y", "yes", "ok", "done")
WITH_AIR = "with air on: listen keeps it on for looking and listening, go on ends that, stop shuts and vents"


class Lines:
    """What is typed, line by line. `take` never waits; None stands for nothing yet. ended: there will be no more."""

    def __init__(self, source: Iterable[str]) -> None:
        self.ended = False
        self._queue: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        threading.Thread(target=self._read, args=(source,), name="borewright-keyboard", daemon=True).start()

    def _read(self, source: Iterable[str]) -> None:
        for line in source:
            self._queue.put(line.strip())
        self._queue.put(None)

    def take(self) -> str | None:
        """The next line, None when there is none yet."""
        try:
            line = self._queue.get_nowait()
        except queue.Empty:
            return None
        if line is None:
            self.ended = True
        return line


class Console:
    """Guides one person through one purpose at a time.

    out: prints a line for the person (on the error stream with --json). ring: rings the terminal's bell there.
    """

    def __init__(self, lines: Lines, out: Callable[[str], None], ring: Callable[[], None]) -> None:
        self._lines = lines
        self._print = out
        self._ring = ring
        self._line = LiveLine()
        self._locked = False
        self._sounded_s = float("-inf")
        self._bench: Bench | None = None
        self._shown: tuple[str, str] | None = None
        self._live_s = 0.0
        self._hold = HoldView(self._out, self._line)
        self._places_shown: int | None = None

    def attend(self, bench: Bench) -> None:
        """From now on guide the person at this bench."""
        self._bench = bench

    @property
    def bench(self) -> Bench:
        """The bench that is attended."""
        if self._bench is None:
            raise RuntimeError("attend a bench first")
        return self._bench

    def tell(self, word: effects.Say | effects.AirRefused) -> None:
        """What the bench says to the person; an alarm rings the terminal's bell."""
        if isinstance(word, effects.AirRefused):
            self._out("Air refused: " + "; ".join(word.reasons) + ".")
        elif word.level == "alarm":
            self.sound(word.text)
        else:
            self._out(f"{'! ' if word.level == 'warning' else '  '}{word.text}")

    def sound(self, alarm: str) -> None:
        """Ring the bell and print an alarm."""
        self._sounded_s = self._now_s if self._bench is not None else float("-inf")
        self._ring()
        self._out(f"*** {alarm} ***")

    def _out(self, text: str) -> None:
        self._line.end()
        self._print(text)

    # ------------------------------------------------------------------ waiting for the rig

    def meet_the_rig(self) -> str:
        """Wait until the rig has said who it is and streams; gives its serial number. Raises LinkError when it does not."""
        state = self.bench.state
        while state.transducers is None or state.reading is None:
            self.bench.turn()
            state = self.bench.state
            if state.lost is not None:
                raise LinkError(state.lost)
        return state.session.identity.serial_number if state.session.identity is not None else ""

    def take_zero(self) -> None:
        """Both zeros at vent. Raises NotReadyError when the rig is under pressure or a zero is far off."""
        self._out("Taking the zeros: the rig has to be vented.")
        self._ready_for_zero()
        if not self.bench.state.has_valves:
            self.ask("> Shut the supply and open the vent by hand.\n  [Enter when the gauges show nothing]")
        self.bench.act(acts.TakeZero())
        while self.bench.state.zero is not None:
            self.bench.turn()
        if not self.bench.state.checks["zero"].passed:
            raise NotReadyError(
                "a transducer is far from zero at vent; see that the vent is open and the transducer is the right one"
            )
        self.turn_for(0.2)

    def _ready_for_zero(self) -> None:
        self.turn_for(0.3)
        if self.bench.state.readiness.locked:
            raise NotReadyError("the rig is under pressure; shut the supply, open the vent and try again")

    def turn_for(self, seconds: float) -> None:
        """Turn the bench for so long on the endpoint's clock."""
        until_s = self.bench.endpoint.monotonic() + seconds
        while self.bench.endpoint.monotonic() < until_s:
            self.bench.turn()

    def stay_until_vented(self) -> None:
        """The program ends: go on watching, and sounding where the pressure does not fall by itself, until the gauges are down.

        Ctrl-C, or a link that is lost, ends this too; and at a rig with valves a minute.
        """
        began_s, told = self._now_s, False
        if said_vented(self.bench.state):
            self._sounded_s = began_s - ALARM_EVERY_S + FALLS_WITHIN_S
        else:
            self._sounded_s = float("-inf")
        while self.bench.state.pressurised and not (self.bench.state.has_valves and self._now_s - began_s > VALVES_STAY_S):
            if self._now_s - self._sounded_s >= ALARM_EVERY_S:
                self.sound(self._why_by_hand())
                if not told:
                    self._out(self._how_long())
                    told = True
            self.bench.turn()

    def _how_long(self) -> str:
        most = ", a minute at most" if self.bench.state.has_valves else ""
        return f"  this program stays until the gauges are down{most}; Ctrl-C once more ends it all the same"

    def _why_by_hand(self) -> str:
        """What the person has to do, and why the program cannot."""
        state = self.bench.state
        if state.lost is not None:
            return f"{state.lost}, and nothing is known of its pressure: {BY_HAND}"
        if said_vented(state):
            return NOT_FALLING
        return f"the rig has not said that it has vented: {BY_HAND}" if state.has_valves else BY_HAND

    @property
    def _now_s(self) -> float:
        return self.bench.endpoint.monotonic()

    def tell_once_vented(self) -> None:
        """What was PRESSURISED, or squeezed, has been seen gone: say so, once."""
        was, self._locked = self._locked, self.bench.state.readiness.locked
        if was and not self._locked:
            self._out(VENTED)

    # ------------------------------------------------------------------ following the guide

    def carry_out(self, purpose: acts.Purpose, blocked_hint: str) -> Done:
        """Guide the person until a capture for this purpose is over and the rig is vented.

        blocked_hint: what to do when something is missing that the guide cannot lead to. Raises NotReadyError then, and when
        there is no more input.
        """
        bench = self.bench
        bench.act(acts.SetPurpose(purpose))
        self.turn_for(0.2)
        before = len(bench.done)
        while len(bench.done) == before or bench.state.readiness.locked:
            step = next_step(bench.state)
            if bench.state.session.phase is Phase.REFUSED and bench.state.lost is not None:
                raise LinkError(bench.state.lost)
            self._heed_the_record()
            if step.key == "blocked" and not bench.state.readiness.locked:
                raise NotReadyError(f"not ready for air: {step.text} {blocked_hint}".strip())
            self._show(step)
            self._live(step)
            self._hold.show(bench.state, bench.endpoint.monotonic())
            self._take_line(step)
            bench.turn()
            self.tell_once_vented()
        return bench.done[-1]

    def _heed_the_record(self) -> None:
        """A record that cannot be written is told before air is let in, not after."""
        failed = next((word for word in self.bench.writer_news if isinstance(word, WriteFailed)), None)
        if failed is not None and not self.bench.state.readiness.locked:
            raise StoreError(failed.reason)

    def ask(self, question: str) -> str:
        """Print a question and turn the bench until a line comes. Raises NotReadyError when there is no more input."""
        self._out(question)
        while (line := self._lines.take()) is None:
            if self._lines.ended:
                raise NotReadyError("the input ended before all was answered; there is no result")
            self.bench.turn()
        return line

    def tell_plainly(self, text: str) -> None:
        """Print a line for the person."""
        self._out(text)

    def _show(self, step: Step) -> None:
        shown = (step.key, self._gist(step))
        if shown == self._shown:
            return
        self._shown = shown
        self._out(f"> {step.text[0].upper()}{step.text[1:]}")
        if step.key == "confirm_people" and isinstance(step.act, acts.ConfirmPeople):
            for name, sentence in CONFIRMATIONS.items():
                if name in step.act.points:
                    self._out(f"    {sentence}")
        self._show_places(step)
        hint = _HINTS.get(step.key)
        if step.key == "give_air":
            self._out(f"  [{hint}; {WITH_AIR}]" if step.act is not None else f"  [{WITH_AIR}]")
        elif hint is not None:
            self._out(f"  [{hint}]")

    def _show_places(self, step: Step) -> None:
        """Where to look, once for each test in which air stays on."""
        state = self.bench.state
        if step.key == "hold" and state.engine is not None and self._places_shown != len(self.bench.done):
            self._places_shown = len(self.bench.done)
            for line in places_lines(state.engine, state.purpose.cylinder):
                self._out(line)

    def _gist(self, step: Step) -> str:
        """What makes a step worth printing again: its words, but not degrees that change while the crank is being turned."""
        if step.key == "wait":
            return step.text[:24]
        if step.turn_deg is None:
            return step.text
        crank = self.bench.state.crank
        turning = crank is not None and crank.moved_count > 1
        return self._shown[1] if turning and self._shown is not None and self._shown[0] == step.key else str(round(step.turn_deg))

    def _live(self, step: Step) -> None:
        now_s = self.bench.endpoint.monotonic()
        if step.turn_deg is None or now_s - self._live_s < LIVE_EVERY_S or not self._line.terminal:
            return
        self._live_s = now_s
        self._line.show(f"  {step.turn_deg:+6.1f}° to turn ")

    def _take_line(self, step: Step) -> None:
        line = self._lines.take()
        if line is None:
            if self._lines.ended and _leads_to_a_question(step):
                raise NotReadyError("the input ended before all was answered; there is no result")
            return
        word = line.lower()
        if self._take_heard(line):
            return
        self._shown = None
        if word in ("stop", "s"):
            self.bench.act(acts.StopAll())
        elif word == "listen":
            self.bench.act(acts.SetHold(True))
        elif word == "go on":
            self.bench.act(acts.SetHold(False))
        elif word in ("quit", "q"):
            raise NotReadyError("ended by the person")
        elif asks(step.key):
            self._take_answer(step.key, line)
        elif step.key == "hold":
            self._take_in_hold(line)
        elif word not in YES:
            self._out(f"  {line!r} is not understood here; Enter says yes, stop shuts and vents, quit ends")
        elif step.act is not None:
            self.bench.act(step.act)

    def _take_answer(self, key: str, line: str) -> None:
        """Enter alone keeps the air on at a gauge, and a sweep can be ended; else it is the number that was asked for."""
        gauge = key in ("read_gauge", "read_place_gauge")
        try:
            if gauge and not line:
                self.bench.act(acts.SetHold(True))
            elif key == "read_gauge" and line.lower() == "end":
                self.bench.act(acts.EndSweep())
            else:
                self.bench.act(act_of_answer(key, line, self.bench.state))
        except UseError as wrong:
            self._out(f"  {wrong}")

    def _take_heard(self, line: str) -> bool:
        """Whether the line said how the air sounds somewhere; then it has been kept, or found wrong and told."""
        try:
            heard = heard_acts(line, self.bench.state.engine)
        except ValueError as wrong:
            self._out(f"  {wrong}")
            return True
        for act in heard or ():
            self.bench.act(act)
        return heard is not None

    def _take_in_hold(self, line: str) -> None:
        """Enter keeps the air on; anything else was meant to be understood."""
        if not line:
            self.bench.act(acts.SetHold(True))
        else:
            self._out(f"  {line!r} is not understood; say a place and how strong: {', '.join(STRENGTHS)}")


_HINTS = {
    "hold": "type a place and how strong (none, faint, steady, strong), like: exhaust strong; Enter keeps the air on; go on; stop",
    "confirm_caution": "Enter when read and seen to",
    "fit_places": "Enter when it is so",
    "pour_oil": "Enter when the oil is in and the hole open",
    "read_place_gauge": "the reading with its unit, like 1.2 kPa; Enter keeps the air on for another minute; stop",
    "place_hose": "Enter when done",
    "set_regulator": "Enter when it is set",
    "read_gauge": "the reading with its unit, like 551.6 kPa; Enter keeps the air on for another minute; end, stop",
    "confirm_fitting": "Enter only if the crank's own mark shows the same; else quit and make borewright rig tdc anew",
    "begin_squeeze": "Enter to begin",
    "look_for_check_valve": "Enter when there is none in it",
    "read_back_hose": "type the number of the cylinder that the hose is in",
    "restrain": "type the holding torque in N·m, or with its unit",
    "confirm_people": "Enter to confirm all of them",
    "give_air": "Enter to let air in after three seconds",
    "shut_supply": "Enter when shut",
    "open_vent": "Enter when open",
}


def _leads_to_a_question(step: Step) -> bool:
    """Whether this step waits for something typed, or one that cannot be missed after it does.

    >>> _leads_to_a_question(Step("find_index", "turn the crank", turn_deg=400.0)), _leads_to_a_question(Step("wait", "venting"))
    (True, False)
    """
    return step.act is not None or step.turn_deg is not None or asks(step.key)


def cylinder_of(engine_cylinders: tuple[int, ...], cylinder: int) -> int:
    """The cylinder, if the engine has it. Raises UseError."""
    if cylinder not in engine_cylinders:
        raise UseError(f"this engine has no cylinder {cylinder}; it has {', '.join(map(str, engine_cylinders))}")
    return cylinder
