"""The rig in the record: what the host has to know of it, and its checks."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import sqlalchemy as sa

from borewright.store import rows
from borewright.store.database import Database, new_id
from borewright.store.schema import rig_checks, rigs

if TYPE_CHECKING:
    from borewright.core.rig import RigCheck, RigSetup

__all__ = ["Rigs"]


class Rigs(Database):
    """The part of the Store that knows rigs."""

    def save_rig(self, device_serial: str, setup: RigSetup) -> None:
        """Keep what the host has to know of a rig; the last saved counts."""
        values = {"setup": asdict(setup), "saved_at_unix_s": self._clock()}
        with self._write() as connection:
            if connection.execute(rigs.update().where(rigs.c.device_serial == device_serial).values(values)).rowcount == 0:
                connection.execute(rigs.insert().values(device_serial=device_serial, **values))

    def get_rig(self, device_serial: str) -> RigSetup | None:
        """What was saved of a rig, or None."""
        with self._read() as connection:
            found = connection.execute(sa.select(rigs.c.setup).where(rigs.c.device_serial == device_serial)).scalar_one_or_none()
        return None if found is None else rows.rig_setup(found, self.path)

    def add_rig_check(self, check: RigCheck, capture_id: int | None = None) -> int:
        """Keep a check of the rig, with the capture that it was read from."""
        with self._write() as connection:
            return new_id(connection.execute(rig_checks.insert().values(**asdict(check), capture_id=capture_id)))

    def latest_rig_checks(self, device_serial: str) -> dict[str, RigCheck]:
        """The newest check of each kind of one device, passed or not."""
        return self._newest(rig_checks.c.device_serial == device_serial)

    def rig_checks_before(self, device_serial: str, unix_s: float) -> dict[str, RigCheck]:
        """The newest check of each kind of one device that is not later than a moment (seconds since 1970), passed or not."""
        return self._newest(rig_checks.c.device_serial == device_serial, rig_checks.c.made_at_unix_s <= unix_s)

    def checked_rigs(self) -> tuple[str, ...]:
        """The serial numbers of the rigs that have been checked, in order."""
        query = sa.select(rig_checks.c.device_serial).distinct().order_by(rig_checks.c.device_serial)
        with self._read() as connection:
            return tuple(connection.execute(query).scalars())

    def _newest(self, *wanted: sa.ColumnElement[bool]) -> dict[str, RigCheck]:
        query = sa.select(rig_checks).where(*wanted).order_by(rig_checks.c.made_at_unix_s, rig_checks.c.id)
        with self._read() as connection:
            return {row.kind: rows.rig_check(row) for row in connection.execute(query)}
