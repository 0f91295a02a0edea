"""The simulated rig in one process, a command in another, and between them a person who follows what the command prints.

Every wait is a read of a line; a watchdog ends a process that says nothing more, which then shows as an end of its output.
"""

from __future__ import annotations

import contextlib
import re
import signal
import socket
import subprocess
import sys
import threading

PATIENCE_S = 60.0
SIM_PATIENCE_S = 300.0
IN_A_PROCESS = (
    "import signal, sys\n"
    "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # a test run in the background hands down that it is ignored
    "from borewright.cli.main import main\n"
    "sys.exit(main(sys.argv[1:]))\n"
)
HOSE = object()  # to be typed: which hole the hose is in, looked at just then
GAUGE = object()  # to be typed: what the reference gauge shows just then
Reaction = tuple[str, tuple[str, ...], object]

# what the command prints after "> ", what the person does at the rig then, and what they type (None: nothing)
REACTIONS: tuple[Reaction, ...] = (
    ("Take the hose off .* cap the end", ("hose capped",), ""),
    ("Take the hose off .* certified orifice of ([0-9.]+) mm²", ("hose orifice {0}",), ""),
    ("Take the hose off .* T-piece", ("hose capped",), ""),
    ("Set the regulator to ([0-9]+) kPa", ("regulator {0}",), ""),
    ("PRESSURISED: set the regulator to about ([0-9]+) kPa", ("regulator {0}", "wait 4"), GAUGE),
    ("Screw the piston stop into cylinder ([0-9]+)", ("hose off", "piston-stop {0}"), ""),
    ("Turn the crank by hand in the running direction until", ("turn +720 rpm 60",), ""),
    ("Turn the crank by hand against the running direction", ("turn -720 rpm 60",), ""),
    ("Take the piston stop out", ("piston-stop out",), ""),
    ("Turn the crank by hand two whole turns", ("turn +800 rpm 60",), ""),
    ("The index pulse has not been seen", ("turn +1100 rpm 60",), None),
    (".* crank mark", (), ""),
    ("Put the hose into cylinder ([0-9]+)", ("hose {0}",), ""),
    ("Nothing shows yet which TDC", (), ""),
    ("Undo nothing yet .* Turn the crank on by hand by ([0-9]+)°", ("turn +{0} rpm 30",), None),
    ("Undo nothing yet .* Turn the crank back by hand by ([0-9]+)°", ("turn -{0} rpm 30",), None),
    ("Leave the vent open and take the hose off with care", ("hose off", "check-valve out"), ""),
    ("Turn the crank by hand, never with the starter", ("turn +800 rpm 30",), None),
    ("Look which hole the hose is in", (), HOSE),
    ("Say how much torque the restraint", (), "40 Nm"),
    (".* Turn ([0-9]+)° in the running direction", ("restrain off", "turn +{0} rpm 30"), None),
    (".* Turn back ([0-9]+)°", ("restrain off", "turn -{0} rpm 60"), None),
    ("Not confirmed:", ("restrain 40",), ""),
    ("Ready for air: pressing", ("hold press",), None),
    ("Shut the supply and open the vent by hand", (), ""),
    ("Ready for air: close the vent", ("vent shut", "supply open"), None),
)


class Person:
    """Who is at the rig: acts through the control address of the simulator, one line and one answer at a time."""

    def __init__(self, address: str) -> None:
        host, _, port = address.rpartition(":")
        self._socket = socket.create_connection((host, int(port)), timeout=PATIENCE_S)
        self._lines = self._socket.makefile("rw", encoding="utf-8", newline="\n")

    def ask(self, words: str) -> str:
        """One line, and the answer to it without its "ok"."""
        self._lines.write(f"{words}\n")
        self._lines.flush()
        answer = self._lines.readline().rstrip("\n")
        assert answer.startswith("ok "), f"{words}: {answer}"
        return answer.removeprefix("ok ")

    def do(self, *acts: str) -> None:
        """Do this and be done with it."""
        for words in acts:
            self.ask(words)
        self.ask("idle")

    def gauges_kpa(self) -> tuple[float, float]:
        """What the gauges show: regulated and cylinder, to 10 kPa."""
        found = re.search(r"regulated (-?\d+) kPa, cylinder (-?\d+) kPa", self.ask("look"))
        assert found is not None
        return float(found[1]), float(found[2])

    def hose(self) -> str:
        """The cylinder that the hose is in."""
        found = re.search(r"hose in cylinder (\d+)", self.ask("look"))
        assert found is not None
        return found[1]

    def close(self) -> None:
        """Leave."""
        with contextlib.suppress(OSError):  # the simulator may have ended
            self._lines.close()
        self._socket.close()


class Process:
    """A command in a process of its own. Output and error stream come as one."""

    def __init__(self, *words: object, patience_s: float = PATIENCE_S) -> None:
        self.said: list[str] = []
        self.child = subprocess.Popen(
            [sys.executable, "-u", "-c", IN_A_PROCESS, *map(str, words)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
        )
        self._watchdog = threading.Timer(patience_s, self.child.kill)
        self._watchdog.start()

    def line(self) -> str | None:
        """The next line that it prints, None when it prints no more."""
        assert self.child.stdout is not None
        line = self.child.stdout.readline()
        if not line:
            return None
        self.said.append(line.rstrip("\n"))
        return self.said[-1]

    def type(self, text: str) -> None:
        """Type a line."""
        assert self.child.stdin is not None
        self.child.stdin.write(f"{text}\n")
        self.child.stdin.flush()

    def type_no_more(self) -> None:
        """End of input."""
        assert self.child.stdin is not None
        self.child.stdin.close()

    def until(self, fragment: str, person: Person | None = None) -> None:
        """Read on, the person following, until a line holds this."""
        while (line := self.line()) is not None:
            if fragment in line:
                return
            self._follow(line, person)
        raise AssertionError(f"{fragment!r} was not said: {self.text}")

    def end(self, person: Person | None = None) -> int:
        """Read to the end, the person following: the exit code."""
        while (line := self.line()) is not None:
            self._follow(line, person)
        code = self.child.wait(PATIENCE_S)
        self.clear_up()
        return code

    def interrupt(self) -> None:
        """Press Ctrl-C."""
        self.child.send_signal(signal.SIGINT)

    def ask_to_end(self) -> None:
        """What a closed terminal window or a shutdown does."""
        self.child.send_signal(signal.SIGTERM)

    @property
    def text(self) -> str:
        """All that it has said."""
        return "\n".join(self.said)

    def clear_up(self) -> None:
        """End it, however it stands."""
        self._watchdog.cancel()
        if self.child.poll() is None:
            self.child.kill()
        self.child.wait()
        for stream in (self.child.stdin, self.child.stdout):
            assert stream is not None
            if not stream.closed:
                stream.close()

    def _follow(self, line: str, person: Person | None) -> None:
        if person is None or not line.startswith("> "):
            return
        for pattern, acts, typed in REACTIONS:
            found = re.match(f"> {pattern}", line)
            if found is not None:
                person.do(*(words.format(*found.groups()) for words in acts))
                if typed is not None:
                    self.type(person.hose() if typed is HOSE else person.ask("gauge") if typed is GAUGE else str(typed))
                return


class Served:
    """`borewright sim` in a process, and the person there."""

    def __init__(self, *where: object, speed: float = 2.0, scenario: str = "hillclimb-before") -> None:
        self._process = Process("sim", "--scenario", scenario, "--speed", speed, *where, patience_s=SIM_PATIENCE_S)
        try:
            addresses = dict(str(self._process.line()).split(" ", 1) for _ in range(2))
            self.port = addresses["port"]
            self.person = Person(addresses["control"])
        except BaseException:
            self._process.clear_up()
            raise

    def close(self) -> None:
        """End it."""
        self.person.close()
        self._process.clear_up()
