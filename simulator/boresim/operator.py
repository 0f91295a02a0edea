"""The person at the simulated rig: told in plain words what to do, slow and late as people are.

`Operator.do` takes one line and answers with one line that begins with "ok" or "no". Acts are carried out one after the other as
virtual time passes; letting go, shutting the supply, opening the vent and halting do not wait for the act under way. What each
word does stands in HELP.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from boresim.noise import seeded_unit
from boresim.plant import Plant
from boresim.scenario import OperatorManners

__all__ = ["HELP", "Operator", "Panel"]

HELP = {
    "turn": "turn +DEG|-DEG [rpm N]: turn the crank by hand, + in running direction",
    "to": "to tdc N [off DEG]: turn in running direction to the compression TDC of cylinder N, or DEG after it",
    "restrain": "restrain NM|off: hold the crank with a restraint good for NM newton metres",
    "hose": "hose N|off|capped|orifice MM2: put the hose into cylinder N, leave it open, cap it, or put an orifice on it",
    "supply": "supply open|shut: move the hand supply valve",
    "vent": "vent open|shut: move the hand vent valve",
    "regulator": "regulator KPA: set the regulator to a gauge pressure",
    "hold": "hold press|release: the hold-to-run switch",
    "stop": "stop N PLACE on|off: stop a place of cylinder N, or free it again",
    "wet": "wet N CM3: put oil into cylinder N",
    "piston-stop": "piston-stop N|out: screw the piston stop into cylinder N, or take it out",
    "listen": "listen: how the air sounds at each place of the cylinder that the hose is in",
    "gauge": "gauge: what the reference gauge on the end of the capped hose shows, to a tenth of a kPa",
    "look": "look: where the hose is, how the crank stands, what the gauges show",
    "wait": "wait S: do nothing for so many seconds",
    "unplug": "unplug: pull the cable",
    "plug": "plug: put the cable back",
    "power-cycle": "power-cycle: switch the device off and on again",
    "halt": "halt: drop everything under way, the turning too",
    "busy": "busy: whether anything is still to be done",
    "help": "help [WORD]: these words",
}

REACTION_SPREAD = (0.7, 1.6)
LOOKS_AGAIN_S = 0.02
CAREFUL_WITHIN_DEG = 20.0  # the last degrees are turned with care, so a small turn misses by less
LEAST_CARE = 0.02
FASTEST_TURN_RPM = 120.0
FARTHEST_TURN_DEG = 7200.0
MOST_TROUBLES = 100
LONGEST_WAIT_S = 3600.0
MOST_OIL_CM3 = 20.0
HIGHEST_SET_KPA = 1000.0
STRONGEST_RESTRAINT_NM = 2000.0
LARGEST_ORIFICE_MM2 = 50.0
READABLE_KPA = 10.0
READABLE_DEG = 5.0
GAUGE_STEP_KPA = 0.1
GAUGE_ERROR_LIMIT = 0.0003  # of its reading, drawn once: what its certificate's 0.05 % leaves room for

WORK_S = {"hose": 3.0, "restrain": 2.0, "regulator": 1.5, "stop": 2.0, "wet": 5.0, "piston-stop": 5.0, "plug": 1.0, "unplug": 0.5}
AT_ONCE = (("supply", "shut"), ("vent", "open"), ("hold", "release"), ("halt",))

# kg/s; 1e-5 is half a litre of free air a minute, about what can be heard through a tube held to the ear
LOUDNESS_KG_S = ((6e-4, "strong"), (1e-4, "steady"), (1e-5, "faint"))


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


class _CannotError(Exception):
    """The words ask for something that cannot be done; the text says why."""


@dataclass(frozen=True, slots=True)
class _Act:
    """What the person will do: after `after_s`, `begin`; over when `over` says so (at once when there is nothing to wait for)."""

    reply: str
    after_s: float
    begin: Callable[[], None]
    over: Callable[[], bool] | None = None


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
        self._gauge_error = GAUGE_ERROR_LIMIT * (2.0 * seeded_unit(seed, "reference gauge") - 1.0)
        self._queue: deque[_Act] = deque()
        self._current: _Act | None = None
        self._begun = False
        self._due_s = 0.0
        self._urgent: list[tuple[float, _Act]] = []
        self.troubles: deque[str] = deque(maxlen=MOST_TROUBLES)

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

    def do(self, words: str) -> str:
        """Tell the person something. Answers with one line: "ok …" or "no …" and why; never raises."""
        now_s = self._plant.now_s
        told = tuple(words.lower().split())
        if not told:
            return "no: say what to do; help lists the words"
        word, rest = told[0], told[1:]
        try:
            if word == "help":
                return self._help(rest)
            if word == "look":
                return self._look(rest)
            if word == "gauge":
                return self._gauge(rest)
            if word == "busy":
                _bare("busy", rest)
                return "ok busy" if self.busy else "ok idle"
            if word == "listen":
                return self._listen(rest)
            act = self._understand(word, rest)
        except _CannotError as why:
            return f"no: {why}"
        if told in AT_ONCE:
            self._urgent.append((now_s + act.after_s, act))
        else:
            self._queue.append(act)
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
        if self._begun and self._current.over is not None and not self._current.over():
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

    def _next(self, now_s: float) -> None:
        if self._current is None and self._queue:
            self._current = self._queue.popleft()
            self._begun = False
            self._due_s = now_s + self._current.after_s

    # ------------------------------------------------------------------ understanding

    def _understand(self, word: str, rest: tuple[str, ...]) -> _Act:
        understand = _WORDS.get(word)
        if understand is None:
            raise _CannotError(f"{word!r} is not a word I know; help lists them")
        return understand(self, rest)

    def _reaction_s(self) -> float:
        return self._manners.reaction_s * self._luck.uniform(*REACTION_SPREAD)

    def _simple(self, reply: str, word: str, begin: Callable[[], None]) -> _Act:
        return _Act(reply, self._reaction_s() + WORK_S.get(word, 0.0), begin)

    def _missed_by_deg(self, turn_deg: float) -> float:
        care = max(LEAST_CARE, min(1.0, abs(turn_deg) / CAREFUL_WITHIN_DEG))
        return self._luck.gauss(0.0, self._manners.hand_error_deg * care)

    def _turn(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) not in (1, 3) or (len(rest) == 3 and rest[1] != "rpm"):
            raise _usage("turn")
        turn_deg = _number(rest[0], "the angle", -FARTHEST_TURN_DEG, FARTHEST_TURN_DEG)
        rpm = _number(rest[2], "the speed", 0.1, FASTEST_TURN_RPM) if len(rest) == 3 else self._manners.turn_rpm
        missed_deg = self._missed_by_deg(turn_deg)
        return self._turning(f"turning {turn_deg:+g} degrees at {rpm:g} rev/min", lambda: turn_deg + missed_deg, rpm)

    def _to(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) not in (2, 4) or rest[0] != "tdc" or (len(rest) == 4 and rest[2] != "off"):
            raise _usage("to")
        engine = self._plant.scenario.engine
        cylinder = self._cylinder(rest[1])
        off_deg = _number(rest[3], "the angle", -engine.cycle_deg, engine.cycle_deg) if len(rest) == 4 else 0.0
        missed_deg = self._missed_by_deg(0.0)

        def turn_deg() -> float:
            target_deg = engine.firing_angles_deg[cylinder] + off_deg + missed_deg
            return (target_deg - self._plant.crank_deg) % engine.cycle_deg

        return self._turning(f"turning to TDC of cylinder {cylinder}", turn_deg, self._manners.turn_rpm)

    def _turning(self, reply: str, turn_deg: Callable[[], float], rpm: float) -> _Act:
        return _Act(reply, self._reaction_s(), lambda: self._plant.turn_by(turn_deg(), rpm), lambda: not self._plant.turning)

    def _restrain(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 1:
            raise _usage("restrain")
        holding_nm = 0.0 if rest[0] == "off" else _number(rest[0], "the torque", 0.0, STRONGEST_RESTRAINT_NM)
        reply = f"restraining the crank, {holding_nm:g} N·m" if holding_nm else "taking the restraint off"
        return self._simple(reply, "restrain", lambda: self._plant.set_restraint(holding_nm))

    def _hose(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) == 2 and rest[0] == "orifice":
            area_mm2 = _number(rest[1], "the area", 0.001, LARGEST_ORIFICE_MM2)
            return self._simple(
                f"putting an orifice of {area_mm2:g} mm² on the hose", "hose", lambda: self._plant.attach_hose(area_mm2 * 1e-6)
            )
        if len(rest) != 1:
            raise _usage("hose")
        if rest[0] == "off":
            return self._simple("leaving the hose open", "hose", lambda: self._plant.attach_hose("off"))
        if rest[0] == "capped":
            return self._simple("capping the hose", "hose", lambda: self._plant.attach_hose("capped"))
        cylinder = self._cylinder(rest[0])
        return self._simple(f"putting the hose into cylinder {cylinder}", "hose", lambda: self._plant.attach_hose(cylinder))

    def _valve(self, word: str, rest: tuple[str, ...], move: Callable[[bool], None]) -> _Act:
        opened = _one_of(word, rest, "open", "shut")
        if self._plant.scenario.rig.valves != "hand":
            raise _CannotError(f"the {word} valve of this rig is worked by its device, not by hand")
        return self._simple(f"{'opening' if opened else 'shutting'} the {word} valve", word, lambda: move(opened))

    def _supply(self, rest: tuple[str, ...]) -> _Act:
        return self._valve("supply", rest, self._plant.set_supply)

    def _vent(self, rest: tuple[str, ...]) -> _Act:
        return self._valve("vent", rest, self._plant.set_vent)

    def _regulator(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 1:
            raise _usage("regulator")
        set_kpa = _number(rest[0], "the pressure", 0.0, HIGHEST_SET_KPA)
        return self._simple(
            f"setting the regulator to {set_kpa:g} kPa", "regulator", lambda: self._plant.set_regulator(set_kpa * 1e3)
        )

    def _hold(self, rest: tuple[str, ...]) -> _Act:
        pressed = _one_of("hold", rest, "press", "release")
        if not self._panel.hold_fitted:
            raise _CannotError("no hold-to-run switch is fitted to this rig")
        reply = "pressing the hold-to-run switch" if pressed else "letting the hold-to-run switch go"
        return self._simple(reply, "hold", lambda: self._panel.press_hold(pressed))

    def _stop(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 3:
            raise _usage("stop")
        cylinder = self._cylinder(rest[0])
        place = rest[1].replace("-", "_")
        if place not in self._plant.scenario.engine.places:
            raise _CannotError(f"{rest[1]!r} is no place of this engine; it has {', '.join(self._plant.scenario.engine.places)}")
        stopped = _one_of("stop", rest[2:], "on", "off")
        reply = f"{'stopping' if stopped else 'freeing'} {place} of cylinder {cylinder}"
        return self._simple(reply, "stop", lambda: self._plant.stop_place(cylinder, place, stopped))

    def _wet(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 2:
            raise _usage("wet")
        cylinder = self._cylinder(rest[0])
        oil_cm3 = _number(rest[1], "the dose", 0.0, MOST_OIL_CM3)
        return self._simple(
            f"putting {oil_cm3:g} cm³ of oil into cylinder {cylinder}", "wet", lambda: self._plant.wet(cylinder, oil_cm3)
        )

    def _piston_stop(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 1:
            raise _usage("piston-stop")
        if rest[0] == "out":
            return self._simple("taking the piston stop out", "piston-stop", lambda: self._plant.insert_piston_stop(None))
        cylinder = self._cylinder(rest[0])
        return self._simple(
            f"screwing the piston stop into cylinder {cylinder}", "piston-stop", lambda: self._plant.insert_piston_stop(cylinder)
        )

    def _wait(self, rest: tuple[str, ...]) -> _Act:
        if len(rest) != 1:
            raise _usage("wait")
        wait_s = _number(rest[0], "the time", 0.0, LONGEST_WAIT_S)
        return _Act(f"waiting {wait_s:g} s", wait_s, lambda: None)

    def _unplug(self, rest: tuple[str, ...]) -> _Act:
        return self._simple("pulling the cable", _bare("unplug", rest), self._panel.unplug)

    def _plug(self, rest: tuple[str, ...]) -> _Act:
        return self._simple("putting the cable back", _bare("plug", rest), self._panel.plug)

    def _power_cycle(self, rest: tuple[str, ...]) -> _Act:
        return self._simple("switching the device off and on", _bare("power-cycle", rest), self._panel.power_cycle)

    def _halt(self, rest: tuple[str, ...]) -> _Act:
        return self._simple("halting", _bare("halt", rest), self._drop_everything)

    def _drop_everything(self) -> None:
        self._queue.clear()
        self._current = None
        self._plant.stop_turning()

    # ------------------------------------------------------------------ what the person sees and hears

    def _help(self, rest: tuple[str, ...]) -> str:
        if not rest:
            return "ok " + " | ".join(HELP.values())
        if rest[0] not in HELP:
            raise _CannotError(f"{rest[0]!r} is not a word I know; help lists them")
        return f"ok {HELP[rest[0]]}"

    def _listen(self, rest: tuple[str, ...]) -> str:
        _bare("listen", rest)
        if not isinstance(self._plant.hose_at, int):
            return f"ok nothing: the hose is {self._hose_words()}"
        flows = self._plant.place_flows_kg_s()
        return "ok " + ", ".join(f"{place} {loudness(flows.get(place, 0.0))}" for place in self._plant.scenario.engine.places)

    def _look(self, rest: tuple[str, ...]) -> str:
        _bare("look", rest)
        first = self._plant.scenario.engine.firing_order[0]
        past_deg = round(self._plant.crank_deg / READABLE_DEG) * READABLE_DEG % 360.0
        gauges = (self._plant.p_regulated_gauge_pa, self._plant.p_cylinder_gauge_pa)
        shown = [round(p_pa / 1e3 / READABLE_KPA) * READABLE_KPA + 0.0 for p_pa in gauges]
        return (
            f"ok hose {self._hose_words()}; crank about {past_deg:g} degrees past the TDC mark of cylinder {first}; "
            f"gauges: regulated {shown[0]:g} kPa, cylinder {shown[1]:g} kPa"
        )

    def _gauge(self, rest: tuple[str, ...]) -> str:
        _bare("gauge", rest)
        if self._plant.hose_at != "capped":
            raise _CannotError(f"the reference gauge goes onto the end of the capped hose, which is {self._hose_words()}")
        shown_kpa = self._plant.p_cylinder_gauge_pa / 1e3 * (1.0 + self._gauge_error)
        return f"ok {round(shown_kpa / GAUGE_STEP_KPA) * GAUGE_STEP_KPA + 0.0:.1f} kPa"

    def _hose_words(self) -> str:
        hose = self._plant.hose_at
        if isinstance(hose, int):
            return f"in cylinder {hose}"
        return f"on an orifice of {hose * 1e6:g} mm²" if isinstance(hose, float) else str(hose)

    def _cylinder(self, word: str) -> int:
        cylinders = sorted(self._plant.scenario.engine.firing_order)
        if not word.isdecimal() or int(word) not in cylinders:
            raise _CannotError(f"{word!r} is no cylinder of this engine; it has {', '.join(map(str, cylinders))}")
        return int(word)


def loudness(flow_kg_s: float) -> str:
    """How a flow of air out of a place sounds to somebody who goes close to it.

    >>> loudness(0.0), loudness(3e-4)
    ('none', 'steady')
    """
    return next((word for least_kg_s, word in LOUDNESS_KG_S if flow_kg_s >= least_kg_s), "none")


def _usage(word: str) -> _CannotError:
    return _CannotError(f"say {HELP[word]}")


def _number(word: str, what: str, low: float, high: float) -> float:
    try:
        value = float(word)
    except ValueError:
        raise _CannotError(f"{what} must be a number, not {word!r}") from None
    if not low <= value <= high:
        raise _CannotError(f"{what} must be from {low:g} to {high:g}, not {word}")
    return value


def _one_of(word: str, rest: tuple[str, ...], yes: str, no: str) -> bool:
    if rest not in ((yes,), (no,)):
        raise _usage(word)
    return rest == (yes,)


def _bare(word: str, rest: tuple[str, ...]) -> str:
    if rest:
        raise _usage(word)
    return word


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
    "wet": Operator._wet,
    "piston-stop": Operator._piston_stop,
    "wait": Operator._wait,
    "unplug": Operator._unplug,
    "plug": Operator._plug,
    "power-cycle": Operator._power_cycle,
    "halt": Operator._halt,
}
