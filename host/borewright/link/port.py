"""Serial ports, pseudo-terminals and sockets, all through pyserial."""

from __future__ import annotations

import errno
import os
import time
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import serial
from serial.tools import list_ports as serial_list_ports

from borewright.errors import LinkError
from borewright.link.endpoint import Endpoint

__all__ = ["DEFAULT_BAUD", "PortDescription", "SerialEndpoint", "list_ports", "open_link"]

DEFAULT_BAUD = 500_000  # 0 % off with a 16 MHz clock; 115 200 is 2.1 % off
LOWEST_BAUD, HIGHEST_BAUD = 9_600, 12_000_000
READ_TIMEOUT_S = 0.015
WRITE_TIMEOUT_S = 1.0


@dataclass(frozen=True, slots=True)
class PortDescription:
    """A serial port of this computer, as the system describes it."""

    name: str
    description: str
    hardware_id: str


def list_ports() -> tuple[PortDescription, ...]:
    """The serial ports that the system knows of, by name. Pseudo-terminals and sockets are never among them."""
    found = (PortDescription(port.device, port.description or "", port.hwid or "") for port in serial_list_ports.comports())
    return tuple(sorted(found, key=lambda port: port.name))


def open_link(target: str | Endpoint) -> Endpoint:
    """Open a port by name (/dev/ttyACM0, COM3), a pseudo-terminal by path, or socket://HOST:PORT; an endpoint comes back as it is.

    Behind the name of a port its line rate may stand, as in COM3,1000000; without it 500 000 is taken. Opening flushes what has
    arrived, so the first frame may be cut, and it may reset the board behind the port. Raises LinkError.
    """
    if not isinstance(target, str):
        return target
    _check(target)
    name, baud = _name_and_baud(target)
    try:
        port = serial.serial_for_url(
            name,
            baudrate=baud,
            timeout=READ_TIMEOUT_S,
            write_timeout=WRITE_TIMEOUT_S,
            **({} if "://" in name else {"exclusive": True}),  # without it a second program would get half of the stream
        )
    except (OSError, ValueError) as error:  # pyserial's own errors are OSErrors
        raise LinkError(_cannot_open(name, error)) from error
    return SerialEndpoint(port, target)


class SerialEndpoint:
    """An open pyserial port that answers with LinkError instead of the many errors below it."""

    def __init__(self, port: Any, name: str) -> None:
        self.name = name
        self._port = port

    @property
    def timeout(self) -> float | None:
        """The longest that read waits, in seconds."""
        timeout: float | None = self._port.timeout
        return timeout

    @timeout.setter
    def timeout(self, seconds: float | None) -> None:
        if seconds != self._port.timeout:  # setting it configures the port anew
            self._port.timeout = seconds

    def read(self, size: int, /) -> bytes:
        """At most size bytes that arrive within the timeout."""
        try:
            return bytes(self._port.read(size))
        except (OSError, TypeError) as error:  # TypeError: pyserial's answer on a port closed meanwhile
            raise self._lost(error) from error

    def write(self, data: bytes, /) -> int:
        """Send the bytes; LinkError when the port has not taken them within a second."""
        try:
            self._port.write(data)
        except (OSError, TypeError) as error:
            raise self._lost(error) from error
        return len(data)

    def close(self) -> None:
        """Close the port; a port that has gone is closed without a word."""
        try:
            self._port.close()
        except OSError:
            return

    def monotonic(self) -> float:
        """The computer's monotonic clock in seconds."""
        return time.monotonic()

    def _lost(self, error: Exception) -> LinkError:
        return LinkError(f"the link through {self.name} was lost ({_plain(error)}); check cable and rig, then open it again")


def _check(target: str) -> None:
    if not target:
        raise LinkError("no port was named; `borewright ports` lists those of this computer")
    if "://" not in target:
        return
    if not target.startswith("socket://"):
        raise LinkError(f"{target} is no kind of link that is known here; name a port, or socket://HOST:PORT")
    try:
        parts = urlsplit(target)
        complete = bool(parts.hostname and parts.port) and not (parts.path or parts.query or parts.fragment)
    except ValueError:
        complete = False
    if not complete:
        raise LinkError(f"{target} is no address; write it as socket://HOST:PORT with a port number from 1 to 65535")


def _name_and_baud(target: str) -> tuple[str, int]:
    name, comma, rate = target.rpartition(",")
    if not comma or "://" in target:
        return target, DEFAULT_BAUD
    if not (rate.isascii() and rate.isdecimal() and LOWEST_BAUD <= int(rate[:8]) <= HIGHEST_BAUD and len(rate) <= 8):
        raise LinkError(f"{rate!r} is no line rate; write the port as {name},1000000, or {name} for {DEFAULT_BAUD}")
    return name, int(rate)


def _cannot_open(target: str, error: Exception) -> str:
    if target.startswith("socket://"):
        return f"nothing answers at {target} ({_plain(error)}); start the rig or its simulator there first"
    code = _errno(error)
    if code == errno.ENOENT:
        return f"there is no port {target}; `borewright ports` lists those of this computer"
    if code in {errno.EACCES, errno.EPERM}:
        return f"you may not use {target}; get the right to it (on Debian: group dialout)"
    if code in {errno.EBUSY, errno.EAGAIN}:
        return f"{target} is in use by another program; close that program and try again"
    return f"{target} cannot be opened as a serial port ({_plain(error)}); `borewright ports` lists those of this computer"


def _system_error(error: BaseException) -> tuple[int | None, str | None]:
    """The system's own error number and words, which pyserial keeps behind its own error."""
    if isinstance(error, OSError) and error.errno:
        words = error.strerror if type(error) is not serial.SerialException else os.strerror(error.errno)
        return error.errno, words
    if type(error).__name__ == "error" and len(error.args) == 2:  # termios.error, which is no OSError
        return error.args
    cause = error.__cause__ or error.__context__
    return (None, None) if cause is None else _system_error(cause)


def _errno(error: Exception) -> int | None:
    return _system_error(error)[0]


def _plain(error: Exception) -> str:
    words = _system_error(error)[1]
    if words is not None:
        return words
    text = str(error).split("\n")[0]
    return "the device has gone" if "returned no data" in text else text
