"""The checks of the rig as a person makes them on its page, on the built-in rig in virtual time."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from borewright.app.desk import Desk
from borewright.core.kept import kept_of
from borewright.core.rig import CheckKind
from borewright.service.view_rig import HELD_WORDS
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from .rig_hand import RigHand, rig_hand
from .virtual_desk import bench_time

__all__ = ["rig_hand"]

TRUE_TDC_DEG = 0.15  # of the built-in rig's encoder; bound of issue 2 for two agreeing pairs is a tenth of the window of 1.5°


def test_zero_is_taken_and_shown_at_a_glance(rig_hand: RigHand) -> None:
    assert "Never made" in rig_hand.row("zero")
    check = rig_hand.check("zero")
    assert check.passed
    assert "Holds" in rig_hand.row("zero")
    assert "Under a minute old, 12.0 hours allowed" in rig_hand.row("zero")
    assert "Zeros " in rig_hand.row("zero")
    assert rig_hand.page.checks.button("zero").accessibleName() == f"Zero: {HELD_WORDS['held']}"
    assert any(text.startswith("Zero: passed.") for text in rig_hand.notices)


def test_zero_of_a_rig_with_hand_valves_begins_with_the_vent(make_desk: Callable[..., Desk]) -> None:
    desk = make_desk(scenario="hillclimb-before-hand")
    bench_time(desk, 1.0)
    hand = RigHand(desk)
    hand.choose("zero")
    hand.begin()
    assert "Shut the supply and open the vent by hand" in hand.seen()
    hand.at_rig("supply shut", "vent open")
    hand.act()
    hand.follow()
    hand.wait(0.5)
    assert hand.kept()["zero"].passed
    assert "Holds" in hand.row("zero")


def test_zero_under_pressure_cannot_begin(rig_hand: RigHand) -> None:
    rig_hand.choose("sealed")
    rig_hand.type("Pressures", "552 kPa")
    rig_hand.begin()
    rig_hand.until(lambda: rig_hand.follow_once() and rig_hand.state.pressurised)
    before = rig_hand.page.running.run
    rig_hand.click(rig_hand.page.checks.button("zero"))
    assert rig_hand.page.running.run is not None
    assert rig_hand.page.running.run.plan == (before.plan if before is not None else None)
    assert rig_hand.page.checks.button("sealed").isChecked()
    rig_hand.click(rig_hand.button("Break off"))
    rig_hand.at_rig("hold release")
    assert "broken off" in rig_hand.seen()
    rig_hand.until(lambda: not rig_hand.state.pressurised)
    assert "sealed" not in rig_hand.kept()


def test_sealed_at_two_pressures_through_the_steps(rig_hand: RigHand) -> None:
    rig_hand.choose("sealed")
    rig_hand.type("Pressures", "552 kPa; 220 kPa")
    rig_hand.begin()
    rig_hand.until(lambda: rig_hand.page.running.run is not None and rig_hand.page.running.run.stage == "air")
    rig_hand.wait(0.3)
    assert "Sealed, 1 of 2" in rig_hand.seen(rig_hand.page.running)
    rig_hand.follow()
    rig_hand.wait(0.5)
    check = rig_hand.kept()["sealed"]
    assert check.passed
    at_kpa = [point.p_regulated_gauge_pa / 1e3 for point in kept_of(check).points]
    assert at_kpa == pytest.approx([220.0, 552.0], abs=15.0)  # as far as the person sets the regulator
    assert rig_hand.cautions == ["first air"]
    assert "Holds" in rig_hand.row("sealed")
    assert "Own leak" in rig_hand.row("sealed")
    assert rig_hand.state.round is None


def test_what_is_stated_wrongly_is_said_beside_the_form(rig_hand: RigHand) -> None:
    wrong: tuple[tuple[CheckKind, str, str, str], ...] = (
        ("sealed", "Pressures", "900 kPa", "cannot be asked for on this rig"),
        ("span", "Its uncertainty (k = 2)", "-1 kPa", "cannot be right"),
        ("span", "Certificate, date", "31.3.2026", "is no date"),
        ("restrictor", "Orifice 1", "0.8", "is not a number with a unit"),
    )
    for kind, name, text, reason in wrong:
        rig_hand.choose(kind)
        field = rig_hand.type(name, text)
        QTest.keyClick(field, Qt.Key.Key_Return)
        assert reason in rig_hand.seen(), name
        assert rig_hand.page.running.run is None
        field.clear()


def test_an_orifice_less_restrictor_is_known_by_its_bore(rig_hand: RigHand) -> None:
    rig_hand.choose("restrictor")
    QTest.keyClick(rig_hand.box("By"), Qt.Key.Key_Down)
    rig_hand.type("Bore of the restrictor", "0.040 in")
    rig_hand.begin()
    rig_hand.until(lambda: rig_hand.page.running.run is None)
    rig_hand.wait(0.5)
    assert kept_of(rig_hand.kept()["restrictor"]).fit.basis == "bore"
    assert "Holds" in rig_hand.row("restrictor")


def test_acceptance_waits_for_the_restrictor(rig_hand: RigHand) -> None:
    rig_hand.choose("acceptance")
    rig_hand.type("Orifice 1", "0.6 mm^2")
    rig_hand.begin()
    assert "make the restrictor check first" in rig_hand.seen()


def test_span_beside_the_gauge_drops_what_rests_on_it(rig_hand: RigHand) -> None:
    rig_hand.check("zero")
    rig_hand.choose("span")
    rig_hand.type("Points", "150 kPa; 550 kPa; 350 kPa")
    rig_hand.type("Gauge, serial number", "G-114")
    rig_hand.type("Its uncertainty (k = 2)", "0.06 %")
    rig_hand.type("Its smallest step", "0.1 kPa")
    rig_hand.begin()
    rig_hand.follow()
    rig_hand.wait(0.5)
    kept = kept_of(rig_hand.kept()["span"])
    assert kept.gauge.serial_number == "G-114"
    assert len(kept.regulated.points) == 6  # at vent, three up, two down
    assert HELD_WORDS["held"] in rig_hand.row("span")
    assert HELD_WORDS["lapsed"] in rig_hand.row("zero")
    assert "make them anew" in rig_hand.seen()


def test_true_tdc_belongs_to_an_engine(rig_hand: RigHand) -> None:
    rig_hand.choose("tdc")
    assert "Open a job first" in rig_hand.seen()
    rig_hand.begin()
    assert "open a job on the Jobs page first" in rig_hand.seen()


def test_true_tdc_by_piston_stop_with_a_wrong_contact_begun_anew(rig_hand: RigHand) -> None:
    rig_hand.open_job()
    rig_hand.choose("tdc")
    rig_hand.begin()
    assert rig_hand.cautions == ["piston stop"]
    rig_hand.until(lambda: rig_hand.state.stop is not None)
    rig_hand.wait(0.2)
    for caution in ("soft end", "by hand only", "near overlap", "maker's manual"):
        assert caution in rig_hand.seen()
    rig_hand.at_rig("turn +90 rpm 20", "piston-stop 1")
    rig_hand.act()
    rig_hand.act()  # not against the stop yet
    rig_hand.wait(1.5)
    assert "1. before" in rig_hand.seen()
    rig_hand.click(rig_hand.button("Begin anew"))
    assert "No contact has been taken yet." in rig_hand.seen()
    for turn_deg in (720, -720, 720, -720):
        rig_hand.at_rig(f"turn {turn_deg:+d} rpm 20")
        rig_hand.act()
        assert "Hold it there" in rig_hand.seen()
        rig_hand.wait(1.5)
    words = rig_hand.seen()
    assert "TDC of cylinder 1" in words
    assert words.count(" from TDC, count ") == 4
    assert "The pairs differ by 0.0" in words
    model = rig_hand.page.running.picture.model
    assert model is not None
    before, after = model.contacts_at_deg
    assert before == pytest.approx(-after, abs=0.01)  # a central pin: contacts lie evenly about TDC
    rig_hand.at_rig("piston-stop out")
    rig_hand.act()
    rig_hand.until(lambda: rig_hand.page.running.run is None)
    rig_hand.wait(0.5)
    assert rig_hand.state.tdc is not None
    assert "by piston stop" in rig_hand.row("tdc")
    assert "Holds" in rig_hand.row("tdc")
    truth = load_truth_deg(rig_hand)
    assert truth == pytest.approx(0.0, abs=TRUE_TDC_DEG)


def load_truth_deg(rig_hand: RigHand) -> float:
    """How far the stored TDC is from the mark that the simulated engine shows, in degrees."""
    rig_hand.at_rig("to tdc 1")
    rig_hand.wait(1.0)
    state = rig_hand.state
    assert state.crank is not None
    assert state.crank.last_count is not None
    assert state.crank.index_count is not None
    assert state.tdc is not None
    off_count = state.crank.last_count - state.crank.index_count - state.tdc.counts_after_index
    turn = state.crank.counts_per_rev
    return ((off_count + turn / 2.0) % turn - turn / 2.0) / turn * 360.0 - (rig_hand.rig.crank_deg + 180.0) % 360.0 + 180.0


def test_true_tdc_by_timing_mark(rig_hand: RigHand) -> None:
    rig_hand.open_job()
    rig_hand.choose("tdc")
    for _ in range(2):
        QTest.keyClick(rig_hand.box("By"), Qt.Key.Key_Down)
    rig_hand.type("Degrees before TDC", "10")
    rig_hand.begin()
    rig_hand.until(lambda: rig_hand.state.tdc_way is not None)
    rig_hand.wait(0.2)
    assert "until the timing mark stands at its pointer" in rig_hand.seen()
    rig_hand.at_rig("to tdc 1 off -10")
    rig_hand.act()
    rig_hand.wait(1.5)
    rig_hand.at_rig("turn +800 rpm 20")
    rig_hand.until(lambda: rig_hand.page.running.run is None)
    rig_hand.wait(0.5)
    assert kept_of(rig_hand.kept()["tdc"]).method == "timing_mark"
    assert "by timing mark" in rig_hand.row("tdc")
