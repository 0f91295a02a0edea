"""borewright record: the record file kept safe. Each subcommand is a file of its own."""

from __future__ import annotations

import argparse
import importlib
from types import ModuleType

from borewright.cli.subcommands import add_subcommand

__all__ = ["EXAMPLE", "SUBCOMMANDS", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright record check
  borewright record backup /media/stick/shop-2026-03-31.db
  borewright record restore /media/stick/shop-2026-03-31.db

A backup can be made while a test is being recorded. The record file is never changed by check and backup."""

SUBCOMMANDS = {  # name: the module that does it, what it does, an example
    "check": (
        "record_check",
        "look through the record file: its pages, its values, every sample",
        "borewright record check --db shop.db",
    ),
    "backup": (
        "record_backup",
        "copy the record file as it stands now, also while another program records, and look through the copy",
        "borewright record backup /media/stick/shop-2026-03-31.db",
    ),
    "restore": (
        "record_restore",
        "put a backup in the place of the record file, which is kept beside it under a dated name",
        "borewright record restore /media/stick/shop-2026-03-31.db",
    ),
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The subcommands of record."""
    subcommands = parser.add_subparsers(dest="subcommand", metavar="SUBCOMMAND", required=True)
    for name, (module, what, example) in SUBCOMMANDS.items():
        _module(module).add_arguments(add_subcommand(subcommands, name, what, example))


def run(args: argparse.Namespace) -> int:
    """Do what the subcommand says."""
    return int(_module(SUBCOMMANDS[args.subcommand][0]).run(args))


def _module(name: str) -> ModuleType:
    return importlib.import_module(f"borewright.cli.{name}")
