"""The loop that reads and answers: every run ends with exactly one word on why."""

from __future__ import annotations

import queue
from collections.abc import Callable

import pytest
from borewright.acquisition.pump import Pump, PumpEnd
from borewright.errors import LinkError


class Rig:
    """An endpoint that sends a counter for ever; each read takes 10 ms of its own clock."""

    def __init__(self) -> None:
        self.timeout: float | None = None
        self.sent = bytearray()
        self.reads = 0
        self.on_read: Callable[[], None] = lambda: None
        self.on_write: Callable[[], None] = lambda: None

    def read(self, size: int, /) -> bytes:
        assert size >= 1024
        self.reads += 1
        self.on_read()
        return bytes([self.reads % 256])

    def write(self, data: bytes, /) -> int:
        self.on_write()
        self.sent += data
        return len(data)

    def close(self) -> None:
        return

    def monotonic(self) -> float:
        return self.reads * 0.01


def raising(error: BaseException) -> Callable[[], None]:
    def act() -> None:
        raise error

    return act


def test_a_turn_reads_hands_over_with_the_time_and_sends_the_answer() -> None:
    rig = Rig()
    seen: list[tuple[bytes, float]] = []

    def answer(data: bytes, now_s: float) -> bytes:
        seen.append((data, now_s))
        return b"" if len(seen) == 1 else b"ok"

    pump = Pump(rig, answer, timeout_s=0.02)
    pump.once()
    assert (rig.timeout, bytes(rig.sent)) == (0.02, b"")
    pump.once()
    assert (seen, bytes(rig.sent)) == ([(b"\x01", 0.01), (b"\x02", 0.02)], b"ok")


@pytest.mark.parametrize("error", [OSError("unplugged"), LinkError("the link through COM3 was lost; check the cable")])
@pytest.mark.parametrize("where", ["on_read", "on_write"])
def test_a_lost_link_is_a_link_error_in_a_turn_and_the_end_of_a_run(error: Exception, where: str) -> None:
    rig = Rig()
    setattr(rig, where, raising(error))
    pump = Pump(rig, lambda _data, _now_s: b"x", farewell=lambda: b"vent")
    with pytest.raises(LinkError):
        pump.once()
    end = pump.run()
    assert end.kind == "link_lost"
    assert str(error) in end.reason
    assert bytes(rig.sent) == b""


def test_a_fault_in_the_program_is_told_with_its_error_and_the_air_is_vented() -> None:
    rig = Rig()
    bug = KeyError("tick")

    def broken(_data: bytes, _now_s: float) -> bytes:
        raise bug

    end = Pump(rig, broken, farewell=lambda: b"vent").run()
    assert end == PumpEnd("fault", "the program failed while reading the rig (KeyError: 'tick'); restart it", bug)
    assert bytes(rig.sent) == b"vent"


@pytest.mark.parametrize("broken", ["farewell", "link"])
def test_a_farewell_that_fails_hides_no_reason(broken: str) -> None:
    rig = Rig()
    bug = ValueError("first")

    def fails(_data: bytes, _now_s: float) -> bytes:
        raise bug

    def farewell() -> bytes:
        if broken == "farewell":
            raise RuntimeError("second")
        rig.on_write = raising(OSError("gone"))
        return b"vent"

    assert Pump(rig, fails, farewell=farewell).run().error is bug


def test_the_caller_s_ctrl_c_vents_and_passes_through() -> None:
    rig = Rig()
    rig.on_read = raising(KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        Pump(rig, lambda _data, _now_s: b"", farewell=lambda: b"vent").run()
    assert bytes(rig.sent) == b"vent"


def test_stopping_from_inside_ends_the_run_after_the_turn() -> None:
    rig = Rig()

    def answer(data: bytes, _now_s: float) -> bytes:
        if data == b"\x03":
            pump.stop()
        return data

    pump = Pump(rig, answer, farewell=lambda: b"vent")
    assert pump.run() == PumpEnd("stopped", "the pump was stopped")
    assert bytes(rig.sent) == b"\x01\x02\x03vent"


def test_a_thread_runs_until_it_is_stopped_and_says_so_once() -> None:
    rig = Rig()
    ends: queue.SimpleQueue[PumpEnd] = queue.SimpleQueue()
    turned: queue.SimpleQueue[float] = queue.SimpleQueue()

    def answer(_data: bytes, now_s: float) -> bytes:
        if now_s < 1.0:
            turned.put(now_s)
        return b""

    pump = Pump(rig, answer, farewell=lambda: b"vent")
    pump.run_in_thread(ends.put)
    assert turned.get(timeout=30.0) == 0.01
    with pytest.raises(RuntimeError, match="started already"):
        pump.run_in_thread(ends.put)
    assert pump.stop(30.0)
    assert ends.get(timeout=30.0).kind == "stopped"
    assert ends.empty()
    assert bytes(rig.sent) == b"vent"


@pytest.mark.parametrize(("error", "kind"), [(OSError("unplugged"), "link_lost"), (ZeroDivisionError("bug"), "fault")])
def test_a_thread_never_dies_in_silence(error: Exception, kind: str) -> None:
    rig = Rig()
    rig.on_read = raising(error)
    ends: queue.SimpleQueue[PumpEnd] = queue.SimpleQueue()
    pump = Pump(rig, lambda _data, _now_s: b"")
    pump.run_in_thread(ends.put)
    assert ends.get(timeout=30.0).kind == kind
    assert pump.stop(30.0)
    assert ends.empty()
