"""What a person heard, saw or photographed at a cylinder, into the record, for the command and the window alike; and taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.core.heard import Heard, checked_neighbour
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.service.photos import Photo
    from borewright.store import Store
    from borewright.store.records import FindingRecord, JobRecord

__all__ = [
    "LONGEST_NOTE",
    "MOST_PHOTOS",
    "Kept",
    "add_photos",
    "checked_heard",
    "checked_note",
    "drop_finding",
    "keep_findings",
    "restore_finding",
]

LONGEST_NOTE = 2000
MOST_PHOTOS = 12


@dataclass(frozen=True, slots=True)
class Kept:
    """A finding that was kept: its number, kind, place and words, and the names of its photos."""

    finding: int
    kind: str
    place: str | None
    words: str
    photos: tuple[str, ...] = ()


def checked_note(text: str, what: str = "a note") -> str:
    """The text of a note without spaces around it. what: begins the sentence. Raises UseError.

    >>> checked_note(" seat is burnt ")
    'seat is burnt'
    """
    note = text.strip()
    if not 0 < len(note) <= LONGEST_NOTE or not note.isprintable():
        raise UseError(f"{what} has 1 to {LONGEST_NOTE} characters on one line that can be printed")
    return note


def checked_heard(engine: Engine, cylinder: int, heard: Sequence[Heard]) -> tuple[Heard, ...]:
    """What was heard, if it can be so. Raises UseError for a place or another cylinder that this engine does not have."""
    for one in heard:
        if one.place not in engine.places:
            raise UseError(f"{one.place.replace('_', ' ')} is no place of this engine")
        try:
            checked_neighbour(engine, cylinder, one.place, one.neighbour)
        except ValueError as wrong:
            raise UseError(str(wrong)) from None
    return tuple(heard)


def keep_findings(
    store: Store, job_id: int, cylinder: int, heard: Sequence[Heard], text: str | None, photos: Sequence[Photo], who: str
) -> tuple[Kept, ...]:
    """Keep what was checked before; cylinder 0 is the whole engine. Raises StoreError, and UseError for too many photos.

    The photos belong to the note, else to the one place that was heard, else to a note that says so.
    """
    if len(photos) > MOST_PHOTOS:
        raise UseError(f"{len(photos)} photos are too many at once; {MOST_PHOTOS} at most")
    kept: list[Kept] = []
    for one in heard:
        number = store.add_finding(job_id, cylinder, "heard", place=one.place, detail=one.detail, said_by=who)
        kept.append(Kept(number, "heard", one.place, f"{one.words} (#{number})"))
    if text is None and photos and len(heard) != 1:
        text = "photo" if len(photos) == 1 else "photos"
    if text is not None:
        number = store.add_finding(job_id, cylinder, "note", detail={"text": text}, said_by=who)
        kept.append(Kept(number, "note", None, f"“{text}” (#{number})"))
    if photos:
        owner = kept[-1]
        add_photos(store, owner.finding, photos)
        many = f"{len(photos)} photo{'s' if len(photos) > 1 else ''}"
        named = tuple(photo.name for photo in photos)
        kept[-1] = Kept(owner.finding, owner.kind, owner.place, f"{owner.words} with {many}", named)
    return tuple(kept)


def add_photos(store: Store, finding_id: int, photos: Sequence[Photo]) -> None:
    """Keep photos of a finding that is there. Raises StoreError."""
    for photo in photos:
        store.add_photo(finding_id, photo.name, photo.media_type, photo.width_px, photo.height_px, photo.data)


def drop_finding(store: Store, finding_id: int, reason: str = "") -> tuple[FindingRecord, JobRecord]:
    """Let a finding count no more; it stays in the record. Raises StoreError for a number that is not there, UseError when it
    was dropped before or its job is deleted."""
    finding, job = _finding_and_job(store, finding_id)
    if finding.deleted_at_unix_s is not None:
        raise UseError(f"finding {finding.id} was dropped before; `borewright place restore {finding.id}` brings it back")
    store.delete_finding(finding.id, reason or "dropped by hand")
    return finding, job


def restore_finding(store: Store, finding_id: int) -> tuple[FindingRecord, JobRecord]:
    """Let a dropped finding count again. Raises StoreError and UseError as `drop_finding`."""
    finding, job = _finding_and_job(store, finding_id)
    if finding.deleted_at_unix_s is None:
        raise UseError(f"finding {finding.id} was not dropped: it counts, so there is nothing to bring back")
    store.restore_finding(finding.id)
    return finding, job


def _finding_and_job(store: Store, finding_id: int) -> tuple[FindingRecord, JobRecord]:
    finding = store.get_finding(finding_id)
    job = store.get_job(finding.job_id)
    if job.deleted_at_unix_s is not None:
        raise UseError(f"finding {finding.id} is of the deleted job {job.name}; `borewright job restore` brings that back first")
    return finding, job
