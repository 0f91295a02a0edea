"""Terminals that have not every letter, and words of the command line that are no text."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from borewright.cli import exits
from borewright.store import Store

SCENARIOS = Path(__file__).resolve().parents[2] / "simulator" / "scenarios"
ENGINE = SCENARIOS / "larch_four_engine.toml"
NAME = "ä😀x"
PROGRAM = """
import os, sys
from borewright.cli.main import main
command = []
for word in [*sys.argv[1:], "then"]:  # as a program of its own has them: bytes that are no text, too
    if word != "then":
        command.append(word)
        continue
    try:
        code = main(command)
    except SystemExit as end:
        code = end.code
    print(f"\\x1e{code}", end="\\x1e")
    command = []
"""
Words = tuple[str | bytes | Path, ...]


def ended(*commands: Words, **environment: str) -> tuple[list[tuple[int, bytes]], bytes]:
    """Exit code and output of each command, and what all of them said beside it; in one process, for it takes long to begin."""
    given = os.environ | {"XDG_CONFIG_HOME": os.devnull} | environment
    words = [word for number, command in enumerate(commands) for word in (*(["then"] if number else []), *command)]
    done = subprocess.run([sys.executable, "-c", PROGRAM, *words], capture_output=True, env=given, timeout=60, check=False)
    assert done.returncode == 0, done.stderr.decode(errors="replace")
    parts = done.stdout.split(b"\x1e")
    return list(zip(map(int, parts[1::2]), parts[0::2], strict=False)), done.stderr


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "shop.db"
    with Store.open(path) as store:
        store.save_in_library({**tomllib.loads(ENGINE.read_text("utf-8")), "name": NAME})
    return path


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_terminal_without_every_letter_is_printed_to_all_the_same(record: Path, encoding: str) -> None:
    at = ("--db", record)
    commands: list[Words] = [
        ("units",),
        ("job", "new", NAME, "--engine", NAME, "--stage", "before", *at),
        ("job", "list", *at),
        ("job", "show", NAME, *at),
        ("job", "list", "--json", *at),
        ("engine", "show", NAME, *at),
    ]
    answers, beside = ended(*commands, PYTHONIOENCODING=encoding)
    assert ([code for code, _ in answers], beside) == ([exits.OK] * len(commands), b"")
    units, *shown, listed, engine = (said.decode(encoding) for _, said in answers)
    assert ("mm?" if encoding == "ascii" else "mm²") in units
    assert all(("??x" if encoding == "ascii" else "ä?x") in said for said in shown)
    assert json.loads(listed)["jobs"][0]["name"] == NAME  # whole, for it is a program that reads these two
    assert tomllib.loads(engine)["name"] == NAME


def test_a_terminal_in_utf_8_gets_every_letter_as_it_is(record: Path) -> None:
    answers, _ = ended(("engine", "list", "--json", "--db", record), PYTHONIOENCODING="utf-8")
    assert NAME in answers[0][1].decode("utf-8")


def test_a_locale_of_ascii_alone_is_printed_to() -> None:
    answers, beside = ended(("units",), LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0")
    assert (answers[0][0], beside) == (exits.OK, b"")


@pytest.mark.parametrize("locale", ["C", "C.UTF-8"])
def test_a_word_that_is_no_text_is_refused_before_anything_is_done(tmp_path: Path, locale: str) -> None:
    path = tmp_path / "shop.db"
    commands: list[Words] = [
        ("engine", "show", b"\xff", "--db", path),
        ("job", "new", "spring", "--engine", b"l\xe4rche", "--stage", "before", "--db", path),
        ("place", "note", "spring", "--who", b"\xff", "--db", path),
        (b"\xff",),
    ]
    answers, beside = ended(*commands, LC_ALL=locale, PYTHONUTF8="0", PYTHONCOERCECLOCALE="0")
    assert answers == [(exits.USE, b"")] * 4
    said = beside.decode("ascii").splitlines()
    assert len(said) == 4
    assert said[1] == "borewright: 'l?rche' has bytes that are no text in this terminal's code; type it anew in UTF-8"
    assert not path.exists()
