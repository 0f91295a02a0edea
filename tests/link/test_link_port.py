"""The one way to open a link, over pseudo-terminals and sockets, and what it says when that fails."""

from __future__ import annotations

import os
import pty
import re
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import pytest
from borewright.errors import LinkError
from borewright.link import Endpoint, list_ports, open_link


class FarEnd(Protocol):
    target: str

    def send(self, data: bytes) -> None: ...
    def receive(self, size: int) -> bytes: ...
    def hang_up(self) -> None: ...


@dataclass
class PtyEnd:
    master: int
    slave: int
    target: str

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def receive(self, size: int) -> bytes:
        return os.read(self.master, size)

    def hang_up(self) -> None:
        for fd in (self.slave, self.master):
            if fd >= 0:
                os.close(fd)
        self.master = self.slave = -1


class SocketEnd:
    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(10.0)
        self.target = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._peer: socket.socket | None = None

    def _connected(self) -> socket.socket:
        if self._peer is None:
            self._peer, _ = self._server.accept()
            self._peer.settimeout(10.0)
        return self._peer

    def send(self, data: bytes) -> None:
        self._connected().sendall(data)

    def receive(self, size: int) -> bytes:
        return self._connected().recv(size)

    def hang_up(self) -> None:
        if self._server.fileno() >= 0:
            self._connected().close()
            self._server.close()


@pytest.fixture(params=["pty", "socket"])
def far_end(request: pytest.FixtureRequest) -> Iterator[FarEnd]:
    end: FarEnd
    if request.param == "pty":
        master, slave = pty.openpty()
        end = PtyEnd(master, slave, os.ttyname(slave))
    else:
        end = SocketEnd()
    yield end
    end.hang_up()


def read_all(endpoint: Endpoint, size: int) -> bytes:
    data = b""
    while len(data) < size:
        data += endpoint.read(size - len(data))
    return data


def read_for_ever(endpoint: Endpoint) -> None:
    while True:
        endpoint.read(4096)


def test_octets_go_both_ways_unchanged(far_end: FarEnd) -> None:
    endpoint = open_link(far_end.target)
    every_octet = bytes(range(256))
    endpoint.write(every_octet)
    received = b""
    while len(received) < 256:
        received += far_end.receive(256)
    assert received == every_octet
    far_end.send(every_octet)
    assert read_all(endpoint, 256) == every_octet
    endpoint.close()


def test_silence_is_an_empty_read_within_the_timeout(far_end: FarEnd) -> None:
    endpoint = open_link(far_end.target)
    endpoint.timeout = 0.001
    assert endpoint.timeout == 0.001
    before_s = endpoint.monotonic()
    assert endpoint.read(4096) == b""
    assert endpoint.monotonic() > before_s
    endpoint.close()


def test_a_hang_up_is_a_link_error_on_reading_and_never_anything_else(far_end: FarEnd) -> None:
    endpoint = open_link(far_end.target)
    far_end.send(b"last")
    assert read_all(endpoint, 4) == b"last"
    far_end.hang_up()
    with pytest.raises(LinkError, match=r"^the link through \S+ was lost \(.+\); check cable and rig, then open it again$"):
        read_for_ever(endpoint)
    endpoint.close()
    endpoint.close()


def test_a_closed_endpoint_says_so(far_end: FarEnd) -> None:
    endpoint = open_link(far_end.target)
    far_end.send(b"x")
    endpoint.close()
    with pytest.raises(LinkError, match="was lost"):
        endpoint.read(1)
    with pytest.raises(LinkError, match="was lost"):
        endpoint.write(b"x")


def test_a_second_program_does_not_get_half_of_the_stream() -> None:
    master, slave = pty.openpty()
    end = PtyEnd(master, slave, os.ttyname(slave))
    endpoint = open_link(end.target)
    try:
        with pytest.raises(LinkError, match="in use by another program; close that program and try again"):
            open_link(end.target)
    finally:
        endpoint.close()
        end.hang_up()


@pytest.mark.parametrize(
    ("target", "words"),
    [
        ("", "no port was named"),
        ("/dev/there-is-no-such-port", "there is no port /dev/there-is-no-such-port; `borewright ports`"),
        (os.devnull, "cannot be opened as a serial port"),
        ("spy://loop", "is no kind of link that is known here"),
        ("socket://", "write it as socket://HOST:PORT"),
        ("socket://127.0.0.1", "write it as socket://HOST:PORT"),
        ("socket://127.0.0.1:0", "write it as socket://HOST:PORT"),
        ("socket://127.0.0.1:99999", "write it as socket://HOST:PORT"),
        ("socket://127.0.0.1:x", "write it as socket://HOST:PORT"),
        ("socket://127.0.0.1:80/path", "write it as socket://HOST:PORT"),
        ("socket://[::1", "write it as socket://HOST:PORT"),
    ],
)
def test_what_cannot_be_opened_is_said_in_one_sentence(target: str, words: str) -> None:
    with pytest.raises(LinkError, match=re.escape(words)) as refused:
        open_link(target)
    assert "\n" not in str(refused.value)


def test_a_file_is_no_port_and_stays_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("notes")
    with pytest.raises(LinkError, match="cannot be opened as a serial port"):
        open_link(str(path))
    assert path.read_text() == "notes"


def test_an_address_where_nothing_listens_is_said() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        target = f"socket://127.0.0.1:{server.getsockname()[1]}"
    with pytest.raises(LinkError, match=r"nothing answers at .*; start the rig or its simulator there first"):
        open_link(target)


def test_an_endpoint_is_handed_back_as_it_is() -> None:
    class Own:
        timeout: float | None = None

        def read(self, _size: int, /) -> bytes:
            return b""

        def write(self, data: bytes, /) -> int:
            return len(data)

        def close(self) -> None:
            return

        def monotonic(self) -> float:
            return 0.0

    own = Own()
    assert isinstance(own, Endpoint)
    assert open_link(own) is own


def test_ports_are_listed_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    class Found:
        def __init__(self, device: str, description: str | None) -> None:
            self.device, self.description, self.hwid = device, description, None

    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [Found("/dev/ttyB", None), Found("/dev/ttyA", "rig")])
    assert [(p.name, p.description, p.hardware_id) for p in list_ports()] == [("/dev/ttyA", "rig", ""), ("/dev/ttyB", "", "")]


@pytest.mark.parametrize(
    ("rate", "said"), [("fast", "'fast'"), ("", "''"), ("300", "'300'"), ("99999999", "'99999999'"), ("-1", "'-1'")]
)
def test_a_line_rate_that_is_none_is_refused_with_how_to_write_it(rate: str, said: str) -> None:
    with pytest.raises(LinkError, match=re.escape(f"{said} is no line rate; write the port as /dev/ttyX9,1000000")):
        open_link(f"/dev/ttyX9,{rate}")


def test_a_line_rate_stands_behind_the_name_of_the_port(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[tuple[str, int]] = []

    def open_port(name: str, *, baudrate: int, **_others: object) -> object:
        opened.append((name, baudrate))
        return object()

    monkeypatch.setattr("borewright.link.port.serial.serial_for_url", open_port)
    for target in ("COM3", "COM3,1000000"):
        assert open_link(target).name == target
    assert opened == [("COM3", 500_000), ("COM3", 1_000_000)]
