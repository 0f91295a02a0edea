"""Record files with something of everything in them, for tests that look at whole files."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path

import numpy as np
from borewright.core.rig import RigCheck
from borewright.core.samples import SampleColumns
from borewright.store import Store


def second(number: int) -> SampleColumns:
    """The samples of one second of a test, each different from the next."""
    index = np.arange(number * 1000, (number + 1) * 1000)
    raw = np.random.default_rng(number).integers(0, 4096, (3, 1000)).astype(np.uint16)
    return SampleColumns(index * 1000, index, 0 * index, raw, np.zeros(1000, np.uint16), 1_000_000)


def shop_record(path: Path, seconds: int = 3) -> Path:
    """A job with a complete test, a void one, a declared one, a finding with a photo, and a job that was deleted."""
    with Store.open(path, clock=lambda: 1_700_000_000.0) as store:
        engine = store.save_engine("Larch four (invented)", {"bore_mm": 86.0})
        job = store.create_job("hill-climb 7", "before", engine)
        for cylinder, void in ((1, None), (2, "the crank moved")):
            capture = store.begin_capture(job, cylinder, device_serial="S-1")
            for number in range(seconds):
                store.append_chunk(capture, second(number))
            store.append_event(capture, "SupplyOpen", 12, 0.5, {"opening_id": 1})
            store.finish_capture(capture, {"leakage_percent": 9.25}, void_reason=void)
        store.add_declared(job, 3, result={"leakage_percent": 8.0}, declared={"who": "Ada"}, laws={}, marks=["declared"])
        finding = store.add_finding(job, 1, "heard", place="exhaust", detail={"strength": "strong"}, said_by="Ada")
        store.add_photo(finding, "valve.jpg", "image/jpeg", 4, 3, b"a picture")
        store.add_rig_check(RigCheck("zero", 1.7e9, "Ada", "S-1", True, {"zero_regulated_pa": 12.5}))
        store.delete_job(store.create_job("hill-climb 8", "before", engine), "a slip")
    return path


def changed(path: Path, *statements: str) -> Path:
    """The file after another program has had its way with it, guards and all."""
    with sqlite3.connect(path) as raw:
        guards = raw.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            raw.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            raw.execute(statement)
        for _, sql in guards:
            raw.execute(sql)
    raw.close()
    return path


def content(path: Path) -> list[str]:
    """Everything in a file as SQL."""
    with sqlite3.connect(path) as raw:
        lines = list(raw.iterdump())
    raw.close()
    return lines


def octets(path: Path) -> str:
    """What tells two files apart."""
    return hashlib.sha256(path.read_bytes()).hexdigest()
