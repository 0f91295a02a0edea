"""The library of engines in the record: each version is kept, the newest counts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store import rows
from borewright.store.database import Database
from borewright.store.jobs import keep_engine
from borewright.store.records import LibraryRecord
from borewright.store.schema import engines, library
from borewright.store.search import found_in

__all__ = ["Library"]

NEWER = "a newer version took its place"

_ENTRIES = sa.select(library, engines.c.document).join(engines, engines.c.id == library.c.engine_id)
_LIVING = library.c.deleted_at_unix_s.is_(None)


class Library(Database):
    """The part of the Store that knows the library of engines."""

    def save_in_library(self, document: Mapping[str, Any]) -> LibraryRecord:
        """Keep an engine under its name (the document's key "name"), as a newer version where the name is there already.

        Jobs keep the version that they were begun with. Raises ValueError when the document has no name.
        """
        name = document.get("name")
        if not isinstance(name, str) or not name:
            raise ValueError("name: an engine of the library has a name")
        now = self._clock()
        with self._write() as connection:
            engine_id = keep_engine(connection, name, document, now)
            row = connection.execute(_ENTRIES.where(library.c.name == name, _LIVING)).one_or_none()
            if row is not None and row.engine_id == engine_id:
                return rows.library_entry(row)
            if row is not None:
                older = library.update().where(library.c.id == row.id)
                connection.execute(older.values(deleted_at_unix_s=now, deleted_reason=NEWER))
            connection.execute(library.insert().values(name=name, engine_id=engine_id, saved_at_unix_s=now))
            return rows.library_entry(connection.execute(_ENTRIES.where(library.c.name == name, _LIVING)).one())

    def list_library(self, search: str = "", removed: bool = False) -> tuple[LibraryRecord, ...]:
        """The engines of the library by name; with removed=True those that were taken out of it instead.

        search: a part of the name, in letters of either case.
        """
        with self._read() as connection:
            found = connection.execute(_ENTRIES.order_by(library.c.name, library.c.id)).all()
        newest = {row.name: row for row in found if row.deleted_at_unix_s is not None}
        living = {row.name: row for row in found if row.deleted_at_unix_s is None}
        shown = [row for name, row in newest.items() if name not in living] if removed else list(living.values())
        return tuple(rows.library_entry(row) for row in shown if not search or found_in(search, row.name))

    def find_in_library(self, name: str) -> LibraryRecord | None:
        """The newest version of the engine of this name, if it is in the library."""
        with self._read() as connection:
            row = connection.execute(_ENTRIES.where(library.c.name == name, _LIVING)).one_or_none()
        return None if row is None else rows.library_entry(row)

    def library_versions(self, name: str) -> tuple[LibraryRecord, ...]:
        """Every version that an engine of this name ever had in the library, oldest first, also after it was removed."""
        with self._read() as connection:
            found = connection.execute(_ENTRIES.where(library.c.name == name).order_by(library.c.id)).all()
        return tuple(rows.library_entry(row) for row in found)

    def remove_from_library(self, name: str) -> None:
        """Take an engine out of the library; its versions and the jobs that used them stay. Raises StoreError."""
        with self._write() as connection:
            row = connection.execute(sa.select(library.c.id).where(library.c.name == name, _LIVING)).one_or_none()
            if row is None:
                raise StoreError(f"there is no engine {name!r} in the library of {self.path}; look at the list of engines")
            gone: dict[str, Any] = {"deleted_at_unix_s": self._clock(), "deleted_reason": "removed from the library"}
            connection.execute(library.update().where(library.c.id == row.id).values(gone))

    def restore_in_library(self, name: str) -> None:
        """Bring the newest version of a removed engine back. Raises StoreError when there is none, or one that is not removed."""
        of_it = sa.select(library).where(library.c.name == name)
        with self._write() as connection:
            if connection.execute(of_it.where(_LIVING)).one_or_none() is not None:
                raise StoreError(f"engine {name!r} is in the library of {self.path}; there is nothing to bring back")
            row = connection.execute(of_it.order_by(library.c.id.desc()).limit(1)).one_or_none()
            if row is None:
                raise StoreError(f"there was never an engine {name!r} in the library of {self.path}; look at the list of engines")
            connection.execute(library.update().where(library.c.id == row.id).values(deleted_at_unix_s=None, deleted_reason=None))
