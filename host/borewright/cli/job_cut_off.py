"""borewright job cut-off: the tests that a crash has cut off, and the two ways out: finish one, or discard it."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, db_words, open_store

if TYPE_CHECKING:
    from borewright.service.cut_off import CutOff

__all__ = ["add_arguments", "cut_off_as_dict", "cut_off_lines", "run"]

WAYS_OUT = "borewright job cut-off --finish {id}{db} makes of it what it holds, --discard {id} puts it away"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """--finish and --discard; without them the tests are listed."""
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--finish", metavar="TEST", type=int, help="make of this test what it holds: a marked result, or a void test")
    way.add_argument("--discard", metavar="TEST", type=int, help="put this test away; its samples stay in the record")
    parser.add_argument("--reason", metavar="TEXT", default="", help="why it is discarded")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """List, finish or discard. Raises StoreError, UseError for a test that was not cut off."""
    from borewright.service.cut_off import cut_off_tests, discard_cut_off
    from borewright.service.names import checked_line
    from borewright.store.export import capture_as_dict

    reason = checked_line(args.reason, "--reason")
    with open_store(args, create=False) as store:
        if args.finish is None and args.discard is None:
            return _listed(args, cut_off_tests(store))
        if args.discard is not None:
            capture = discard_cut_off(store, args.discard, reason)
            said = f"test {capture.id} is discarded; its samples stay in {args.db}"
        else:
            from borewright.service.finishing import finish_cut_off, outcome_words

            capture = finish_cut_off(store, args.finish)
            said = outcome_words(capture, None if capture.job_id is None else store.get_job(capture.job_id))
    if args.json:
        print_json({"database": str(args.db), "test": capture_as_dict(capture), "discarded": args.discard is not None})
    else:
        print(said)
    return exits.UNUSABLE if args.finish is not None and capture.state == "void" else exits.OK


def _listed(args: argparse.Namespace, found: tuple[CutOff, ...]) -> int:
    if args.json:
        print_json({"database": str(args.db), "cut_off": [cut_off_as_dict(one) for one in found]})
    elif found:
        print("\n".join(_line(one, args.db) for one in found))
    else:
        print(f"no test in {args.db} is cut off")
    return exits.OK


def cut_off_lines(found: Sequence[CutOff], db: Path) -> list[str]:
    """A sentence for each of these tests, with the ways out, to stand under what else a command shows."""
    return [f"! {_line(one, db)}" for one in found]


def cut_off_as_dict(one: CutOff) -> dict[str, Any]:
    """A test that was cut off, for JSON."""
    return {
        "test": one.capture.id,
        "job": None if one.job is None else one.job.name,
        "stage": None if one.job is None else one.job.stage,
        "cylinder": one.capture.cylinder,
        "purpose": one.capture.purpose,
        "recorded_s": one.recorded_s,
    }


def _line(one: CutOff, db: Path) -> str:
    return f"{one.words}: {WAYS_OUT.format(id=one.capture.id, db=db_words(db))}"
