"""Jobs that come from another record: all of a job file, or nothing of it.

What comes in keeps its identity (uid), so that the same job cannot come in twice, and all its numbers; only the running numbers of
its tests are this record's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from borewright.errors import UseError
from borewright.store import rows
from borewright.store.database import new_id
from borewright.store.jobs import Jobs, keep_engine
from borewright.store.schema import capture_chunks, captures, events, findings, jobs, photos, rig_checks, rigs

if TYPE_CHECKING:
    from borewright.core.rig import RigCheck
    from borewright.store.job_file import JobFile
    from borewright.store.records import JobRecord

__all__ = ["CAPTURE_KEYS", "FINDING_KEYS", "JOB_KEYS", "PHOTO_KEYS", "Transfer"]

CAPTURE_KEYS = (
    *("uid", "purpose", "cylinder", "state", "started_at_unix_s", "ended_at_unix_s", "void_reason", "declared", "result", "laws"),
    *("versions", "readiness", "device_serial", "deleted_at_unix_s"),
)
FINDING_KEYS = ("uid", "cylinder", "kind", "place", "detail", "said_by", "at_unix_s", "deleted_at_unix_s")
PHOTO_KEYS = ("name", "media_type", "width_px", "height_px", "sha256", "size")
JOB_KEYS = ("uid", "name", "stage", "customer_reference", "technician", "details", "created_at_unix_s", "archived_at_unix_s")
BEFORE = "deleted before it was imported"


class Transfer(Jobs):
    """The part of the Store that lets whole jobs out and in; service.job_import is the way in for a file that nobody knows."""

    def find_job_by_uid(self, uid: str) -> JobRecord | None:
        """The job of this identity, deleted or not."""
        with self._read() as connection:
            row = connection.execute(rows.JOBS.where(jobs.c.uid == uid)).one_or_none()
        return None if row is None else rows.job(row)

    def sample_counts(self, job_id: int) -> Mapping[int, int]:
        """How many raw samples each test of a job has; a test without any is not in it."""
        of_it = sa.select(capture_chunks.c.capture_id, sa.func.sum(capture_chunks.c.sample_count))
        query = of_it.join(captures, captures.c.id == capture_chunks.c.capture_id).where(captures.c.job_id == job_id)
        with self._read() as connection:
            found = connection.execute(query.group_by(capture_chunks.c.capture_id)).all()
        return {row[0]: row[1] for row in found}

    def rig_checks_of(self, device_serial: str) -> tuple[RigCheck, ...]:
        """Every check of one device, oldest first."""
        query = sa.select(rig_checks).where(rig_checks.c.device_serial == device_serial)
        with self._read() as connection:
            found = connection.execute(query.order_by(rig_checks.c.made_at_unix_s, rig_checks.c.id)).all()
        return tuple(rows.rig_check(row) for row in found)

    def take_in(self, file: JobFile, rename: str | None = None) -> tuple[JobRecord, ...]:
        """Put all jobs of a file into the record, or none. rename: the name that they get here.

        Raises UseError when one of them is here already, deleted or not, when its name is taken, or when the file does not hold
        together; nothing has been written then.
        """
        listed = [job | ({} if rename is None else {"name": rename}) for job in file.document["jobs"]]
        _check_references(listed)
        _check_content(file.document)
        for job in listed:
            self._check_new(job)
        with self._write() as connection:
            made = [_insert_job(connection, job, file) for job in listed]
            _insert_rigs(connection, file.document)
        return tuple(self.get_job(job_id) for job_id in made)

    def _check_new(self, job: Mapping[str, Any]) -> None:
        here = self.find_job_by_uid(job["uid"])
        if here is not None:
            how = ", deleted; `borewright job restore` brings it back" if here.deleted_at_unix_s is not None else ""
            raise UseError(
                f"job {job['name']!r} is in {self.path} already, as {here.name!r}, {here.stage}{how}; nothing was imported"
            )
        if self.find_job(job["name"], job["stage"]) is not None:
            raise UseError(
                f"another job in {self.path} is called {job['name']!r} at stage {job['stage']!r}; "
                "give --as NAME to import it under another name"
            )


def _check_content(document: Mapping[str, Any]) -> None:
    """What the schema cannot say: text that a terminal can show, details of a job. Rigs are the caller's to look at."""
    from borewright.core.job_details import JobDetails  # noqa: PLC0415 -- only an import needs it

    for text in _texts(document):
        if any(not (letter.isprintable() or letter in "\n\t") for letter in text):
            raise UseError("this job file holds text that cannot be shown; export the job again")
    try:
        for job in document["jobs"]:
            JobDetails.from_dict(job["details"])
    except ValueError as error:
        raise UseError(f"this job file holds what this program cannot read ({error}); export the job again") from None


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield key
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def _check_references(listed: Sequence[Mapping[str, Any]]) -> None:
    """What points to a test or a finding points into the same job, and no uid stands twice."""
    seen: set[str] = set()
    names: set[tuple[str, str]] = set()
    for job in listed:
        tests = {capture["uid"] for capture in job["captures"]}
        found = {finding["uid"] for finding in job["findings"]}
        named = (job["name"], job["stage"])
        if named in names:
            raise UseError(f"this job file holds job {job['name']!r} at stage {job['stage']!r} twice; export the job again")
        names.add(named)
        uids = [job["uid"], *(capture["uid"] for capture in job["captures"]), *(finding["uid"] for finding in job["findings"])]
        if len(set(uids)) < len(uids) or seen & set(uids):
            raise UseError("this job file names the same thing twice; export the job again")
        seen |= set(uids)
        strays = [one["capture"] for one in job["findings"] if one["capture"] not in (None, *tests)]
        strays += [photo["finding"] for photo in job["photos"] if photo["finding"] not in found]
        if strays:
            raise UseError("a finding or photo of this job file belongs to nothing in it; export the job again")


def _insert_job(connection: sa.Connection, job: Mapping[str, Any], file: JobFile) -> int:
    engine = job["engine"]
    values = {key: job[key] for key in JOB_KEYS} | {
        "engine_id": keep_engine(connection, engine["name"], engine["document"], job["created_at_unix_s"])
    }
    job_id = new_id(connection.execute(jobs.insert().values(values)))
    ids = {capture["uid"]: _insert_capture(connection, job_id, capture, file) for capture in job["captures"]}
    finding_ids = {}
    for finding in job["findings"]:
        reason = {"deleted_reason": BEFORE} if finding["deleted_at_unix_s"] is not None else {}
        row = {key: finding[key] for key in FINDING_KEYS} | {"job_id": job_id, "capture_id": ids.get(finding["capture"])} | reason
        finding_ids[finding["uid"]] = new_id(connection.execute(findings.insert().values(row)))
    for photo in job["photos"]:
        row = {key: photo[key] for key in PHOTO_KEYS}
        row |= {"finding_id": finding_ids[photo["finding"]], "data": file.photos[photo["sha256"]]}
        connection.execute(photos.insert().values(row))
    return job_id


def _insert_capture(connection: sa.Connection, job_id: int, capture: Mapping[str, Any], file: JobFile) -> int:
    from borewright.store.packing import pack  # noqa: PLC0415 -- loads numpy

    row = {key: capture[key] for key in CAPTURE_KEYS} | {"job_id": job_id, "marks": capture["marks"]}
    if capture["deleted_at_unix_s"] is not None:
        row["deleted_reason"] = BEFORE
    capture_id = new_id(connection.execute(captures.insert().values(row)))
    if capture["samples"]:
        columns = file.columns(capture["uid"])
        chunk = {"capture_id": capture_id, "number": 1, "sample_count": len(columns), "packed": pack(columns)}
        connection.execute(capture_chunks.insert().values(chunk))
    if capture["events"]:
        connection.execute(events.insert(), [event | {"capture_id": capture_id} for event in capture["events"]])
    return capture_id


def _insert_rigs(connection: sa.Connection, document: Mapping[str, Any]) -> None:
    """Rigs that the record does not know, and checks that it does not have: a rig that is known keeps its setup."""
    for serial, setup in document["rigs"].items():
        if connection.execute(sa.select(rigs.c.device_serial).where(rigs.c.device_serial == serial)).one_or_none() is None:
            connection.execute(rigs.insert().values(device_serial=serial, setup=setup, saved_at_unix_s=0.0))
    for check in document["rig_checks"]:
        same = (rig_checks.c[key] == check[key] for key in ("device_serial", "kind", "made_at_unix_s"))
        if connection.execute(sa.select(rig_checks.c.id).where(*same)).first() is None:
            connection.execute(rig_checks.insert().values(check))
