"""What holds for every command: quick help with an example and the exit codes, and nothing heavy loaded for it."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
from borewright.cli import exits
from borewright.cli.main import COMMANDS

HEAVY = ("scipy", "numpy", "pint", "sqlalchemy", "PySide6")
HELPS = [
    [],
    *([name] for name in COMMANDS),
    ["wire", "talk"],
    ["wire", "record"],
    ["wire", "replay"],
    ["wire", "dump"],
    ["job", "list"],
    ["job", "show"],
    ["units", "show"],
    ["units", "set"],
    ["units", "reset"],
    ["rig", "span"],
    ["rig", "show"],
    ["rig", "load"],
]


def name_of(words: list[str]) -> str:
    return " ".join(words) or "borewright"


@pytest.mark.parametrize("words", HELPS, ids=name_of)
def test_help_has_an_example_and_every_exit_code(words: list[str], command: Callable[..., Any]) -> None:
    ended = command(*words, "--help")
    assert (ended.code, ended.err) == (0, "")
    assert "example" in ended.out
    assert f"borewright {' '.join(words)}".strip() in ended.out
    codes = (exits.OK, exits.UNUSABLE, exits.USE, exits.RIG, exits.RECORD, exits.NOT_READY, exits.OUTPUT, exits.INTERRUPTED)
    listed = ended.out.partition("exit codes:")[2].splitlines()
    assert [line.split()[0] for line in listed if line.strip()] == [str(code) for code in codes]


@pytest.mark.parametrize("words", HELPS, ids=name_of)
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    program = (
        "import contextlib, io, sys\n"
        "from borewright.cli.main import main\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        f"    main({[*words, '--help']!r})\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == "[]\n"


@pytest.mark.parametrize(
    "words",
    [
        ["fly"],
        [],
        ["wire"],
        ["wire", "play"],
        ["job"],
        ["job", "show"],
        ["wire", "record", "--port", "x"],
        ["ports", "--port", "x"],
    ],
    ids=name_of,
)
def test_a_wrong_command_line_is_exit_code_2(words: list[str], command: Callable[..., Any]) -> None:
    ended = command(*words)
    assert ended.code == exits.USE
    assert ended.out == ""
    assert ended.err.splitlines()[-1].startswith(f"borewright{' ' + words[0] if words and words[0] != 'fly' else ''}")
