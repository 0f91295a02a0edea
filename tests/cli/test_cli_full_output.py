"""Output that cannot be written: one sentence and an exit code, no traceback, and the rig is vented."""

from __future__ import annotations

import errno
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder
from borewire.messages import StreamStop, VentOpen
from borewright.cli import exits
from borewright.cli.main import main
from borewright.conform.suite import run_suite
from borewright.store import Store

from .conftest import IN_A_PROCESS, Simulated

pytestmark = pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
SAID = r"borewright: what it had to say cannot be written \(No space left on device\); a rig with valves has been told .*\n"
SAID_WITHOUT_A_RIG = r"borewright: what it had to say cannot be written \(No space left on device\); free space, or .*\n"


class Tapped(SimEndpoint):
    """Keeps what the host sent."""

    told = b""

    def write(self, data: bytes) -> int:
        self.told += data
        return super().write(data)


def into_a_full_disk(*words: object) -> subprocess.CompletedProcess[str]:
    with Path("/dev/full").open("w") as full:
        return subprocess.run(
            [sys.executable, "-c", IN_A_PROCESS, *map(str, words)],
            check=False,
            stdout=full,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            text=True,
            timeout=120,
        )


@pytest.mark.parametrize("words", ["sim --list", "units", "job list"])
def test_a_command_that_only_tells_ends_in_one_sentence(words: str, tmp_path: Path) -> None:
    record = tmp_path / "shop.db"
    with Store.open(record) as store:
        store.create_job("climb", "before", store.save_engine("four", {}))
    ended = into_a_full_disk(*words.split(), *(["--db", record] if words == "job list" else []))
    assert ended.returncode == exits.OUTPUT
    assert re.fullmatch(SAID_WITHOUT_A_RIG, ended.stderr), ended.stderr


def test_conform_ends_in_one_sentence(simulated: Callable[..., Simulated], tmp_path: Path) -> None:
    rig = simulated("--scenario", "hillclimb-before", "--tcp", "127.0.0.1:0")
    rig.said("control")
    port = rig.said("port")
    ended = into_a_full_disk("conform", "--port", port, "--only", "handshake", "--out", tmp_path / "verdict.txt")
    assert ended.returncode == exits.OUTPUT
    assert re.fullmatch(SAID, ended.stderr), ended.stderr


def test_a_suite_whose_results_cannot_be_told_leaves_the_device_vented() -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    port = Tapped(SimRig(load_scenario("hillclimb-before")))
    with pytest.raises(OSError, match="No space left"):
        run_suite(port, only=["handshake"], tell=full)
    told = [type(message) for message in Decoder("device").feed(bytes(port.told))]
    assert told[-2:] == [VentOpen, StreamStop]


def test_another_error_of_the_system_is_not_taken_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> int:
        raise PermissionError(13, "Permission denied", "theirs.txt")

    monkeypatch.setattr("borewright.cli.main._command", broken)
    with pytest.raises(PermissionError):
        main(["units"])
