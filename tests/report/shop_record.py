"""A record with two stages of one engine, made by hand: curves, budgets, checks of the rig, a void test, notes and photos."""

from __future__ import annotations

import io
from dataclasses import asdict
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
from borewright.core.instrument import Instrument
from borewright.core.kept import SpanChannel, SpanKept, ZeroKept, check_of
from borewright.core.plain import to_plain
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns
from borewright.core.span import ReferenceGauge, SpanPoint, fit_span
from borewright.core.uncertainty import Budget, Item
from borewright.store import Store
from PIL import Image

RATE_HZ = 1_000_000
BEGAN_UNIX_S = 1_780_000_000.0
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
RESTRICTOR = Restrictor(8.08e-7, u_relative=0.014)
LEAKAGE = {"before": (7.7, 31.1, 6.7, 14.8), "after": (5.3, 6.7, 4.7, 7.7)}


def engine(cylinders: int = 4) -> dict[str, Any]:
    """An engine file's document."""
    return {
        "schema_version": 1,
        "name": "Larch four",
        "cycle": "four-stroke",
        "firing_order": [1, 3, 4, 2] if cylinders == 4 else list(range(1, cylinders + 1)),
        "bore_mm": 81.5,
        "stroke_mm": 76.6,
        "rod_mm": 134.0,
        "compression_ratio": 11.2,
    }


def laws() -> dict[str, Any]:
    """What turns raw words into a result."""
    return {
        "regulated": asdict(LAW),
        "cylinder": asdict(LAW),
        "regulated_channel": 0,
        "cylinder_channel": 1,
        "restrictor_area_m2": RESTRICTOR.area_m2,
        "restrictor": to_plain(RESTRICTOR),
        "regulated_range_gauge_pa": [496_000.0, 620_000.0],
        "p_ambient_abs_pa": 98_900.0,
        "t_supply_k": 290.15,
        "t_engine_k": 314.15,
        "instrument": to_plain(Instrument(RESTRICTOR, 98_900.0, 100.0, 290.15, 1.5, 314.15, 2.0)),
        "assumed": [],
    }


def samples_of(leakage_percent: float) -> tuple[SampleColumns, dict[str, Any]]:
    """Samples of a test at a thousand a second, and its result."""
    regulated_pa = 546_000.0
    cylinder_pa = regulated_pa * (1.0 - leakage_percent / 100.0)
    half_s = 4.0 / leakage_percent
    t_s = np.arange(5_000) / 1000.0
    fill, decay = 1.0 - np.exp(-(t_s - 0.5) / 0.15), np.exp(-(t_s - 3.0) * np.log(2.0) / half_s)
    cylinder = np.where(t_s < 0.5, 0.0, np.where(t_s < 3.0, fill, decay)) * cylinder_pa
    cylinder[4_800:] = 0.0
    regulated = np.where((t_s >= 0.5) & (t_s < 3.0), regulated_pa, 0.0)
    raw = np.array([[LAW.raw_at(0.0) + pa / LAW.pa_per_raw for pa in one] for one in (regulated, cylinder)])
    steps = np.arange(5_000, dtype=np.int64)
    columns = SampleColumns(
        steps * 1000, steps, steps * 0, np.rint(raw).astype(np.uint16), np.zeros(5_000, dtype=np.uint16), RATE_HZ
    )
    area_mm2 = 0.14 * leakage_percent**0.57
    budgets = [
        Budget("leakage", "%", leakage_percent, (Item("noise of the readings", 0.02, 40.0, "A"), Item("gain", 0.02))),
        Budget("leak area", "mm²", area_mm2, (Item("noise of the readings", 0.002, 40.0, "A"), Item("restrictor", 0.006))),
        Budget("trapped volume", "cm³", 73.0, (Item("restrictor", 1.2),)),
    ]
    return columns, {
        "leakage_percent": leakage_percent,
        "leak_area_mm2": area_mm2,
        "p_regulated_gauge_pa": regulated_pa,
        "p_cylinder_gauge_pa": cylinder_pa,
        "t75_s": half_s * 0.42,
        "t50_s": half_s,
        "t25_s": half_s * 2.0,
        "steady": True,
        "zero_regulated_pa": 0.0,
        "zero_cylinder_pa": 0.0,
        "phases": {
            "baseline": [0, 490],
            "puff": None,
            "fill": [500, 1000],
            "steady": [1000, 3000],
            "isolated": [3000, 4800],
            "vent": None,
        },
        "budgets": [budget.as_dict() for budget in budgets],
    }


def add_test(store: Store, job_id: int, cylinder: int, leakage_percent: float, marks: tuple[str, ...] = ()) -> int:
    """A finished test with its samples."""
    columns, result = samples_of(leakage_percent)
    versions = {"borewright": "0.1.0", "firmware": "boresim 1"}
    capture_id = store.begin_capture(job_id, cylinder, device_serial="R-1", laws=laws(), versions=versions)
    store.append_chunk(capture_id, columns)
    store.finish_capture(capture_id, result, marks=marks)
    return capture_id


def picture(width: int = 640, height: int = 480, kind: str = "JPEG", colour: str = "#557799") -> bytes:
    """A picture of one colour."""
    made = io.BytesIO()
    Image.new("RGB", (width, height), colour).save(made, kind)
    return made.getvalue()


def open_record(path: Path) -> Store:
    """A new record whose clock goes on by a minute with every question."""
    minutes = count()
    return Store.open(path, clock=lambda: BEGAN_UNIX_S + 60.0 * next(minutes))


def four_before_and_after(store: Store) -> tuple[int, int]:
    """The jobs of a four-cylinder engine before and after, with all that a report shows."""
    engine_id = store.save_engine("Larch four", engine())
    details = {"hours": "812 h", "engine_temperature_k": 314.15, "compression_gauge_pa": {"1": 1.31e6, "3": 0.98e6}}
    before = store.create_job("hill-climb 7", "before", engine_id, "R. Holm <b> & Söhne", "A. Birch", details)
    store.add_rig_check(check_of(ZeroKept("5f2e", 120.0, -340.0), BEGAN_UNIX_S - 600.0, "A. Birch", "R-1", True))
    store.add_rig_check(check_of(_span(), BEGAN_UNIX_S - 86_400.0, "A. Birch", "R-1", True))
    for cylinder, leakage_percent in enumerate(LEAKAGE["before"], start=1):
        add_test(store, before, cylinder, leakage_percent, ("the zeros had wandered",) if cylinder == 2 else ())
    void = store.begin_capture(before, 3, device_serial="R-1", laws=laws())
    store.finish_capture(void, void_reason="the crank left its window")
    store.add_finding(before, 2, "heard", place="exhaust", detail={"strength": "strong"}, said_by="A. Birch")
    store.add_finding(before, 2, "heard", place="intake", detail={"strength": "none"}, said_by="A. Birch")
    note = store.add_finding(before, 2, "note", place="exhaust", detail={"text": "hiss at the tail pipe"}, said_by="A. Birch")
    octets = picture()
    store.add_photo(note, "seat.jpg", "image/jpeg", 640, 480, octets)
    after = store.create_job("hill-climb 7", "after", engine_id, "R. Holm <b> & Söhne", "A. Birch", {"hours": "813 h"})
    for cylinder, leakage_percent in enumerate(LEAKAGE["after"], start=1):
        add_test(store, after, cylinder, leakage_percent)
    return before, after


def _span() -> SpanKept:
    gauge = ReferenceGauge("G-7", "C-2026-12", BEGAN_UNIX_S - 30 * 86_400.0)
    points = tuple(SpanPoint(pa, 30.0, pa * 1.002 + 900.0, 300.0, 900) for pa in (0.0, 200e3, 400e3, 600e3))
    channel = SpanChannel("T-1", points, fit_span(points, 0.0, 1e6, 600e3, gauge))
    return SpanKept("5f2e", gauge, channel, channel)
