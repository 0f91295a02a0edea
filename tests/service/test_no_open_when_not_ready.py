"""A refusal means that no open frame goes onto the wire: random acts, faults and crank moves, judged by the toy's own truth."""

from __future__ import annotations

from collections import Counter
from functools import cache
from typing import ClassVar

from borewright.core.engine import Engine
from borewright.service import acts
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from .toy_rig import FOUR, THREE, TWO_STROKE, Hose, Host, Toy

RIGS: tuple[tuple[Engine, int, bool], ...] = ((FOUR, 1, False), (FOUR, -1, True), (THREE, 1, False), (TWO_STROKE, 1, False))
STAGES = ("ready", "armed", "armed", "watching", "to confirm", "to place the hose", "checked", "sealed", "restrictor")
CARRIED = (
    "ready by the puff",
    "armed by the puff",
    "watching by the puff",
    "to confirm by the puff",
    "to place the hose by the puff",
)
ENOUGH_RUNS_WITH_AIR = 0.2


@cache
def _prepared(engine: Engine, sign: int, hold_switch: bool, stage: str, cylinder: int) -> Host:
    """A host and a rig that went honestly as far as this stage; every run begins with a copy of one."""
    if stage == "checked":
        host = Host(Toy(engine, sign=sign, hold_switch=hold_switch))
        host.run(3.0)
        host.take_zero()
        host.know_checks("sealed", "restrictor")
        host.find_tdc(engine.firing_order[0])
        host.set_purpose(acts.Purpose("test", cylinder))
        return host
    if stage in ("sealed", "restrictor"):
        host = _prepared(engine, sign, hold_switch, "checked", cylinder).copy()
        host.set_purpose(acts.Purpose(stage, orifice_area_m2=8e-7))  # type: ignore[arg-type]
        host.follow_until_ready()
        return host
    # by squeeze in one cylinder, then carried over to the next: both ways to evidence occur
    host = _prepared(engine, sign, hold_switch, "checked", engine.firing_order[0]).copy()
    host.follow_until_ready()
    host.run(0.1)
    if stage.endswith("by the puff"):
        host.act(acts.CarryStroke(True))
        stage = stage.removesuffix(" by the puff")
    host.set_purpose(acts.Purpose("test", cylinder))
    if stage == "to place the hose":
        return host
    host.move_hose(cylinder)
    host.read_back()
    host.run(0.1)  # else the conditions are still those of the cylinder before
    host.follow_until_ready()
    if stage == "to confirm":
        host.confirm(frozenset({"plugs_out"}))
        host.run(0.1)
    if stage in ("armed", "watching"):
        host.follow()  # air is asked for, and the countdown runs where there is no hold switch
        host.run((0.0 if hold_switch else 2.7) + (1.0 if stage == "watching" else 0.0))
    return host


class Bench(RuleBasedStateMachine):
    """What people and faults can do to the toy, in any order."""

    seen: ClassVar[Counter[str]] = Counter()

    @initialize(rig=st.sampled_from(RIGS), stage=st.sampled_from(STAGES), data=st.data())
    def begin(self, rig: tuple[Engine, int, bool], stage: str, data: st.DataObject) -> None:
        cylinder = data.draw(st.sampled_from(rig[0].firing_order), label="cylinder")
        self.host = _prepared(*rig, stage, cylinder).copy()
        self.toy = self.host.toy
        self.engine = rig[0]

    def _cylinder(self, data: st.DataObject) -> int:
        return data.draw(st.sampled_from(self.engine.firing_order), label="cylinder")

    # ------------------------------------------------------------------ time and crank

    @rule(seconds=st.sampled_from((0.04, 0.3, 0.6, 1.1, 3.2, 6.0)), blocks=st.sampled_from((1, 3, 12)))
    def wait(self, seconds: float, blocks: int) -> None:
        self.host.run(seconds, blocks_at_once=blocks)

    @rule(seconds=st.sampled_from((200.0, 599.0, 640.0)))
    def wait_long(self, seconds: float) -> None:
        self.toy.leap(seconds)
        self.host.run(0.1)

    @rule(deg=st.sampled_from((-200.0, -3.0, -1.0, -0.5, 0.3, 0.5, 1.0, 2.2, 90.0, 360.0)), speed=st.sampled_from((3.0, 120.0)))
    def turn(self, deg: float, speed: float) -> None:
        self.host.turn(deg, max(speed, abs(deg) / 3.0))

    @rule(data=st.data(), off_deg=st.sampled_from((0.0, 0.0, 0.7, -1.2, 2.0, -4.0)), overlap=st.booleans())
    def turn_to_tdc(self, data: st.DataObject, off_deg: float, overlap: bool) -> None:
        cylinder = self._cylinder(data)
        cycle = self.engine.cycle_deg
        to_go = (-self.toy.after_compression_deg(cylinder) + off_deg + 360.0 * overlap) % cycle
        self.host.turn(to_go or cycle, 360.0)
        self.host.run(0.3)

    @rule(counts=st.sampled_from((1, 3, -5, 700)))
    def slip(self, counts: int) -> None:
        """Counts are lost, and then the crank goes over the index pulse."""
        self.toy.slipped += counts
        self.toy.slip_unseen = True
        self.host.turn(400.0, 360.0)

    @rule(works=st.booleans())
    def index_wire(self, works: bool) -> None:
        self.toy.index_wire = works

    # ------------------------------------------------------------------ people

    @rule(steps=st.integers(1, 8))
    def follow_the_guide(self, steps: int) -> None:
        for _ in range(steps):
            self.host.follow()

    @rule(then_s=st.sampled_from((0.04, 3.3, 4.2, 6.0)))
    def follow_until_air(self, then_s: float) -> None:
        self.host.put_right()
        for _ in range(25):
            if self.host.follow().key in ("give_air", "blocked"):
                break
        self.host.run(then_s)

    @rule(seconds=st.sampled_from((3.1, 4.3)))
    def ask_and_wait(self, seconds: float) -> None:
        self.ask_air()
        self.host.run(seconds)

    @rule(data=st.data(), kind=st.sampled_from(("test", "test", "sealed", "restrictor")))
    def set_purpose(self, data: st.DataObject, kind: str) -> None:
        cylinder = self._cylinder(data) if kind == "test" else 0
        self.host.set_purpose(acts.Purpose(kind, cylinder, 8e-7))  # type: ignore[arg-type]

    @rule(data=st.data(), outlet=st.sampled_from(("right", "cylinder", "capped", "orifice")))
    def move_hose(self, data: st.DataObject, outlet: str) -> None:
        real: Hose = "capped" if outlet == "capped" else "orifice" if outlet == "orifice" else self._cylinder(data)
        said = self.host.state.purpose.cylinder or None
        if outlet == "right" and said is not None:
            real = said
        self.host.move_hose(real, said)

    @rule()
    def read_back(self) -> None:
        self.host.read_back()

    @rule(turn_deg=st.sampled_from((200.0, 500.0, 760.0)), end=st.booleans())
    def squeeze(self, turn_deg: float, end: bool) -> None:
        self.host.act(acts.BeginSqueeze())
        self.host.turn(turn_deg)
        if end:
            self.host.act(acts.EndSqueeze())

    @rule()
    def begin_squeeze(self) -> None:
        self.host.act(acts.BeginSqueeze())

    @rule(all_points=st.sampled_from((True, True, True, False)))
    def confirm(self, all_points: bool) -> None:
        self.host.confirm(None if all_points else frozenset({"plugs_out", "hands_clear"}))

    @rule(torque_nm=st.sampled_from((0.0, 4.0, 9.0, 60.0)))
    def restrain(self, torque_nm: float) -> None:
        self.host.act(acts.StateRestraint(torque_nm))

    @rule()
    def ask_air(self) -> None:
        self.seen["asked"] += 1
        if self.toy.hold_switch:
            self.host.press(True)
        else:
            self.host.act(acts.AskAir())
        self.host.run(0.04)

    @rule(act=st.sampled_from((acts.LetGo(), acts.StopAll(), acts.SetHold(True), acts.SetHold(False), acts.EndSqueeze())))
    def say(self, act: acts.Act) -> None:
        self.host.act(act)

    @rule()
    def let_go(self) -> None:
        self.host.press(False)

    @rule()
    def take_zero(self) -> None:
        self.host.take_zero()

    @rule()
    def confirm_fitting(self) -> None:
        self.host.act(acts.ConfirmFitting())

    @rule(data=st.data())
    def find_tdc(self, data: st.DataObject) -> None:
        if not self.host.state.readiness.locked:
            self.host.find_tdc(self._cylinder(data))

    # ------------------------------------------------------------------ faults

    @rule(blocks=st.integers(1, 4), then_s=st.sampled_from((0.0, 0.1, 0.6)))
    def lose_samples(self, blocks: int, then_s: float) -> None:
        self.toy.lose = blocks
        self.host.run(0.04 * blocks + then_s, blocks_at_once=3)

    @rule()
    def fault(self) -> None:
        self.host.fault()
        self.host.run(0.04)

    @rule(told=st.booleans())
    def restart(self, told: bool) -> None:
        self.host.restart(told)
        self.host.run(0.8)

    @rule(seconds=st.sampled_from((0.3, 0.9, 4.0)), deg=st.sampled_from((0.0, 0.0, 30.0)))
    def pull_cable(self, seconds: float, deg: float) -> None:
        """Nothing comes through for a while, and nobody sees what the crank does."""
        self.toy.plugged = False
        self.host.run(seconds, deg / seconds)
        self.toy.plugged = True
        self.toy.trouble_s = self.toy.true_s
        self.host.run(0.3)

    @rule(offset_pa=st.sampled_from((900.0, 2_500.0, 4_500.0, 9_000.0)))
    def drift(self, offset_pa: float) -> None:
        self.toy.cylinder_offset_pa = offset_pa

    # ------------------------------------------------------------------ what must hold

    @invariant()
    def no_opening_was_wrong(self) -> None:
        if hasattr(self, "host"):
            assert self.toy.wrong == []

    def teardown(self) -> None:
        if hasattr(self, "host"):
            self.seen["runs"] += 1
            self.seen["refused"] += len(self.host.refused)
            self.seen["by the puff"] += self.host.by_the_puff
            for kind in self.toy.opens:
                self.seen[kind] += 1
            self.seen["runs with air"] += bool(self.toy.opens)


class Carried(Bench):
    """The same with the stroke carried over, the hose shown by reading back and the puff; a wrong number may be read back."""

    seen: ClassVar[Counter[str]] = Counter()

    @initialize(rig=st.sampled_from(RIGS), stage=st.sampled_from(CARRIED), data=st.data())
    def begin(self, rig: tuple[Engine, int, bool], stage: str, data: st.DataObject) -> None:
        super().begin(rig, stage, data)

    @rule(on=st.sampled_from((True, True, False)))
    def carry_stroke(self, on: bool) -> None:
        self.host.act(acts.CarryStroke(on))

    @rule(data=st.data())
    def say_another_hole(self, data: st.DataObject) -> None:
        """A wrong number read back; the hose is where it was."""
        number = self._cylinder(data)
        if number != self.host.state.purpose.cylinder:
            self.host.act(acts.ReadBackHose(number))


def test_no_opening_goes_onto_the_wire_when_it_may_not_and_many_do_when_they_may() -> None:
    Bench.seen.clear()
    run_state_machine_as_test(Bench, settings=settings(max_examples=100, stateful_step_count=25, deadline=None, derandomize=True))
    seen = Bench.seen
    assert seen["runs with air"] >= ENOUGH_RUNS_WITH_AIR * seen["runs"], seen
    for kind in ("puff test", "full test", "renewal test", "puff sealed", "puff restrictor"):
        assert seen[kind] > 0, seen
    assert seen["refused"] > 0, seen


def test_nor_with_the_stroke_carried_over_and_the_hose_read_back() -> None:
    Carried.seen.clear()
    run_state_machine_as_test(Carried, settings=settings(max_examples=40, stateful_step_count=25, deadline=None, derandomize=True))
    seen = Carried.seen
    assert seen["runs with air"] >= ENOUGH_RUNS_WITH_AIR * seen["runs"], seen
    assert seen["by the puff"] > 0, seen
    assert seen["refused"] > 0, seen
