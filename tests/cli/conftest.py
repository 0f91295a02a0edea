"""Running commands in this process, the simulated rig in another one, and rigs that are none."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from borewright.cli.main import main
from borewright.link import Endpoint

PATIENCE_S = 60.0
IN_A_PROCESS = (
    "import signal, sys\n"
    "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # a test run in the background hands down that it is ignored
    "from borewright.cli.main import main\n"
    "sys.exit(main(sys.argv[1:]))\n"
)


@dataclass(frozen=True, slots=True)
class Ended:
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str

    def refusal(self, code: int) -> str:
        """What it said on the way out with this code: one sentence on one line that names the command, and no traceback."""
        assert self.code == code, self
        said = re.fullmatch(r"borewright \w+: ([^\n]+)\n", self.err)
        assert said is not None, self.err
        assert "Traceback" not in self.out
        return said[1]


Command = Callable[..., Ended]


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Command:
    """Runs a command in this process."""

    def run(*words: object) -> Ended:
        capsys.readouterr()
        try:
            code = main([str(word) for word in words])
        except SystemExit as end:  # argparse
            code = end.code if isinstance(end.code, int) else 1
        printed = capsys.readouterr()
        return Ended(code, printed.out, printed.err)

    return run


class Simulated:
    """`borewright sim` in a process of its own. Waits are bounded: a watchdog ends the process, which then is an end of file."""

    def __init__(self, *words: object) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", IN_A_PROCESS, "sim", *map(str, words)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            text=True,
        )
        self._watchdog = threading.Timer(PATIENCE_S, self._process.kill)
        self._watchdog.start()

    def line(self) -> str:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line.endswith("\n"):
            raise AssertionError(f"it ended: {self.end(signal.SIGTERM)}")
        return line.removesuffix("\n")

    def said(self, word: str) -> str:
        line = self.line()
        assert line.startswith(f"{word} ")
        return line.removeprefix(f"{word} ")

    def end(self, by: signal.Signals) -> Ended:
        if self._process.poll() is None:
            self._process.send_signal(by)
        out, err = self._process.communicate()
        self._watchdog.cancel()
        return Ended(self._process.returncode, out, err)

    def clear_up(self) -> None:
        if self._process.poll() is None:
            self._process.kill()
            self._process.communicate()
        self._watchdog.cancel()


@pytest.fixture
def simulated() -> Iterator[Callable[..., Simulated]]:
    running: list[Simulated] = []

    def begin(*words: object) -> Simulated:
        running.append(Simulated(*words))
        return running[-1]

    yield begin
    for one in running:
        one.clear_up()


class Answering:
    """An endpoint with its own clock: what it reads comes from answer(written since), a timeout's worth of time for each read.

    written: all that the host sent.
    """

    def __init__(self, answer: Callable[[bytes], bytes]) -> None:
        self.timeout: float | None = 0.015
        self.written = b""
        self.closed = False
        self._answer = answer
        self._seen = 0
        self._now_s = 0.0

    def read(self, _size: int, /) -> bytes:
        self._now_s += self.timeout or 0.0
        new, self._seen = self.written[self._seen :], len(self.written)
        return self._answer(new)

    def write(self, data: bytes, /) -> int:
        self.written += data
        return len(data)

    def close(self) -> None:
        self.closed = True

    def monotonic(self) -> float:
        return self._now_s


@pytest.fixture
def plugged_in(monkeypatch: pytest.MonkeyPatch) -> Callable[[Endpoint], None]:
    """Whatever port a command opens now, it gets this endpoint."""
    return lambda endpoint: monkeypatch.setattr("borewright.link.open_link", lambda _target: endpoint)


@pytest.fixture
def answering() -> type[Answering]:
    return Answering
