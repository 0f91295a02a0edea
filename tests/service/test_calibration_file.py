"""The portable calibration file: exact there and back, and strict about what it reads."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import reduce
from pathlib import Path
from typing import Any

import pytest
from borewright.core.calibration import Calibration, calibrated_laws, instrument_of
from borewright.core.kept import (
    AcceptanceKept,
    RestrictorKept,
    SealedKept,
    SpanChannel,
    SpanKept,
    TdcKept,
    VolumesKept,
    ZeroKept,
    check_of,
)
from borewright.core.restrictor_fit import Orifice, OrificePoint, accept_reference, restrictor_of_one_orifice
from borewright.core.rig import ChannelLaw, RigSetup
from borewright.core.sealed import DecaySlope, SealedPoint, judge_sealed
from borewright.core.span import ReferenceGauge, SpanPoint, fit_span
from borewright.errors import UseError
from borewright.service.calibration_file import (
    LARGEST_BYTES,
    calibration_text,
    load_calibration,
    read_calibration,
    save_calibration,
)
from borewright.store import Store
from hypothesis import given
from hypothesis import strategies as st

SETUP = RigSetup(name="bench 2", running_sign=-1)
PRINT = SETUP.fingerprint
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
AT_S = 1_764_000_123.456789


def everything() -> Calibration:
    gauge = ReferenceGauge("G-7", "2024-118, Prüfstelle", 1.7e9 + 0.1, 0.0004)

    def channel(gain: float, serial: str) -> SpanChannel:
        points = tuple(SpanPoint(p, 60.0, p / gain + 1.0 / 3.0, 900.0, 400) for p in (0.0, 150e3, 300e3, 450e3, 600e3))
        return SpanChannel(serial, points, fit_span(points, 0.0, 1e6, 600e3, gauge))

    capped = tuple(
        SealedPoint(p, p * 1.0008, 15.0, (DecaySlope(p, -900.0, 5.0, -900.0, -900.1),) * 4, 101_325.0, 293.15)
        for p in (150e3, 300e3, 551e3)
    )
    sealed = judge_sealed(capped, 54e-6)
    orifice = Orifice(0.8e-6, 0.004, "O-3", "2024-77", leakage_percent=27.1)
    point = OrificePoint(orifice, 551_580.0, 401e3, 100.0, 101_325.0, 293.15)
    fit = restrictor_of_one_orifice(point)
    kept: tuple[Any, ...] = (
        ZeroKept(PRINT, 9.0, -20.0, 1000.0, 1001.0),
        SpanKept(PRINT, gauge, channel(1.002, "T-1"), channel(0.999, "T-2"), remark="as found"),
        SealedKept(PRINT, sealed.own_leak_area_m2, sealed.tie_share, 551e3, sealed, capped, 54e-6, AT_S),
        RestrictorKept(PRINT, fit.area_m2, 0.8e-6, 551_580.0, 401e3, fit, (point,)),
        TdcKept(1243.1, 1, 0.3, "timing_mark", 0.0, 0.0, 1440, -1, "hillclimb", "true TDC by timing mark", ((3.0, 3.0),), 17.0),
        VolumesKept(PRINT, 21e-6, 0.02, None, 0.0, "capture", "an orifice lets out what the hose would have to keep"),
        AcceptanceKept(PRINT, orifice, accept_reference(orifice, 0.8e-6, 3e-9, 27.2, 0.05), 27.2, 0.05, 0.8e-6, 3e-9),
    )
    checks = tuple(check_of(one, AT_S + number, "R. Holm", "BW-0042", number != 2) for number, one in enumerate(kept))
    return Calibration("BW-0042", SETUP, checks)


WHOLE = everything()
TEXT = calibration_text(WHOLE)


def test_there_and_back_nothing_changes(tmp_path: Path) -> None:
    path = tmp_path / "bench-2.json"
    save_calibration(WHOLE, path)
    assert load_calibration(path, "BW-0042") == WHOLE
    assert [file.name for file in tmp_path.iterdir()] == ["bench-2.json"]
    assert calibration_text(load_calibration(path)) == path.read_text(encoding="utf-8")


def test_a_person_can_read_it() -> None:
    document = json.loads(TEXT)
    assert document["format"] == "borewright rig calibration"
    assert document["checks"][1]["made_on"] == "2025-11-24 16:02 UTC"
    assert document["checks"][1]["result"]["regulated"]["transducer_serial"] == "T-1"
    assert document["checks"][1]["result"]["regulated"]["points"][3]["reference_gauge_pa"] == 450e3


def refused(change: Callable[[dict[str, Any]], object], serial: str | None = None) -> str:
    document = json.loads(TEXT)
    change(document)
    with pytest.raises(UseError) as error:
        read_calibration(json.dumps(document).encode(), "rig.json", serial)
    assert str(error.value).startswith("rig.json: ")
    assert "\n" not in str(error.value)
    return str(error.value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d.update(format="other"), "format: must be"),
        (lambda d: d.update(version=2), "version: must be 1"),
        (lambda d: d.update(version=True), "version: must be 1"),
        (lambda d: d.update(extra=1), "extra: is no key here"),
        (lambda d: d.pop("setup"), "setup: is missing"),
        (lambda d: d["setup"].update(bore=1), "setup.bore: is no key here"),
        (lambda d: d["setup"].update(dead_volume_m3="20"), "setup.dead_volume_m3: must be a finite number"),
        (lambda d: d["setup"].update(running_sign=2), "setup.running_sign: must be one of 1, -1"),
        (lambda d: d["setup"].update(dead_volume_m3=-1.0), "setup.dead_volume_m3: -1 is outside of what a rig can have"),
        (lambda d: d["setup"].update(set_pressure_gauge_pa=7e5), "setup.set_pressure_gauge_pa: must lie between"),
        (
            lambda d: d["checks"][1]["result"]["regulated"]["span"].update(gain=-1.0),
            "regulated.span.gain: must be from 0.8 to 1.25",
        ),
        (lambda d: d["checks"][4]["result"].update(counts_per_rev=1), "counts_per_rev: must be at least 4"),
        (lambda d: d.update(checks={}), "checks: must be a list"),
        (lambda d: d["checks"].append(d["checks"][0]), "checks: must be a list of 7 at most"),
        (lambda d: d["checks"].__setitem__(1, d["checks"][0]), "checks: one stands twice"),
        (lambda d: d["checks"][0].update(check="oil"), r"checks[0].check: must be one of"),
        (lambda d: d["checks"][0].update(check=["zero"]), r"checks[0].check: must be one of"),
        (lambda d: d["checks"][0].update(made_at_unix_s=1e30), r"checks[0].made_at_unix_s: must be seconds"),
        (lambda d: d["checks"][0].update(made_on="yesterday"), r"checks[0].made_on: does not agree"),
        (lambda d: d["checks"][0].update(passed="yes"), r"checks[0].passed: must be true or false"),
        (lambda d: d["checks"][0].update(made_by="a\nb"), r"checks[0].made_by: must be a text"),
        (lambda d: d["checks"][0]["result"].update(zero_regulated_pa=None), r"checks[0].result.zero_regulated_pa: must be"),
        (lambda d: d["checks"][0]["result"].update(setup="else"), "was made with another setup"),
        (lambda d: d["checks"][1]["result"]["gauge"].pop("certificate"), r"checks[1].result.gauge.certificate: is missing"),
        (lambda d: d["checks"][3]["result"]["points"][0]["orifice"].update(area_m2=-1), "area_m2: must be above 0"),
    ],
)
def test_what_does_not_fit_is_refused_with_its_key(change: Callable[[dict[str, Any]], object], words: str) -> None:
    assert words in refused(change)


def test_the_calibration_of_another_device_is_refused() -> None:
    words = refused(lambda _: None, "BW-0043")
    assert "BW-0042" in words
    assert "BW-0043" in words


@pytest.mark.parametrize(
    ("octets", "words"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b"[]", "format: must be"),
        (b"null", "format: must be"),
        (TEXT.encode().replace(b"-20.0", b"NaN", 1), "NaN is no number"),
        (TEXT.encode().replace(b"-20.0", b"-Infinity", 1), "-Infinity is no number"),
        (TEXT.encode().replace(b"-20.0", b"1e999", 1), "must be a finite number"),
        (TEXT.encode().replace(b"-20.0", b"9" * 5000, 1), "not JSON"),
        (TEXT.encode().replace(b'"version"', b'"format": 1, "version"', 1), "a key stands twice"),
        (b"[" * 100_000, "not JSON"),
        (b" " * (LARGEST_BYTES + 1), "over 4 MB"),
    ],
)
def test_hostile_octets_are_refused(octets: bytes, words: str) -> None:
    with pytest.raises(UseError, match=words):
        read_calibration(octets, "rig.json")


def test_a_file_that_cannot_be_opened_or_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(UseError, match="cannot be read"):
        load_calibration(tmp_path / "none.json")
    with pytest.raises(UseError, match="cannot be written"):
        save_calibration(WHOLE, tmp_path / "no" / "folder.json")


def test_neither_a_record_nor_a_device_is_written_over(tmp_path: Path) -> None:
    record = tmp_path / "shop.db"
    Store.open(record).close()
    was = record.read_bytes()
    (tmp_path / "link").symlink_to(record)
    for path in (record, tmp_path / "link", Path("/dev/null"), tmp_path):
        with pytest.raises(UseError, match=r"never written over|was left alone"):
            save_calibration(WHOLE, path)
    assert record.read_bytes() == was


def test_nothing_is_saved_that_could_not_be_loaded(tmp_path: Path) -> None:
    broken = replace(WHOLE.checks[0], result={"setup": PRINT, "zero_regulated_pa": float("nan"), "zero_cylinder_pa": 0.0})
    with pytest.raises(UseError, match=r"zero.result.zero_regulated_pa: must be a finite number"):
        save_calibration(replace(WHOLE, checks=(broken,)), tmp_path / "broken.json")
    assert not list(tmp_path.iterdir())


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to each value in a document."""
    found = [path] if path else []
    if isinstance(value, dict):
        found += [way for key in value for way in places(value[key], (*path, key))]
    if isinstance(value, list):
        found += [way for key in range(len(value)) for way in places(value[key], (*path, key))]
    return found


PLACES = places(json.loads(TEXT))
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(st.text(max_size=8), inside, max_size=3),
    max_leaves=6,
)


def outcome(octets: bytes) -> Calibration | str:
    """What reading gives: a calibration, or the one sentence that refuses it."""
    try:
        return read_calibration(octets, "rig.json")
    except UseError as error:
        return str(error)


@given(place=st.sampled_from(PLACES), value=ANYTHING)
def test_any_value_anywhere_is_read_exactly_or_refused(place: tuple[Any, ...], value: Any) -> None:
    document = json.loads(TEXT)
    inside = document
    for key in place[:-1]:
        inside = inside[key]
    inside[place[-1]] = value
    read = outcome(json.dumps(document).encode())
    if isinstance(read, str):
        assert read.startswith("rig.json: ")
        assert "\n" not in read
    else:
        assert json.loads(calibration_text(read)) == document
        instrument_of(read.setup, read.by_kind, 101_325.0, 293.15)  # and it can be used


@given(cut=st.integers(0, len(TEXT.encode()) - 2), flip=st.integers(1, 255))
def test_cut_or_changed_octets_never_surprise(cut: int, flip: int) -> None:
    octets = TEXT.encode()
    short, changed = outcome(octets[:cut]), outcome(octets[:cut] + bytes([octets[cut] ^ flip]) + octets[cut + 1 :])
    assert isinstance(short, str)
    assert isinstance(changed, Calibration) or changed.startswith("rig.json: ")


NUMBERS = [way for way in PLACES if isinstance(reduce(lambda value, key: value[key], way, json.loads(TEXT)), float)]


@given(place=st.sampled_from(NUMBERS), value=st.sampled_from([0.0, -1.0, 1e-300, -1e299, 1e299, 1e155]))
def test_figures_that_cannot_be_are_refused_or_harmless(place: tuple[Any, ...], value: float) -> None:
    document = json.loads(TEXT)
    inside = document
    for key in place[:-1]:
        inside = inside[key]
    inside[place[-1]] = value
    read = outcome(json.dumps(document).encode())
    if not isinstance(read, str):
        instrument_of(read.setup, read.by_kind, 101_325.0, 293.15)
        regulated, cylinder = calibrated_laws(LAW, LAW, read.by_kind)
        assert min(regulated.gain, cylinder.gain) > 0.0
