"""What listens on a port, and others that mean no good: they get nowhere, nothing grows, and the rig goes on."""

from __future__ import annotations

import socket
from collections.abc import Callable
from contextlib import suppress

import pytest
from boresim.control import ControlTalk
from boresim.operator import MOST_WAITING
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from boresim.serve import HELD_BACK_OCTETS, MOST_CONTROL_CLIENTS, _is_loopback, _Outbox, serve_tcp
from borewire.codec import encode
from borewire.messages import IdentifyRequest, Identity, StreamStart

from .test_serve import Served, _ask, _connect, _until, start

__all__ = ["start"]

MEGABYTE = 1 << 20


def sent_without_reading(client: socket.socket, octets: bytes, most: int) -> None:
    """As many of the octets, again and again, as the other side takes without being read from; or it hangs up."""
    client.settimeout(0.2)
    with suppress(OSError):
        for _ in range(most // len(octets)):
            client.sendall(octets)


@pytest.fixture
def served(start: Callable[..., Served]) -> Served:
    return start(serve_tcp, speed=20.0)


def virtual_s(control: socket.socket) -> float:
    return float(_ask(control, "now").split()[1])


def test_an_endless_sender_on_the_line_stops_nothing(served: Served) -> None:
    with _connect(served.said("control")) as control, _connect(served.said("port")) as host:
        for noise in (b"\xff" * MEGABYTE, b"\x00\x01" * (MEGABYTE // 2), encode(IdentifyRequest(1, 1, 0)) * 50_000):
            sent_without_reading(host, noise, 4 * MEGABYTE)
        before_s = virtual_s(control)
        _ask(control, "hose 2")
        assert _ask(control, "idle") == "ok idle"
        assert virtual_s(control) > before_s


def test_a_host_that_never_reads_loses_octets_and_stops_nothing(served: Served) -> None:
    with _connect(served.said("control")) as control:
        address = served.said("port")
        with _connect(address) as host:
            host.sendall(encode(StreamStart(1, 1000, 8)))
            while virtual_s(control) < 20.0:
                pass
        with _connect(address) as second:
            second.sendall(encode(IdentifyRequest(3, 1, 0)))
            assert _until(lambda: second.recv(4096), Identity).request_id == 3


def test_what_waits_for_a_reader_is_bounded() -> None:
    outbox = _Outbox()
    for _ in range(100):
        outbox.put(bytes(3 * HELD_BACK_OCTETS))
        assert len(outbox) <= 7 * HELD_BACK_OCTETS
    taken = bytearray()

    def take(data: bytes) -> int:
        taken.extend(data[:1000])
        return len(data[:1000])

    outbox.put(b"the newest")
    outbox.write_with(take)
    assert taken.endswith(b"the newest")
    assert len(outbox) == 0


@pytest.mark.parametrize("line", [b"now\n", b"hose 2\n", b"\xff\xfe\n", b"help\n", b"idle\n"])
def test_a_million_control_lines_stop_nothing(served: Served, line: bytes) -> None:
    address = served.said("control")
    with _connect(address) as flood:
        sent_without_reading(flood, line * 20_000, 1_000_000 * len(line))
    with _connect(address) as control:
        assert _ask(control, "now").startswith("ok ")


def test_the_person_remembers_so_much_and_no_more_but_always_lets_go() -> None:
    rig = SimRig(load_scenario("hillclimb-before"))
    talk = ControlTalk(rig)
    answers = b""
    for _ in range(20):
        talk.feed(b"hose 2\n" * 500)
        answers += talk.answers()
    said = answers.decode().splitlines()
    assert len(said) == 10_000
    assert sum(line.startswith("ok") for line in said) == MOST_WAITING + 1  # one is under way
    assert said[-1] == f"no: {MOST_WAITING} things are still to be done; wait until some are"
    talk.feed(b"hold release\nhalt\n")
    assert [line.split()[0] for line in talk.answers().decode().splitlines()] == ["ok", "ok"]
    for _ in range(20):
        talk.feed(b"halt\n" * 500)
        talk.answers()
    rig.advance(30.0)
    assert rig.operator.do("busy").startswith("ok")


def test_one_control_client_too_many_is_hung_up_on(served: Served) -> None:
    address = served.said("control")
    clients = [_connect(address) for _ in range(MOST_CONTROL_CLIENTS)]
    try:
        for client in clients:
            assert _ask(client, "busy") == "ok idle"
        with _connect(address) as another:
            assert another.recv(1) == b""
    finally:
        for client in clients:
            client.close()


@pytest.mark.parametrize(
    ("host", "loopback"),
    [
        ("127.0.0.1", True),
        ("127.8.8.8", True),
        ("::1", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("::", False),
        ("192.0.2.7", False),
        ("bench.example", False),
        ("localhost.example", False),
        ("", False),
    ],
)
def test_which_addresses_others_can_reach(host: str, loopback: bool) -> None:
    assert _is_loopback(host) is loopback
