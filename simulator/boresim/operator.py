"""The person at the simulated rig: told in plain words what to do, slow and late as people are.

`Operator.do` takes one line and answers with one line that begins with "ok" or "no". Acts are carried out one after the other as
virtual time passes; letting go, shutting the supply, opening the vent and halting do not wait for the act under way. A hand that
is led along on the crank ("crank") follows without any reaction time and at once. What each word does stands in HELP.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from boresim.plant import Hose, Plant
from boresim.scenario import OperatorManners
from boresim.senses import Senses
from boresim.words import HELP, CannotError, bare, cylinder_of, number, one_of, place_of, usage

__all__ = ["HELP", "Operator", "Panel"]

REACTION_SPREAD = (0.7, 1.6)
LOOKS_AGAIN_S = 0.02
LOOKS_FAR_S = 0.04
CAREFUL_WITHIN_DEG = 20.0  # the last degrees are turned with care, so a small turn misses by less
LEAST_CARE = 0.02
FASTEST_TURN_RPM = 120.0
FOLLOWS_RPM = 60.0  # a hand that is led along
FARTHEST_TURN_DEG = 7200.0
MOST_TROUBLES = 100
MOST_WAITING = 200  # more than anybody tells a person at once
LONGEST_WAIT_S = 3600.0
MOST_OIL_CM3 = 20.0
HIGHEST_SET_KPA = 1000.0
STRONGEST_RESTRAINT_NM = 2000.0
LARGEST_ORIFICE_MM2 = 50.0
BANG_PA = 5e3  # undone with more than this in the cylinder, an adapter hurts
RELIEF_KPA = {"breather": 5.0, "crankcase": 5.0, "coolant": 110.0}  # what a stop's relief is set to when nothing else is said
RELIEF_ELSEWHERE_KPA = 20.0
HIGHEST_RELIEF_KPA = 300.0
SMALLEST_ORIFICE_MM2 = 0.001

WORK_S = {
    "hose": 3.0, "restrain": 2.0, "regulator": 1.5, "stop": 2.0, "meter": 2.0, "wet": 5.0, "decompression": 1.0,
    "check-valve": 10.0, "piston-stop": 5.0, "plug": 1.0, "unplug": 0.5,
}  # fmt: skip
AT_ONCE = (("supply", "shut"), ("vent", "open"), ("hold", "release"), ("halt",))


class Panel(Protocol):
    """What the person can reach of the device and its cable."""

    @property
    def hold_fitted(self) -> bool:
        """Whether there is a hold-to-run switch."""

    def press_hold(self, pressed: bool) -> None:
        """Press the hold-to-run switch or let it go."""

    def unplug(self) -> None:
        """Pull the cable."""

    def plug(self) -> None:
        """Put the cable back."""

    def power_cycle(self) -> None:
        """Switch the device off and on."""

    def play_fault(self, words: tuple[str, ...]) -> str:
        """Make something go wrong, or put it right; the answer. Raises CannotError for what cannot be done."""


@dataclass(frozen=True, slots=True)
class _Act:
    """What the person will do: after `after_s`, `begin`; over when `over` says so of a moment (at once without it)."""

    reply: str
    after_s: float
    begin: Callable[[], None]
    over: Callable[[float], bool] | None = None


class Operator:
    """The person at this rig. plant: what is worked on. panel: switch and cable. manners: how quick and how exact. seed: the luck.

    `act(now_s)` is called by the rig when `due_s` has come; what is done then begins at that moment of virtual time. An act that
    then turns out to be impossible is dropped, and `troubles` says why.
    """

    def __init__(self, plant: Plant, panel: Panel, manners: OperatorManners, seed: int) -> None:
        self._plant = plant
        self._panel = panel
        self._manners = manners
        self._luck = random.Random(f"operator {seed}")
        self._senses = Senses(plant, seed)
        self._wrong_holes = dict(manners.wrong_holes)
        self._queue: deque[tuple[str, _Act]] = deque()  # each with its word
        self._word = ""  # of the act under way
        self._current: _Act | None = None
        self._begun = False
        self._due_s = 0.0
        self._urgent: list[tuple[float, _Act]] = []
        self.troubles: deque[str] = deque(maxlen=MOST_TROUBLES)

    def will_mistake_hole(self, told: int, taken: int) -> None:
        """Told next to put the hose into the one cylinder, the person puts it into the other."""
        self._wrong_holes[told] = taken

    @property
    def busy(self) -> bool:
        """Whether anything is still to be done."""
        return self._current is not None or bool(self._urgent)

    @property
    def due_s(self) -> float | None:
        """Virtual time at which the person next does something, None when idle."""
        due = [at for at, _ in self._urgent]
        if self._current is not None:
            due.append(self._due_s)
        return min(due, default=None)

    @property
    def only_looks(self) -> bool:
        """Whether all that is due is a look at what is under way, from which nothing comes before LOOKS_FAR_S are over.

        Such a look may be taken later than it is due: `act` is then told when it was.
        """
        if self._urgent or not self._begun or self._current is None or self._current.over is None:
            return False
        return not self._queue or self._queue[0][1].after_s >= LOOKS_FAR_S

    def do(self, words: str) -> str:
        """Tell the person something. Answers with one line: "ok …" or "no …" and why; never raises."""
        now_s = self._plant.now_s
        told = tuple(words.lower().split())
        if not told:
            return "no: say what to do; help lists the words"
        word, rest = told[0], told[1:]
        try:
            if word in _SENSED:
                return _SENSED[word](self._senses, rest)
            if word == "busy":
                bare("busy", rest)
                return "ok busy" if self.busy else "ok idle"
            if word == "crank":
                return self._crank(rest)
            if word == "fault":
                return self._panel.play_fault(rest)
            act = self._understand(word, rest)
        except CannotError as why:
            return f"no: {why}"
        if len(self._urgent if told in AT_ONCE else self._queue) >= MOST_WAITING:
            return f"no: {MOST_WAITING} things are still to be done; wait until some are"
        if told in AT_ONCE:
            self._take_back(word, now_s)
            self._urgent.append((now_s + act.after_s, act))
        else:
            self._queue.append((word, act))
            self._next(now_s)
        return f"ok {act.reply}"

    def act(self, now_s: float) -> None:
        """Do what is due by now."""
        for due in sorted((item for item in self._urgent if item[0] <= now_s), key=lambda item: item[0]):
            self._urgent.remove(due)
            self._begin(due[1])
        if self._current is None or self._due_s > now_s:
            return
        if not self._begun:
            self._begun = self._begin(self._current)
        if self._begun and self._current.over is not None and not self._current.over(now_s):
            self._due_s = now_s + LOOKS_AGAIN_S
            return
        self._current = None
        self._next(now_s)

    def _begin(self, act: _Act) -> bool:
        try:
            act.begin()
        except ValueError as why:
            self.troubles.append(str(why))
            return False
        return True

    def _take_back(self, word: str, now_s: float) -> None:
        """Whoever lets go of a thing at once does not take hold of it afterwards because that was told before."""
        self._queue = deque(item for item in self._queue if item[0] != word)
        if self._current is not None and not self._begun and self._word == word:
            self._current = None
            self._next(now_s)

    def _next(self, now_s: float) -> None:
        if self._current is None and self._queue:
            self._word, self._current = self._queue.popleft()
            self._begun = False
            self._due_s = now_s + self._current.after_s

    # ------------------------------------------------------------------ understanding

    def _understand(self, word: str, rest: tuple[str, ...]) -> _Act:
        understand = _WORDS.get(word)
        if understand is None:
            raise CannotError(f"{word!r} is not a word I know; help lists them")
        return understand(self, rest)

    def _reaction_s(self) -> float:
        return self._manners.reaction_s * self._luck.uniform(*REACTION_SPREAD)

    def _simple(self, reply: str, word: str, begin: Callable[[], None]) -> _Act:
        return _Act(reply, self._reaction_s() + WORK_S.get(word, 0.0), begin)

    def _let_go_by(self, at_s: float) -> bool:
        return not self._plant.turned_at(at_s)

    def _missed_by_deg(self, turn_deg: float) -> float:
        care = max(LEAST_CARE, min(1.0, abs(turn_deg) / CAREFUL_WITHIN_DEG))
        return self._luck.gauss(0.0, self._manners.hand_error_deg * care)

    def _turn(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) not in (1, 3) or (len(rest) == 3 and rest[1] != "rpm"):
            raise usage("turn")
        turn_deg = number(rest[0], "the angle", -FARTHEST_TURN_DEG, FARTHEST_TURN_DEG)
        rpm = number(rest[2], "the speed", 0.1, FASTEST_TURN_RPM) if len(rest) == 3 else self._manners.turn_rpm
        missed_deg = self._missed_by_deg(turn_deg)
        return self._turning(f"turning {turn_deg:+g} degrees at {rpm:g} rev/min", lambda: turn_deg + missed_deg, rpm)

    def _to(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) not in (2, 4) or rest[0] != "tdc" or (len(rest) == 4 and rest[2] != "off"):
            raise usage("to")
        engine = self._plant.scenario.engine
        cylinder = cylinder_of(rest[1], self._plant.engine)
        off_deg = number(rest[3], "the angle", -engine.cycle_deg, engine.cycle_deg) if len(rest) == 4 else 0.0
        missed_deg = self._missed_by_deg(0.0)

        def turn_deg() -> float:
            target_deg = engine.firing_angles_deg[cylinder] + off_deg + missed_deg
            return (target_deg - self._plant.crank_deg) % engine.cycle_deg

        return self._turning(f"turning to TDC of cylinder {cylinder}", turn_deg, self._manners.turn_rpm)

    def _turning(self, reply: str, turn_deg: Callable[[], float], rpm: float) -> _Act:
        return _Act(reply, self._reaction_s(), lambda: self._plant.turn_by(turn_deg(), rpm), self._let_go_by)

    def _crank(self, rest: tuple[str, ...]) -> str:
        """No luck is drawn and nothing waits, so that a hand that is led along by a mouse or a key follows it."""
        if rest == ("stop",):
            self._plant.stop_turning()
            return "ok the hand comes off the crank"
        if len(rest) not in (1, 3) or (len(rest) == 3 and rest[1] != "rpm"):
            raise usage("crank")
        turn_deg = number(rest[0], "the angle", -FARTHEST_TURN_DEG, FARTHEST_TURN_DEG)
        rpm = number(rest[2], "the speed", 0.1, FASTEST_TURN_RPM) if len(rest) == 3 else FOLLOWS_RPM
        self._plant.follow_by(turn_deg, rpm)
        return f"ok following by {turn_deg:+g} degrees"

    def _restrain(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 1:
            raise usage("restrain")
        holding_nm = 0.0 if rest[0] == "off" else number(rest[0], "the torque", 0.0, STRONGEST_RESTRAINT_NM)
        reply = f"restraining the crank, {holding_nm:g} N·m" if holding_nm else "taking the restraint off"
        return self._simple(reply, "restrain", lambda: self._plant.set_restraint(holding_nm))

    def _hose(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) == 2 and rest[0] == "orifice":
            area_mm2 = number(rest[1], "the area", 0.001, LARGEST_ORIFICE_MM2)
            return self._simple(
                f"putting an orifice of {area_mm2:g} mm² on the hose", "hose", lambda: self._move_hose(area_mm2 * 1e-6)
            )
        if len(rest) != 1:
            raise usage("hose")
        if rest[0] == "off":
            return self._simple("leaving the hose open", "hose", lambda: self._move_hose("off"))
        if rest[0] == "capped":
            return self._simple("capping the hose", "hose", lambda: self._move_hose("capped"))
        cylinder = cylinder_of(rest[0], self._plant.engine)

        def begin() -> None:  # a mistake is made once; who is told again looks where the hose is
            self._move_hose(self._wrong_holes.pop(cylinder, cylinder))

        return self._simple(f"putting the hose into cylinder {cylinder}", "hose", begin)

    def _move_hose(self, hose: Hose) -> None:
        self._mind_the_bang()
        self._plant.attach_hose(hose)

    def _mind_the_bang(self) -> None:
        """The person notes when an adapter comes undone with pressure behind it."""
        if isinstance(self._plant.hose_at, int) and self._plant.p_piston_gauge_pa > BANG_PA:
            kpa = self._plant.p_piston_gauge_pa / 1e3
            self.troubles.append(f"the adapter was undone with {kpa:.0f} kPa in cylinder {self._plant.hose_at}")

    def _valve(self, word: str, rest: tuple[str, ...], move: Callable[[bool], None]) -> _Act:
        opened = one_of(word, rest, "open", "shut")
        if self._plant.scenario.rig.valves != "hand":
            raise CannotError(f"the {word} valve of this rig is worked by its device, not by hand")
        return self._simple(f"{'opening' if opened else 'shutting'} the {word} valve", word, lambda: move(opened))

    def _supply(self, rest: tuple[str, ...]) -> _Act:
        return self._valve("supply", rest, self._plant.set_supply)

    def _vent(self, rest: tuple[str, ...]) -> _Act:
        return self._valve("vent", rest, self._plant.set_vent)

    def _regulator(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 1:
            raise usage("regulator")
        set_kpa = number(rest[0], "the pressure", 0.0, HIGHEST_SET_KPA)
        return self._simple(
            f"setting the regulator to {set_kpa:g} kPa", "regulator", lambda: self._plant.set_regulator(set_kpa * 1e3)
        )

    def _hold(self, rest: tuple[str, ...]) -> _Act:
        pressed = one_of("hold", rest, "press", "release")
        if not self._panel.hold_fitted:
            raise CannotError("no hold-to-run switch is fitted to this rig")
        reply = "pressing the hold-to-run switch" if pressed else "letting the hold-to-run switch go"
        return self._simple(reply, "hold", lambda: self._panel.press_hold(pressed))

    def _stop(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) not in (3, 5) or (len(rest) == 5 and rest[2:4] != ("on", "relief")):
            raise usage("stop")
        cylinder, place = cylinder_of(rest[0], self._plant.engine), place_of(rest[1], self._plant.engine)
        stopped = one_of("stop", rest[2:3], "on", "off")
        if not stopped:
            return self._simple(
                f"freeing {place} of cylinder {cylinder}", "stop", lambda: self._plant.stop_place(cylinder, place, False)
            )
        relief_kpa = number(rest[4], "the relief", 0.1, HIGHEST_RELIEF_KPA) if len(rest) == 5 else self._usual_relief_kpa(place)
        reply = f"stopping {place} of cylinder {cylinder} with a relief of {relief_kpa:g} kPa"
        return self._simple(reply, "stop", lambda: self._plant.stop_place(cylinder, place, True, relief_kpa * 1e3))

    def _usual_relief_kpa(self, place: str) -> float:
        cap_pa = self._plant.engine.coolant_cap_gauge_pa
        if place == "coolant" and cap_pa is not None:
            return cap_pa / 1e3
        return RELIEF_KPA.get(place, RELIEF_ELSEWHERE_KPA)

    def _meter(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 3:
            raise usage("meter")
        cylinder, place = cylinder_of(rest[0], self._plant.engine), place_of(rest[1], self._plant.engine)
        if rest[2] == "off":
            reply = f"taking the orifice off {place} of cylinder {cylinder}"
            return self._simple(reply, "meter", lambda: self._plant.meter_place(cylinder, place, None))
        area_mm2 = number(rest[2], "the area", SMALLEST_ORIFICE_MM2, LARGEST_ORIFICE_MM2)
        reply = f"leading the air at {place} of cylinder {cylinder} through an orifice of {area_mm2:g} mm²"
        return self._simple(reply, "meter", lambda: self._plant.meter_place(cylinder, place, area_mm2 * 1e-6))

    def _decompression(self, rest: tuple[str, ...]) -> _Act:
        on = one_of("decompression", rest, "on", "off")
        if self._plant.engine.decompression != "manual":
            raise CannotError("this engine has no decompression device that is worked by hand")
        reply = f"{'holding the decompression device on' if on else 'releasing the decompression device'}"
        return self._simple(reply, "decompression", lambda: self._plant.set_decompression(on))

    def _check_valve(self, rest: tuple[str, ...]) -> _Act:
        if rest != ("out",):
            raise usage("check-valve")
        if self._plant.scenario.rig.air.check_valve is None:
            raise CannotError("there is no check valve in the adapter")

        def begin() -> None:
            self._mind_the_bang()
            self._plant.take_check_valve_out()

        return self._simple("taking the check valve out of the adapter", "check-valve", begin)

    def _wet(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 2:
            raise usage("wet")
        cylinder = cylinder_of(rest[0], self._plant.engine)
        oil_cm3 = number(rest[1], "the dose", 0.0, MOST_OIL_CM3)
        return self._simple(
            f"putting {oil_cm3:g} cm³ of oil into cylinder {cylinder}", "wet", lambda: self._plant.wet(cylinder, oil_cm3)
        )

    def _piston_stop(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 1:
            raise usage("piston-stop")
        if rest[0] == "out":
            return self._simple("taking the piston stop out", "piston-stop", lambda: self._plant.insert_piston_stop(None))
        cylinder = cylinder_of(rest[0], self._plant.engine)
        return self._simple(
            f"screwing the piston stop into cylinder {cylinder}", "piston-stop", lambda: self._plant.insert_piston_stop(cylinder)
        )

    def _wait(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 1:
            raise usage("wait")
        wait_s = number(rest[0], "the time", 0.0, LONGEST_WAIT_S)
        return _Act(f"waiting {wait_s:g} s", wait_s, lambda: None)

    def _unplug(self, rest: tuple[str, ...]) -> _Act:
        return self._simple("pulling the cable", bare("unplug", rest), self._panel.unplug)

    def _plug(self, rest: tuple[str, ...]) -> _Act:
        return self._simple("putting the cable back", bare("plug", rest), self._panel.plug)

    def _power_cycle(self, rest: tuple[str, ...]) -> _Act:
        return self._simple("switching the device off and on", bare("power-cycle", rest), self._panel.power_cycle)

    def _halt(self, rest: tuple[str, ...]) -> _Act:
        return self._simple("halting", bare("halt", rest), self._drop_everything)

    def _drop_everything(self) -> None:
        self._queue.clear()
        self._current = None
        self._plant.stop_turning()


_WORDS: dict[str, Callable[[Operator, tuple[str, ...]], _Act]] = {
    "turn": Operator._turn,
    "to": Operator._to,
    "restrain": Operator._restrain,
    "hose": Operator._hose,
    "supply": Operator._supply,
    "vent": Operator._vent,
    "regulator": Operator._regulator,
    "hold": Operator._hold,
    "stop": Operator._stop,
    "meter": Operator._meter,
    "wet": Operator._wet,
    "decompression": Operator._decompression,
    "check-valve": Operator._check_valve,
    "piston-stop": Operator._piston_stop,
    "wait": Operator._wait,
    "unplug": Operator._unplug,
    "plug": Operator._plug,
    "power-cycle": Operator._power_cycle,
    "halt": Operator._halt,
}
_SENSED: dict[str, Callable[[Senses, tuple[str, ...]], str]] = {
    "help": Senses.help,
    "look": Senses.look,
    "listen": Senses.listen,
    "gauge": Senses.gauge,
    "place-gauge": Senses.place_gauge,
}
