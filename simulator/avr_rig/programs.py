"""Where the built programs lie in this repository, and how each becomes a child."""

from __future__ import annotations

from pathlib import Path

from avr_rig.child import Child, ChildError

__all__ = ["BAUD", "in_the_emulator", "on_the_pc"]

BAUD = 500_000
_ROOT = Path(__file__).resolve().parents[2]
_FIRMWARE = _ROOT / "firmware_protocol" / "reference_firmware"
_BENCH = _ROOT / "simulator" / "avr_rig" / "build" / "bench"


def in_the_emulator(baud: int = BAUD) -> Child:
    """The microcontroller's own program, in the emulator. Raises ChildError when either has not been built."""
    return Child(_built(_BENCH, "make bench"), _built(_FIRMWARE / "build" / f"avr-{baud}" / "firmware.elf", f"make BAUD={baud}"))


def on_the_pc(baud: int = BAUD) -> Child:
    """The same firmware as a program of this computer. Raises ChildError when it has not been built."""
    return Child(_built(_FIRMWARE / "build" / f"host-{baud}" / "firmware", f"make BAUD={baud} host"))


def _built(path: Path, command: str) -> Path:
    if not path.is_file():
        raise ChildError(f"{path.name} has not been built: run `{command}` in firmware_protocol/reference_firmware")
    return path
