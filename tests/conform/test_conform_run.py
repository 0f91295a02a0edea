"""The run of the suite: what was there before it, a line that is lost, what a failure leaves behind; and the verdict."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import Any

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from borewire.codec import encode
from borewire.messages import Ack, BlockFlags, Identity, Message, SampleBlock, StatusRequest, StreamStart
from borewright.conform.bench import READ_OCTETS, Bench
from borewright.conform.check import Failed
from borewright.conform.suite import SUITE, BrokenOff, run_suite
from borewright.conform.verdict import Ending, Figure, Outcome, Result, Verdict, result_lines, verdict_as_dict, verdict_lines
from borewright.errors import LinkError

from .bent_device import Bent
from .devices import SOLENOID, QuickHands, quick


def _outcomes(results: tuple[Result, ...]) -> dict[str, Outcome]:
    return {result.name: result.outcome for result in results}


def test_a_device_that_streams_already_was_not_reset_by_the_opening() -> None:
    rig = SimRig(quick(SOLENOID))
    rig.advance(1.0)
    rig.receive(encode(StreamStart(1, 1000, 8)))
    rig.advance(3.0)
    rig.transmit()
    run = run_suite(SimEndpoint(rig), only=["power-up", "stream-numbers"])
    assert _outcomes(run.results) == {"power-up": Outcome.NOT_TRIED, "stream-numbers": Outcome.PASSED}
    assert not rig.device.streaming


def test_a_frame_that_the_reset_of_the_opening_cut_is_no_fault_of_the_device() -> None:
    class Streamed(SimEndpoint):
        """Streams on from before, until its opening resets it in the midst of a block."""

        left = encode(StatusRequest(1)) + encode(SampleBlock(0, 0, 0, BlockFlags(0), 1, 1, bytes(6)))[:9]

        def read(self, size: int = 1) -> bytes:
            left, self.left = self.left, b""
            return left + super().read(size)

    run = run_suite(Streamed(SimRig(quick(SOLENOID))), only=["power-up", "good-frames-only"])
    assert _outcomes(run.results) == {"power-up": Outcome.PASSED, "good-frames-only": Outcome.PASSED}


def test_frames_that_were_not_sent_for_want_of_air_are_told() -> None:
    for air, told in ((False, True), (True, False)):
        run = run_suite(SimEndpoint(SimRig(quick(SOLENOID))), only=["bad-vectors", "bad-lengths"], air=air)
        assert _outcomes(run.results) == {"bad-vectors": Outcome.PASSED, "bad-lengths": Outcome.PASSED}
        for result in run.results:
            assert any("left_out" in figure.name for figure in result.figures) is told


def test_a_line_that_is_lost_is_no_fault_of_the_device_and_ends_the_run() -> None:
    rig = SimRig(quick(SOLENOID))
    endpoint = SimEndpoint(rig)
    run = run_suite(endpoint, tell=lambda result: rig.unplug() if result.name == "channels" else None)
    outcomes = _outcomes(run.results)
    assert len(run.results) == len(SUITE)
    assert [name for name, outcome in outcomes.items() if outcome is Outcome.PASSED] == ["handshake", "identity-fields", "channels"]
    assert Outcome.FAILED not in outcomes.values()
    assert run.ending is Ending.LINE_LOST
    assert outcomes["identify-again"] is Outcome.NOT_TRIED
    assert "the line was lost" in run.results[-1].sentence


def test_each_result_is_told_as_it_comes() -> None:
    told: list[str] = []
    run = run_suite(SimEndpoint(SimRig(quick(SOLENOID))), only=["zeros", "boot-id"], tell=lambda result: told.append(result.name))
    assert told == [result.name for result in run.results] == ["boot-id", "zeros"]


def test_an_interrupt_in_the_midst_of_a_check_leaves_the_device_without_a_stream() -> None:
    class Typed(SimEndpoint):
        def read(self, size: int = 1) -> bytes:
            if rig.device.streaming and not interrupted:
                interrupted.append(True)
                raise KeyboardInterrupt
            return super().read(size)

    rig = SimRig(quick(SOLENOID))
    interrupted: list[bool] = []
    with pytest.raises(BrokenOff) as broken:
        run_suite(Typed(rig), only=["channels", "stream-numbers"])
    assert not rig.device.streaming
    assert broken.value.run.ending is Ending.BROKEN_OFF
    assert _outcomes(broken.value.run.results) == {"channels": Outcome.PASSED, "stream-numbers": Outcome.NOT_TRIED}


def test_impatience_at_the_end_loses_nothing_that_was_found() -> None:
    class Impatient(SimEndpoint):
        def read(self, size: int = 1) -> bytes:
            if told:  # all is tried, and the device has its last words
                raise KeyboardInterrupt
            return super().read(size)

    told: list[Result] = []
    with pytest.raises(BrokenOff) as broken:
        run_suite(Impatient(SimRig(quick(SOLENOID))), only=["boot-id"], tell=told.append)
    assert _outcomes(broken.value.run.results) == {"boot-id": Outcome.PASSED}


def test_a_port_that_is_lost_from_the_beginning_tries_nothing() -> None:
    rig = SimRig(quick(SOLENOID))
    rig.unplug()
    run = run_suite(SimEndpoint(rig))
    assert "the line was lost" in run.results[0].sentence
    assert {result.outcome for result in run.results} == {Outcome.NOT_TRIED}
    assert run.ending is Ending.LINE_LOST


def _verdict(*outcomes: Outcome) -> Verdict:
    results = tuple(
        Result(f"check-{at}", "Chapter", "PROTOCOL.md 5", "It does.", outcome, "it did not", (Figure("took_ms", 1.5),), ("a",), ())
        for at, outcome in enumerate(outcomes)
    )
    return Verdict("2031-05-04T10:00:00+02:00", "port", "borewright 0", None, (), results)


def test_a_verdict_conforms_only_when_something_was_tried_and_nothing_failed() -> None:
    assert _verdict(Outcome.PASSED, Outcome.NOT_TRIED).conforms
    assert not _verdict(Outcome.PASSED, Outcome.FAILED).conforms
    assert not _verdict(Outcome.NOT_TRIED).conforms


@pytest.mark.parametrize(
    ("ending", "said"),
    [(Ending.LINE_LOST, "The line was lost; no verdict on the rest."), (Ending.BROKEN_OFF, "Broken off; no verdict on the rest.")],
)
def test_a_run_that_did_not_come_to_its_end_says_so_last_and_judges_nothing(ending: Ending, said: str) -> None:
    verdict = replace(_verdict(Outcome.PASSED, Outcome.NOT_TRIED), ending=ending)
    assert not verdict.conforms
    assert verdict_lines(verdict)[-1] == said
    assert verdict_as_dict(verdict)["ending"] == ending.name.lower()
    assert verdict_as_dict(replace(verdict, ending=Ending.COMPLETE))["ending"] == "complete"


def test_each_check_is_told_before_it_is_tried() -> None:
    about: list[tuple[str, int, int]] = []
    told: list[str] = []

    def tried(name: str, number: int, of: int) -> None:
        assert name not in told
        about.append((name, number, of))

    rig = SimRig(quick(SOLENOID))
    only = ["handshake", "zeros", "reset", "boot-id"]
    run_suite(SimEndpoint(rig), only=only, tell=lambda result: told.append(result.name), about=tried)
    assert about == [("handshake", 1, 4), ("boot-id", 3, 4), ("zeros", 4, 4)]  # reset, before them, needs hands


@pytest.mark.parametrize("how", ["done", "interrupted", "lost", "failed"])
def test_at_its_end_however_it_comes_the_hands_let_the_switch_go(how: str) -> None:
    class Ended(SimEndpoint):
        def read(self, size: int = 1) -> bytes:
            came = super().read(size)
            if not ended and rig.device.interlock.vent_open is False and rig.hold_pressed:
                ended.append(how)
                if how == "interrupted":
                    raise KeyboardInterrupt
                if how == "lost":
                    raise LinkError("the cable came off")
                if how == "failed":
                    raise OverflowError("nobody thought of that")
            return came

    rig = SimRig(quick(SOLENOID))
    ended: list[str] = []
    with suppress(BrokenOff):
        run_suite(Ended(rig), only=["time-limit-open"], air=True, hands=QuickHands(rig))
    rig.advance(2.0)  # after a lost line the suite cannot wait until it has seen it
    assert ended == [how]
    assert not rig.hold_pressed
    assert rig.device.interlock.vent_open


def test_a_failure_is_told_with_what_was_sent_and_what_came() -> None:
    verdict = _verdict(Outcome.PASSED, Outcome.FAILED)
    lines = verdict_lines(verdict)
    assert "device    it did not say who it is" in lines
    assert lines[-1] == "The device does not do what the page demands: check-1."
    told = result_lines(verdict.results[1])
    assert [line.strip() for line in told[1:]] == ["It did not", "sent  a", "came  nothing", "took_ms 1.5"]
    as_dict = verdict_as_dict(verdict)
    assert as_dict["summary"] == {"passed": 1, "failed": 1, "not_tried": 0}
    assert as_dict["results"][1]["figures"] == {"took_ms": 1.5}


STREAM_NAMES = ["stream-start", "stream-rates", "stream-flags", "stream-crank", "one-clock", "clock-rate", "answer-time"]


def _run_bent(say: Any, only: list[str]) -> dict[str, Result]:
    return {result.name: result for result in run_suite(Bent(SimRig(quick(SOLENOID)), say=say), only=only).results}


def test_a_device_that_acknowledges_a_stream_and_sends_none_fails_and_the_run_goes_on() -> None:
    def mute(messages: list[Message]) -> list[Message]:
        return [message for message in messages if not isinstance(message, SampleBlock)]

    results = _run_bent(mute, [*STREAM_NAMES, "boot-id"])
    assert results.pop("boot-id").outcome is Outcome.PASSED
    for result in results.values():
        assert result.outcome is Outcome.FAILED, result
        assert "block" in result.sentence


@pytest.mark.parametrize(
    ("bent", "said"),
    [
        ({"tick_rate_hz": 0}, "tick_rate_hz is 0"),
        ({"max_rate_hz": 0}, "max_rate_hz is 0"),
        ({"max_block_size": 0}, "max_block_size is not 1 to"),
        ({"streamed_channels": 0, "channel_count": 0}, "fewer than the two pressures"),
    ],
)
def test_on_numbers_that_cannot_be_nothing_else_is_built(bent: dict[str, Any], said: str) -> None:
    def lies(messages: list[Message]) -> list[Message]:
        return [replace(message, **bent) if isinstance(message, Identity) else message for message in messages]

    results = _run_bent(lies, ["identity-fields", "one-clock", "stream-rates", "status-each-second"])
    assert results.pop("identity-fields").outcome is Outcome.FAILED
    for result in results.values():
        assert result.outcome is Outcome.NOT_TRIED
        assert said in result.sentence


def test_what_a_check_did_not_think_of_fails_it_and_the_run_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    def unforeseen(_: Bench) -> None:
        raise IndexError("list index out of range")

    strange = next(check for check in SUITE if check.name == "boot-id")
    raising = replace(strange, run=unforeseen)
    monkeypatch.setattr("borewright.conform.suite.SUITE", tuple(raising if check is strange else check for check in SUITE))
    results = {result.name: result for result in run_suite(SimEndpoint(SimRig(quick(SOLENOID))), only=["boot-id", "zeros"]).results}
    assert results["zeros"].outcome is Outcome.PASSED
    assert results["boot-id"].outcome is Outcome.FAILED
    assert "IndexError" in results["boot-id"].sentence


def test_a_device_that_never_stops_talking_is_not_listened_to_for_ever() -> None:
    class Babbling(SimEndpoint):
        def read(self, size: int = 1) -> bytes:
            super().read(size)
            return (encode(Ack(0, 4, 0)) * (READ_OCTETS // 4))[:READ_OCTETS]

    bench = Bench(Babbling(SimRig(quick(SOLENOID))))
    began_s = bench.now_s
    with pytest.raises(Failed, match="was not answered"):
        bench.ask(StatusRequest(0), 0.2)
    assert bench.now_s - began_s < 2.0
