"""A scripted person at the simulated rig: follows the guide's steps, and does at the rig what they say.

It knows what a person knows: the words on the screen, and what can be seen at the engine. It never looks at the truth.
"""

from __future__ import annotations

from collections.abc import Callable

from boresim.endpoint import SimEndpoint

from borewright.core.conditions import confirmations_needed
from borewright.core.readiness_table import State
from borewright.errors import BorewrightError
from borewright.service import acts
from borewright.service.bench import Bench
from borewright.service.gauge import next_sweep_pa
from borewright.service.guide import Step, StepKey, next_step
from borewright.simrig.place_person import AT_PLACES, follow_at_place
from borewright.simrig.rig_view import facts_of, look_at
from borewright.simrig.words_for import DOWN_DEG, TURN_RPM, words_for
from borewright.units import parse

__all__ = ["Person", "StuckError"]

STUCK_S = 240.0
GAUGE_STANDS_S = 4.0


class StuckError(BorewrightError):
    """The scripted person could not get on."""


class Person:
    """The person. bench: what they look at and tell. port: the rig at which they work."""

    def __init__(self, bench: Bench, port: SimEndpoint) -> None:
        self._bench = bench
        self._port = port
        self._facts = facts_of(port.rig.scenario)
        self._holding_torque_nm = self._facts.restraint_nm
        self._hold_pressed = False

    # ------------------------------------------------------------------ time

    def wait(self, seconds: float) -> None:
        """Let so much virtual time pass."""
        until_s = self._port.monotonic() + seconds
        self.wait_until(lambda: self._port.monotonic() >= until_s)

    def wait_until(self, reached: Callable[[], bool], limit_s: float = STUCK_S) -> None:
        """Look on until something is so. Raises StuckError when it is not after limit_s of virtual time."""
        began_s = self._port.monotonic()
        while not reached():
            self._bench.turn()
            if self._port.monotonic() - began_s > limit_s:
                raise StuckError(f"the scripted person is stuck at: {next_step(self._bench.state).text}; try another seed")

    def at_the_rig(self, words: str) -> None:
        """Do something at the rig, and be done with it. Raises StuckError when it cannot be done."""
        answer = self._port.rig.operator.do(words)
        if not answer.startswith("ok"):
            raise StuckError(f"the scripted person cannot do {words!r}: {answer}")
        self.wait_until(lambda: not self._port.rig.operator.busy)

    def do_at_the_rig(self, step: Step) -> None:
        """Do there what a step asks for."""
        for words in words_for(step, self._bench.state, look_at(self._port.rig), self._facts):
            self.at_the_rig(words)

    def tell(self, act: acts.Act) -> None:
        """Tell the bench something."""
        self._bench.act(act)

    # ------------------------------------------------------------------ the rig's own checks

    def find_true_tdc(self, cylinder: int) -> None:
        """The piston-stop procedure: two pairs of contacts, the stop out, the index pulse seen."""
        self.tell(acts.BeginTdc(cylinder))
        self.at_the_rig(f"piston-stop {cylinder}")
        if self._port.rig.plant.piston_stop_in != cylinder:  # it does not go in: the piston stands too high
            self.at_the_rig(f"turn +{DOWN_DEG:g} rpm {TURN_RPM:g}")
            self.at_the_rig(f"piston-stop {cylinder}")
        for turn_deg, side in ((720, "before"), (-720, "after"), (720, "before"), (-720, "after")):
            self.at_the_rig(f"turn {turn_deg:+d} rpm {TURN_RPM:g}")
            self.wait(1.2)
            self.tell(acts.TakeContact("before" if side == "before" else "after"))
        self.at_the_rig("piston-stop out")
        self.tell(acts.ConfirmStopRemoved())
        self.at_the_rig(f"turn +800 rpm {TURN_RPM:g}")
        self.wait_until(lambda: self._bench.state.tdc is not None, 5.0)

    def take_zero(self) -> None:
        """Both zeros at vent."""
        self.tell(acts.TakeZero())
        self.wait_until(lambda: self._bench.state.zero is None, 10.0)
        self.wait(0.1)

    # ------------------------------------------------------------------ following the guide

    def carry_out(self, purpose: acts.Purpose, with_air: Callable[[], bool] | None = None) -> None:
        """Follow the guide until a capture for this purpose is over. with_air: called again and again until it gives True."""
        self.tell(acts.SetPurpose(purpose))
        before = len(self._bench.done)
        began_s = self._port.monotonic()
        while len(self._bench.done) == before or self._bench.state.readiness.locked:
            if with_air is not None and with_air():
                with_air = None
            self.follow(next_step(self._bench.state))
            if self._port.monotonic() - began_s > STUCK_S:
                raise StuckError(f"the scripted person is stuck at: {next_step(self._bench.state).text}; try another seed")
        self.let_go()

    def follow_until(self, key: StepKey) -> None:
        """Follow the guide until this is the next step."""
        began_s = self._port.monotonic()
        while (step := next_step(self._bench.state)).key != key:
            self.follow(step)
            if self._port.monotonic() - began_s > STUCK_S:
                raise StuckError(f"the scripted person is stuck at: {step.text}; try another seed")

    def squeeze_once(self) -> None:
        """Squeeze until there is a verdict, whatever it says."""
        self.tell(acts.BeginSqueeze())
        self.wait(0.1)
        while self._bench.state.readiness.state is State.SQUEEZING:
            self.follow(next_step(self._bench.state))

    def turn_to_tdc(self, off_deg: float = 0.0) -> None:
        """Turn to where the guide says that compression TDC is, or to off_deg after it."""
        step = next_step(self._bench.state)
        self._turn((step.turn_deg or 0.0) + off_deg)

    def promise_all(self) -> None:
        """Restrain the crank, let it come to rest, and confirm every point."""
        self.at_the_rig(f"restrain {self._holding_torque_nm:g}")
        self.tell(acts.StateRestraint(self._holding_torque_nm))
        self.wait(1.2)
        self.tell(acts.ConfirmPeople(frozenset(confirmations_needed(self._bench.state.engine, gauged=True))))
        self.wait(0.1)

    def ask_for_air(self) -> None:
        """Ask for air, ready or not, and let go again."""
        self.tell(acts.AskAir())
        self.wait(0.1)
        self.tell(acts.LetGo())

    def ask_for_air_while_turning(self, turn_deg: float) -> None:
        """Ask for air while the crank is being turned."""
        self.at_the_rig("restrain off")
        self._port.rig.operator.do(f"turn {turn_deg:+g} rpm {TURN_RPM:g}")
        operator = self._port.rig.operator
        self.wait_until(lambda: self._port.rig.plant.turning or not operator.busy)
        self.wait(0.1)
        self.ask_for_air()
        self.wait_until(lambda: not operator.busy)

    def follow(self, step: Step) -> None:
        """Do what one step says."""
        match step.key:
            case "place_hose":
                self.do_at_the_rig(step)
                self.tell(acts.PlaceHose(self._bench.state.purpose.outlet, self._bench.state.purpose.cylinder))
                self.wait(0.1)
            case key if key in AT_PLACES:
                follow_at_place(self, self._bench, self._port, step)
            case "read_gauge":
                self._read_gauge(step)
            case "squeeze_turn":
                self.do_at_the_rig(step)
            case "set_regulator" | "confirm_people" | "shut_supply" | "begin_squeeze" | "confirm_fitting":
                self.do_at_the_rig(step)
                self._say_done(step)
            case "read_back_hose":
                self._read_back()
            case "look_for_check_valve":
                self.do_at_the_rig(step)
                self.do_at_the_rig(step)  # what is seen in the adapter comes out
                self._say_done(step)
            case "find_index" | "turn_to_tdc" | "turn_down":
                self.do_at_the_rig(step)
                self.wait(1.2)
            case "restrain":
                self.tell(acts.StateRestraint(self._holding_torque_nm))
                self.wait(0.1)
            case "give_air":
                self._give_air(step)
            case "open_vent":
                self.do_at_the_rig(step)
                self.wait(0.5)
                self._say_done(step)
            case "blocked":
                raise StuckError(f"the scripted person cannot get on: {step.text}")
            case _:
                self.wait(0.1)

    def _say_done(self, step: Step) -> None:
        if step.act is not None:
            self.tell(step.act)
        self.wait(0.1)

    def _turn(self, turn_deg: float) -> None:
        if self._bench.state.holding_torque_nm is not None:
            self.at_the_rig("restrain off")
        self.at_the_rig(f"turn {turn_deg:+.2f} rpm {TURN_RPM:g}")
        self.wait(1.2)

    def _read_gauge(self, step: Step) -> None:
        """Set the regulator to the next point, wait until the gauge stands, read it."""
        if next_sweep_pa(self._bench.state) is None:
            return
        self.do_at_the_rig(step)
        self.wait(GAUGE_STANDS_S)
        self.tell(acts.ReadGauge(self.gauge_pa()))
        self.wait(0.1)

    def gauge_pa(self) -> float:
        """What the reference gauge shows. Raises StuckError where there is none."""
        answer = self._port.rig.operator.do("gauge")
        if not answer.startswith("ok "):
            raise StuckError(f"the scripted person cannot read the gauge: {answer}")
        return parse(answer.removeprefix("ok "), "pressure_gauge")

    def _read_back(self) -> None:
        hose = self._port.rig.plant.hose_at
        self.tell(acts.ReadBackHose(hose if isinstance(hose, int) else 0))
        self.wait(0.1)

    def _give_air(self, step: Step) -> None:
        if self._bench.state.has_hold_switch:
            if not self._hold_pressed:
                self.at_the_rig("hold press")
                self._hold_pressed = True
        elif self._bench.state.has_valves:
            self._say_done(step)
        else:
            self.at_the_rig("vent shut")
            if next_step(self._bench.state).key == "give_air":
                self.at_the_rig("supply open")
        self.wait(0.2)

    def let_go(self) -> None:
        """Let the hold-to-run switch go, where it is pressed."""
        if self._hold_pressed:
            self.at_the_rig("hold release")
            self._hold_pressed = False
