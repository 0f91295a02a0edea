"""borewright job: one customer's engine at one stage. Each subcommand is a file of its own."""

from __future__ import annotations

import argparse
import importlib
from functools import partial
from types import ModuleType

from borewright.cli.subcommands import LateParser, add_subcommand

__all__ = ["EXAMPLE", "SUBCOMMANDS", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright job list
  borewright job show "hill-climb 7" --stage before
  borewright job show "hill-climb 7" --budget
  borewright job show "hill-climb 7" --limits "AC 43.13-1B" --units inch
  borewright job show "hill-climb 7" --csv hillclimb.csv

Commands that only look make no record file."""

SUBCOMMANDS = {  # name: the module that does it, what it does, an example
    "list": ("job_list", "the jobs in the record file, oldest first", "borewright job list --json"),
    "show": (
        "job_show",
        "every test of a job, one on each line, also the void ones",
        'borewright job show "hill-climb 7" --stage before',
    ),
    "new": (
        "job_new",
        "begin a job",
        'borewright job new "hill-climb 7" --engine four.toml --stage before --customer "Larch, no. 7" --hours "310 h"',
    ),
    "run": (
        "job_run",
        "go round the whole engine at the rig, or go on where it was broken off",
        'borewright job run "hill-climb 7" --port /dev/ttyACM0 --engine four.toml --stage before',
    ),
    "change": (
        "job_change",
        "give a job another name or other details",
        'borewright job change "hill-climb 7" --rename "hill-climb 8"',
    ),
    "archive": ("job_put_away", "put a job out of the usual list", 'borewright job archive "hill-climb 7" --stage before'),
    "unarchive": ("job_put_away", "put an archived job back into the list", 'borewright job unarchive "hill-climb 7"'),
    "delete": (
        "job_put_away",
        "mark a job as deleted; it can be brought back",
        'borewright job delete "hill-climb 7" --stage after --reason "wrong engine"',
    ),
    "restore": ("job_put_away", "bring a deleted job back", 'borewright job restore "hill-climb 7" --stage after'),
    "declare": (
        "job_declare",
        "enter a reading that was taken elsewhere with a pair of gauges",
        'borewright job declare "hill-climb 7" --cylinder 3 --regulated "80 psi" --cylinder-pressure "52 psi" '
        '--gauge-error "1.6 % of 160 psi" --read-to "1 psi" --when 2026-03-31 --how "hand gauges, cold" --who ada',
    ),
    "cut-off": ("job_cut_off", "tests that were cut off: list, finish or discard them", "borewright job cut-off --finish 17"),
    "export": ("job_export", "write a job to a file", 'borewright job export "hill-climb 7" --out hillclimb.zip'),
    "import": ("job_import", "take in a job that was exported as .zip", "borewright job import hillclimb.zip"),
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The subcommands of job."""
    subcommands = parser.add_subparsers(dest="subcommand", metavar="SUBCOMMAND", required=True, parser_class=LateParser)
    for name, (module, what, example) in SUBCOMMANDS.items():
        made = add_subcommand(subcommands, name, what, example)
        made.fill = partial(_fill, module)


def _fill(module: str, parser: argparse.ArgumentParser) -> None:
    _module(module).add_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Do what the subcommand says."""
    return int(_module(SUBCOMMANDS[args.subcommand][0]).run(args))


def _module(name: str) -> ModuleType:
    return importlib.import_module(f"borewright.cli.{name}")
