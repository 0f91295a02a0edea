"""A subcommand's parser, alike wherever a command has several."""

from __future__ import annotations

import argparse
from typing import Any

from borewright.cli import exits

__all__ = ["add_subcommand"]


def add_subcommand(subcommands: Any, name: str, what: str, example: str) -> argparse.ArgumentParser:
    """Its parser, with what it does, an example, and the exit codes. subcommands: what argparse gives for several."""
    made: argparse.ArgumentParser = subcommands.add_parser(
        name,
        help=what,
        description=what[0].upper() + what[1:] + ".",
        epilog=f"example:\n  {example}\n\n{exits.HELP}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    return made
