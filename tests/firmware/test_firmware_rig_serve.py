"""simulator/avr_rig in a process of its own, and borewright doctor in another: at a network port and at a pseudo terminal."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

SIMULATOR = Path(__file__).resolve().parents[2] / "simulator"
PATIENCE_S = 120.0
BOREWRIGHT = "import sys; from borewright.cli.main import main; sys.exit(main(sys.argv[1:]))"


@contextmanager
def served(*words: str | Path) -> Iterator[tuple[str, str]]:
    """The rig, and the addresses that it says: control, port. Ended by a terminate signal, as it should end."""
    process = subprocess.Popen(
        [sys.executable, str(SIMULATOR / "avr_rig"), "--scenario", "hillclimb-after", *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    watchdog = threading.Timer(PATIENCE_S, process.kill)
    watchdog.start()
    try:
        assert process.stdout is not None
        said = dict(process.stdout.readline().rstrip("\n").split(" ", 1) for _ in range(2))
        yield said["control"], said["port"]
    finally:
        process.terminate()
        _, complaints = process.communicate()
        watchdog.cancel()
    assert (process.returncode, complaints) == (0, "")


def doctor(port: str) -> dict[str, Any]:
    """What doctor says of the rig there. A busy computer may make the rig fall silent, which is no matter here."""
    done = subprocess.run(
        [sys.executable, "-c", BOREWRIGHT, "doctor", "--port", port, "--json"],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    found = json.loads(done.stdout)
    assert isinstance(found, dict)
    assert [trouble for trouble in found["troubles"] if "fell silent" not in trouble] == []
    assert found["link"]["samples"] > 500
    return found


def asked(control: str, words: str) -> str:
    """What the person at the rig answers."""
    host, _, port = control.rpartition(":")
    with socket.create_connection((host, int(port)), timeout=PATIENCE_S) as there:
        there.sendall(f"{words}\n".encode())
        return there.makefile().readline().rstrip("\n")


@pytest.mark.usefixtures("bench", "avr_programs")
def test_doctor_at_the_microcontroller_over_tcp() -> None:
    with served("--tcp", "127.0.0.1:0") as (control, port):
        assert port.startswith("socket://127.0.0.1:")
        found = doctor(port)
        assert asked(control, "hose 1") == "ok putting the hose into cylinder 1"
    rig = found["rig"]
    assert rig["firmware_version"].startswith("reference")
    assert (rig["tick_rate_hz"], rig["counts_per_rev"], rig["max_rate_hz"]) == (2_000_000, 4096, 1000)
    assert [channel["streamed"] for channel in rig["channels"]] == [True, True, True]


@pytest.mark.usefixtures("pc_program")
def test_doctor_at_a_pseudo_terminal(tmp_path: Path) -> None:
    link = tmp_path / "rig"
    with served("--pc", "--pty", "--link", link) as (_, port):
        assert port == str(link)
        assert doctor(port)["rig"]["firmware_version"].startswith("reference")
    assert not link.is_symlink()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--scenario", "nowhere", "--tcp", "127.0.0.1:0"), "avr_rig: nowhere"),
        (("--scenario", "hillclimb-after-hand", "--tcp", "127.0.0.1:0", "--pc"), "built for a rig with valves = solenoid"),
        (("--scenario", "hillclimb-after", "--tcp", "127.0.0.1:0", "--baud", "1234"), "make BAUD=1234"),
        (("--scenario", "hillclimb-after", "--tcp", "nonsense"), "is no address"),
        (("--scenario", "hillclimb-after"), "--pty --tcp is required"),
        (("--scenario", "hillclimb-after", "--tcp", "127.0.0.1:0", "--control-port", "99999"), "is no port number"),
        (("--scenario", "hillclimb-after", "--tcp", "127.0.0.1:0", "--link", "rig"), "give --pty with it"),
    ],
)
@pytest.mark.usefixtures("bench", "pc_program")
def test_what_cannot_be_served_is_said_in_a_sentence(words: tuple[str, ...], says: str) -> None:
    done = subprocess.run(
        [sys.executable, str(SIMULATOR / "avr_rig"), *words], capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )
    assert done.returncode != 0
    assert says in done.stderr
    assert "Traceback" not in done.stderr
