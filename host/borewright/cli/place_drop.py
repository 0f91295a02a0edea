"""borewright place drop, restore: a finding out of what counts, and back. Nothing is ever removed from the record."""

from __future__ import annotations

import argparse

from borewright.cli import exits
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store

__all__ = ["add_arguments", "run"]

LARGEST = 2**63 - 1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of both; --reason is for dropping."""
    parser.add_argument("number", metavar="NUMBER", type=_number, help="the finding's number, as `borewright place show` shows it")
    parser.add_argument("--reason", metavar="TEXT", default="", help="why it is dropped")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Do it. Raises StoreError for a number that is not in this record file, UseError where there is nothing to do."""
    from borewright.service.finding_words import finding_words
    from borewright.service.names import checked_line
    from borewright.service.place_notes import drop_finding, restore_finding

    reason = checked_line(args.reason, "--reason")
    dropping = args.subcommand == "drop"
    with open_store(args, create=False) as store:
        finding, job = drop_finding(store, args.number, reason) if dropping else restore_finding(store, args.number)
    words = finding_words(finding)
    if args.json:
        done = {"finding": finding.id, "dropped": dropping, "words": words}
        print_json({"database": str(args.db), "job": job.name, "stage": job.stage} | done)
    elif dropping:
        print(f"dropped #{finding.id} of {job.name}, {job.stage}: {words}; `borewright place restore {finding.id}` brings it back")
    else:
        print(f"brought back #{finding.id} of {job.name}, {job.stage}: {words}")
    return exits.OK


def _number(text: str) -> int:
    number = text.removeprefix("#")
    if not (number.isascii() and number.isdigit() and 0 < int(number[:20]) <= LARGEST):
        raise argparse.ArgumentTypeError(f"{text!r} is no number of a finding; `borewright place show` shows them, like #12")
    return int(number)
