"""Recording what goes over a link, and playing a recording back as if it were the rig."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import TextIO

from borewire.wirelog import Direction, WireLogError, WireLogWriter, WireRecord, read_wire_log

from borewright.errors import LinkError, UseError
from borewright.link.endpoint import Endpoint

__all__ = ["RecordingEndpoint", "ReplayEndpoint", "recording", "replaying"]


class RecordingEndpoint:
    """An endpoint that writes down all that passes through it, with the seconds since it began.

    The link comes first: when the log cannot be written, the recording ends, failure says why, and the link goes on.
    """

    def __init__(self, inner: Endpoint, file: TextIO) -> None:
        self.failure: str | None = None
        self._inner = inner
        self._file = file
        self._began_s = inner.monotonic()
        self._log = WireLogWriter(file)

    @property
    def timeout(self) -> float | None:
        """The longest that read waits, in seconds."""
        return self._inner.timeout

    @timeout.setter
    def timeout(self, seconds: float | None) -> None:
        self._inner.timeout = seconds

    def read(self, size: int, /) -> bytes:
        """As the inner endpoint."""
        data = self._inner.read(size)
        self._keep("to_host", data)
        return data

    def write(self, data: bytes, /) -> int | None:
        """As the inner endpoint."""
        done = self._inner.write(data)
        self._keep("to_device", data)
        return done

    def close(self) -> None:
        """Close the inner endpoint and hand the log to the system; who opened the file closes it."""
        self._inner.close()
        if self.failure is None and not self._file.closed:
            try:
                self._file.flush()
            except OSError as error:
                self._fail(error)

    def monotonic(self) -> float:
        """The inner endpoint's clock."""
        return self._inner.monotonic()

    def _keep(self, direction: Direction, data: bytes) -> None:
        if self.failure is not None or not data:
            return
        try:
            self._log.write(direction, self._inner.monotonic() - self._began_s, data)
        except (OSError, ValueError) as error:  # ValueError: the file was closed
            self._fail(error)

    def _fail(self, error: Exception) -> None:
        what = error.strerror if isinstance(error, OSError) else None
        self.failure = f"the wire log could not be written any further ({what or error}); free space on its disk and record again"


def recording(endpoint: Endpoint, file: TextIO) -> RecordingEndpoint:
    """The same endpoint, writing down all that passes through it to an open text file."""
    return RecordingEndpoint(endpoint, file)


class ReplayEndpoint:
    """A wire log as an endpoint: its octets come at their times, on a virtual clock that reading moves on.

    What the host writes goes nowhere and is kept in written, to be compared with what it wrote when the log was made.

    >>> log = ReplayEndpoint([WireRecord("to_host", 0.5, b"ab"), WireRecord("to_device", 0.6, b"?")])
    >>> log.timeout = 0.3
    >>> log.read(9), log.read(1), log.monotonic(), log.read(9)
    (b'', b'a', 0.5, b'b')
    """

    def __init__(self, records: Iterable[WireRecord]) -> None:
        self.timeout: float | None = 0.015
        self.written = bytearray()
        self._records = iter(records)
        self._now_s = 0.0
        self._due_s = 0.0
        self._waiting = b""
        self._closing = ExitStack()

    def read(self, size: int, /) -> bytes:
        """What came within the timeout. Raises LinkError when the log is at its end, or is damaged."""
        if not self._waiting:
            self._fetch()
        if self.timeout is not None and self._due_s > self._now_s + self.timeout:
            self._now_s += self.timeout
            return b""
        self._now_s = max(self._now_s, self._due_s)
        data, self._waiting = self._waiting[:size], self._waiting[size:]
        return data

    def write(self, data: bytes, /) -> int:
        """Keep the octets in written."""
        self.written += data
        return len(data)

    def close(self) -> None:
        """Close the log, if this object opened it."""
        self._closing.close()

    def close_with(self, file: TextIO) -> None:
        """Let close() close this file too."""
        self._closing.enter_context(file)

    def monotonic(self) -> float:
        """Seconds since the log began."""
        return self._now_s

    def _fetch(self) -> None:
        try:
            record = next((record for record in self._records if record.direction == "to_host"), None)
        except WireLogError as error:
            raise LinkError(str(error)) from error
        if record is None:
            raise LinkError("the wire log is at its end; nothing more will come from it")
        self._waiting, self._due_s = record.data, record.t_s


def replaying(path: Path) -> ReplayEndpoint:
    """The wire log in a file as an endpoint. Raises UseError when the file cannot be read; a damaged log shows when it is read."""
    try:
        file = path.open(encoding="utf-8", newline="")
    except OSError as error:
        raise UseError(f"{path} cannot be read ({error.strerror}); name a wire log that `borewright wire record` wrote") from error
    endpoint = ReplayEndpoint(read_wire_log(file))
    endpoint.close_with(file)
    return endpoint
