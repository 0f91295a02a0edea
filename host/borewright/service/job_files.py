"""Job files in and out for the window, in steps that can each be given up: made, then written; looked through, then taken in.

Nothing has happened to the disk or to the record until the last step, so that who cancels before it has changed nothing.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from borewright.errors import UseError
from borewright.service.exporting import KINDS, export_bytes
from borewright.service.job_import import checked_job_file
from borewright.service.names import checked_name
from borewright.store.job_file import read_job_file, save_new

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.job_file import JobFile
    from borewright.store.records import JobRecord

__all__ = ["LookedThrough", "Written", "file_of_jobs", "look_through", "take_in", "write_file"]


@dataclass(frozen=True, slots=True)
class Written:
    """A file that was written. size: octets."""

    path: Path
    size: int


@dataclass(frozen=True, slots=True)
class LookedThrough:
    """A job file that was found sound.

    sha256: of its content, so that it is this content that is taken in. jobs: (name, stage, tests) of each. here: those of them
    that are in the record already, in words. taken: names with their stage that another job has here.
    """

    path: Path
    sha256: str
    jobs: tuple[tuple[str, str, int], ...]
    here: tuple[str, ...]
    taken: tuple[tuple[str, str], ...]


def file_of_jobs(store: Store, job_ids: tuple[int, ...], kind: str) -> bytes:
    """These jobs as a file of this kind, one of service.exporting.KINDS. Raises UseError, StoreError."""
    if kind not in KINDS:
        raise UseError(f"{kind!r} is no kind of file that a job is written as; there are {', '.join(KINDS)}")
    return export_bytes(store, [store.get_job(job_id) for job_id in job_ids], kind)


def write_file(_store: Store, path: Path, data: bytes, replace: bool) -> Written | None:
    """Write a file, whole or not at all; None where one is there and is not to be replaced. Raises UseError, StoreError."""
    if path.is_file() and not replace:
        return None
    save_new(path, data, replace=replace)
    return Written(path, len(data))


def look_through(store: Store, path: Path) -> LookedThrough:
    """Every number of a job file read once. Raises UseError with one sentence that names the file where it is not sound."""
    file = checked_job_file(path)
    jobs = file.document["jobs"]
    here = []
    for job in jobs:
        known = store.find_job_by_uid(job["uid"])
        if known is not None:
            away = ", deleted" if known.deleted_at_unix_s is not None else ""
            here.append(f"{known.name}, {known.stage}{away}")
    taken = tuple((job["name"], job["stage"]) for job in jobs if store.find_job(job["name"], job["stage"]) is not None)
    found = tuple((job["name"], job["stage"], len(job["captures"])) for job in jobs)
    return LookedThrough(path, _sha256(file), found, tuple(here), taken)


def take_in(store: Store, looked: LookedThrough, rename: str) -> tuple[JobRecord, ...]:
    """Take all jobs of a file that was looked through into the record, or none. rename: the name that they get here, "" for theirs.

    Raises UseError where the file is another one by now, where a job is here already or its name is taken; StoreError.
    """
    name = checked_name(rename, "a job", "name") if rename else None
    file = read_job_file(looked.path)
    if _sha256(file) != looked.sha256:
        raise UseError(f"{looked.path}: the file has changed since it was looked through; import it again")
    return store.take_in(file, name)


def _sha256(file: JobFile) -> str:
    whole = hashlib.sha256(json.dumps(file.document, sort_keys=True).encode())
    for kept in (file.samples, file.photos):
        for key, data in sorted(kept.items()):
            whole.update(f"{key} {len(data)} ".encode())
            whole.update(data)
    return whole.hexdigest()
