"""borewright place show: where the air of each cylinder goes, what that means, and what to do next."""

from __future__ import annotations

import argparse
import textwrap
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.find_job import STAGES, the_jobs
from borewright.cli.output import print_json, table_lines
from borewright.cli.record_file import add_record_argument, open_store
from borewright.errors import UseError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from borewright.core.advice import Advice
    from borewright.core.shares import Share
    from borewright.service.path import CylinderPath, JobPath, PlaceFinding
    from borewright.store import Store
    from borewright.store.records import FindingRecord, JobRecord

__all__ = ["add_arguments", "path_as_dict", "path_lines", "run"]

WIDTH = 110
HEADINGS = ("place", "heard", "share of the leak", "note", "air there most often means")
NOISE_PERCENT = 3.0  # project: a part of the leak that may be less than that is not worth a paragraph
AID = (
    "An aid to judgement from what was measured and heard; the maker's manual, local rules and licensed practice come first. "
    "Meanings are common practice."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of place show."""
    parser.add_argument("name", metavar="NAME", help="the job's name, as `borewright job list` shows it")
    parser.add_argument("--stage", choices=STAGES, help="only this stage (default: all)")
    parser.add_argument("--cylinder", metavar="N", type=int, help="only this cylinder, even if nothing is known of it")
    parser.add_argument(
        "--all",
        action="store_true",
        help="every place in full, also where nothing was heard; and what was dropped",
    )
    add_record_argument(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Show it. Raises StoreError when the record file cannot be used, UseError for a job or a cylinder that is none."""
    from borewright.service.path import path_of_job

    with open_store(args, create=False) as store:
        jobs = the_jobs(store, args.name, args.stage)
        shown = [_Shown.of(store, job, path_of_job(store, job)) for job in jobs]
    there = {cylinder for one in shown for cylinder in one.path.cylinders}
    if args.cylinder is not None and args.cylinder not in there:
        raise UseError(f"this engine has no cylinder {args.cylinder}; it has {', '.join(map(str, sorted(there)))}")
    if args.json:
        stages = [
            {"job": one.job.name, "stage": one.job.stage} | path_as_dict(one.path, args.cylinder, one.photos) for one in shown
        ]
        print_json({"database": str(args.db), "jobs": stages})
        return exits.OK
    for number, one in enumerate(shown):
        lines = path_lines(one.job, one.path, args.cylinder, one.photos, everything=args.all)
        dropped = _dropped_lines(one.dropped, args.cylinder) if args.all else []
        print("\n".join([*([""] if number else []), *lines, *dropped]))
    return exits.OK


@dataclass(frozen=True)
class _Shown:
    """One stage of the job: its path, its photos by finding, and the findings that were dropped."""

    job: JobRecord
    path: JobPath
    photos: Mapping[int, int]
    dropped: Sequence[FindingRecord]

    @staticmethod
    def of(store: Store, job: JobRecord, path: JobPath) -> _Shown:
        photos = Counter(photo.finding_id for photo in store.list_photos(job.id))
        dropped = [one for one in store.list_findings(job.id, deleted=True) if one.deleted_at_unix_s is not None]
        return _Shown(job, path, photos, dropped)


def path_as_dict(path: JobPath, cylinder: int | None = None, photos: Mapping[int, int] | None = None) -> dict[str, Any]:
    """The paths and the advice for JSON; cylinder: only this one and what is said of the whole engine. photos: by finding."""
    from borewright.core.plain import to_plain

    cylinders = [to_plain(one) | {"notes": _notes_as_dicts(one.notes, photos or {})} for one in path.cylinders.values()]
    return {
        "cylinders": [one for one in cylinders if cylinder in (None, one["cylinder"])],
        "notes": _notes_as_dicts(path.notes, photos or {}),
        "advice": [to_plain(line) for line in path.advice if cylinder is None or line.cylinder in (0, cylinder)],
    }


def path_lines(
    job: JobRecord,
    path: JobPath,
    cylinder: int | None = None,
    photos: Mapping[int, int] | None = None,
    *,
    everything: bool = False,
) -> list[str]:
    """The paths as tables, and under each what to do; cylinder: only this one, even if nothing is known of it.

    photos: how many belong to each finding. everything: all places in full, also where nothing was heard.
    """
    taken = photos or {}
    lines = [f"job {job.name}, {job.stage}, engine {job.engine_name}"]
    shown = [one for one in path.cylinders.values() if one.cylinder == cylinder or (cylinder is None and _known(one, path.advice))]
    whole = [line for line in path.advice if line.cylinder == 0]
    if not (shown or whole or path.notes):
        return [*lines, "nothing has been tested or heard in it yet"]
    for one in shown:
        advice = [line for line in path.advice if line.cylinder == one.cylinder]
        lines += ["", f"cylinder {one.cylinder}", *_cylinder_lines(one, taken, advice, everything, cylinder is not None)]
        lines += _advice_lines(advice)
    if whole or path.notes:
        lines += ["", "the whole engine", *_note_lines(path.notes, taken), *_advice_lines(whole)]
    return [*lines, "", *_wrapped("", AID)]


def _known(one: CylinderPath, advice: Sequence[Advice]) -> bool:
    heard = any(place.strength is not None for place in one.places)
    return heard or bool(one.notes) or one.unattributed is not None or any(line.cylinder == one.cylinder for line in advice)


def _cylinder_lines(
    one: CylinderPath, photos: Mapping[int, int], advice: Sequence[Advice], everything: bool, asked_for: bool
) -> list[str]:
    from borewright.core.advice import NOTHING
    from borewright.core.place_meaning import place_words

    untouched = all(place.strength is None for place in one.places) and one.unattributed is None
    if untouched and not (one.further_tests or one.notes or everything or asked_for):
        return []  # it seals, and nobody had to look
    rows = []
    for place in one.places:
        told = everything or place.strength is None or _weighty(place)
        numbers = ", ".join(f"#{number}{_with_photos(photos.get(number, 0))}" for number in place.findings)
        means = place.implies[0] if told else ""
        rows.append([place_words(place.place), _heard(place), _share(place.share), numbers, means])
    if one.unattributed is not None:
        rows.append(["nobody's", "", _share(one.unattributed), "", "what the readings give to no place"])
    lines = ["  " + line for line in table_lines(HEADINGS, rows)]
    title = "  decided     " if one.decided else "  by ear      " if one.unattributed is None else "  not decided "
    lines += _wrapped(title, one.words)
    if one.wet is not None:
        lines += _wrapped("  wet test    ", one.wet)
    lines += _note_lines(one.notes, photos)
    for test in one.further_tests:
        lines += _wrapped("  further     ", test)
    said: set[str] = set()
    closed = bool(advice) and all(line.open == NOTHING for line in advice)  # what sound work lets by needs no explanation
    for place in [] if closed and not everything else one.places:
        if everything or _weighty(place) or place.place == one.main:
            lines += _place_lines(place, said)
    return lines


def _weighty(place: PlaceFinding) -> bool:
    """Whether something was heard at a place, or a part of the leak certainly goes there."""
    measured = place.share is not None and place.share.looked_at and place.share.low_percent > NOISE_PERCENT
    return measured or place.strength not in (None, "none")


def _heard(place: PlaceFinding) -> str:
    at = f" at {' and '.join(map(str, place.neighbours))}" if place.neighbours else ""
    return f"{place.strength or 'not looked at'}{at}"


def _place_lines(place: PlaceFinding, said: set[str]) -> list[str]:
    """What a place means; what imitates it is printed once for all places."""
    from borewright.core.place_meaning import place_words

    lines = _wrapped(f"  {place_words(place.place)}: ", "; ".join(place.implies))
    for imitated in place.imitated_by:
        if imitated not in said:
            lines += _wrapped("    or only   ", imitated)
            said.add(imitated)
    return [*lines, *_wrapped("    next      ", place.next_step), *_wrapped("    look      ", place.look)]


def _note_lines(notes: Sequence[FindingRecord], photos: Mapping[int, int]) -> list[str]:
    lines = []
    for note in notes:
        lines += _wrapped("  note        ", f"#{note.id} {_note(note.detail)}{_with_photos(photos.get(note.id, 0))}")
    return lines


def _dropped_lines(dropped: Sequence[FindingRecord], cylinder: int | None) -> list[str]:
    from borewright.service.finding_words import finding_words

    lines = []
    for one in dropped:
        if cylinder in (None, one.cylinder):
            lines += _wrapped(
                "dropped       ", f"#{one.id} {finding_words(one)}; `borewright place restore {one.id}` brings it back"
            )
    return lines


def _with_photos(count: int) -> str:
    return "" if not count else f" ({count} photo{'s' if count > 1 else ''})"


def _notes_as_dicts(notes: Sequence[FindingRecord], photos: Mapping[int, int]) -> list[dict[str, Any]]:
    return [{"finding": note.id, "text": _note(note.detail), "photos": photos.get(note.id, 0)} for note in notes]


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
