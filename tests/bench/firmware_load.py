"""What the microcontroller's program uses, in the emulator: processor, stack, lost blocks; half an hour of device time.

Streams at 1 kHz with three channels while the encoder turns. The Makefile of the reference firmware runs it for 5 s a row
(`make figures`). Standard library and our own packages only. Ends with 1 when a block was lost or a count was wrong.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE = ROOT / "firmware_protocol" / "reference_firmware"
sys.path[:0] = [str(ROOT / "simulator"), str(ROOT / "firmware_protocol"), str(ROOT / "tests" / "firmware")]

from borewire.messages import FaultEvent, HostAlive, IdentifyRequest, Identity, SampleBlock, Status, StatusRequest  # noqa: E402
from emulated import MS_CYCLES, S_CYCLES, Crank, bench_child, of_kind  # noqa: E402

SLICE_MS = 100
RATES = (0, 10_000, 30_000)
LONG_RATE = 10_000
LONG_S = 1800.0
SHORT_S = 5.0


@dataclass(frozen=True, slots=True)
class Load:
    """One row. busy: the part of the time in which the processor did not sleep. speed: device time over time here."""

    baud: int
    counts_per_s: int
    seconds: float
    blocks: int
    lost: int
    miscounted: int
    faults: int
    busy: float
    stack_octets: int
    stack_left_octets: int
    speed: float


def measure(program: Path, counts_per_s: int, seconds: float) -> Load:
    """Stream for so long with the crank turning so fast; a host that is alive and now and then asks for all there is."""
    with tempfile.TemporaryDirectory() as folder:
        figures = Path(folder) / "figures.txt"
        board, crank = bench_child(ROOT, program, "--figures", figures), Crank()
        board.boot()
        board.stream()
        blocks = lost = faults = 0
        last: SampleBlock | None = next(iter(of_kind(board.heard, SampleBlock)), None)
        busy_before, began_s = board.busy_cycles, time.perf_counter()
        slices = round(seconds * 1000 / SLICE_MS)
        for at in range(slices):
            asked = (IdentifyRequest(1, 1, 0),) if at % 100 == 50 else (HostAlive(),)
            pins = crank.turn(SLICE_MS * MS_CYCLES, counts_per_s) if counts_per_s else []
            heard = board.step(SLICE_MS, *asked, pins=pins)
            came = of_kind(heard, SampleBlock)
            for before, block in pairwise([last, *came] if last else came):
                lost += (block.sequence - before.sequence - 1) & 0xFFFF
            last = came[-1] if came else last
            blocks += len(came)
            faults += len(of_kind(heard, FaultEvent))
            board.heard.clear()
            board.octets.clear()
        took_s, busy = time.perf_counter() - began_s, (board.busy_cycles - busy_before) / (slices * SLICE_MS * MS_CYCLES)
        status = of_kind(board.step(50, StatusRequest(2)), Status)[-1]
        if not of_kind(board.step(50, IdentifyRequest(1, 1, 0)), Identity):
            raise SystemExit("the board does not answer any more; the figures mean nothing")
        board.child.close()
        stack = {name: int(octets) for name, octets in (line.split() for line in figures.read_text().splitlines())}
    return Load(
        board.child.baud, counts_per_s, slices * SLICE_MS / 1000, blocks, lost, abs(status.crank_count - crank.count), faults, busy,
        stack["stack_octets"], stack["stack_left_octets"], seconds * S_CYCLES / board.child.clock_hz / took_s,
    )  # fmt: skip


def show(load: Load) -> None:
    print(
        f"{load.baud:>9} {load.counts_per_s:>9} {load.seconds:>7.0f} {load.blocks:>8} {load.lost:>5} {load.miscounted:>9}"
        f" {load.faults:>6} {100 * load.busy:>4.0f} % {load.stack_octets:>6} {load.stack_left_octets:>6} {load.speed:>6.1f}",
        flush=True,
    )


def built(baud: int) -> Path:
    """The program for this baud rate, by make."""
    words = ["make", "--no-print-directory", "--silent", "-C", str(FIRMWARE), f"BAUD={baud}", "all", "bench"]
    if subprocess.run(words, check=False).returncode != 0:
        raise SystemExit("the firmware or the bench could not be built; see above")
    return FIRMWARE / "build" / f"avr-{baud}" / "firmware.elf"


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", maxsplit=1)[0])
    parser.add_argument("program", nargs="?", type=Path, help="the ELF to measure; built for both baud rates when none is given")
    parser.add_argument("--seconds", type=float, default=SHORT_S, help="device time for each row (5)")
    chosen = parser.parse_args()
    runs: list[tuple[Path, int, float]]
    if chosen.program:
        runs = [(chosen.program, rate, chosen.seconds) for rate in RATES]
    else:
        programs = [built(baud) for baud in (500_000, 1_000_000)]
        runs = [(program, rate, chosen.seconds) for program in programs for rate in RATES]
        runs += [(programs[0], LONG_RATE, LONG_S)]
    print("     baud  counts/s  time s   blocks  lost  miscount faults    CPU  stack   left  speed")
    sound = True
    for program, rate, seconds in runs:
        load = measure(program, rate, seconds)
        show(load)
        sound = sound and load.blocks > 0 and load.lost == load.miscounted == load.faults == 0
    if not sound:
        print("a block was lost, a count was wrong or a fault was told", file=sys.stderr)
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
