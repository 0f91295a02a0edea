"""borewright rig as a person types it, on the simulated rig in virtual time; show, save and load; what is typed wrongly."""

from __future__ import annotations

import json
import re
from collections import deque
from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewright.cli import at_the_rig, console, exits, rig_kept
from borewright.store import Store, writer

ENGINE = Path(__file__).resolve().parents[2] / "simulator" / "scenarios" / "larch_four_engine.toml"
SERIAL = "BW-REF-0001"
UNIX_S = 1.8e9
GAUGE = object()  # to be typed: what the reference gauge shows just then
AIR = ("--ambient", "98.9 kPa", "--air-temp", "17 degC")

Reaction = tuple[str, tuple[str, ...], object]

# what is printed, what the person does at the rig then, and what they type (None: nothing)
REACTIONS: tuple[Reaction, ...] = (
    ("> Take the hose off .* certified orifice of ([0-9.]+) mm²", ("hose orifice {0}",), ""),
    ("> Take the hose off", ("hose capped",), ""),
    ("> Set the regulator to ([0-9]+) kPa", ("regulator {0}",), ""),
    ("> PRESSURISED: set the regulator to about ([0-9]+) kPa", ("regulator {0}", "wait 4"), GAUGE),
    ("> Not confirmed:", ("hold release", "wait 2"), ""),
    ("> Ready for air: pressing", ("hold press",), None),
    ("> Turn the crank by hand two whole turns", ("turn +800 rpm 60",), ""),
)


class Typist:
    """In the place of the keyboard: reads what is printed, works at the rig, and types once that is done."""

    def __init__(self, port: SimEndpoint, *first: Reaction) -> None:
        self.port = port
        self.reactions = [*first, *REACTIONS]
        self._once = first
        self.heard: list[str] = []
        self.ended = False
        self.interrupt_at: str | None = None
        self._due: deque[object] = deque()
        self._broken = False

    def hear(self, text: str) -> None:
        self.heard.append(text)
        self._broken = self._broken or (self.interrupt_at is not None and self.interrupt_at in text)
        for pattern, acts, typed in self.reactions:
            found = re.match(pattern, text)
            if found is not None:
                if (pattern, acts, typed) in self._once:
                    self.reactions.remove((pattern, acts, typed))
                for words in acts:
                    answer = self.port.rig.operator.do(words.format(*found.groups()))
                    assert answer.startswith("ok"), (words, answer)
                if isinstance(typed, tuple):
                    self._due.extend(typed)
                elif typed is not None:
                    self._due.append(typed)
                return

    def take(self) -> str | None:
        """As console.Lines has it."""
        if self._broken:
            raise KeyboardInterrupt
        if not self._due or self.port.rig.operator.busy:
            return None
        due = self._due.popleft()
        return self.port.rig.operator.do("gauge").removeprefix("ok ") if due is GAUGE else str(due)

    @property
    def text(self) -> str:
        return "\n".join(self.heard)


class Desk:
    """A simulated rig at a port, and the command with somebody who follows it. One rig for all commands of a test."""

    def __init__(self, command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
        self.rig = SimRig(load_scenario("hillclimb-after"))
        self.db = folder / "desk.db"
        self._command = command
        self._monkeypatch = monkeypatch
        clock = SimpleNamespace(time=lambda: UNIX_S + self.rig.now_s)
        for module in (at_the_rig, rig_kept):  # virtual time runs ahead of the clock on the wall
            monkeypatch.setattr(module, "time", clock)
        monkeypatch.setattr(writer, "StoreWriter", partial(writer.StoreWriter, threaded=False))

    def rig_command(self, *words: object, first: tuple[Reaction, ...] = (), interrupt_at: str | None = None) -> tuple[Any, Typist]:
        """`borewright rig WORDS` at the port."""
        port = SimEndpoint(self.rig)
        typist = Typist(port, *first)
        typist.interrupt_at = interrupt_at
        init = console.Console.__init__

        def attended(self: console.Console, lines: object, out: Callable[[str], None], ring: Callable[[], None]) -> None:
            def aloud(text: str) -> None:
                typist.hear(text)
                out(text)

            init(self, typist, aloud, ring)  # type: ignore[arg-type]
            del lines

        with self._monkeypatch.context() as patched:
            patched.setattr("borewright.link.open_link", lambda _target: port)
            patched.setattr(console, "Lines", lambda _source: None)
            patched.setattr(console.Console, "__init__", attended)
            self.rig.plug()
            ended = self._command("rig", *words, "--port", "sim", "--db", self.db, "--who", "R. Holm", *AIR)
        return ended, typist

    def kept(self, *words: object) -> Any:
        """`borewright rig WORDS` without a rig."""
        return self._command("rig", *words, "--db", self.db)


@pytest.fixture
def desk(command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Desk:
    return Desk(command, monkeypatch, tmp_path)


# ---------------------------------------------------------------------- the whole way


def test_the_whole_calibration_as_a_person_types_it(desk: Desk, tmp_path: Path) -> None:
    garbage = (
        "> PRESSURISED: set the regulator to about 150 kPa",
        ("regulator 150", "wait 4"),
        ("lots", "150", "", "1e9 kPa"),
    )
    span, typist = desk.rig_command(
        *("span", "--pressure", "150 kPa", "--pressure", "550 kPa", "--pressure", "350 kPa", "--rising-only"),
        *("--gauge-serial", "G-114", "--certificate", "2026-0317", "--certificate-date", "2020-03-17"),
        *("--gauge-u", "0.06 %", "--gauge-step", "0.1 kPa", "--units", "pressure=bar"),
        first=(garbage,),
    )
    assert span.code == exits.OK, span
    for fragment in ("'lots' is not a number with a unit", "'150' is not a number", "the gauge cannot show"):
        assert fragment in typist.text
    assert "reference gauge no. G-114, certificate 2026-0317, of 2020-03-17" in span.out
    assert " bar up: " in span.out
    assert "kPa up: " not in span.out
    assert "make them anew" in span.out

    sealed, typist = desk.rig_command("sealed", "--pressure", "220 kPa", "--pressure", "80 psi")
    assert sealed.code == exits.OK, sealed.out
    assert typist.text.index("Set the regulator to 220 kPa (32 psi)") < typist.text.index("Set the regulator to 552 kPa (80 psi)")
    assert re.search(r"transducers differ by [+-][0-9.]+ ± [0-9.]+ %, seen at 2[12][0-9] kPa, 5[45][0-9] kPa", sealed.out)

    areas = ("--orifice-area", "0.4 mm^2", "--orifice-area", "0.8 mm^2", "--orifice-area", "1.6 mm^2")
    serials = ("--orifice-serial", "A", "--orifice-serial", "B", "--orifice-serial", "C")
    restrictor, _ = desk.rig_command("restrictor", *areas, *serials, "--orifice-u", "0.6 %", "--json")
    assert restrictor.code == exits.OK, restrictor
    found = json.loads(restrictor.out)
    assert found["check"] == "restrictor"
    assert [point["orifice"]["serial_number"] for point in found["result"]["points"]] == ["A", "B", "C"]
    assert found["result"]["fit"]["critical_ratio"] == pytest.approx(0.505, abs=0.03)

    accept, _ = desk.rig_command("accept", "--orifice-area", "0.6 mm^2", "--orifice-u", "0.6 %")
    assert accept.code == exits.OK, accept
    assert "the rig reads its reference orifice" in accept.out

    volume, _ = desk.rig_command("volume", "--orifice-area", "1.6 mm^2")
    assert volume.code == exits.OK, volume
    assert re.search(r"dead volume 2[0-9]\.[0-9] cm³ ± [0-9]+ %, hose volume [23456][0-9]\.[0-9] cm³", volume.out)

    show = desk.kept("show", "--units", "inch")
    assert show.code == exits.OK
    lines = show.out.splitlines()
    assert lines[0] == f"rig {SERIAL}"
    assert lines[1].startswith("  ! the certificate of reference gauge G-114 is ")
    for kind in ("zero", "span", "sealed", "restrictor", "acceptance", "volumes"):
        assert any(line.startswith(f"  {kind}: passed, ") and line.endswith(", R. Holm") for line in lines), kind
    assert "psi" in show.out
    assert "kPa" not in show.out
    assert "in²" in show.out

    portable = tmp_path / "rig.json"
    saved = desk.kept("save", portable)
    assert saved.code == exits.OK, saved
    _to_another_record(desk, portable, tmp_path)


def _to_another_record(desk: Desk, portable: Path, folder: Path) -> None:
    """The file carries all of it to another record, once, and is refused where another rig is known."""
    with Store.open(desk.db, create=False) as store:
        before = store.latest_rig_checks(SERIAL)
    desk.db = folder / "other.db"
    loaded = desk.kept("load", portable)
    assert loaded.code == exits.OK, loaded
    assert loaded.out.count("taken in: ") == len(before)
    with Store.open(desk.db, create=False) as store:
        assert store.latest_rig_checks(SERIAL) == before
        assert store.get_rig(SERIAL) is not None
    again = desk.kept("load", portable)
    assert again.code == exits.OK
    assert "taken in: " not in again.out
    assert again.out.count("left, because the record has one as new") == len(before)

    renamed = json.loads(portable.read_text(encoding="utf-8")) | {"device_serial": "BW-OTHER"}
    portable.write_text(json.dumps(renamed), encoding="utf-8")
    other = desk.kept("load", portable)
    assert f"is the calibration of rig BW-OTHER, and the record knows {SERIAL}" in other.refusal(exits.USE)
    assert "not of" in desk.kept("load", portable, "--serial", SERIAL).refusal(exits.USE)
    told = desk.kept("load", portable, "--other-rig", "--json")
    assert json.loads(told.out)["rig"] == "BW-OTHER"
    assert "name one with --serial" in desk.kept("save", folder / "both.json").refusal(exits.USE)


# ---------------------------------------------------------------------- breaking off


def test_ctrl_c_beside_the_gauge_leaves_the_rig_vented(desk: Desk) -> None:
    ended, typist = desk.rig_command("span", interrupt_at="PRESSURISED: set the regulator to about 276 kPa")
    assert ended.code == exits.INTERRUPTED
    assert "supply shut, vent open" in typist.text
    assert "Traceback" not in ended.err
    desk.rig.advance(1.0)
    assert desk.rig.plant.p_regulated_gauge_pa < 1_000.0
    assert desk.rig.plant.p_cylinder_gauge_pa < 1_000.0
    with Store.open(desk.db, create=False) as store:
        (capture,) = store.list_captures()
        assert capture.state == "void"
        assert "span" not in store.latest_rig_checks(SERIAL)
        said = [event for event in store.load_capture(capture.id).events if event.kind == "gauge"]
        assert len(said) == 1  # the one reading that was taken is in the log


def test_stop_at_the_gauge_ends_in_words(desk: Desk) -> None:
    stop = ("> PRESSURISED: set the regulator to about", (), "stop")
    ended, _ = desk.rig_command("span", first=(stop,))
    assert "the check came to nothing" in ended.refusal(exits.UNUSABLE)
    desk.rig.advance(1.0)
    assert desk.rig.plant.p_cylinder_gauge_pa < 1_000.0


# ---------------------------------------------------------------------- true TDC


def test_true_tdc_by_timing_mark_with_the_figure_asked_for(desk: Desk) -> None:
    mark = ("> Turn the crank by hand in the running direction until the timing mark", ("to tdc 1 off -10", "wait 1"), "")
    figures = ("> How many degrees before TDC", (), ("ten", "400", "10"))
    ended, typist = desk.rig_command("tdc", "--engine", ENGINE, "--cylinder", 1, "--by", "timing-mark", first=(mark, figures))
    assert ended.code == exits.OK, ended
    assert typist.text.count("cannot be used here; type a number of degrees, 60 at most") == 2
    assert "mark: true TDC by timing mark: ±2.3° (k = 2)" in ended.out
    assert "by timing mark" in desk.kept("show").out


# ---------------------------------------------------------------------- without air


def test_the_bore_alone_needs_no_air_and_says_what_it_is_worth(desk: Desk) -> None:
    ended, typist = desk.rig_command("restrictor", "--bore", "0.040 in", "--bore-form", "short cylinder")
    assert ended.code == exits.OK, ended
    assert "mark: the restrictor is known by its bore only" in ended.out
    assert not [line for line in typist.heard if line.startswith("> ")]


def test_an_acceptance_needs_a_restrictor_that_was_checked(desk: Desk) -> None:
    ended, _ = desk.rig_command("accept", "--orifice-area", "0.6 mm^2")
    assert "make the restrictor check first" in ended.refusal(exits.NOT_READY)


def test_show_of_a_record_without_checks(desk: Desk) -> None:
    with Store.open(desk.db):
        pass
    assert desk.kept("show").out == "no check has been made yet\n"
    assert "no rig has been checked yet" in desk.kept("save", desk.db.with_name("x.json")).refusal(exits.USE)


# ---------------------------------------------------------------------- what is typed wrongly, before any port is opened


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("restrictor", "--orifice-area", "0.8 mm^2", "--orifice-area", "0.4 mm^2"), "2 orifices cannot serve"),
        (("restrictor", *("--orifice-area", "0.8 mm^2") * 3), "the same area"),
        (("restrictor", "--orifice-area", "-0.8 mm^2"), "cannot serve"),
        (("restrictor", "--orifice-area", "0.8"), "not a number with a unit"),
        (("restrictor", "--orifice-area", "0.8 mm^2", "--orifice-u", "60 %"), "cannot be the uncertainty"),
        (("restrictor", "--orifice-area", "0.8 mm^2", "--orifice-u", "nan %"), "is no share"),
        (("restrictor", "--orifice-area", "0.8 mm^2", "--orifice-serial", "A", "--orifice-serial", "B"), "stands 2 times"),
        (("restrictor", "--orifice-area", "0.8 mm^2", "--certificate-date", "31.3.2026"), "is no date"),
        (("restrictor", "--orifice-area", "0.8 mm^2", "--certificate-date", "2999-01-01"), "from the future"),
        (("accept", "--orifice-area", "0.8 mm^2", "--certificate", "two\nlines"), "that can be printed"),
        (("accept", "--orifice-bore", "0.5 mm", "--orifice-bore", "1 mm"), "2 orifices cannot serve here; give one"),
        (("span", "--gauge-u", "-1 kPa"), "cannot be right"),
        (("span", "--gauge-u", "0 %"), "cannot be right"),
        (("span", "--gauge-step", "3 furlongs"), "is no gauge pressure"),
        (("span", "--units", "furlongs"), "--units"),
    ],
)
def test_what_cannot_be_is_said_at_once(command: Callable[..., Any], tmp_path: Path, words: tuple[str, ...], reason: str) -> None:
    ended = command("rig", *words, "--port", tmp_path / "no port", "--db", tmp_path / "x.db")
    assert reason in ended.refusal(exits.USE)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("pressure", ["900 kPa", "1 psi", "-5 kPa"])
def test_a_pressure_beyond_the_rigs_limits_is_refused(desk: Desk, pressure: str) -> None:
    for check in ("sealed", "span"):
        ended, typist = desk.rig_command(check, f"--pressure={pressure}")
        assert "cannot be asked for on this rig" in ended.refusal(exits.USE)
        assert "PRESSURISED" not in typist.text


@pytest.mark.parametrize(
    ("text", "reason"),
    [("", "is not JSON"), ("[1, 2]", "another kind of file"), ('{"format": "x"}', "another kind of file"), ("\udcff", "")],
)
def test_a_file_that_is_no_calibration(desk: Desk, tmp_path: Path, text: str, reason: str) -> None:
    path = tmp_path / "wrong.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    said = desk.kept("load", path).refusal(exits.USE)
    assert str(path) in said
    assert reason in said
    assert not desk.db.exists()
    assert "cannot be read" in desk.kept("load", tmp_path / "none.json").refusal(exits.USE)
