"""borewright place show: where the air of each cylinder goes, what that means, and what to do next."""

from __future__ import annotations

import argparse
import textwrap
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.find_job import add_job_arguments, the_job
from borewright.cli.output import print_json, table_lines
from borewright.cli.record import add_record_argument, open_store
from borewright.errors import UseError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from borewright.core.advice import Advice
    from borewright.core.shares import Share
    from borewright.service.path import CylinderPath, JobPath, PlaceFinding
    from borewright.store.records import JobRecord

__all__ = ["add_arguments", "path_as_dict", "path_lines", "run"]

WIDTH = 110
AID = (
    "An aid to judgement from what was measured and heard; the maker's manual, local rules and licensed practice come first. "
    "Meanings are common practice."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of place show."""
    add_job_arguments(parser)
    parser.add_argument("--cylinder", metavar="N", type=int, help="only this cylinder, with how to look at each place")
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Show it. Raises StoreError when the record file cannot be used, UseError for a job or a cylinder that is none."""
    from borewright.service.path import path_of_job

    with open_store(args, create=False) as store:
        job = the_job(store, args.name, args.stage)
        path = path_of_job(store, job)
    if args.cylinder is not None and args.cylinder not in path.cylinders:
        there = ", ".join(map(str, path.cylinders))
        raise UseError(f"this engine has no cylinder {args.cylinder}; it has {there}")
    if args.json:
        print_json({"database": str(args.db), "job": job.name, "stage": job.stage} | path_as_dict(path, args.cylinder))
    else:
        print("\n".join(path_lines(job, path, args.cylinder)))
    return exits.OK


def path_as_dict(path: JobPath, cylinder: int | None = None) -> dict[str, Any]:
    """The paths and the advice for JSON; cylinder: only this one and what is said of the whole engine."""
    from borewright.core.plain import to_plain

    cylinders = [to_plain(one) | {"notes": [_note(note.detail) for note in one.notes]} for one in path.cylinders.values()]
    return {
        "cylinders": [one for one in cylinders if cylinder in (None, one["cylinder"])],
        "advice": [to_plain(line) for line in path.advice if cylinder is None or line.cylinder in (0, cylinder)],
    }


def path_lines(job: JobRecord, path: JobPath, cylinder: int | None = None) -> list[str]:
    """The paths as tables, and under each what to do; cylinder: only this one, even if nothing is known of it."""
    lines = [f"job {job.name}, {job.stage}, engine {job.engine_name}"]
    shown = [one for one in path.cylinders.values() if one.cylinder == cylinder or (cylinder is None and _known(one, path.advice))]
    if not shown:
        return [*lines, "nothing has been tested or heard in it yet"]
    for one in shown:
        lines += ["", f"cylinder {one.cylinder}", *_cylinder_lines(one, one.cylinder == cylinder)]
        lines += _advice_lines([line for line in path.advice if line.cylinder == one.cylinder])
    if whole := [line for line in path.advice if line.cylinder == 0]:
        lines += ["", "the whole engine", *_advice_lines(whole)]
    return [*lines, "", *_wrapped("", AID)]


def _known(one: CylinderPath, advice: Sequence[Advice]) -> bool:
    heard = any(place.strength is not None for place in one.places)
    return heard or bool(one.notes) or one.unattributed is not None or any(line.cylinder == one.cylinder for line in advice)


def _cylinder_lines(one: CylinderPath, fully: bool) -> list[str]:
    """fully: with how to look at every place, and what each means even where nothing was heard."""
    from borewright.core.place_meaning import place_words

    untouched = all(place.strength is None for place in one.places) and one.unattributed is None
    if untouched and not (one.further_tests or one.notes or fully):
        return []  # it seals, and nobody had to look
    rows = [
        [place_words(place.place), place.strength or "not looked at", _share(place.share), place.implies[0]] for place in one.places
    ]
    if one.unattributed is not None:
        rows.append(["nobody's", "", _share(one.unattributed), "what the readings give to no place"])
    lines = ["  " + line for line in table_lines(["place", "heard", "share of the leak", "air there most often means"], rows)]
    lines += _wrapped("  decided     " if one.decided else "  not decided ", one.words)
    if one.wet is not None:
        lines += _wrapped("  wet test    ", one.wet)
    for note in one.notes:
        lines += _wrapped("  note        ", _note(note.detail))
    for test in one.further_tests:
        lines += _wrapped("  further     ", test)
    said: set[str] = set()
    for place in one.places:
        if fully or place.strength not in (None, "none") or place.place == one.main:
            lines += _place_lines(place, said, fully)
    return lines


def _place_lines(place: PlaceFinding, said: set[str], fully: bool) -> list[str]:
    """What a place means; what imitates it is printed once for all places."""
    from borewright.core.place_meaning import place_words

    lines = _wrapped(f"  {place_words(place.place)}: ", "; ".join(place.implies))
    for imitated in place.imitated_by:
        if imitated not in said:
            lines += _wrapped("    or only   ", imitated)
            said.add(imitated)
    lines += _wrapped("    next      ", place.next_step)
    return lines + (_wrapped("    look      ", place.look) if fully else [])


def _advice_lines(advice: Sequence[Advice]) -> list[str]:
    from borewright.core.advice import NOTHING

    lines = []
    for line in advice:
        if line.open == NOTHING:
            lines += _wrapped("  advice      ", line.look_first)
        else:
            lines += _wrapped("  advice      ", f"{line.certainty}: open {line.open}")
            lines += _wrapped("    first     ", line.look_first)
            lines += _wrapped("    measure   ", line.measure)
        for evidence in line.evidence:
            lines += _wrapped("    because   ", evidence)
    return lines


def _share(share: Share | None) -> str:
    from borewright.core.advice import share_words

    return "-" if share is None else share_words(share)


def _note(detail: Any) -> str:
    """The text of a note without what a terminal would obey."""
    return "".join(letter if letter.isprintable() else "?" for letter in str(detail.get("text", "")))


def _wrapped(title: str, text: str) -> list[str]:
    indent = " " * min(len(title), 14)
    return textwrap.wrap(
        text, WIDTH, initial_indent=title, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
