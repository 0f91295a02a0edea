"""Calibration file, rig file, port and live figures of the page of the rig; what is too old or holds no more, in words."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from borewright.app.desk import Desk
from borewright.service.calibration_file import load_calibration
from borewright.store.store import Store
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from .rig_hand import RigHand, rig_hand

__all__ = ["rig_hand"]

DAY_S = 86_400.0


def with_bore(hand: RigHand) -> None:
    """Two checks that take no air: zero and the restrictor by its bore."""
    hand.check("zero")
    hand.choose("restrictor")
    QTest.keyClick(hand.box("By"), Qt.Key.Key_Down)
    hand.type("Bore of the restrictor", "0.040 in")
    hand.begin()
    hand.follow()
    hand.wait(0.5)


def at_files(hand: RigHand) -> None:
    hand.page.tabs.setCurrentIndex(2)
    hand.wait(0.5)


def test_a_calibration_is_saved_and_taken_in_by_another_record(
    rig_hand: RigHand, make_desk: Callable[..., Desk], tmp_path: Path
) -> None:
    with_bore(rig_hand)
    at_files(rig_hand)
    path = tmp_path / "bench.json"
    rig_hand.files.save_to = path
    rig_hand.click(rig_hand.page.files.save_button)
    rig_hand.wait(0.3)
    assert f"the calibration of rig {rig_hand.serial} was saved, with zero, restrictor" in rig_hand.seen()
    assert {check.kind for check in load_calibration(path).checks} == {"zero", "restrictor"}

    other = RigHand(make_desk(tmp_path / "other.borewright"))
    other.wait(1.0)
    at_files(other)
    other.files.opened = [path]
    other.click(other.page.files.load_button)
    other.wait(1.0)
    assert "taken in: zero, restrictor" in other.seen()
    other.page.tabs.setCurrentIndex(0)
    other.until(lambda: "Holds" in other.row("restrictor"))
    assert other.state.checks["restrictor"] == rig_hand.kept()["restrictor"]
    assert other.kept() == rig_hand.kept()
    at_files(other)
    other.click(other.page.files.load_button)
    other.wait(0.5)
    assert "no check was taken in, because the record has each as new" in other.seen()


HOSTILE = (
    (b"", "it is not JSON in UTF-8"),
    (b'{"format": "x", "format": "x"}', "a key stands twice in one object"),
    (b'{"format": "borewright rig calibration", "version": 9}', "version: must be 1"),
    (b"[" * 100_000, "it is not JSON in UTF-8"),
)


def test_a_hostile_file_is_refused_in_one_sentence(rig_hand: RigHand, tmp_path: Path) -> None:
    at_files(rig_hand)
    for number, (octets, reason) in enumerate(HOSTILE):
        path = tmp_path / f"hostile-{number}.json"
        path.write_bytes(octets)
        rig_hand.files.opened = [path]
        rig_hand.click(rig_hand.page.files.load_button)
        rig_hand.wait(0.3)
        assert str(path) in rig_hand.seen()
        assert reason in rig_hand.seen()
    assert rig_hand.kept() == {}


def test_another_rigs_file_is_only_taken_in_where_it_is_meant(rig_hand: RigHand, tmp_path: Path) -> None:
    with_bore(rig_hand)
    at_files(rig_hand)
    path = tmp_path / "bench.json"
    rig_hand.files.save_to, rig_hand.files.opened = path, [path]
    rig_hand.click(rig_hand.page.files.save_button)
    rig_hand.wait(0.3)
    path.write_text(json.dumps(json.loads(path.read_text("utf-8")) | {"device_serial": "BW-OTHER"}), "utf-8")
    rig_hand.click(rig_hand.page.files.load_button)
    rig_hand.wait(0.3)
    assert "is the calibration of rig BW-OTHER" in rig_hand.seen()
    with Store.open(rig_hand.desk.record, create=False) as store:
        assert store.checked_rigs() == (rig_hand.serial,)
    rig_hand.click(rig_hand.page.files.other_button)
    rig_hand.wait(0.3)
    with Store.open(rig_hand.desk.record, create=False) as store:
        assert store.checked_rigs() == tuple(sorted(("BW-OTHER", rig_hand.serial)))


def test_another_setup_lets_checks_lapse(rig_hand: RigHand, tmp_path: Path) -> None:
    with_bore(rig_hand)
    path = tmp_path / "bench.toml"
    path.write_text('name = "long hose"\nhose_volume = "60 cm^3"\n', "utf-8")
    at_files(rig_hand)
    rig_hand.files.opened = [path]
    rig_hand.click(rig_hand.page.files.setup_button)
    rig_hand.until(lambda: rig_hand.state.setup.name == "long hose")
    rig_hand.wait(1.0)
    assert "60.0 cm³" in rig_hand.seen()
    for kind in ("zero", "restrictor"):
        assert "Does not hold any more" in rig_hand.row(kind)
        assert "The rig's setup or the transducers' calibration has changed since" in rig_hand.row(kind)
    path.write_text("hose_volume = 60\n", "utf-8")
    rig_hand.click(rig_hand.page.files.setup_button)
    rig_hand.wait(0.3)
    assert "hose_volume: must be a text with a number and its unit" in rig_hand.seen()


def test_an_old_check_says_how_old_it_is_and_may_be(rig_hand: RigHand) -> None:
    zero = rig_hand.check("zero")
    with Store.open(rig_hand.desk.record) as store:
        store.add_rig_check(
            replace(
                zero, kind="restrictor", made_at_unix_s=zero.made_at_unix_s - 100 * DAY_S, result=bore_result(zero.result["setup"])
            )
        )
    rig_hand.page.ask_record()
    rig_hand.desk.station.know_checks_again()
    rig_hand.until(lambda: "restrictor" in rig_hand.state.checks)
    rig_hand.wait(2.5)
    assert "Too old" in rig_hand.row("restrictor")
    assert "100 days old, 90 days allowed" in rig_hand.row("restrictor")


def bore_result(setup: str) -> dict[str, object]:
    """A restrictor check as the oldest records have it: of one orifice, without a fit."""
    return {"setup": setup, "area_m2": 8.1e-7, "orifice_area_m2": 8e-7, "p_regulated_gauge_pa": 5.5e5, "p_cylinder_gauge_pa": 2.7e5}


def test_live_figures_of_channels_crank_link_and_device(rig_hand: RigHand) -> None:
    rig_hand.page.tabs.setCurrentIndex(1)
    rig_hand.at_rig("turn +800 rpm 60")
    rig_hand.wait(1.5)
    words = rig_hand.seen()
    assert rig_hand.serial in words
    for words_of in ("supply valve, vent valve", "bad frames here", "not pressed", "noise is that at vent", "spacing right"):
        assert words_of in words
    assert str(rig_hand.state.crank.last_count if rig_hand.state.crank is not None else "?") in words
    rig_hand.at_rig("hold press")
    rig_hand.wait(0.5)
    assert "pressed" in rig_hand.seen().splitlines()


def test_the_built_in_rig_is_left_and_taken_again(rig_hand: RigHand) -> None:
    at_files(rig_hand)
    QTest.mouseClick(rig_hand.page.port.disconnect_button, Qt.MouseButton.LeftButton)
    rig_hand.desk.station.turn()
    rig_hand.desk.refresh()
    assert rig_hand.desk.snapshot.link.kind == "none"
    assert not rig_hand.page.port.disconnect_button.isEnabled()
    rig_hand.click(rig_hand.page.port.builtin_button)
    assert rig_hand.cautions == ["simulated tests"]  # they would go into a shop's record
    rig_hand.until(lambda: rig_hand.desk.snapshot.link.kind == "open")


def test_a_port_that_is_not_there_is_said(rig_hand: RigHand) -> None:
    at_files(rig_hand)
    line = rig_hand.page.port.ports.lineEdit()
    assert line is not None
    line.setFocus()
    line.selectAll()
    QTest.keyClicks(line, "/dev/no-such-rig")
    QTest.keyClick(line, Qt.Key.Key_Return)
    rig_hand.desk.station.turn()
    rig_hand.desk.station.turn()
    rig_hand.desk.refresh()
    assert "/dev/no-such-rig" in rig_hand.seen()
    assert rig_hand.desk.settings.last_port == "/dev/no-such-rig"


def test_a_check_ends_in_words_when_the_cable_is_pulled(rig_hand: RigHand) -> None:
    rig_hand.choose("sealed")
    rig_hand.begin()
    rig_hand.until(lambda: rig_hand.page.running.run is not None and rig_hand.page.running.run.stage == "air")
    rig_hand.desk.at_rig("unplug")
    rig_hand.until(lambda: rig_hand.page.running.run is None)
    assert "the link to the rig was lost; begin again once it is back" in rig_hand.seen()
