"""What the findings page asks of the record: what was noted, where the air goes, what a test at a place needs, photos to show.

Each is a question of one module-level function, answered in plain data that can go from process to process.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from borewright.core.place_meaning import place_words
from borewright.core.shares_plan import NextTest
from borewright.core.stopping import Orifice, stop_rules
from borewright.errors import StoreError
from borewright.service.engines import engine_from_document
from borewright.service.finding_words import finding_words
from borewright.service.latest_test import latest
from borewright.service.path import JobPath, path_of_job
from borewright.service.path_heard import heard_at
from borewright.service.photos import Photo, read_photo
from borewright.service.place_tests import flow_found, orifice_wanted, plan_of, wet_against_dry
from borewright.store import Store
from borewright.store.records import CaptureRecord, FindingRecord, PhotoRecord

__all__ = [
    "Noted",
    "NotedLine",
    "PlaceTests",
    "flow_words",
    "noted_of",
    "paths_of",
    "photo_in_file",
    "picture_of",
    "place_tests_of",
    "wet_words",
]


@dataclass(frozen=True, slots=True)
class NotedLine:
    """One finding in the list. words: without the cylinder. dropped: it counts no more."""

    number: int
    cylinder: int
    kind: str
    place: str | None
    words: str
    said_by: str
    at_unix_s: float
    dropped: bool
    photos: tuple[PhotoRecord, ...] = ()


@dataclass(frozen=True, slots=True)
class Noted:
    """What was noted in a job. strengths: by cylinder and place; neighbours: by cylinder and the other one; lines: newest first."""

    job_id: int
    strengths: Mapping[int, Mapping[str, str]] = field(default_factory=dict)
    neighbours: Mapping[int, Mapping[int, str]] = field(default_factory=dict)
    lines: tuple[NotedLine, ...] = ()

    def of(self, cylinder: int) -> tuple[NotedLine, ...]:
        """The lines of a cylinder; 0: of the whole engine."""
        return tuple(line for line in self.lines if line.cylinder == cylinder)


def noted_of(store: Store, job_id: int) -> Noted:
    """Everything that was noted in a job, dropped or not. Raises StoreError, UseError."""
    job = store.get_job(job_id)
    engine = engine_from_document(store.get_engine(job.engine_id).document, f"the engine of job {job.name}")
    findings = sorted(store.list_findings(job_id, deleted=True), key=lambda one: (one.at_unix_s, one.id))
    photos: dict[int, list[PhotoRecord]] = {}
    for photo in store.list_photos(job_id):
        photos.setdefault(photo.finding_id, []).append(photo)
    counting = [one for one in findings if one.deleted_at_unix_s is None]
    heard = {
        cylinder: heard_at(engine, cylinder, [one for one in counting if one.cylinder == cylinder]) for cylinder in engine.cylinders
    }
    return Noted(
        job_id,
        {cylinder: dict(one.strengths) for cylinder, one in heard.items()},
        {cylinder: dict(one.neighbours) for cylinder, one in heard.items()},
        tuple(_line(one, tuple(photos.get(one.id, ()))) for one in reversed(findings)),
    )


def _line(finding: FindingRecord, photos: tuple[PhotoRecord, ...]) -> NotedLine:
    words = finding_words(finding).split(", ", maxsplit=1)[1]
    if finding.kind == "note":  # whole, where the command shows its beginning
        text = str(finding.detail.get("text", ""))
        words = "“" + "".join(letter if letter.isprintable() else "?" for letter in text) + "”"
    elif finding.kind in ("flow", "stop_gauge"):
        words += f": {float(finding.detail['p_place_gauge_pa']) / 1000.0:.3g} kPa"
    return NotedLine(
        finding.id,
        finding.cylinder,
        finding.kind,
        finding.place,
        words,
        finding.said_by,
        finding.at_unix_s,
        finding.deleted_at_unix_s is not None,
        photos,
    )


def paths_of(store: Store, job_id: int) -> JobPath:
    """Where the air of each cylinder goes, and what to do next. Raises StoreError, UseError."""
    return path_of_job(store, store.get_job(job_id))


@dataclass(frozen=True, slots=True)
class PlaceTests:
    """What the tests at the places of a cylinder go by. captures: of this cylinder, oldest first. dry: its latest plain test.

    orifices: for each place whose flow may be measured, the one that it takes. plan: the readings that would decide.
    """

    job_id: int
    cylinder: int
    captures: tuple[CaptureRecord, ...]
    dry: CaptureRecord | None
    orifices: Mapping[str, Orifice]
    plan: tuple[NextTest, ...]


def place_tests_of(store: Store, job_id: int, cylinder: int) -> PlaceTests:
    """The same from the record. Raises StoreError, UseError."""
    job = store.get_job(job_id)
    engine = engine_from_document(store.get_engine(job.engine_id).document, f"the engine of job {job.name}")
    captures = tuple(one for one in store.list_captures(job_id) if one.cylinder == cylinder)
    findings = [one for one in store.list_findings(job_id) if one.cylinder == cylinder]
    orifices = {
        place: orifice_wanted(engine, captures, place) for place, rule in stop_rules(engine).items() if rule.may_measure_flow
    }
    return PlaceTests(job_id, cylinder, captures, latest(captures, "test"), orifices, plan_of(engine, captures, findings))


def flow_words(store: Store, job_id: int, test: int, place: str) -> str:
    """What a flow test found, in a sentence. Raises StoreError."""
    found = flow_found(store, job_id, test, place)
    return f"the gauge at the {place_words(place)} was not read, so nothing was found" if found is None else found.words


def wet_words(store: Store, dry: int, wet: int) -> str:
    """What the oil changed, in a sentence. Raises StoreError."""
    found = wet_against_dry(store.get_capture(dry), store.get_capture(wet))
    return "the dry test showed no leak, so oil has nothing to change" if found is None else found.words


# ---------------------------------------------------------------------- photos


def photo_in_file(store: Store, path: Path) -> Photo:
    """A photo as it is to be kept, looked through in this process so that no bad file harms another. Raises UseError."""
    del store  # every question is handed one
    return read_photo(path)


def picture_of(store: Store, photo_id: int, longest_px: int) -> bytes:
    """A kept photo, at most so many pixels long, as a PNG or JPEG to show. Raises StoreError for one that is not there."""
    from PIL import Image  # noqa: PLC0415 -- only where a photo is shown

    data = store.get_photo(photo_id)
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG", "PNG")) as opened:
            opened.draft("RGB", (longest_px, longest_px))
            opened.thumbnail((longest_px, longest_px))
            kind = "PNG" if opened.format == "PNG" or opened.mode in ("RGBA", "P", "LA") else "JPEG"
            out = io.BytesIO()
            opened.save(out, kind)
    except (OSError, ValueError, SyntaxError) as error:
        raise StoreError(f"photo {photo_id} in {store.path} cannot be shown; add it again from its file") from error
    return out.getvalue()
