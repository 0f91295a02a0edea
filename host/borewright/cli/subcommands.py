"""A subcommand's parser, alike wherever a command has several."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

from borewright.cli import exits

__all__ = ["LateParser", "add_subcommand"]


class LateParser(argparse.ArgumentParser):
    """A parser whose arguments are added only when it is the one that is wanted: of many subcommands one is loaded."""

    fill: Callable[[argparse.ArgumentParser], None] | None = None

    def fill_now(self) -> None:
        """Add its arguments, unless that has been done."""
        if self.fill is not None:
            fill, self.fill = self.fill, None
            fill(self)

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As its parent does, after the arguments have been added."""
        self.fill_now()
        return super().parse_known_args(args, namespace)


def add_subcommand(subcommands: Any, name: str, what: str, example: str) -> Any:
    """Its parser, with what it does, an example, and the exit codes. subcommands: what argparse gives for several."""
    return subcommands.add_parser(
        name,
        help=what,
        description=what[0].upper() + what[1:] + ".",
        epilog=f"example:\n  {example}\n\n{exits.HELP}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
