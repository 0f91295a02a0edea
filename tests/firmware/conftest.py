"""Builds what the tests of the firmware run, with make, once however many processes test."""

from __future__ import annotations

import fcntl
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from .emulated import Emulated, bench_child

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE = ROOT / "firmware_protocol" / "reference_firmware"
BAUDS = (500_000, 1_000_000)

Board = Callable[..., Emulated]


def make(folder: Path, *words: str) -> str:
    """What make said. One process at a time: make itself does not know of another one in the same folder."""
    (FIRMWARE / "build").mkdir(exist_ok=True)
    with (FIRMWARE / "build" / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = subprocess.run(
            ["make", "--no-print-directory", "-C", str(folder), *words], capture_output=True, text=True, check=False
        )
    if done.returncode != 0:
        pytest.fail(f"make {' '.join(words)} in {folder} failed:\n{done.stdout}{done.stderr}")
    return done.stdout


@pytest.fixture(scope="session")
def bench() -> Path:
    """The emulator's bench."""
    make(FIRMWARE, "bench")
    return ROOT / "simulator" / "avr_rig" / "build" / "bench"


@pytest.fixture(scope="session")
def avr_programs() -> dict[int, Path]:
    """The microcontroller's programs, by the baud rate of each."""
    for baud in BAUDS:
        make(FIRMWARE, f"BAUD={baud}")
    return {baud: FIRMWARE / "build" / f"avr-{baud}" / "firmware.elf" for baud in BAUDS}


@pytest.fixture(scope="session")
def pc_program() -> Path:
    """The same firmware as a child process of the PC."""
    make(FIRMWARE, "host")
    return FIRMWARE / "build" / "host-500000" / "firmware"


@pytest.fixture
def new_board(bench: Path, avr_programs: dict[int, Path]) -> Iterator[Board]:
    """Makes boards whose power has just been switched on: new_board(baud=500_000, *words for the bench)."""
    assert bench.is_file()
    boards: list[Emulated] = []

    def new(baud: int = 500_000, *words: str | Path) -> Emulated:
        boards.append(bench_child(ROOT, avr_programs[baud], *words))
        return boards[-1]

    yield new
    for board in boards:
        board.child.close()


@pytest.fixture
def board(new_board: Board) -> Emulated:
    """A board at 500 000 baud whose power has just been switched on."""
    return new_board()
