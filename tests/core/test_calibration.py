"""What the checks of a rig leave: typed results, ages, corrected laws, and the instrument with its marks."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from borewright.core.calibration import calibrated_laws, calibration_of, instrument_of
from borewright.core.kept import (
    RESULTS,
    RestrictorKept,
    SealedKept,
    SpanChannel,
    SpanKept,
    TdcKept,
    VolumesKept,
    ZeroKept,
    check_of,
    kept_of,
)
from borewright.core.plain import from_plain, to_plain
from borewright.core.restrictor_fit import Orifice, OrificePoint, restrictor_of_one_orifice
from borewright.core.rig import ChannelLaw, RigCheck, RigSetup
from borewright.core.sealed import DecaySlope, SealedPoint, judge_sealed
from borewright.core.span import ReferenceGauge, SpanPoint, fit_span

SETUP = RigSetup()
PRINT = SETUP.fingerprint
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
DAY_S, NOW_S = 86_400.0, 1.75e9
WHO = "R. Holm"


def made(kept: Any, age_days: float = 1.0, passed: bool = True, serial: str = "R-1") -> RigCheck:
    return check_of(kept, NOW_S - age_days * DAY_S, WHO, serial, passed)


def channel(gain: float, serial: str) -> SpanChannel:
    points = tuple(SpanPoint(p, 60.0, p / gain, 900.0, 400) for p in (0.0, 150e3, 300e3, 450e3, 600e3))
    span = fit_span(points, 0.0, 1e6, 600e3, GAUGE)
    return SpanChannel(serial, points, span)


GAUGE = ReferenceGauge("G-7", "2024-118", NOW_S - 100.0 * DAY_S, 0.0004)
SPAN = SpanKept(PRINT, GAUGE, channel(1.002, "T-1"), channel(0.999, "T-2"), remark="bench 2")


def sealed_kept(span_at: float | None, share: float = 0.0008) -> SealedKept:
    def point(p: float) -> SealedPoint:
        return SealedPoint(p, p * (1.0 + share), 15.0, (DecaySlope(p, -900.0, 5.0, -900.0, -900.0),) * 4, 101_325.0, 293.15)

    points = tuple(point(p) for p in (150e3, 300e3, 450e3, 551e3))
    found = judge_sealed(points, 54e-6)
    return SealedKept(PRINT, found.own_leak_area_m2, found.tie_share, 551e3, found, points, 54e-6, span_at)


def restrictor_kept() -> RestrictorKept:
    point = OrificePoint(Orifice(0.8e-6, 0.004, "O-3", "2024-77"), 551_580.0, 401e3, 100.0, 101_325.0, 293.15)
    fit = restrictor_of_one_orifice(point)
    return RestrictorKept(PRINT, fit.area_m2, 0.8e-6, 551_580.0, 401e3, fit, (point,))


TDC = TdcKept(
    1243.0, 1, 0.3, "timing_mark", 0.0, 0.0, 1440, 1, "hillclimb", "true TDC by timing mark: ±0.6° (k = 2)", ((3.0, 3.0),)
)
VOLUMES = VolumesKept(PRINT, 21e-6, 0.02, None, 0.0, "capture", "an orifice lets out what the hose would have to keep")


@pytest.mark.parametrize("kept", [ZeroKept(PRINT, 9.0, -20.0), SPAN, sealed_kept(None), restrictor_kept(), TDC, VOLUMES])
def test_every_result_goes_into_the_record_and_back(kept: Any) -> None:
    check = made(kept)
    through_json = replace(check, result=json.loads(json.dumps(check.result)))
    assert kept_of(through_json) == kept
    assert RESULTS[check.kind] is type(kept)


def test_a_span_keeps_raw_points_that_give_it_again() -> None:
    kept: SpanKept = kept_of(made(SPAN))
    assert fit_span(kept.regulated.points, 0.0, 1e6, 600e3, kept.gauge) == kept.regulated.span


@pytest.mark.parametrize(
    ("kind", "result"),
    [
        ("zero", {
            "setup": PRINT,
            "zero_regulated_pa": 1.0,
            "zero_cylinder_pa": 2.0,
            "noise_regulated_pa": 3.0,
            "noise_cylinder_pa": 4.0,
        }),
        ("sealed", {"setup": PRINT, "own_leak_area_m2": 1e-9, "tie_share": 5e-4, "p_regulated_gauge_pa": 551e3}),
        ("restrictor", {
            "setup": PRINT,
            "area_m2": 8e-7,
            "orifice_area_m2": 8e-7,
            "p_regulated_gauge_pa": 551e3,
            "p_cylinder_gauge_pa": 4e5,
        }),
        ("tdc", {
            "counts_after_index": 5.0,
            "reference_cylinder": 1,
            "u_deg": 0.1,
            "method": "piston_stop",
            "spread_deg": 0.0,
            "backlash_deg": 0.0,
            "middle_late_deg": 0.02,
            "counts_per_rev": 1440,
            "running_sign": 1,
            "engine": "hillclimb",
        }),
    ],
)  # fmt: skip
def test_results_of_older_records_are_read(kind: Any, result: dict[str, Any]) -> None:
    kept = kept_of(RigCheck(kind, NOW_S, WHO, "R-1", True, result))
    assert all(getattr(kept, key) == value for key, value in result.items())


def test_only_the_newest_of_this_device_and_setup_counts() -> None:
    other = replace(SETUP, hose_volume_m3=5e-5)
    checks = [
        made(ZeroKept(PRINT, 1.0, 1.0), 3.0),
        made(ZeroKept(PRINT, 2.0, 2.0), 1.0),
        made(ZeroKept(other.fingerprint, 3.0, 3.0), 0.5),
        made(ZeroKept(PRINT, 4.0, 4.0), 0.1, serial="R-2"),
        made(TDC),
    ]
    calibration = calibration_of("R-1", SETUP, checks)
    assert {check.kind for check in calibration.checks} == {"zero", "tdc"}
    assert kept_of(calibration.by_kind["zero"]).zero_regulated_pa == 2.0


def test_due_names_what_is_overdue_failed_or_missing() -> None:
    checks = [made(SPAN, 366.0), made(sealed_kept(None), 29.0), made(restrictor_kept(), 5.0, passed=False), made(TDC, 4000.0)]
    calibration = calibration_of("R-1", SETUP, checks)
    words = calibration.due(NOW_S)
    assert "the span calibration is 366 days old, where 365 days are allowed" in words
    assert "the restrictor check did not pass" in words
    assert not any("sealed" in word or "TDC" in word for word in words)
    later = calibration.due(NOW_S + 2.0 * DAY_S)
    assert any(word.startswith("the sealed check is 31 days old") for word in later)
    assert any("certificate of reference gauge G-7" in word for word in calibration.due(NOW_S + 300.0 * DAY_S))
    assert calibration_of("R-1", SETUP, []).due(NOW_S) == (
        "the span calibration was never made",
        "the sealed check was never made",
        "the restrictor check was never made",
    )
    assert any("dated in the future" in word for word in calibration.due(NOW_S - 60.0 * DAY_S))


def test_a_stated_interval_counts_before_the_usual_one() -> None:
    calibration = calibration_of("R-1", SETUP, [made(replace(SPAN, interval_s=10.0 * DAY_S), 11.0)])
    assert any("where 10 days are allowed" in word for word in calibration.due(NOW_S))


def test_laws_take_span_and_tie_of_the_same_span() -> None:
    span = made(SPAN)
    tied = {"span": span, "sealed": made(sealed_kept(span.made_at_unix_s))}
    stale = {"span": span, "sealed": made(sealed_kept(None))}
    raw = np.array([900.0, 2200.0])
    regulated, cylinder = calibrated_laws(LAW, LAW, tied)
    assert regulated.gain == pytest.approx(1.002)
    assert cylinder.gain == pytest.approx(0.999 / 1.0008, rel=1e-7)
    assert calibrated_laws(LAW, LAW, tied, tie=False)[1].gain == pytest.approx(0.999)
    assert calibrated_laws(LAW, LAW, stale)[1].gain == pytest.approx(0.999)
    assert calibrated_laws(LAW, LAW, {"span": replace(span, passed=False)}) == (LAW, LAW)
    assert cylinder.gauge_pa(raw) == pytest.approx(calibrated_laws(LAW, LAW, stale)[1].gauge_pa(raw) / 1.0008, rel=1e-6)


def test_an_instrument_of_nothing_says_what_it_assumes() -> None:
    instrument, marks = instrument_of(SETUP, {}, 101_325.0, 293.15)
    assert len(marks) == 3
    assert all(mark.startswith("assumed") for mark in marks)
    assert instrument.restrictor.area_m2 == SETUP.restrictor_area_m2
    assert instrument.t_cylinder_k == 293.15


def test_every_check_makes_the_instrument_better() -> None:
    span = made(SPAN)
    checks = {
        "span": span,
        "sealed": made(sealed_kept(span.made_at_unix_s)),
        "restrictor": made(restrictor_kept()),
        "volumes": made(VOLUMES),
    }
    bare, _ = instrument_of(SETUP, {}, 98_000.0, 295.0, 350.0)
    known, marks = instrument_of(SETUP, checks, 98_000.0, 295.0, 350.0, now_unix_s=NOW_S, resolution_pa=76.0)
    assert known.u_gain < bare.u_gain
    assert known.u_tie < bare.u_tie
    assert known.restrictor.u_relative < bare.restrictor.u_relative
    assert (known.dead_volume_m3, known.u_dead_volume) == (21e-6, 0.02)
    assert (known.hose_volume_m3, known.u_hose_volume) == (bare.hose_volume_m3, bare.u_hose_volume)
    assert (known.p_ambient_abs_pa, known.t_supply_k, known.t_cylinder_k, known.resolution_pa) == (98_000.0, 295.0, 350.0, 76.0)
    assert marks == ("the restrictor is known at one pressure ratio only",)


def test_a_tie_of_another_span_or_one_pressure_is_said() -> None:
    span = made(SPAN)
    _, marks = instrument_of(SETUP, {"span": span, "sealed": made(sealed_kept(None))}, 101_325.0, 293.15)
    assert any("no sealed check ties them since" in mark for mark in marks)
    older = made(SealedKept(PRINT, 1e-9, 5e-4, 551e3))
    instrument, marks = instrument_of(SETUP, {"sealed": older}, 101_325.0, 293.15)
    assert "the transducers are tied at one pressure only" in marks
    assert instrument.u_tie > 0.0005


def test_overdue_checks_still_count_but_are_marked() -> None:
    checks = {"restrictor": made(restrictor_kept(), 100.0)}
    _, marks = instrument_of(SETUP, checks, 101_325.0, 293.15, now_unix_s=NOW_S)
    assert any(mark.startswith("overdue: the restrictor check is 100 days old") for mark in marks)


def test_a_measured_volume_that_contradicts_the_setup_is_taken_and_marked() -> None:
    checks = {"volumes": made(replace(VOLUMES, dead_volume_m3=45e-6, u_dead_volume=0.1))}
    instrument, marks = instrument_of(SETUP, checks, 101_325.0, 293.15)
    assert instrument.dead_volume_m3 == 45e-6
    assert any("dead volume was measured as 45.0 cm³" in mark for mark in marks)


def test_plain_values_are_read_strictly() -> None:
    plain = to_plain(SPAN)
    assert from_plain(SpanKept, plain) == SPAN
    for at, wrong, words in (
        (("gauge", "serial_number"), 7, "gauge.serial_number: must be a text"),
        (("regulated", "span", "gain"), True, "regulated.span.gain: must be a finite number"),
        (("regulated", "span", "gain"), float("inf"), "regulated.span.gain: must be a finite number"),
        (("regulated", "span", "bow_shown"), 1, "regulated.span.bow_shown: must be true or false"),
        (("regulated", "points"), {}, "regulated.points: must be a list"),
        (("regulated", "surprise"), 1, "regulated.surprise: is no key here"),
    ):
        document = json.loads(json.dumps(plain))
        inside = document
        for key in at[:-1]:
            inside = inside[key]
        inside[at[-1]] = wrong
        with pytest.raises(ValueError, match=words):
            from_plain(SpanKept, document)
    document = json.loads(json.dumps(plain))
    document["regulated"]["points"][2]["direction"] = "sideways"
    with pytest.raises(ValueError, match=r"regulated.points\[2\].direction: must be one of rising, falling"):
        from_plain(SpanKept, document)
    del document["regulated"]["points"][2]["n"]
    document["regulated"]["points"][2]["direction"] = "rising"
    with pytest.raises(ValueError, match=r"regulated.points\[2\].n: is missing"):
        from_plain(SpanKept, document)
