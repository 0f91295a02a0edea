"""The commands that a page names, held against the program's own parsers."""

from __future__ import annotations

import argparse
import contextlib
import importlib
import io
import re
import shlex
from textwrap import dedent

from borewright.cli.main import COMMANDS
from borewright.cli.subcommands import LateParser

__all__ = ["blocks_of", "command_lines", "mistakes_of", "named_in_prose"]


def blocks_of(text: str, language: str) -> list[str]:
    """The fenced blocks of a page in one language, those within lists too.

    >>> blocks_of("a\\n```sh\\nls\\n```\\nb", "sh")
    ['ls\\n']
    """
    return [dedent(block) for block in re.findall(rf"^ *```{language}\n(.*?)^ *```", text, flags=re.DOTALL | re.MULTILINE)]


def command_lines(text: str) -> list[str]:
    """The lines of shell blocks that call borewright, whole ones to be typed as they stand.

    >>> command_lines("```sh\\nborewright ports\\nmake\\n```")
    ['borewright ports']
    """
    lines = [line for block in blocks_of(text, "sh") for line in block.splitlines()]
    return [line.removeprefix(".venv/bin/") for line in lines if line.removeprefix(".venv/bin/").startswith("borewright ")]


def named_in_prose(text: str) -> list[str]:
    """What stands as code between the words and calls borewright; options may be missing there.

    >>> named_in_prose("then `borewright rig zero`, or `ls`")
    ['borewright rig zero']
    """
    prose = re.sub(r"^ *```.*?^ *```", "", text, flags=re.DOTALL | re.MULTILINE)
    return re.findall(r"`(borewright [^`\n]+)`", prose)


def mistakes_of(line: str, *, whole: bool) -> str:
    """What the parser has against a command line, "" when nothing. whole: it must be complete, not only exist.

    >>> mistakes_of("borewright ports --json", whole=True), mistakes_of("borewright rig spam", whole=False)
    ('', "borewright rig spam: 'spam' is no subcommand")
    """
    words = shlex.split(line, comments=True)[1:]
    if words[0] not in COMMANDS:
        return f"{line}: {words[0]!r} is no command"
    parser = argparse.ArgumentParser(prog=f"borewright {words[0]}")
    importlib.import_module(f"borewright.cli.{words[0]}").add_arguments(parser)
    return _whole(parser, words[1:], line) if whole else _exists(parser, words[1:], line)


def _whole(parser: argparse.ArgumentParser, words: list[str], line: str) -> str:
    said = io.StringIO()
    try:
        with contextlib.redirect_stderr(said), contextlib.redirect_stdout(said):
            parser.parse_args(words)
    except SystemExit:
        return f"{line}: {said.getvalue().strip().splitlines()[-1]}"
    return ""


def _exists(parser: argparse.ArgumentParser, words: list[str], line: str) -> str:
    if isinstance(parser, LateParser):
        parser.fill_now()
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction) and words:
            if words[0] not in action.choices:
                return f"{line}: {words[0]!r} is no subcommand"
            return _exists(action.choices[words[0]], words[1:], line)
    unknown = [word for word in words if word.startswith("-") and word not in parser._option_string_actions]
    return f"{line}: no option {', '.join(unknown)}" if unknown else ""
