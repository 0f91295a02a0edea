"""Somebody who follows the guide at the built-in rig through the desk, one glance at a time; for pictures and benches.

It never waits by itself: whoever owns the loop calls `glance` again and again, in virtual or in real time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

from borewright.app.desk import Desk
from borewright.core.conditions import confirmations_needed
from borewright.service import acts
from borewright.service.guide import Step
from borewright.simrig.builtin import BuiltInFacts, BuiltInView
from borewright.simrig.words_for import words_for

__all__ = ["CHECKS", "ScreenPerson"]

ORIFICE_M2 = 0.8e-6  # the certified orifice in the tool box of the reference rig
STANDS_S = 1.2
CHECKS = (acts.Purpose("sealed"), acts.Purpose("restrictor", orifice_area_m2=ORIFICE_M2))


class ScreenPerson:
    """glance: look once and do what is next. wait: lets time pass until something is so; for the whole procedures."""

    def __init__(self, desk: Desk, wait: Callable[[Callable[[], bool]], None]) -> None:
        self._desk = desk
        self._wait = wait
        self._at_s = 0.0

    @property
    def rig(self) -> BuiltInView:
        """What is to be seen at the rig."""
        return cast(BuiltInView, self._desk.snapshot.rig)

    def wait_s(self, seconds: float) -> None:
        """Let so much of the rig's time pass."""
        until_s = self.rig.at_s + seconds
        self._wait(lambda: self.rig.at_s >= until_s)

    def at_rig(self, words: str) -> None:
        """Do it at the rig and be done with it."""
        self._desk.at_rig(words)
        self.wait_s(0.1)
        self._wait(lambda: not self.rig.busy)

    def check_rig(self, cylinder: int) -> None:
        """Zero, sealed, restrictor, true TDC."""
        self.wait_s(2.5)
        self.take_zero()
        for purpose in CHECKS:
            self.carry_out(purpose)
        self.at_rig("hose off")
        self.find_true_tdc(cylinder)

    def take_zero(self) -> None:
        """Both zeros at vent."""
        self._desk.tell(acts.TakeZero())
        self.wait_s(0.2)
        self._wait(lambda: self._desk.snapshot.state is not None and self._desk.snapshot.state.zero is None)

    def find_true_tdc(self, cylinder: int) -> None:
        """By piston stop: two pairs of contacts."""
        self._desk.tell(acts.BeginTdc(cylinder))
        self.at_rig("turn +90 rpm 20")
        self.at_rig(f"piston-stop {cylinder}")
        for turn_deg in (720, -720, 720, -720):
            self.at_rig(f"turn {turn_deg:+d} rpm 20")
            self.wait_s(STANDS_S)
            self._desk.tell(acts.TakeContact("before" if turn_deg > 0 else "after"))
        self.at_rig("piston-stop out")
        self._desk.tell(acts.ConfirmStopRemoved())
        self.at_rig("turn +800 rpm 20")

    def carry_out(self, purpose: acts.Purpose) -> None:
        """Follow the guide until a capture for this purpose is over and kept."""
        self._desk.tell(acts.SetPurpose(purpose))
        self.wait_s(0.2)
        before = len(self._desk.snapshot.done)
        self._wait(lambda: self.glance() and len(self._desk.snapshot.done) > before)
        self.let_go()

    def let_go(self) -> None:
        """Let the hold-to-run switch go, where it is pressed."""
        if self.rig.hold_pressed:
            self.at_rig("hold release")

    def until(self, key: str) -> None:
        """Follow the guide until this is the next step."""
        self._wait(lambda: self._is(key) or (self.glance() and self._is(key)))

    def _is(self, key: str) -> bool:
        return self._desk.snapshot.step is not None and self._desk.snapshot.step.key == key

    def glance(self) -> bool:
        """Look once; do at the rig and tell what the step asks for. Always True."""
        snapshot = self._desk.snapshot
        state, step, rig = snapshot.state, snapshot.step, self.rig
        if state is None or step is None or rig is None or rig.busy or rig.turning or rig.at_s < self._at_s:
            return True
        for words in words_for(step, state, rig, self._facts()):
            self._desk.at_rig(words)
        self._at_s = rig.at_s + 0.3
        if step.key == "give_air" and state.has_hold_switch and not rig.hold_pressed:
            self._desk.at_rig("hold press")
        act = self._answer(step)
        if act is not None:
            self._wait_for_hands()
            self._desk.tell(act)
        return True

    def _facts(self) -> BuiltInFacts:
        assert self._desk.builtin is not None
        return self._desk.builtin.facts

    def _wait_for_hands(self) -> None:
        self.wait_s(0.1)
        self._wait(lambda: not self.rig.busy)

    def _answer(self, step: Step) -> acts.Act | None:
        state = self._desk.snapshot.state
        if step.key == "restrain":
            assert self._desk.builtin is not None
            return acts.StateRestraint(self._desk.builtin.facts.restraint_nm)
        if step.key == "confirm_people":
            return acts.ConfirmPeople(frozenset(confirmations_needed(state.engine if state else None, gauged=True)))
        if step.key == "read_back_hose":
            return acts.ReadBackHose(self.rig.hose_at if isinstance(self.rig.hose_at, int) else 0)
        return step.act
