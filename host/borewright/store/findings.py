"""Findings in the record: what a person heard, measured or saw at a cylinder, with photos."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from typing import Any, get_args

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store import rows
from borewright.store.database import Database, new_id
from borewright.store.records import FindingKind, FindingRecord, PhotoRecord, Strength
from borewright.store.schema import findings, jobs, photos

__all__ = ["Findings"]

_NUMBERS = {
    "flow": ("orifice_area_m2", "u_orifice_relative", "p_place_gauge_pa", "u_p_place_pa", "p_cylinder_gauge_pa"),
    "stop_gauge": ("p_place_gauge_pa",),
}
_WITHOUT_PICTURE = [column for column in photos.columns if column.name != "data"]


class Findings(Database):
    """The part of the Store that knows findings and photos."""

    def add_finding(
        self,
        job_id: int,
        cylinder: int,
        kind: FindingKind,
        *,
        place: str | None = None,
        detail: Mapping[str, Any],
        said_by: str,
        capture_id: int | None = None,
    ) -> int:
        """Keep a finding; cylinder 0 is the whole engine. detail: as FindingRecord says for each kind.

        Raises ValueError for a detail that does not fit the kind, or for a place that is missing.
        """
        _check(cylinder, kind, place, detail)
        with self._write() as connection:
            if connection.execute(sa.select(jobs.c.id).where(jobs.c.id == job_id)).one_or_none() is None:
                raise StoreError(f"there is no job {job_id} in {self.path}; look at the list of jobs")
            return new_id(
                connection.execute(
                    findings.insert().values(
                        uid=self._new_uid(),
                        job_id=job_id,
                        cylinder=cylinder,
                        kind=kind,
                        place=place,
                        detail=dict(detail),
                        said_by=said_by,
                        at_unix_s=self._clock(),
                        capture_id=capture_id,
                    )
                )
            )

    def get_finding(self, finding_id: int) -> FindingRecord:
        """One finding, also a deleted one. Raises StoreError where there is none of that number."""
        with self._read() as connection:
            row = connection.execute(sa.select(findings).where(findings.c.id == finding_id)).one_or_none()
        if row is None:
            raise StoreError(f"there is no finding {finding_id} in {self.path}; `borewright place show` shows those of a job")
        return rows.finding(row)

    def list_findings(self, job_id: int, deleted: bool = False) -> tuple[FindingRecord, ...]:
        """The findings of a job, oldest first; with deleted=True also those marked as deleted."""
        query = sa.select(findings).where(findings.c.job_id == job_id).order_by(findings.c.id)
        if not deleted:
            query = query.where(findings.c.deleted_at_unix_s.is_(None))
        with self._read() as connection:
            return tuple(rows.finding(row) for row in connection.execute(query))

    def delete_finding(self, finding_id: int, reason: str) -> None:
        """Mark a finding as deleted, and its photos with it. Nothing of it is removed from the file."""
        self._bury(findings, "finding", finding_id, reason)

    def restore_finding(self, finding_id: int) -> None:
        """Take a deletion back."""
        with self._write() as connection:
            self._unbury(connection, findings, "finding", finding_id)

    def add_photo(self, finding_id: int, name: str, media_type: str, width_px: int, height_px: int, data: bytes) -> int:
        """Keep a photo of a finding; whether data is a picture of that type and size is for the caller to have checked."""
        values = {"name": name, "media_type": media_type, "width_px": width_px, "height_px": height_px, "data": data}
        of_data = {"sha256": hashlib.sha256(data).hexdigest(), "size": len(data)}
        with self._write() as connection:
            if connection.execute(sa.select(findings.c.id).where(findings.c.id == finding_id)).one_or_none() is None:
                raise StoreError(f"there is no finding {finding_id} in {self.path}; look at the list of the job's findings")
            return new_id(connection.execute(photos.insert().values(finding_id=finding_id, **values, **of_data)))

    def list_photos(self, job_id: int) -> tuple[PhotoRecord, ...]:
        """The photos of a job's findings that are not deleted, in the order of the findings."""
        query = (
            sa.select(*_WITHOUT_PICTURE)
            .join(findings, findings.c.id == photos.c.finding_id)
            .where(findings.c.job_id == job_id, findings.c.deleted_at_unix_s.is_(None))
            .order_by(photos.c.finding_id, photos.c.id)
        )
        with self._read() as connection:
            return tuple(rows.photo(row) for row in connection.execute(query))

    def get_photo(self, photo_id: int) -> bytes:
        """The picture itself. Raises StoreError when it is not there or no longer what was kept."""
        with self._read() as connection:
            row = connection.execute(sa.select(photos.c.data, photos.c.sha256).where(photos.c.id == photo_id)).one_or_none()
        if row is None:
            raise StoreError(f"there is no photo {photo_id} in {self.path}; look at the list of the job's findings")
        if hashlib.sha256(row.data).hexdigest() != row.sha256:
            raise StoreError(f"photo {photo_id} in {self.path} is damaged; keep a copy of the file and add the photo again")
        return bytes(row.data)


def _check(cylinder: int, kind: FindingKind, place: str | None, detail: Mapping[str, Any]) -> None:
    if cylinder < 0:
        raise ValueError(f"cylinder: {cylinder} is none; 0 is the whole engine")
    if kind not in get_args(FindingKind):
        raise ValueError(f"kind: {kind!r} is none of {', '.join(get_args(FindingKind))}")
    if kind != "note" and not place:
        raise ValueError(f"place: a finding of kind {kind!r} is at a place")
    if kind == "heard" and detail.get("strength") not in get_args(Strength):
        raise ValueError(f"strength: {detail.get('strength')!r} is none of {', '.join(get_args(Strength))}")
    neighbour = detail.get("neighbour", 1)
    if kind == "heard" and (isinstance(neighbour, bool) or not isinstance(neighbour, int) or neighbour < 1):
        raise ValueError(f"neighbour: {neighbour!r} is no number of a cylinder")
    if kind == "note" and not isinstance(detail.get("text"), str):
        raise ValueError("text: a note is a text")
    for key in _NUMBERS.get(kind, ()):
        value = detail.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise ValueError(f"{key}: a finding of kind {kind!r} needs this number")
