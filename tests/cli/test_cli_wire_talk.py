"""borewright wire talk: words to messages, what comes, what is told before air, and silence when nothing is typed."""

from __future__ import annotations

import json
import signal
import sys
from collections.abc import Callable
from io import StringIO
from typing import Any

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder
from borewire.messages import EchoRequest, HostAlive, IdentifyRequest, StatusRequest, StreamStart, StreamStop, VentClose, VentOpen
from borewright.cli import exits
from borewright.cli.message_words import message_of
from borewright.cli.wire_talk import Talk
from borewright.errors import UseError

CLOSE = "VentClose time_limit_ms=30000 limit_cylinder_raw=2000"


class Kept(SimEndpoint):
    """The port of a simulated rig, which keeps what the host sends."""

    def __init__(self) -> None:
        self.sim = SimRig(load_scenario("hillclimb-before"))
        super().__init__(self.sim, timeout=0.015)
        self.written = b""

    def write(self, data: bytes) -> int:
        self.written += data
        return super().write(data)

    @property
    def sent(self) -> list[Any]:
        return Decoder("device").feed(self.written)


class Terminal(StringIO):
    """The keyboard of somebody who sits there."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def port(plugged_in: Callable[[Any], None]) -> Kept:
    kept = Kept()
    plugged_in(kept)
    return kept


def say(*messages: str) -> list[str]:
    return [word for message in messages for word in ("--say", message)]


def test_messages_are_sent_as_typed_and_what_comes_is_shown(command: Any, port: Kept) -> None:
    ended = command("wire", "talk", "--port", "x", *say("StatusRequest", "StreamStart rate_hz=1000 block_size=8"), "--seconds", 2.5)
    assert ended.code == exits.OK
    assert port.sent == [StatusRequest(1), StreamStart(2, 1000, 8), StreamStop(3)]
    lines = ended.out.splitlines()
    assert any("> StreamStart request_id=2 rate_hz=1000 block_size=8" in line for line in lines)
    assert any("< Ack request_id=2 command=2" in line for line in lines)
    blocks = [line for line in lines if "sample blocks" in line]
    assert 2 <= len(blocks) <= 4
    assert "sequence 0 to " in blocks[0]
    assert "crank_count 0 to 0" in blocks[0]


def test_the_host_is_silent_unless_told_otherwise_so_that_silence_can_be_tried(command: Any, port: Kept) -> None:
    words = say("StreamStart rate_hz=1000 block_size=8", CLOSE)
    ended = command("wire", "talk", "--port", "x", *words, "--air-is-off", "--seconds", 1.0)
    assert "air=vented cause=host_silent" in ended.out
    assert not [message for message in port.sent if isinstance(message, HostAlive)]


def test_with_alive_the_air_stays_as_it_is(command: Any, port: Kept) -> None:
    words = say("StreamStart rate_hz=1000 block_size=8", CLOSE)
    ended = command("wire", "talk", "--port", "x", *words, "--air-is-off", "--seconds", 1.0, "--alive")
    assert "host_silent" not in ended.out
    assert [message for message in port.sent if isinstance(message, HostAlive)]


def test_before_what_can_let_air_in_it_is_told_plainly_and_the_end_vents(command: Any, port: Kept) -> None:
    ended = command(
        "wire", "talk", "--port", "x", *say("StreamStart rate_hz=1000 block_size=8", CLOSE), "--air-is-off", "--seconds", 0
    )
    assert "VentClose can let air in" in ended.err
    assert isinstance(port.sent[-2], VentOpen)
    assert port.sim.device.interlock.vent_open or port.sim.device.waiting


def test_a_request_to_end_vents_as_ctrl_c_does(command: Any, plugged_in: Any) -> None:
    class Ended(Kept):
        def read(self, size: int = 1) -> bytes:
            if not self.sim.device.interlock.vent_open:
                signal.raise_signal(signal.SIGTERM)
            return super().read(size)

    port = Ended()
    plugged_in(port)
    command("wire", "talk", "--port", "x", *say("StreamStart rate_hz=1000 block_size=8", CLOSE), "--air-is-off")
    port.sim.advance(0.1)
    assert [type(message) for message in port.sent[-2:]] == [VentOpen, StreamStop]
    assert port.sim.device.interlock.vent_open


def test_nothing_is_sent_when_one_of_the_messages_is_none(command: Any, port: Kept) -> None:
    refusal = command("wire", "talk", "--port", "x", *say("StatusRequest", "StreamStart rate=1")).refusal(exits.USE)
    assert "'rate=1' is no field of StreamStart; it has request_id=…, rate_hz=…, block_size=…" in refusal
    assert port.written == b""


def test_at_the_keyboard_air_needs_a_yes(command: Any, port: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        sys, "stdin", Terminal(f"help\nnonsense\nStreamStart rate_hz=1000 block_size=8\n{CLOSE}\nno\n{CLOSE}\nyes\n")
    )
    ended = command("wire", "talk", "--port", "x")
    assert ended.code == exits.OK
    assert "EchoRequest octets=HEX" in ended.err
    assert "'nonsense' is no message to the device" in ended.err
    assert ended.err.count("type yes to send it") == 2
    assert "not sent" in ended.err
    assert len([message for message in port.sent if isinstance(message, VentClose)]) == 1


OPEN = (
    "SupplyOpen opening_id=1 time_limit_ms=1000 window_low_count=-20 window_high_count=20 limit_regulated_raw=2000 "
    "limit_cylinder_raw=2000"
)


@pytest.mark.parametrize("words", [OPEN, CLOSE])
def test_where_nobody_can_be_asked_air_needs_the_statement_that_it_is_off(
    command: Any, port: Kept, monkeypatch: pytest.MonkeyPatch, words: str
) -> None:
    refusal = command("wire", "talk", "--port", "x", *say("StatusRequest", words)).refusal(exits.NOT_READY)
    assert f"{words.split(maxsplit=1)[0]} can let air in or keep it in and was not sent" in refusal
    assert "--air-is-off" in refusal
    assert port.written == b""
    monkeypatch.setattr(sys, "stdin", StringIO(f"StatusRequest\n{words}\nyes\nStatusRequest\n"))
    ended = command("wire", "talk", "--port", "x")
    assert ended.code == exits.NOT_READY
    assert "and was not sent" in ended.err
    assert port.sent == [StatusRequest(1)]


def test_with_the_statement_a_script_may_say_it(command: Any, port: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO(f"{CLOSE}\n"))
    ended = command("wire", "talk", "--port", "x", "--air-is-off")
    assert "VentClose can let air in" in ended.err
    assert [type(message) for message in port.sent] == [VentClose, VentOpen]


def test_quit_ends_and_help_tells_of_one_message(command: Any, port: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", Terminal("help SupplyOpen\nhelp Fly\nquit\nStatusRequest\n"))
    ended = command("wire", "talk", "--port", "x")
    assert ended.code == exits.OK
    assert "SupplyOpen: Closes the vent and opens the supply, once, under limits." in ended.err
    assert "  window_low_count: from -2147483648 to 2147483647" in ended.err
    assert "'Fly' is no message to the device" in ended.err
    assert "StreamStart" not in ended.err.partition("is no message")[0]
    assert port.written == b""


def test_as_json_each_frame_is_an_object(command: Any, port: Kept) -> None:
    ended = command("wire", "talk", "--port", "x", *say("EchoRequest octets=00f5"), "--json", "--seconds", 0)
    came = [json.loads(line) for line in ended.out.splitlines()]
    assert {"message": "EchoReply", "fields": {"request_id": 1, "octets": "00f5"}}.items() <= came[-1].items()
    assert came[0]["direction"] == "to_device" or came[0]["direction"] == "to_host"
    assert port.sent == [EchoRequest(1, b"\x00\xf5")]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("Fly", "is no message to the device; there are IdentifyRequest"),
        ("StreamStart rate_hz=1000", "StreamStart needs block_size=NUMBER too"),
        ("StreamStart rate_hz=fast block_size=8", "rate_hz must be a whole number, like 1000 or 0x3e8, not 'fast'"),
        ("StreamStart rate_hz=70000 block_size=8", "rate_hz must be from 0 to 65535, not 70000"),
        ("StreamStart rate_hz=1000 block_size=-1", "block_size must be from 0 to 255, not -1"),
        ("StatusRequest request_id=99999", "request_id must be from 0 to 65535, not 99999"),
        (f"EchoRequest octets={'00' * 201}", "does not fit a frame: EchoRequest.octets: 201 octets, but at most 200 are allowed"),
        ("", "nothing was said, which is no message; there are IdentifyRequest"),
        ("  ", "nothing was said, which is no message"),
        ("EchoRequest octets=zz", "octets must be octets in hex"),
        ("HostAlive request_id=1", "is no field of HostAlive; it has no fields"),
    ],
)
def test_a_bad_word_is_answered_with_what_is_possible(words: str, said: str) -> None:
    with pytest.raises(UseError, match=said):
        message_of(words, 1)


def test_numbers_may_be_hex_and_a_request_id_may_be_said() -> None:
    assert message_of("statusrequest request_id=0x10", 1) == StatusRequest(16)
    assert message_of("IdentifyRequest", 3) == IdentifyRequest(3, 1, 0)


def test_the_end_vents_also_when_nobody_reads_what_is_shown_any_more(monkeypatch: pytest.MonkeyPatch) -> None:
    class Pipe(StringIO):
        """Like that of `| head`: closed by its reader once the vent is closed."""

        def write(self, text: str) -> int:
            if not port.sim.device.interlock.vent_open:
                raise BrokenPipeError
            return len(text)

    port = Kept()
    talk = Talk(port, alive=True, as_json=False)
    monkeypatch.setattr(sys, "stdout", Pipe())
    talk.say(message_of("StreamStart rate_hz=1000 block_size=8", talk.next_id()))
    with pytest.raises(BrokenPipeError):
        talk.say(message_of(CLOSE, talk.next_id()))
    talk.leave()
    assert [type(message) for message in port.sent[-2:]] == [VentOpen, StreamStop]
