"""Captures that are cut off: what a power cut leaves on the disk, what a kill leaves, and whether the record opens from there.

`power_cuts` records captures through the store with a log of all that SQLite writes below it, and then makes of each log, for a
seeded moment in each capture, the files as a disk could hold them when the power came back. `kills` has a child of this process
record, which ends itself by SIGKILL in a seeded act of writing, half done, or is killed by its parent in the middle of anything.
Time is that of the capture: chunk after chunk without waiting.
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np
from borewright.core.samples import SampleColumns
from borewright.service.on_samples import CHUNK_S
from borewright.store import Store, StoreError
from borewright.store.records import CaptureRecord
from borewright.store.writer import StoreWriter

from .disk_shim import CREATE, OK, Tap, tapped

__all__ = ["BASELINE_S", "Opened", "cuts_at_birth", "kills", "power_cuts"]

SECTOR = 512
RATE_HZ = 1000
BLOCK_S = 0.008  # what the rig sends at a time
BASELINE_S = 2.0  # a capture begins with so much of what was before it
SHORTEST_S, LONGEST_S = 4.0, 14.0
RESULT = {"leakage_percent": 7.5, "budgets": [{"quantity": f"item {k}", "u": 0.1 * k} for k in range(60)]}

Left = Literal["lost", "kept", "reordered", "torn", "garbled", "killed in a write", "killed"]


@dataclass(frozen=True, slots=True)
class Opened:
    """One capture that was cut off, as the record was found.

    lost_s: how long before the cut what is kept of it ends, or how long it had been under way where nothing is kept; the commit
    that was under way takes no time here. trouble: what is wrong with the record, in words; "" where it is as it has to be.
    """

    left: Left
    at_s: float
    lost_s: float
    trouble: str


# ---------------------------------------------------------------------- what is recorded


@dataclass(frozen=True, slots=True)
class Script:
    """What the bench hands to the writer during one test, and when (capture time, from its first sample)."""

    number: int
    columns: SampleColumns
    hands_over: tuple[tuple[float, int, int], ...]  # when, first sample, one past the last

    @classmethod
    def of(cls, number: int, seed: int) -> Script:
        chance = np.random.default_rng([seed, number])
        n = round(RATE_HZ * chance.uniform(SHORTEST_S, LONGEST_S))
        index = np.arange(n, dtype=np.int64)
        raw = (1800 + 60 * np.sin(index / 700.0) + chance.normal(0.0, 3.0, (2, n))).astype(np.uint16)
        columns = SampleColumns(index * 1000, index, index * 0, raw, np.zeros(n, np.uint16), 1_000_000)
        borders = [0, round(BASELINE_S * RATE_HZ)]
        step = round((CHUNK_S + BLOCK_S) * RATE_HZ)  # the first block that makes the chunk long enough
        while borders[-1] < n:
            borders.append(min(n, borders[-1] + step))
        return cls(number, columns, tuple((stop / RATE_HZ, start, stop) for start, stop in pairwise(borders)))


def record(
    writer: StoreWriter, script: Script, job: int, now: Callable[[int, float], None], done: Callable[[int, int], None]
) -> None:
    """Record one capture as the bench does. now(capture, s): it is this late. done(capture, samples): so many are acknowledged."""
    now(script.number, script.hands_over[0][0])
    ticket = writer.begin_capture(job, script.number, laws={"area_m2": 8e-7}, readiness={"air": "met"})
    for at_s, start, stop in script.hands_over:
        now(script.number, at_s)
        writer.append_event(ticket, "readiness", start, at_s, {"before": "filling", "event": "settled", "after": "isolated"})
        writer.append_chunk(ticket, script.columns.between(start, stop))
        if writer.take_news():
            raise AssertionError("the record did not take it")
        done(script.number, stop)
    writer.finish_capture(ticket, RESULT)
    writer.take_news()


# ---------------------------------------------------------------------- power


@dataclass(frozen=True, slots=True)
class _Act:
    kind: Literal["write", "truncate", "sync", "create", "delete", "folder"]
    name: str
    offset: int = 0
    data: bytes = b""


class _Log(Tap):
    """All that goes to the disk, with what was going on. Nothing is really synced: there is no need to wait for it here."""

    def __init__(self) -> None:
        self.acts: list[_Act] = []
        self.now: list[tuple[int, int, float]] = []  # from this act on: capture, its time
        self.done: list[tuple[int, int, int]] = []  # from this act on: capture, samples acknowledged
        self._there: set[str] = set()
        self._unsynced_names: set[str] = set()

    def is_now(self, number: int, s: float) -> None:
        """It is this late in a capture."""
        self.now.append((len(self.acts), number, s))

    def is_done(self, number: int, samples: int) -> None:
        """So many samples of a capture are acknowledged."""
        self.done.append((len(self.acts), number, samples))

    def opened(self, path: str, flags: int) -> None:
        name = Path(path).name
        if flags & CREATE and name not in self._there:
            self._there.add(name)
            self.acts.append(_Act("create", name))
            if not flags & 0x100:  # of the main file SQLite does not have the folder synced; of journal and log at their first sync
                self._unsynced_names.add(name)

    def write(self, path: str, offset: int, data: bytes, go: Callable[[bytes], int]) -> int:
        self.acts.append(_Act("write", Path(path).name, offset, data))
        return go(data)

    def truncate(self, path: str, size: int, go: Callable[[], int]) -> int:
        self.acts.append(_Act("truncate", Path(path).name, size))
        return go()

    def sync(self, path: str, go: Callable[[], int]) -> int:
        del go
        name = Path(path).name
        self.acts.append(_Act("sync", name))
        if name in self._unsynced_names:
            self._unsynced_names.discard(name)
            self.acts.append(_Act("folder", name))
        return OK

    def delete(self, path: str, folder_synced: bool, go: Callable[[], int]) -> int:
        name = Path(path).name
        if name in self._there:
            self._there.discard(name)
            self.acts.append(_Act("delete", name))
            if folder_synced:
                self.acts.append(_Act("folder", name))
        return go()


@dataclass(slots=True)
class _Disk:
    """What is on the disk for sure, and what only the computer knows of."""

    sure: dict[str, bytearray] = field(default_factory=dict)
    waiting: dict[str, list[_Act]] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)
    names_waiting: list[_Act] = field(default_factory=list)

    def take(self, act: _Act) -> None:
        match act.kind:
            case "create":
                self.sure[act.name], self.waiting[act.name] = bytearray(), []
                self.names_waiting.append(act)
            case "delete":
                self.names_waiting.append(act)
            case "folder":
                for one in self.names_waiting:
                    (self.names.add if one.kind == "create" else self.names.discard)(one.name)
                self.names_waiting.clear()
            case "sync":
                for one in self.waiting[act.name]:
                    _put(self.sure[act.name], one)
                self.waiting[act.name].clear()
            case _:
                self.waiting[act.name].append(act)

    def image(self, left: Left, chance: random.Random) -> dict[str, bytes]:
        """The files as they are found.

        reordered: each sector that was not synced is there or not. torn: all up to a sector of one write. garbled: as torn, and
        that sector holds anything.
        """
        names = set(self.names)
        known = {"lost": 0, "kept": len(self.names_waiting)}.get(left, chance.randint(0, len(self.names_waiting)))
        for one in self.names_waiting[:known]:
            (names.add if one.kind == "create" else names.discard)(one.name)
        return {name: bytes(self._content(name, left, chance)) for name in sorted(names)}

    def _content(self, name: str, left: Left, chance: random.Random) -> bytearray:
        content, waiting = bytearray(self.sure[name]), self.waiting[name]
        if left == "kept":
            for act in waiting:
                _put(content, act)
        elif left == "reordered":
            for act in waiting:
                for sector in _sectors(act):
                    if chance.random() < 0.5:
                        _put(content, sector)
        elif left in ("torn", "garbled") and waiting:
            whole = chance.randrange(len(waiting))
            for act in waiting[:whole]:
                _put(content, act)
            sectors = list(_sectors(waiting[whole]))
            cut = chance.randrange(len(sectors))
            for sector in sectors[:cut]:
                _put(content, sector)
            if left == "garbled" and sectors[cut].kind == "write":
                _put(content, _Act("write", name, sectors[cut].offset, chance.randbytes(len(sectors[cut].data))))
        return content


def _sectors(act: _Act) -> Iterator[_Act]:
    if act.kind != "write":
        yield act
        return
    at = 0
    while at < len(act.data):
        size = min(SECTOR - (act.offset + at) % SECTOR, len(act.data) - at)
        yield _Act("write", act.name, act.offset + at, act.data[at : at + size])
        at += size


def _put(content: bytearray, act: _Act) -> None:
    if act.kind == "truncate":
        if len(content) > act.offset:
            del content[act.offset :]
        return
    if len(content) < act.offset:
        content.extend(bytes(act.offset - len(content)))
    content[act.offset : act.offset + len(act.data)] = act.data


def power_cuts(folder: Path, count: int, seed: int, of_a_record: int = 10) -> Iterator[Opened]:
    """So many captures, each cut off by a power cut; of_a_record: so many of them stand one after the other in one file."""
    for first in range(0, count, of_a_record):
        chance = random.Random(seed + first)
        scripts = [Script.of(number, seed + first) for number in range(1, min(of_a_record, count - first) + 1)]
        log = _Log()
        path = folder / f"recorded-{first}" / "shop.db"
        path.parent.mkdir()
        with tapped(log), Store.open(path) as store:
            job = store.create_job("climb", "before", store.save_engine("four", {}))
            writer = StoreWriter(store, threaded=False)
            for script in scripts:
                record(writer, script, job, log.is_now, log.is_done)
        begins = [next(at for at, number, _ in log.now if number == script.number) for script in scripts]
        cuts = [chance.randrange(begin, end) for begin, end in zip(begins, [*begins[1:], len(log.acts)], strict=True)]
        yield from _replayed(folder / f"found-{first}", log, scripts, list(enumerate(cuts, start=1)), chance)


def cuts_at_birth(folder: Path, count: int, seed: int) -> Iterator[Opened]:
    """So many power cuts while the record file itself is being made, before any capture."""
    chance, log = random.Random(seed), _Log()
    path = folder / "born" / "shop.db"
    path.parent.mkdir()
    with tapped(log), Store.open(path) as store:
        store.create_job("climb", "before", store.save_engine("four", {}))
    cuts = sorted(chance.randrange(len(log.acts)) for _ in range(count))
    yield from _replayed(folder / "found-born", log, [], [(0, cut) for cut in cuts], chance)


def _replayed(
    folder: Path, log: _Log, scripts: list[Script], cuts: list[tuple[int, int]], chance: random.Random
) -> Iterator[Opened]:
    """cuts: capture (0: none yet) and the act in which it was cut off, in the order of the acts."""
    disk, at = _Disk(), 0
    for place, (number, cut) in enumerate(cuts):
        for act in log.acts[at : cut + 1]:
            disk.take(act)
        at = cut + 1
        left: Left = chance.choice(("lost", "kept", "reordered", "torn", "garbled"))
        path = folder / str(place) / "shop.db"
        path.parent.mkdir(parents=True)
        for name, content in disk.image(left, chance).items():
            path.with_name(name).write_bytes(content)
        if chance.random() < 0.5:  # the index of the log is no part of what is recorded; it may hold anything
            path.with_name("shop.db-shm").write_bytes(chance.randbytes(32_768))
        if chance.random() < 0.5:
            path.with_name("shop.db-recording").touch()
        begun = any(begun_at <= cut and of == number for begun_at, of, _ in log.now)
        now_s = max((s for now_at, of, s in log.now if of == number and now_at <= cut), default=0.0)
        acknowledged = max((samples for done_at, of, samples in log.done if of == number and done_at <= cut), default=0)
        cut_off = next((script for script in scripts if begun and script.number == number), None)
        earlier = {script.number: len(script.columns) for script in scripts if script.number < number}
        yield found(path, left, scripts, cut_off, now_s, acknowledged, earlier)


# ---------------------------------------------------------------------- what is found


def found(
    path: Path, left: Left, scripts: list[Script], cut: Script | None, now_s: float, acknowledged: int, earlier: dict[int, int]
) -> Opened:
    """Open the record that was left and look at every capture.

    cut: the one that was cut off at now_s, None: none had begun. acknowledged: samples of it. earlier: of those before it, by
    number, how many samples were kept; what is kept of this one is added to it.
    """
    try:
        with Store.open(path) as store:
            kept = 0 if cut is None else _kept(store, scripts, cut, acknowledged, earlier)
            again = store.begin_capture(None, 0, purpose="sealed")
            store.finish_capture(again, void_reason="tried")
        connection = sqlite3.connect(path)
        told = connection.execute("PRAGMA integrity_check").fetchone()[0]
        connection.close()
        if told != "ok":
            raise AssertionError(f"integrity_check: {told}")
    except (StoreError, AssertionError) as error:
        return Opened(left, now_s, now_s, f"{type(error).__name__}: {error}")
    if cut is None:
        return Opened(left, 0.0, 0.0, "")
    earlier[cut.number] = kept
    return Opened(left, now_s, max(now_s - max(kept / RATE_HZ, BASELINE_S), 0.0), "")


def _kept(store: Store, scripts: list[Script], cut: Script, acknowledged: int, earlier: dict[int, int]) -> int:
    """How many samples of the one that was cut off are there. Raises AssertionError where anything is not as it was recorded."""
    captures = {capture.cylinder: capture for capture in store.list_captures() if capture.job_id is not None}
    kept = {script.number: _whole(store, script, captures.get(script.number)) for script in scripts}
    others = {number: samples for number, samples in kept.items() if number != cut.number and samples}
    if others != {number: samples for number, samples in earlier.items() if samples}:
        raise AssertionError(f"of the other captures there are {others} samples and not {earlier}")
    if kept[cut.number] < acknowledged:
        raise AssertionError(f"{acknowledged} samples were acknowledged and {kept[cut.number]} are there")
    return kept[cut.number]


def _whole(store: Store, script: Script, capture: CaptureRecord | None) -> int:
    """How many samples are there, which must be the first that were recorded, and all of them where the capture is complete."""
    if capture is None:
        return 0
    if capture.state not in ("complete", "crashed") or (capture.state == "crashed") != bool(capture.void_reason):
        raise AssertionError(f"capture {script.number} is {capture.state} ({capture.void_reason})")
    try:
        columns = store.load_columns(capture.id)
    except StoreError as error:
        if "holds no samples" not in str(error):
            raise
        columns = script.columns.between(0, 0)
    wanted = script.columns.between(0, len(columns))
    if not (np.array_equal(columns.index, wanted.index) and np.array_equal(columns.raw, wanted.raw)):
        raise AssertionError(f"the samples of capture {script.number} are not those that were recorded")
    if capture.state == "complete" and (len(columns) < len(script.columns) or capture.result != RESULT):
        raise AssertionError(f"capture {script.number} is complete and not whole")
    return len(columns)


# ---------------------------------------------------------------------- kills

WRITES_OF_A_CAPTURE = 220  # about as many as there are in a capture of middle length
_NOW, _DONE = struct.Struct("<cid"), struct.Struct("<cii")


class _Killing(Tap):
    """Ends the process in the middle of an act of writing. at: which one, counted from the capture's beginning; 0: never."""

    def __init__(self, at: int, share: float) -> None:
        self._left, self._share = at, share

    def write(self, path: str, offset: int, data: bytes, go: Callable[[bytes], int]) -> int:
        del path, offset
        self._left -= 1
        if self._left == 0:
            if part := data[: round(self._share * len(data))]:
                go(part)
            os.kill(os.getpid(), signal.SIGKILL)
        return go(data)

    def sync(self, path: str, go: Callable[[], int]) -> int:
        del path, go
        return OK  # what is written outlives a process, synced or not


def kills(folder: Path, count: int, seed: int, of_a_record: int = 10) -> Iterator[Opened]:
    """So many captures, each killed; of_a_record: so many of them stand one after the other in one file."""
    for first in range(0, count, of_a_record):
        chance = random.Random(seed + first)
        path = folder / f"killed-{first}.db"
        with Store.open(path) as store:
            job = store.create_job("climb", "before", store.save_engine("four", {}))
        scripts: list[Script] = []
        earlier: dict[int, int] = {}
        for number in range(1, min(of_a_record, count - first) + 1):
            scripts.append(Script.of(number, seed + first))
            in_a_write = chance.random() < 0.6
            tap = _Killing(chance.randint(1, WRITES_OF_A_CAPTURE) if in_a_write else 0, chance.random())
            tells = None if in_a_write else chance.randint(1, 2 * len(scripts[-1].hands_over))
            now_s, acknowledged = _killed(path, scripts[-1], job, tap, tells)
            left: Left = "killed in a write" if in_a_write else "killed"
            yield found(path, left, scripts, scripts[-1], now_s, acknowledged, earlier)


def _killed(path: Path, script: Script, job: int, tap: Tap, tells: int | None) -> tuple[float, int]:
    """Have a child record the capture until it is killed: by itself, or by us once it has told so often how far it is."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)

        def told(words: bytes) -> None:
            os.write(write, words)

        with tapped(tap):
            store = Store.open(path)
            writer = StoreWriter(store, threaded=False)
            record(
                writer,
                script,
                job,
                lambda number, s: told(_NOW.pack(b"n", number, s)),
                lambda number, samples: told(_DONE.pack(b"d", number, samples)),
            )
        os._exit(0)
    os.close(write)
    now_s, acknowledged, heard = 0.0, 0, 0
    with os.fdopen(read, "rb") as heard_from:
        while kind := heard_from.read(1):
            if kind == b"n":
                now_s = _NOW.unpack(kind + heard_from.read(_NOW.size - 1))[2]
            else:
                acknowledged = _DONE.unpack(kind + heard_from.read(_DONE.size - 1))[2]
            heard += 1
            if heard == tells:
                os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return now_s, acknowledged
