"""A firmware that lacks a row of the interlock's table does not compile."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from .pc_child import FIRMWARE

CODEC = FIRMWARE.parent / "c"


def compiles(folder: Path, header: str) -> tuple[bool, str]:
    """Whether the interlock's files compile in a copy of the tree with this bw_interlock.h, and what the compiler says."""
    for source in (CODEC, FIRMWARE):
        (folder / source.name).mkdir()
        for path in (*source.glob("*.h"), *source.glob("air*.c")):
            shutil.copy(path, folder / source.name)
    (folder / "c" / "bw_interlock.h").write_text(header, "utf-8")
    done = subprocess.run(
        ["gcc", "-std=c99", "-Werror", "-Wall", "-fsyntax-only", '-DHAL_CONFIG="config_host.h"', "air.c", "air_commands.c"],
        cwd=folder / FIRMWARE.name,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode == 0, done.stderr


def test_with_the_table_as_it_is_it_compiles(tmp_path: Path) -> None:
    assert compiles(tmp_path, (CODEC / "bw_interlock.h").read_text("utf-8")) == (True, "")


@pytest.mark.parametrize(
    ("macro", "row", "missing"),
    [
        ("BW_REFUSALS_SUPPLY_OPEN", "ROW(LIMITS_INVALID, too_hot)", "supply_open_too_hot"),
        ("BW_REFUSALS_SUPPLY_SHUT", "ROW(LIMITS_INVALID, too_hot)", "supply_shut_too_hot"),
        ("BW_REFUSALS_VENT_CLOSE", "ROW(LIMITS_INVALID, too_hot)", "vent_close_too_hot"),
        ("BW_WATCHES", "ROW(TIME_LIMIT, too_hot, BW_IN_OPEN)", "too_hot"),
    ],
)
def test_with_a_row_more_it_does_not(macro: str, row: str, missing: str, tmp_path: Path) -> None:
    header = (CODEC / "bw_interlock.h").read_text("utf-8")
    begin = f"#define {macro}(ROW) \\\n"
    assert begin in header
    good, said = compiles(tmp_path, header.replace(begin, f"{begin}    {row} \\\n"))
    assert not good
    assert missing in said


def test_with_a_command_allowed_in_other_states_it_does_not(tmp_path: Path) -> None:
    header = (CODEC / "bw_interlock.h").read_text("utf-8")
    allowed = "#define BW_VENT_CLOSE_ALLOWED_IN (BW_IN_VENTED | BW_IN_CLOSED)"
    assert allowed in header
    good, said = compiles(tmp_path, header.replace(allowed, allowed.replace("| BW_IN_CLOSED", "| BW_IN_OPEN")))
    assert not good
    assert "vent_close_as_in_the_table" in said
