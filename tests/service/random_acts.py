"""What people, faults and the wire can do to the quick toy and its host, each as one act with random particulars."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import Random
from typing import Any

from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    Cause,
    HoldEvent,
    HoldState,
    IndexEvent,
    RefusalReason,
    Refused,
    SampleBlock,
    StreamStart,
    SupplyOpen,
    VentOpen,
)
from borewright.service import acts

from .quick_toy import QuickHost
from .toy_rig import COUNTS, Hose

__all__ = ["ACTS", "Act"]

Act = Callable[[QuickHost, Random], None]


def _cylinder(host: QuickHost, rng: Random) -> int:
    return rng.choice(host.toy.engine.firing_order)


# ---------------------------------------------------------------------- time and crank


def wait(host: QuickHost, rng: Random) -> None:
    host.run(rng.choice((0.04, 0.3, 0.6, 1.1, 1.3, 3.1)), blocks_at_once=rng.choice((3, 13)))


def wait_long(host: QuickHost, rng: Random) -> None:
    host.toy.leap(rng.choice((200.0, 599.0, 640.0)))
    host.run(0.1)


def nudge(host: QuickHost, rng: Random) -> None:
    host.turn(rng.choice((-3.0, -1.0, -0.5, 0.3, 0.5, 1.0, 2.2, 6.0)), rng.choice((6.0, 60.0)))


def turn(host: QuickHost, rng: Random) -> None:
    host.turn(rng.choice((-200.0, 90.0, 180.0, 360.0)), 400.0)


def turn_to_tdc(host: QuickHost, rng: Random) -> None:
    """To a TDC of some cylinder, not always the right one, and not always well."""
    off_deg = rng.choice((0.0, 0.0, 0.7, -1.2, 2.0, -4.0))
    cycle = host.toy.engine.cycle_deg
    to_go = (-host.toy.after_compression_deg(_cylinder(host, rng)) + off_deg + rng.choice((0.0, 360.0))) % cycle
    host.turn(to_go or cycle, 600.0)
    host.run(0.3)


def turn_when_nobody_looks(host: QuickHost, rng: Random) -> None:
    """The cable is out while somebody turns the crank, or moves it under the device's nose as well."""
    host.toy.plugged = False
    host.run(rng.choice((0.2, 0.8)), rng.choice((0.0, 2.0, 30.0, 360.0)))
    host.toy.plugged = True
    host.toy.trouble_s = host.toy.true_s
    host.run(rng.choice((0.1, 0.9)))


def lose_counts(host: QuickHost, rng: Random) -> None:
    """Counts are lost, and then the crank goes over the index pulse."""
    host.toy.slipped += rng.choice((3, -5, 40, 700))
    host.toy.slip_unseen = True
    host.turn(400.0, 600.0)


def slip_coupling(host: QuickHost, rng: Random) -> None:
    """The encoder turns on its shaft, index and all."""
    host.toy.slip_coupling(rng.choice((-40.0, -12.0, -3.0, 2.0, 4.0, 12.0, 40.0)))
    host.run(0.04)


def index_wire(host: QuickHost, rng: Random) -> None:
    host.toy.index_wire = rng.random() < 0.5


# ---------------------------------------------------------------------- people


def follow_the_guide(host: QuickHost, rng: Random) -> None:
    for _ in range(rng.randint(1, 5)):
        host.follow()


def _follow_to_air(host: QuickHost) -> None:
    for _ in range(20):
        if host.follow().key in ("give_air", "blocked"):
            break


def follow_until_air(host: QuickHost, rng: Random) -> None:
    host.put_right()
    _follow_to_air(host)
    host.run(rng.choice((0.04, 3.3, 4.2)))


def go_on_with_another(host: QuickHost, rng: Random) -> None:
    """The next cylinder, as it is meant to be."""
    host.set_purpose(acts.Purpose("test", _cylinder(host, rng)))
    _follow_to_air(host)
    host.run(rng.choice((3.1, 4.6)))


def hurry(host: QuickHost, rng: Random) -> None:
    """Something is done in passing, all is confirmed without a look, and air is asked for."""
    rng.choice((nudge, restrain, move_hose, begin_tdc, squeeze_begun, drift, lose_counts, index_wire, carry_stroke))(host, rng)
    if rng.random() < 0.3:
        nudge(host, rng)
    host.run(rng.choice((0.1, 1.3)))
    host.confirm()
    host.run(0.1)
    ask_air(host, rng)
    host.run(rng.choice((0.1, 1.4)), blocks_at_once=13)


def squeeze_begun(host: QuickHost, _: Random) -> None:
    host.act(acts.BeginSqueeze())


def ask_air(host: QuickHost, rng: Random) -> None:
    if host.toy.hold_switch:
        host.press(True)
    else:
        host.act(acts.AskAir())
    host.run(rng.choice((0.04, 3.1)), blocks_at_once=13)


def set_purpose(host: QuickHost, rng: Random) -> None:
    kind = rng.choice(("test", "test", "test", "sealed", "restrictor"))
    host.set_purpose(acts.Purpose(kind, _cylinder(host, rng) if kind == "test" else 0, 8e-7))  # type: ignore[arg-type]


def move_hose(host: QuickHost, rng: Random) -> None:
    """Into the right hole or another, said to be the one that was asked for."""
    said = host.state.purpose.cylinder or None
    real: Hose = rng.choice(("capped", "orifice", said or "capped", _cylinder(host, rng), _cylinder(host, rng)))  # type: ignore[assignment]
    host.move_hose(real, said)


def move_hose_unsaid(host: QuickHost, rng: Random) -> None:
    """Into another hole and back; or to another one while nothing shows it, said as soon as somebody looks."""
    host.move_hose(_cylinder(host, rng), host.state.purpose.cylinder or None)
    host.read_back()


def read_back(host: QuickHost, _: Random) -> None:
    host.read_back()


def say_the_wrong_hole(host: QuickHost, rng: Random) -> None:
    """Somebody reads back what was asked for without looking, or another number."""
    said = rng.choice((host.state.purpose.cylinder, _cylinder(host, rng)))
    host.toy.false_word |= said != host.toy.hose
    host.act(acts.ReadBackHose(said))


def mistake_the_hole(host: QuickHost, rng: Random) -> None:
    """Somebody puts the hose into another hole, is sure that it is the right one, and goes on to air."""
    host.toy.mistaken, host.toy.by_holes = True, rng.choice((1, 2))
    host.move_hose(host.state.purpose.cylinder or "capped")
    _follow_to_air(host)
    host.run(rng.choice((3.1, 4.6)))
    host.toy.mistaken = False


def carry_stroke(host: QuickHost, rng: Random) -> None:
    host.act(acts.CarryStroke(rng.random() < 0.7))


def squeeze(host: QuickHost, rng: Random) -> None:
    host.act(acts.BeginSqueeze())
    host.turn(rng.choice((200.0, 760.0)), 300.0)
    if rng.random() < 0.5:
        host.act(acts.EndSqueeze())


def confirm(host: QuickHost, rng: Random) -> None:
    host.confirm(None if rng.random() < 0.75 else frozenset({"plugs_out", "hands_clear"}))


def restrain(host: QuickHost, rng: Random) -> None:
    host.act(acts.StateRestraint(rng.choice((0.0, 4.0, 9.0, 60.0))))


def say(host: QuickHost, rng: Random) -> None:
    said = (acts.LetGo(), acts.StopAll(), acts.SetHold(True), acts.SetHold(False), acts.EndSqueeze(), acts.BeginSqueeze())
    host.act(rng.choice(said))


def let_go(host: QuickHost, _: Random) -> None:
    host.press(False)


def take_zero(host: QuickHost, _: Random) -> None:
    host.take_zero()


def confirm_fitting(host: QuickHost, _: Random) -> None:
    host.act(acts.ConfirmFitting())


def find_tdc(host: QuickHost, rng: Random) -> None:
    if not host.state.readiness.locked:
        host.find_tdc(_cylinder(host, rng))
        host.toy.late_deg = 0.0


def begin_tdc(host: QuickHost, rng: Random) -> None:
    """The stop is screwed in, and left there."""
    if not host.state.readiness.locked:
        host.act(acts.BeginTdc(_cylinder(host, rng)))
        host.toy.stop_in = host.state.stop is not None


# ---------------------------------------------------------------------- faults


def lose_samples(host: QuickHost, rng: Random) -> None:
    host.toy.lose = rng.randint(1, 3)
    host.run(rng.choice((0.3, 0.9)), blocks_at_once=3)


def fault(host: QuickHost, _: Random) -> None:
    host.fault()
    host.run(0.04)


def restart(host: QuickHost, rng: Random) -> None:
    """A restart of the device; where it does not say so by itself, its identity does when it is asked again."""
    host.restart(rng.random() < 0.5)
    host.run(0.8)


def drift(host: QuickHost, rng: Random) -> None:
    host.toy.cylinder_offset_pa = rng.choice((900.0, 2_500.0, 4_500.0, 9_000.0))
    host.run(0.3)


def a_check_valve(host: QuickHost, rng: Random) -> None:
    """Somebody leaves one in the adapter, and says so as soon as the hose is next undone; a squeeze has to name it before."""
    if not host.state.readiness.locked:
        host.move_hose(host.state.purpose.cylinder or "capped")
        host.toy.check_valve = rng.choice(("lets_in", "lets_out"))


# ---------------------------------------------------------------------- the wire


def mail_is_late(host: QuickHost, rng: Random) -> None:
    """What was on its way comes with what follows; nothing is read meanwhile."""
    host.toy.go_on(rng.choice((10, 40)), 0.0)
    host.run(0.1)


def mail_twice(host: QuickHost, rng: Random) -> None:
    host.on_the_way = lambda mail: [*mail, *mail] if rng.random() < 0.5 else [message for each in mail for message in (each, each)]
    host.run(0.2)


def mail_in_another_order(host: QuickHost, rng: Random) -> None:
    def shuffled(mail: list[Any]) -> list[Any]:
        rng.shuffle(mail)
        return mail

    host.on_the_way = shuffled
    host.run(0.3, blocks_at_once=13)


def mail_of_before(host: QuickHost, rng: Random) -> None:
    """Messages that came earlier come once more, perhaps of another boot."""
    again = [rng.choice(host.heard) for _ in range(rng.randint(1, 3))] if host.heard else []
    host.on_the_way = lambda mail: [*again, *mail] if rng.random() < 0.5 else [*mail, *again]
    host.run(0.04)


def mail_lost(host: QuickHost, _: Random) -> None:
    """Everything but samples is lost; of these the device knows that they were sent."""
    host.on_the_way = lambda mail: [message for message in mail if isinstance(message, SampleBlock)]
    host.run(0.2)


def status_of_another_boot(host: QuickHost, rng: Random) -> None:
    host.on_the_way = lambda mail: [*mail, replace(host.toy.status(0), boot_id=rng.choice((1, 77)))]
    host.run(rng.choice((0.04, 1.5)))


def told_what_is_not(host: QuickHost, rng: Random) -> None:
    """A frame whose check sum happens to be right, or the device's own error: answers to nothing, changes that were not."""
    tick, opening = host.toy.tick % 2**32, rng.choice((0, host.state.opening_number, host.state.opening_number + 1))
    command = rng.choice((SupplyOpen.TYPE, VentOpen.TYPE, StreamStart.TYPE))
    untrue = rng.choice(
        (
            Ack(rng.randint(0, 9), command, tick),
            Refused(rng.randint(0, 9), command, rng.choice(tuple(RefusalReason)), tick),
            AirEvent(tick, rng.choice(tuple(AirState)), rng.choice(tuple(Cause)), opening, host.toy.counts),
            HoldEvent(tick, rng.choice((HoldState.PRESSED, HoldState.RELEASED))),
            IndexEvent(tick, host.toy.counts + rng.choice((0, 1, 5, COUNTS)), host.toy.index_number),
        )
    )
    host.on_the_way = lambda mail: [*mail, untrue]
    host.run(rng.choice((0.04, 0.6)))


ACTS: dict[Act, int] = {
    wait: 64,
    wait_long: 4,
    nudge: 32,
    turn: 8,
    turn_to_tdc: 12,
    turn_when_nobody_looks: 16,
    lose_counts: 4,
    slip_coupling: 8,
    index_wire: 4,
    follow_the_guide: 12,
    follow_until_air: 2,
    ask_air: 40,
    hurry: 16,
    go_on_with_another: 2,
    set_purpose: 16,
    move_hose: 20,
    move_hose_unsaid: 4,
    read_back: 16,
    say_the_wrong_hole: 8,
    mistake_the_hole: 1,
    carry_stroke: 8,
    squeeze: 1,
    confirm: 24,
    restrain: 12,
    say: 16,
    let_go: 8,
    take_zero: 1,
    confirm_fitting: 4,
    find_tdc: 1,
    begin_tdc: 1,
    lose_samples: 8,
    fault: 8,
    restart: 8,
    drift: 8,
    a_check_valve: 2,
    mail_is_late: 8,
    mail_twice: 8,
    mail_in_another_order: 8,
    mail_of_before: 8,
    mail_lost: 8,
    status_of_another_boot: 4,
    told_what_is_not: 16,
}
"""Each act and how often it is done, relative to the others."""
