"""Who does what the wire cannot, for `borewright conform`: the person at the console, or the one at a simulated rig."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterable
from contextlib import suppress

from borewright.cli.console import Lines
from borewright.conform.hands import Task
from borewright.conform.simulated_hands import SimulatedHands
from borewright.errors import LinkError, UseError

__all__ = ["ConsoleHands", "control_hands"]

PERSON_PATIENCE_S = 70.0  # the longest opening ends after 60 s
ANSWER_WITHIN_S = 10.0
# what no data show, so that the person has to say when it is done
SAYS_SO = frozenset({Task.READY_CYLINDER, Task.LOWER_REGULATED, Task.LOWER_CYLINDER})


class ConsoleHands:
    """The person at the console. source: the lines they type. call: prints a line for them and rings."""

    def __init__(self, source: Iterable[str], call: Callable[[str], None]) -> None:
        self._lines = Lines(source)
        self._call = call
        self._waits = False

    @property
    def patience_s(self) -> float:
        """How long the person is waited for."""
        return PERSON_PATIENCE_S

    def begin(self, task: Task) -> str | None:
        """Ask for it. What the data show needs no word; for the rest Enter says that it is done."""
        if task is Task.AIR_OFF:
            return None  # it has been stated before
        if self._lines.ended:
            return "there is nobody at the console any more"
        while self._lines.take() is not None:
            pass  # what was typed before the question is no answer to it
        self._waits = task in SAYS_SO
        self._call(f"> {task.value}{' [Enter when done]' if self._waits else ''}")
        return None

    def let_go(self) -> None:
        """Said also when nobody types any more: somebody may still stand at the rig with a hand on the switch."""
        self._call(f"> The run has ended. {Task.RELEASE_HOLD.value}")

    def busy(self) -> bool:
        """Whether Enter is still waited for."""
        if self._waits and (self._lines.take() is not None or self._lines.ended):
            self._waits = False
        return self._waits


def control_hands(address: str) -> SimulatedHands:
    """The person at a simulated rig. Raises UseError for no address, LinkError when nothing answers there."""
    host, colon, port = address.rpartition(":")
    if not colon or not host or not port.isdecimal():
        raise UseError(f"{address!r} is no address; write it like 127.0.0.1:7001, as `borewright sim` prints it behind control")
    try:
        line = socket.create_connection((host.removeprefix("[").removesuffix("]"), int(port)), timeout=ANSWER_WITHIN_S)
    except (OSError, OverflowError) as error:
        raise LinkError(
            f"nothing answers at {address} ({error}); use the address that `borewright sim` prints behind control"
        ) from error
    return SimulatedHands(_Told(line, address))


class _Told:
    """Tells the simulated rig a line and gives its answer."""

    def __init__(self, line: socket.socket, address: str) -> None:
        self._line = line
        self._address = address
        self._rest = b""

    def __call__(self, words: str) -> str:
        try:
            self._line.sendall(f"{words}\n".encode())
            while b"\n" not in self._rest:
                data = self._line.recv(4096)
                if not data:
                    raise LinkError(f"the simulated rig at {self._address} has ended; start it again")
                self._rest += data
        except OSError as error:
            raise LinkError(f"the simulated rig at {self._address} does not answer ({error}); start it again") from error
        answer, _, self._rest = self._rest.partition(b"\n")
        return answer.decode("utf-8", "replace")

    def __del__(self) -> None:
        with suppress(OSError):
            self._line.close()
