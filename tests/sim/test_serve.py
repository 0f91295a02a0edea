"""The simulated rig for other programs: pseudo terminal, TCP, control lines. Asserted on answers, never on the wall clock."""

from __future__ import annotations

import os
import queue
import select
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from boresim.control import CONTROL_WORDS, ControlTalk
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from boresim.serve import ServeError, serve_pty, serve_tcp
from borewire.codec import Decoder, encode
from borewire.messages import HostAlive, IdentifyRequest, Identity, SampleBlock, StreamStart

PATIENCE_S = 30.0
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo terminals")


class Served:
    """A rig served in a thread of the test; `said` gives its lines one by one."""

    def __init__(self, serve: Callable[..., None], **how: Any) -> None:
        self.rig = SimRig(load_scenario("hillclimb-before"))
        self._said: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._stop = threading.Event()
        self.failure: BaseException | None = None
        self._thread = threading.Thread(target=self._run, args=(serve, how))
        self._thread.start()

    def _run(self, serve: Callable[..., None], how: dict[str, Any]) -> None:
        try:
            serve(self.rig, say=self._said.put, stop=self._stop, **how)
        except BaseException as failure:  # noqa: BLE001  # shown by end()
            self.failure = failure

    def said(self, word: str) -> str:
        line = self._said.get(timeout=PATIENCE_S)
        assert line.startswith(f"{word} ")
        return line.removeprefix(f"{word} ")

    def end(self) -> None:
        self._stop.set()
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive()
        assert self.failure is None


@pytest.fixture
def start() -> Iterator[Callable[..., Served]]:
    running: list[Served] = []

    def begin(serve: Callable[..., None], **how: Any) -> Served:
        running.append(Served(serve, **how))
        return running[-1]

    yield begin
    for served in running:
        served.end()


def _connect(address: str) -> socket.socket:
    host, port = address.removeprefix("socket://").rsplit(":", 1)
    return socket.create_connection((host, int(port)), timeout=PATIENCE_S)


def _until(receive: Callable[[], bytes], kind: type[Any]) -> Any:
    """Reads until a message of a kind comes; a bad frame on the way is a failure."""
    decoder = Decoder("host")
    while True:
        data = receive()
        assert data, "the other side hung up"
        found = [event for event in decoder.feed(data) if isinstance(event, kind)]
        assert decoder.counters.frames_bad == 0
        if found:
            return found[0]


def _ask(control: socket.socket, words: str) -> str:
    control.sendall(f"{words}\n".encode())
    answer = b""
    while not answer.endswith(b"\n"):
        piece = control.recv(4096)
        assert piece, "the control address hung up"
        answer += piece
    return answer.decode().rstrip("\n")


def test_a_host_over_tcp_identifies_and_streams(start: Callable[..., Served]) -> None:
    served = start(serve_tcp, speed=20.0)
    served.said("control")
    with _connect(served.said("port")) as host:
        host.sendall(encode(IdentifyRequest(1, 1, 0)))
        assert _until(lambda: host.recv(4096), Identity).serial_number == "BW-REF-0001"
        host.sendall(encode(StreamStart(2, 1000, 8)))
        assert _until(lambda: host.recv(4096), SampleBlock).sequence == 0


def test_one_host_at_a_time_and_the_next_when_it_has_gone(start: Callable[..., Served]) -> None:
    served = start(serve_tcp, speed=20.0)
    served.said("control")
    address = served.said("port")
    with _connect(address) as first:
        first.sendall(encode(IdentifyRequest(1, 1, 0)))
        _until(lambda: first.recv(4096), Identity)
        with _connect(address) as second:
            assert second.recv(1) == b""
        first.sendall(encode(IdentifyRequest(2, 1, 0)))
        _until(lambda: first.recv(4096), Identity)
    with _connect(address) as third:
        third.sendall(encode(IdentifyRequest(3, 1, 0)))
        assert _until(lambda: third.recv(4096), Identity).request_id == 3


def test_control_lines_are_the_persons_and_idle_waits_for_the_act(start: Callable[..., Served]) -> None:
    served = start(serve_tcp, speed=200.0)
    with _connect(served.said("control")) as control:
        assert _ask(control, "hose 2") == "ok putting the hose into cylinder 2"
        assert _ask(control, "idle") == "ok idle"
        assert _ask(control, "look").startswith("ok hose in cylinder 2")
        assert _ask(control, "jump") == "no: 'jump' is not a word I know; help lists them"
        assert float(_ask(control, "now").split()[1]) > 3.0


def test_a_control_line_without_end_is_hung_up_on_and_the_rig_goes_on(start: Callable[..., Served]) -> None:
    served = start(serve_tcp)
    address = served.said("control")
    with _connect(address) as control:
        control.sendall(b"x" * 5000)
        with suppress(ConnectionResetError):
            assert control.recv(10) == b""
    with _connect(address) as control:
        assert _ask(control, "busy") == "ok idle"


def test_a_pulled_cable_hangs_up_and_comes_back_at_the_same_tcp_address(start: Callable[..., Served]) -> None:
    served = start(serve_tcp, speed=50.0)
    with _connect(served.said("control")) as control:
        address = served.said("port")
        with _connect(address) as host:
            assert _ask(control, "unplug").startswith("ok ")
            while host.recv(4096):
                pass
        _ask(control, "plug")
        assert served.said("port") == address


@needs_pty
def test_a_host_on_a_pseudo_terminal_and_the_link_to_it(start: Callable[..., Served], tmp_path: Path) -> None:
    link = tmp_path / "rig"
    served = start(serve_pty, speed=20.0, link=link)
    served.said("control")
    assert served.said("port") == str(link)
    terminal = os.open(link, os.O_RDWR | os.O_NOCTTY)
    try:
        # octets that a terminal in its usual mode would change
        os.write(terminal, b"\x03\x04\r\n\x11\x13\x00" + encode(IdentifyRequest(0x0D0A, 1, 0)))
        assert _until(lambda: _read(terminal), Identity).request_id == 0x0D0A
    finally:
        os.close(terminal)
    terminal = os.open(link, os.O_RDWR | os.O_NOCTTY)
    try:
        os.write(terminal, encode(IdentifyRequest(0x1113, 1, 0)))
        assert _until(lambda: _read(terminal), Identity).request_id == 0x1113
    finally:
        os.close(terminal)


@needs_pty
def test_as_fast_as_it_goes_nothing_is_lost_on_a_pseudo_terminal(start: Callable[..., Served], tmp_path: Path) -> None:
    served = start(serve_pty, speed=None, link=tmp_path / "rig")
    served.said("control")
    terminal = os.open(served.said("port"), os.O_RDWR | os.O_NOCTTY)
    try:
        os.write(terminal, encode(StreamStart(1, 1000, 8)))
        decoder = Decoder("host")
        sequences: list[int] = []
        while len(sequences) < 3000:
            sequences += [event.sequence for event in decoder.feed(_read(terminal)) if isinstance(event, SampleBlock)]
        assert sequences == list(range(len(sequences)))
        assert decoder.counters.frames_bad == 0
    finally:
        os.close(terminal)


@needs_pty
def test_a_pulled_cable_removes_the_link_and_hangs_up(start: Callable[..., Served], tmp_path: Path) -> None:
    link = tmp_path / "rig"
    served = start(serve_pty, speed=50.0, link=link)
    with _connect(served.said("control")) as control:
        served.said("port")
        terminal = os.open(link, os.O_RDWR | os.O_NOCTTY)
        try:
            os.write(terminal, encode(HostAlive()))
            _ask(control, "unplug")
            assert _read_to_end(terminal) == "hung up"
            assert not link.exists()
            _ask(control, "plug")
            served.said("port")
            assert link.exists()
        finally:
            os.close(terminal)


@needs_pty
def test_a_file_in_the_place_of_the_link_is_left_alone(tmp_path: Path) -> None:
    precious = tmp_path / "notes.txt"
    precious.write_text("mine")
    rig = SimRig(load_scenario("hillclimb-before"))
    for link in (precious, tmp_path / "no folder" / "rig"):
        with pytest.raises(ServeError, match="cannot be made a link"):
            serve_pty(rig, say=lambda _: None, link=link)
    assert precious.read_text() == "mine"


def test_an_address_that_cannot_be_used_is_one_sentence() -> None:
    rig = SimRig(load_scenario("hillclimb-before"))
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(ServeError, match=f"port {port} on 127.0.0.1 cannot be used"):
            serve_tcp(rig, port=port, say=lambda _: None)
    with pytest.raises(ServeError, match="no address of this computer"):
        serve_tcp(rig, "no.such.host.invalid", say=lambda _: None)
    with pytest.raises(ServeError, match="a speed must be"):
        serve_tcp(rig, speed=0.0, say=lambda _: None)


def test_an_address_beyond_this_computer_is_warned_of(start: Callable[..., Served]) -> None:
    served = start(serve_tcp, host="0.0.0.0")
    assert "can be reached from other computers" in served.said("warning")
    assert served.said("control").startswith("127.0.0.1:")


def test_control_talk_is_the_same_however_its_octets_are_cut() -> None:
    text = b"help idle\r\nnow\nHOSE 9\n\nhelp\nbusy\n"
    answers = []
    for size in (1, 3, len(text)):
        talk = ControlTalk(SimRig(load_scenario("hillclimb-before")))
        for at in range(0, len(text), size):
            talk.feed(text[at : at + size])
        answers.append(talk.answers())
    assert len(set(answers)) == 1
    lines = answers[0].decode().splitlines()
    assert lines[0] == f"ok {CONTROL_WORDS['idle']}"
    assert len(lines) == 6


def _read(terminal: int) -> bytes:
    assert select.select([terminal], [], [], PATIENCE_S)[0], "nothing came"
    return os.read(terminal, 4096)


def _read_to_end(terminal: int) -> str:
    with suppress(OSError):
        while _read(terminal):
            pass
    return "hung up"
