"""Where the air goes and what to do next, as a report shows it: from the path of each job and from its notes and photos."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from borewright.report.model import Bar, Fact, Photo, Place, PlacesOf, Step
from borewright.service.report_numbers import listed as listed_words

if TYPE_CHECKING:
    from borewright.core.advice import Advice
    from borewright.core.shares import Share
    from borewright.service.path import CylinderPath, JobPath, PlaceFinding
    from borewright.service.report_numbers import Shown
    from borewright.service.report_results import StageTests
    from borewright.store import Store
    from borewright.store.records import FindingRecord

__all__ = ["STEPS_NOTE", "photos_of", "places_of", "steps_of"]

STEPS_NOTE = "an aid to judgement; the engine maker's manual comes first"
MOST_PHOTOS = 60
NOTHING = "nothing"  # what the advice says where nothing is to be opened or measured
_STRENGTHS = {"none": 0, "faint": 1, "steady": 2, "strong": 3}
_CERTAINTY = {"points to": "the evidence points to it", "may be": "it may be this", "undecided": "the evidence does not decide"}


def places_of(
    paths: Sequence[tuple[StageTests, JobPath]], notes: Sequence[tuple[StageTests, Sequence[FindingRecord]]], shown: Shown
) -> tuple[PlacesOf, ...]:
    """What is known of each cylinder's places at each stage, the engine's own notes first; nothing where nobody looked."""
    found: list[PlacesOf] = []
    label_of = len(paths) > 1
    for stage, findings in notes:
        text = str(stage.job.details.get("text", "")).strip()
        lines = [text] if text else []
        lines += [_note(finding, shown) for finding in findings if finding.kind == "note" and not finding.cylinder]
        if lines:
            found.append(PlacesOf(0, stage.label if label_of else "", "", (), tuple(lines)))
    cylinders = sorted({cylinder for _, path in paths for cylinder in path.cylinders})
    explained: set[str] = set()  # what a place means is said once
    for cylinder in cylinders:
        for stage, path in paths:
            one = path.cylinders.get(cylinder)
            if one is not None and _looked(one):
                found.append(_places(one, stage.label if label_of else "", shown, explained, last=path is paths[-1][1]))
    return tuple(found)


def _looked(path: CylinderPath) -> bool:
    return bool(path.wet or path.notes or any(place.strength or place.share for place in path.places))


def _places(path: CylinderPath, stage: str, shown: Shown, explained: set[str], *, last: bool) -> PlacesOf:
    measured = path.unattributed is not None
    loud = 2 if measured else 1  # beside measured shares a faint place needs no line of its own
    listed = [place for place in path.places if _is_measured(place) or _STRENGTHS.get(place.strength or "none", 0) >= loud]
    listed.sort(key=lambda place: (-_percent(place), -_STRENGTHS.get(place.strength or "none", 0)))
    places = [_place(place, explained) for place in listed]
    left = [place for place in path.places if place not in listed]
    said = [
        f"{words} at {listed_words(names)}"
        for strength, words in (("faint", "faint"), ("none", "nothing noticed"))
        if (names := [_words(place.place) for place in left if place.strength == strength])
    ]
    lines = [f"wet test: {path.wet}"] if path.wet else []
    if last and not path.decided and path.further_tests:
        lines.append(f"would tell more: {'; '.join(_first_sentence(words) for words in path.further_tests)}")
    lines += [_note(finding, shown) for finding in path.notes]
    if path.unattributed is not None:
        places.append(Place("nobody's", share=_bar(path.unattributed), words="found at no place that was looked at"))
        said.insert(0, path.words.rstrip("."))
    elif not any(place.words for place in places):  # nothing new to say of each: one line says it all
        said = [f"{place.name} {place.heard}" for place in places] + said
        places = []
    words = "; ".join(said)
    return PlacesOf(path.cylinder, stage, words, tuple(places), tuple(lines))


def _is_measured(found: PlaceFinding) -> bool:
    return found.share is not None and found.share.looked_at


def _percent(found: PlaceFinding) -> float:
    return found.share.percent if found.share is not None and found.share.looked_at else -1.0


def _first_sentence(words: str) -> str:
    """What to do; how it is done stands where it is done."""
    first = words.split(". ", maxsplit=1)[0].rstrip(".")
    return f"{first[:1].lower()}{first[1:]}"


def _place(found: PlaceFinding, explained: set[str]) -> Place:
    strength = found.strength
    weighty = _STRENGTHS.get(strength or "none", 0) >= 1 or _percent(found) >= 15.0
    words = ""
    if weighty and found.place not in explained:
        explained.add(found.place)
        words = found.implies[0] if found.implies else ""
        words += f". Looks alike: {found.imitated_by[0]}" if found.imitated_by else ""
    bar = _bar(found.share) if found.share is not None and found.share.looked_at else None
    return Place(_words(found.place), strength or "", None if strength is None else _STRENGTHS.get(strength), bar, words)


def _bar(share: Share) -> Bar:
    return Bar(share.percent, share.low_percent, share.high_percent)


def _words(place: str) -> str:
    return place.replace("_", " ")


def _note(finding: FindingRecord, shown: Shown) -> str:
    said = ", ".join(filter(None, (finding.said_by, shown.date(finding.at_unix_s))))
    at = f"{_words(finding.place)}: " if finding.place else ""
    return f"note: {at}{finding.detail.get('text', '')} ({said})"


def steps_of(paths: Sequence[tuple[StageTests, JobPath]]) -> tuple[Step, ...]:
    """The advice of the latest stage that was tested; where it says the same of several cylinders, once for all of them."""
    tested = [(stage, path) for stage, path in paths if any(stage.standing(cylinder) for cylinder in stage.cylinders)]
    if not tested:
        return ()
    stage, path = tested[-1]
    alike: dict[tuple[str, str, str, str], list[Advice]] = {}
    for one in path.advice:
        alike.setdefault((one.certainty, one.look_first, one.open, one.measure), []).append(one)
    by_tests = f", by the tests {stage.label}" if len(paths) > 1 else ""
    return tuple(
        Step(
            _who([one.cylinder for one in several]),
            by_tests.removeprefix(", ") if opened == NOTHING else _CERTAINTY.get(certainty, certainty) + by_tests,
            (
                Fact("look first", look_first),
                *(Fact(label, words) for label, words in (("open", opened), ("measure", measure)) if not words.startswith(NOTHING)),
                Fact("because", _because(several)),
            ),
        )
        for (certainty, look_first, opened, measure), several in alike.items()
    )


def _who(cylinders: Sequence[int]) -> str:
    if cylinders == [0]:
        return "The engine"
    names = [str(cylinder) if cylinder else "the engine" for cylinder in cylinders]
    return f"Cylinder{'s' if len(names) > 1 else ''} {listed_words(names)}"


def _because(several: Sequence[Advice]) -> str:
    if len(several) == 1:
        return "; ".join(several[0].evidence)
    if several[0].open == NOTHING:  # the bands are in the table, what was heard stands with the places
        return "; ".join(f"cylinder {one.cylinder}: {one.evidence[0].split(': ')[0]}" for one in several if one.evidence)
    return ". ".join(f"Cylinder {one.cylinder}: {'; '.join(one.evidence)}" for one in several)


def photos_of(store: Store, notes: Sequence[tuple[StageTests, Sequence[FindingRecord]]]) -> tuple[Photo, ...]:
    """The photos of all findings, in their order, so many at most."""
    return tuple(photo for _, photo in zip(range(MOST_PHOTOS), _photos(store, notes), strict=False))


def _photos(store: Store, notes: Sequence[tuple[StageTests, Sequence[FindingRecord]]]) -> Iterator[Photo]:
    number = 0
    for stage, findings in notes:
        by_id = {finding.id: finding for finding in findings}
        for photo in store.list_photos(stage.job.id):
            finding = by_id.get(photo.finding_id)
            if finding is None:
                continue
            number += 1
            where = [f"cylinder {finding.cylinder}"] if finding.cylinder else []
            where += [_words(finding.place)] if finding.place else []
            where += [stage.label] if len(notes) > 1 else []
            text = str(finding.detail.get("text") or finding.detail.get("strength") or "")
            head = f"{number}  " + ", ".join(where or [photo.name])
            yield Photo(store.get_photo(photo.id), head + (f": {text}" if text else ""))
