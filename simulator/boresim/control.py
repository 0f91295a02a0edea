"""The control address's lines: words for the person at the rig, and two of its own. No I/O in here.

Each line is answered with one line, in the order in which they came. `idle` is answered when everything told so far is done, `now`
with the virtual time; all others go to `Operator.do`.
"""

from __future__ import annotations

from collections import deque

from boresim.any_rig import AnyRig

__all__ = ["CONTROL_WORDS", "ControlTalk"]

LONGEST_LINE_OCTETS = 1000
MOST_WAITING_LINES = 1000
CONTROL_WORDS = {
    "idle": "idle: answered when everything told so far is done",
    "now": "now: the virtual time in seconds",
}


class ControlTalk:
    """The talk with one client of the control address. `feed` takes octets, `answers` gives what can be answered by now.

    `broken` is set when a line is too long or too many wait; the caller then hangs up.
    """

    def __init__(self, rig: AnyRig) -> None:
        self._rig = rig
        self._partial = b""
        self._lines: deque[str] = deque()
        self.broken = False

    def feed(self, data: bytes) -> None:
        """Octets from the client."""
        *lines, self._partial = (self._partial + data).split(b"\n")
        self._lines.extend(line.decode("utf-8", "replace").strip() for line in lines)
        if len(self._partial) > LONGEST_LINE_OCTETS or len(self._lines) > MOST_WAITING_LINES:
            self.broken = True

    def answers(self) -> bytes:
        """The answers to all lines that can be answered now, each ended by a line feed."""
        said: list[str] = []
        while self._lines and not (self._lines[0].lower() == "idle" and self._rig.operator.busy):
            said.append(self._answer(self._lines.popleft()))
        return "".join(f"{line}\n" for line in said).encode()

    def _answer(self, line: str) -> str:
        match line.lower().split():
            case ["idle"]:
                return "ok idle"
            case ["now"]:
                return f"ok {self._rig.now_s:.3f} s"
            case ["help"]:
                return f"{self._rig.operator.do(line)} | {' | '.join(CONTROL_WORDS.values())}"
            case ["help", word] if word in CONTROL_WORDS:
                return f"ok {CONTROL_WORDS[word]}"
            case _:
                return self._rig.operator.do(line)
