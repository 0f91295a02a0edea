"""borewright place note: what was heard, seen or photographed, into the record."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.at_the_rig import login_name
from borewright.cli.find_job import add_job_arguments, the_job
from borewright.cli.output import print_json
from borewright.cli.record_file import add_record_argument, open_store
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.core.heard import Heard
    from borewright.service.photos import Photo
    from borewright.service.place_notes import Kept

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of place note."""
    add_job_arguments(parser)
    parser.add_argument(
        "heard",
        metavar="PLACE STRENGTH",
        nargs="*",
        help="where and how strong: none, faint, steady or strong; several at once like exhaust=strong breather=faint; at another "
        "cylinder say which: neighbours strong at 3",
    )
    parser.add_argument(
        "--cylinder", metavar="N", type=int, help="which cylinder; without it a text or photo is of the whole engine"
    )
    parser.add_argument("--text", metavar="TEXT", help="anything worth keeping, in your own words")
    parser.add_argument("--photo", metavar="FILE", type=Path, action="append", help="a JPEG or PNG photo; repeat it for more")
    parser.add_argument("--who", metavar="NAME", default=login_name(), help="who heard or saw it (%(default)s)")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Keep it. Raises UseError before anything is written when part of it cannot be kept."""
    from borewright.service.engines import engine_from_document
    from borewright.service.place_notes import checked_note, keep_findings

    if not (args.heard or args.text or args.photo):
        raise UseError("say what was found: a place and how strong, --text or --photo")
    text = None if args.text is None else checked_note(args.text, "--text: a note")
    with open_store(args, create=False) as store:
        job = the_job(store, args.name, args.stage)
        engine = engine_from_document(store.get_engine(job.engine_id).document, "the record")
        cylinder = _cylinder(args, engine)
        heard = _heard(args, engine, cylinder)
        photos = _photos(args.photo or [])
        kept = keep_findings(store, job.id, cylinder, heard, text, photos, args.who)
    if args.json:
        told = [_as_dict(one) for one in kept]
        print_json({"database": str(args.db), "job": job.name, "stage": job.stage, "cylinder": cylinder, "kept": told})
    else:
        where = f"cylinder {cylinder}" if cylinder else "the whole engine"
        print(f"kept for {job.name}, {job.stage}, {where}: {', '.join(one.words for one in kept)}")
    return exits.OK


def _as_dict(kept: Kept) -> dict[str, Any]:
    told: dict[str, Any] = {"finding": kept.finding, "kind": kept.kind, "place": kept.place, "words": kept.words}
    return told | {"photos": list(kept.photos)} if kept.photos else told


def _cylinder(args: argparse.Namespace, engine: Engine) -> int:
    if args.cylinder is None:
        if args.heard:
            raise UseError("say at which cylinder it was heard, with --cylinder")
        return 0
    if args.cylinder not in engine.cylinders:
        raise UseError(f"this engine has no cylinder {args.cylinder}; it has {', '.join(map(str, engine.cylinders))}")
    return int(args.cylinder)


def _heard(args: argparse.Namespace, engine: Engine, cylinder: int) -> tuple[Heard, ...]:
    from borewright.core.heard import heard
    from borewright.service.place_notes import checked_heard

    if not args.heard:
        return ()
    try:
        found = heard(" ".join(args.heard), engine.places)
    except ValueError as wrong:
        raise UseError(str(wrong)) from None
    return checked_heard(engine, cylinder, found)


def _photos(paths: list[Path]) -> list[Photo]:
    from borewright.service.photos import read_photo
    from borewright.service.place_notes import MOST_PHOTOS

    if len(paths) > MOST_PHOTOS:
        raise UseError(f"{len(paths)} photos are too many at once; {MOST_PHOTOS} at most")
    return [read_photo(path) for path in paths]
