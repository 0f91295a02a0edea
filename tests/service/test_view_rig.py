"""How the rig's checks stand at a glance, from made-up checks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from borewright.core.rig import CheckKind, RigCheck, RigSetup
from borewright.service.known_rig import ORDER
from borewright.service.shown_units import ShownUnits
from borewright.service.view_rig import SYMBOLS, CheckRow, checks_at_a_glance, known_rigs, setup_lines
from borewright.store.store import Store

NOW_S, HOUR_S, DAY_S = 1.8e9, 3600.0, 86_400.0
ZERO = RigCheck(
    "zero", NOW_S - 2 * HOUR_S, "R. Holm", "R-1", True, {"setup": "ab", "zero_regulated_pa": 40.0, "zero_cylinder_pa": -20.0}
)
TDC = RigCheck(
    "tdc",
    NOW_S - 400 * DAY_S,
    "R. Holm",
    "R-1",
    True,
    {"engine": "four", "reference_cylinder": 1, "counts_after_index": 12.0, "u_deg": 0.02, "method": "piston_stop"},
)


def row(kind: CheckKind, check: RigCheck | None, *, holds: bool = True, other_tdc: str = "") -> CheckRow:
    checks: dict[str, RigCheck] = {} if check is None else {kind: check}
    rows = checks_at_a_glance(checks, checks if holds else {}, NOW_S, ShownUnits(), other_tdc=other_tdc)
    assert [one.kind for one in rows] == list(ORDER)
    return next(one for one in rows if one.kind == kind)


@pytest.mark.parametrize(
    ("check", "holds", "held", "age"),
    [
        (None, True, "none", "the zero was never made"),
        (ZERO, True, "held", "2.0 hours old, 12.0 hours allowed"),
        (replace(ZERO, made_at_unix_s=NOW_S - 13 * HOUR_S), True, "too old", "13.0 hours old, 12.0 hours allowed"),
        (
            replace(ZERO, made_at_unix_s=NOW_S + 2 * DAY_S),
            True,
            "too old",
            "dated in the future; look at the clock, or make it anew",
        ),
        (ZERO, False, "lapsed", "the rig's setup or the transducers' calibration has changed since"),
        (replace(ZERO, passed=False), True, "not passed", "did not pass, 2.0 hours ago"),
    ],
)
def test_a_check_says_by_symbol_and_in_words(check: RigCheck | None, holds: bool, held: str, age: str) -> None:
    shown = row("zero", check, holds=holds)
    assert (shown.held, shown.age) == (held, age)
    assert shown.symbol == SYMBOLS[shown.held]
    assert shown.figures == (() if check is None else ("zeros +0.04 kPa and -0.02 kPa",))


def test_every_state_has_a_symbol_of_its_own() -> None:
    assert len(set(SYMBOLS.values())) == len(SYMBOLS)


def test_true_tdc_has_no_age_but_belongs_to_its_engine() -> None:
    assert row("tdc", TDC).age == "400 days old; holds for this fitting of the encoder"
    other = row("tdc", TDC, other_tdc="is that of four, not of twin")
    assert (other.held, other.age) == ("lapsed", "is that of four, not of twin")
    assert "by piston stop" in other.figures[0]


def test_an_older_check_in_force_does_not_make_a_newer_lapsed_one_hold() -> None:
    newer = replace(ZERO, made_at_unix_s=NOW_S - HOUR_S)
    (shown, *_) = checks_at_a_glance({"zero": newer}, {"zero": ZERO}, NOW_S, ShownUnits())
    assert shown.held == "lapsed"


def test_the_connected_rig_comes_first_also_without_a_check(tmp_path: Path) -> None:
    with Store.open(tmp_path / "x.db") as store:
        setup = RigSetup(name="bench", hose_volume_m3=60e-6)
        store.save_rig("R-1", setup)
        store.add_rig_check(replace(ZERO, result=ZERO.result | {"setup": setup.fingerprint}))
        store.add_rig_check(replace(TDC, device_serial="R-2"))
        known = known_rigs(store, "R-9")
    assert [rig.serial for rig in known] == ["R-9", "R-1", "R-2"]
    assert (known[0].checks, known[0].setup_given) == ({}, False)
    assert (known[1].setup, list(known[1].holding)) == (setup, ["zero"])


def test_the_setup_is_told_in_the_chosen_units() -> None:
    lines = dict(setup_lines(RigSetup(spare_high_gauge_pa=20e3), ShownUnits({"pressure_gauge": "psi"})))
    assert lines["Test pressure"] == "80 psi"
    assert lines["Spare gauge up to"] == "3 psi"
