"""The station: the thread that reads the rig, decides, writes, and after each turn leaves a snapshot for whoever looks.

Whoever looks takes the latest snapshot and hands over acts; neither ever waits for the other. The disk is behind the writer, the
fit in the workers' own process.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import Future
from typing import Protocol

from borewright.core.engine import Engine
from borewright.core.rig import RigSetup
from borewright.link import Endpoint, open_link
from borewright.service import acts
from borewright.service.conditions_of_air import AirConditions
from borewright.service.snapshot import Snapshot
from borewright.service.workers import Workers
from borewright.store.records import JobRecord
from borewright.store.store import Store

__all__ = ["PortSource", "Source", "Station"]


class Source(Protocol):
    """Where a rig is to be had. All of it is called in the station's thread only."""

    @property
    def name(self) -> str:
        """For the person: the port, or what the built-in rig is called."""
        ...

    def open(self) -> Endpoint:
        """A fresh endpoint to the rig. Raises LinkError when it is not to be had now; the station asks again."""
        ...

    def view(self) -> object | None:
        """What can be seen at the rig, frozen: Snapshot.rig. None for a real one, which the person sees for themselves."""
        ...

    def do(self, words: str) -> str:
        """Do at the rig what these words of its person say: "ok …", or "no: …" with the reason."""
        ...


class PortSource:
    """A rig at a port: a name, a pseudo-terminal, or socket://HOST:PORT."""

    def __init__(self, url: str) -> None:
        self.name = url

    def open(self) -> Endpoint:
        """Open the port. Raises LinkError."""
        return open_link(self.name)

    def view(self) -> object | None:
        """Nothing: the person stands before it."""
        return None

    def do(self, words: str) -> str:
        """Nothing can be done from here at a real rig."""
        return f"no: {words} has to be done at the rig itself"


class Station:
    """One rig after the other, one record, one person.

    threaded: read in a thread of its own; else turn() does one turn, and the writer and every wait are in the caller's thread.
    wall_clock: seconds since 1970. who: the person at the rig.
    """

    def __init__(
        self,
        store: Store,
        workers: Workers,
        *,
        wall_clock: Callable[[], float] = time.time,
        threaded: bool = True,
        who: str = "",
    ) -> None:
        raise NotImplementedError

    def connect(self, source: Source) -> None:
        """Take leave of the rig there is, and go to this one. After a loss it is opened again every second, until disconnect()."""

    def disconnect(self) -> None:
        """Shut and vent, keep what was recorded, close the port."""

    def use_job(self, job: JobRecord | None, engine: Engine | None, ambient: AirConditions) -> None:
        """From now on tests belong to this job and this engine. It waits until the rig is vented; evidence is to be shown anew."""

    def use_setup(self, setup: RigSetup) -> None:
        """What is to be known of this rig; kept for its serial number. Waits until the rig is known and vented."""

    def know_checks_again(self) -> None:
        """The record has other checks of this rig now: look them up. Waits until the rig is known and vented."""

    def tell(self, act: acts.Act) -> None:
        """An act of the person; heeded within one turn. Without a rig it is answered with a word in Snapshot.told."""

    def at_rig(self, words: str) -> Future[str]:
        """Have these words done at the rig, where its source can; gives the answer, "ok …" or "no: …"."""
        raise NotImplementedError

    def snapshot(self) -> Snapshot:
        """The latest; never waits."""
        raise NotImplementedError

    def turn(self) -> None:
        """One turn, of a station without a thread: heed what was told, read, decide, write, leave a snapshot."""

    def close(self, wait_s: float = 5.0) -> bool:
        """Take leave of the rig, wait for analyses and for the record; False when that took longer than wait_s."""
        raise NotImplementedError
