"""The simulated rig for other programs: on a pseudo terminal or a TCP port, with a second address for the person at the rig.

One thread, the caller's, does everything: it lets virtual time pass at a multiple of the wall clock (or as fast as it goes),
carries octets both ways and answers control lines. Only this module of the simulator knows clocks, sockets and files.
"""

from __future__ import annotations

import ipaddress
import os
import socket
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from boresim.any_rig import AnyRig
from boresim.control import ControlTalk

__all__ = ["ServeError", "serve_pty", "serve_tcp"]

LOOPBACK = "127.0.0.1"
WAKES_EVERY_S = 0.005
LONGEST_STEP_S = 0.05  # of virtual time at a speed of 1: so often the octets of the host are looked at
CATCHES_UP_S = 0.25  # behind by more than this (the computer slept), the lost time is let go
READ_OCTETS = 1 << 16
HELD_BACK_OCTETS = 1 << 16
MOST_CONTROL_CLIENTS = 8


class ServeError(OSError):
    """The simulated rig cannot be put at that address; the text says why and what to do."""


class _Line(Protocol):
    """What the host is connected to."""

    def poll(self) -> bytes:
        """What the host has sent."""

    def send(self, data: bytes) -> None:
        """Send to the host; what cannot be taken now waits."""

    def waiting(self) -> int:
        """How many octets wait to be taken by a host that is there."""

    def connect(self) -> None:
        """Make the line (again)."""

    def hang_up(self) -> None:
        """End the line."""


class _Outbox:
    """Octets that wait for a slow reader, to a bound; beyond it they are lost, as in the buffers of a real port."""

    def __init__(self) -> None:
        self._data = bytearray()

    def __len__(self) -> int:
        return len(self._data)

    def put(self, data: bytes) -> None:
        self._data += data
        if len(self._data) > 4 * HELD_BACK_OCTETS:
            del self._data[:-HELD_BACK_OCTETS]

    def write_with(self, write: Callable[[bytes], int]) -> None:
        while self._data:
            try:
                sent = write(bytes(self._data[:READ_OCTETS]))
            except BlockingIOError:
                return
            del self._data[:sent]

    def clear(self) -> None:
        self._data.clear()


class _PtyLine:
    """A pseudo terminal. link: a name that always points to it, whatever number it has after the cable was pulled and put back."""

    def __init__(self, say: Callable[[str], None], link: Path | None) -> None:
        if sys.platform == "win32":
            raise ServeError("this system has no pseudo terminals; serve on a TCP address instead")
        self._say = say
        self._link = link
        self._master = -1
        self._outbox = _Outbox()

    def connect(self) -> None:
        import pty  # noqa: PLC0415  # not there on Windows
        import tty  # noqa: PLC0415

        self._master, slave = pty.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        name = os.ttyname(slave)
        # without an open slave end, a host that comes or goes shows as a hang-up of the master end
        os.close(slave)
        if self._link is not None:
            self._remove_link()
            try:
                self._link.symlink_to(name)
            except OSError as error:
                raise ServeError(f"{self._link} cannot be made a link to the port ({error.strerror}); name another file") from None
        self._say(f"port {self._link or name}")

    def poll(self) -> bytes:
        try:
            data = os.read(self._master, READ_OCTETS)
        except BlockingIOError:
            data = b""
        except OSError:  # nobody has the other end open
            self._outbox.clear()
            return b""
        self._outbox.write_with(self._write)
        return data

    def send(self, data: bytes) -> None:
        self._outbox.put(data)

    def waiting(self) -> int:
        return len(self._outbox)

    def hang_up(self) -> None:
        if self._master >= 0:
            os.close(self._master)
            self._master = -1
        self._outbox.clear()
        self._remove_link()

    def _remove_link(self) -> None:
        if self._link is not None and self._link.is_symlink():
            self._link.unlink()

    def _write(self, data: bytes) -> int:
        return os.write(self._master, data)


class _TcpLine:
    """A TCP port for one host at a time; a second one is hung up on."""

    def __init__(self, say: Callable[[str], None], host: str, port: int) -> None:
        self._say = say
        self._address = (host, port)
        self._listener: socket.socket | None = None
        self._client: socket.socket | None = None
        self._outbox = _Outbox()

    def connect(self) -> None:
        self._listener = _listen(*self._address)
        host, port = self._listener.getsockname()[:2]
        self._address = (self._address[0], port)
        self._say(f"port socket://{_bracketed(host)}:{port}")

    def poll(self) -> bytes:
        self._accept()
        if self._client is None:
            return b""
        try:
            data = self._client.recv(READ_OCTETS)
            if not data:
                self._drop()
                return b""
        except BlockingIOError:
            data = b""
        except OSError:
            self._drop()
            return b""
        try:
            self._outbox.write_with(self._client.send)
        except OSError:
            self._drop()
        return data

    def send(self, data: bytes) -> None:
        if self._client is not None:
            self._outbox.put(data)

    def waiting(self) -> int:
        return len(self._outbox)

    def hang_up(self) -> None:
        self._drop()
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def _accept(self) -> None:
        if self._listener is None:
            return
        try:
            client, _ = self._listener.accept()
        except OSError:  # nobody there, or gone again, or this program has too many files open
            return
        if self._client is not None and self._still_there(self._client):
            client.close()
            return
        self._drop()
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = client

    @staticmethod
    def _still_there(client: socket.socket) -> bool:
        """A host that has just gone and comes again is not to be kept out by its own old connection."""
        try:
            return client.recv(1, socket.MSG_PEEK) != b""
        except BlockingIOError:
            return True
        except OSError:
            return False

    def _drop(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None
        self._outbox.clear()


class _Control:
    """The control address: a few clients, line by line; one too many is hung up on."""

    def __init__(self, rig: AnyRig, port: int, say: Callable[[str], None]) -> None:
        self._rig = rig
        self._listener = _listen(LOOPBACK, port)
        self._clients: dict[socket.socket, tuple[ControlTalk, _Outbox]] = {}
        say(f"control {LOOPBACK}:{self._listener.getsockname()[1]}")

    def poll(self) -> None:
        try:
            client, _ = self._listener.accept()
        except OSError:  # as at the line
            pass
        else:
            if len(self._clients) < MOST_CONTROL_CLIENTS:
                client.setblocking(False)
                self._clients[client] = (ControlTalk(self._rig), _Outbox())
            else:
                client.close()
        for client in list(self._clients):
            if not self._serve(client):
                client.close()
                del self._clients[client]

    def close(self) -> None:
        for client in self._clients:
            client.close()
        self._listener.close()

    def _serve(self, client: socket.socket) -> bool:
        talk, outbox = self._clients[client]
        try:
            data = client.recv(READ_OCTETS)
            if not data:
                return False
            talk.feed(data)
        except BlockingIOError:
            pass
        except OSError:
            return False
        outbox.put(talk.answers())
        try:
            outbox.write_with(client.send)
        except OSError:
            return False
        return not talk.broken


class _Pace:
    """How far virtual time may go: a multiple of the wall clock since the start, or without a bound (speed None)."""

    def __init__(self, rig: AnyRig, speed: float | None) -> None:
        if speed is not None and not 0.0 < speed <= 1000.0:
            raise ServeError(f"a speed must be from just over 0 to 1000, not {speed:g}; say max for as fast as it goes")
        self._speed = speed
        self._rig = rig
        self._wall_s = time.monotonic()
        self._virtual_s = rig.now_s

    def step_s(self) -> float:
        """Virtual seconds that may pass now."""
        if self._speed is None:
            return LONGEST_STEP_S
        behind_s = self._virtual_s + (time.monotonic() - self._wall_s) * self._speed - self._rig.now_s
        if behind_s > CATCHES_UP_S * self._speed:
            self._virtual_s -= behind_s - LONGEST_STEP_S * self._speed
            behind_s = LONGEST_STEP_S * self._speed
        return max(0.0, min(behind_s, LONGEST_STEP_S * self._speed))

    @property
    def unbounded(self) -> bool:
        return self._speed is None


def serve_pty(
    rig: AnyRig,
    *,
    speed: float | None = 1.0,
    say: Callable[[str], None],
    stop: threading.Event | None = None,
    control_port: int = 0,
    link: Path | None = None,
) -> None:
    """Serve the rig on a pseudo terminal until `stop` is set (or for ever, until KeyboardInterrupt).

    speed: virtual seconds for each second of the wall clock, None for as fast as it goes. say: called with the lines "control
    HOST:PORT" and "port NAME", the latter again after the cable was pulled and put back. control_port: where control lines are
    taken on loopback, 0 for any free port. link: a file name to keep as a symbolic link to the terminal. Raises ServeError.
    """
    _serve(rig, _PtyLine(say, link), speed, say, stop, control_port)


def serve_tcp(
    rig: AnyRig,
    host: str = LOOPBACK,
    port: int = 0,
    *,
    speed: float | None = 1.0,
    say: Callable[[str], None],
    stop: threading.Event | None = None,
    control_port: int = 0,
) -> None:
    """Serve the rig on a TCP port; as serve_pty, with "port socket://HOST:PORT".

    Another host than loopback lets other computers in; `say` is then told so in a line that begins with "warning". The control
    address stays on loopback.
    """
    if not _is_loopback(host):
        say(f"warning {host} can be reached from other computers, and nothing on this line asks who they are")
    _serve(rig, _TcpLine(say, host, port), speed, say, stop, control_port)


def _serve(
    rig: AnyRig, line: _Line, speed: float | None, say: Callable[[str], None], stop: threading.Event | None, control_port: int
) -> None:
    stopping = stop or threading.Event()
    pace = _Pace(rig, speed)
    control = _Control(rig, control_port, say)
    connected = False
    try:
        while not stopping.is_set():
            if rig.plugged != connected:
                connected = rig.plugged
                (line.connect if connected else line.hang_up)()
            heard = line.poll() if connected else b""
            if heard:
                rig.receive(heard)
            control.poll()
            held_back = pace.unbounded and line.waiting() > HELD_BACK_OCTETS
            step_s = 0.0 if held_back else pace.step_s()
            rig.advance(step_s)
            line.send(rig.transmit())
            if not pace.unbounded or held_back:
                stopping.wait(WAKES_EVERY_S)
    finally:
        line.hang_up()
        control.close()


def _listen(host: str, port: int) -> socket.socket:
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
        listener = socket.socket(family, kind, protocol)
    except OSError as error:
        raise ServeError(f"{host} is no address of this computer ({error.strerror}); use {LOOPBACK}") from None
    try:
        if sys.platform != "win32":  # there it would let two programs share the port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen(MOST_CONTROL_CLIENTS)
    except (OSError, OverflowError) as error:
        listener.close()
        raise ServeError(f"port {port} on {host} cannot be used ({error}); choose another one, or 0 for any") from None
    listener.setblocking(False)
    return listener


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host
