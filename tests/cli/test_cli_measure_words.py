"""What measure prints of a capture that is over: figures in the chosen units, what they were judged by, the same JSON for all."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from borewright.cli import exits, measure
from borewright.core.capture import CaptureResult
from borewright.core.phases import Phases
from borewright.core.rig import RigSetup
from borewright.service.acts import Purpose
from borewright.service.analysis import Analysed
from borewright.service.bench import Done
from borewright.service.conditions_of_air import AirConditions
from borewright.store import Store
from borewright.store.writer import CaptureKept, CaptureLost

ENGINE = Path(__file__).resolve().parents[2] / "simulator" / "scenarios" / "larch_four_engine.toml"
READING = CaptureResult(
    leakage_percent=10.0,
    p_regulated_gauge_pa=551_580.583,  # 80 psi
    p_cylinder_gauge_pa=496_422.525,  # 72 psi
    leak_area_m2=0.50697e-6,  # check table: 0.040 in, 80/72 psi
    t75_s=0.24,
    t50_s=0.56,
    t25_s=None,
    phases=Phases((0, 10), None, (10, 20), (20, 30), (30, 40), (40, 50)),
    zero_regulated_pa=0.0,
    zero_cylinder_pa=0.0,
    steady=True,
    slope_percent_per_s=0.0,
    steady_read=(20, 30),
    marks=(),
    crank_moved_counts=0,
)
HOT = AirConditions(101_325.0, 293.15, 360.0)


class Console:
    """A console at which a capture has just come to its end."""

    def __init__(self, done: Done) -> None:
        self._done = done

    def take_zero(self) -> None:
        """The zeros are as they are."""

    def carry_out(self, purpose: Purpose, hint: str) -> Done:
        assert purpose == self._done.purpose
        assert hint
        return self._done


@pytest.fixture
def measured(command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Any]:
    def run(
        *words: object,
        reading: CaptureResult | None = READING,
        air: AirConditions = HOT,
        void: str | None = None,
        lost: CaptureLost | None = None,
    ) -> Any:
        setup = RigSetup()
        done = Done(Purpose("test", 1), Analysed(reading, void, air.assumed), {}, 1)
        bench = SimpleNamespace(
            job_id=None,
            flush_writer=lambda: None,
            writer_news=[lost or CaptureKept(1, 7, "complete" if void is None else "void", void)],
            state=SimpleNamespace(restrictor_area_m2=setup.restrictor_area_m2, setup=setup),
            ambient=air,
        )

        @contextmanager
        def at_the_rig(*_: object) -> Iterator[tuple[Any, Console, Store]]:
            with Store.open(tmp_path / "shop.db") as store:
                yield bench, Console(done), store

        monkeypatch.setattr(measure, "at_the_rig", at_the_rig)
        return command("measure", "--port", "none", "--engine", ENGINE, "--cylinder", 1, "--job", "larch", *words)

    return run


def test_the_figures_and_what_they_are_judged_by(measured: Callable[..., Any]) -> None:
    said = measured("--limits", "AC 43.13-1B")
    assert (said.code, said.err) == (exits.OK, "")
    lines = said.out.splitlines()
    assert "  leakage    10.0 %      reads 80/72 psi" in lines
    assert "  leak area  0.507 mm²" in lines
    # 0.04041·A·(p0/√T0) is the choked flow; here by the same leak's own choking: 0.0404147·0.50697e-6·597747.5/√293.15 kg/s
    assert (
        f"  leak flow  {0.0404147 * 0.50697e-6 * 597_747.5 / 293.15**0.5 / 1.185 * 60_000:.1f} L/min ANR (20 °C, 100 kPa, 65 % RH)"
        in lines
    )
    assert "  at         101.3 kPa abs around, air 20 °C, engine 87 °C" in lines
    assert any(line.startswith('  judged     "not suspect by its loss", if the reading is right') for line in lines)
    assert any("made as AC 43.13-1B, paragraph 8-14, says (assumed: " in line for line in lines)
    assert lines[-1] == "  kept as test 7"


def test_the_same_in_the_units_that_were_chosen(measured: Callable[..., Any]) -> None:
    lines = measured("--units", "inch,pressure=bar").out.splitlines()
    assert "  leakage    10.0 %      reads 5.52/4.96 bar" in lines
    assert "  leak area  0.000786 in²" in lines
    assert "  at         14.70 psia around, air 68 °F, engine 188 °F" in lines
    assert any(line.endswith(" SCFM (60 °F, 14.696 psi, dry)") for line in lines)


def test_json_holds_the_judgement_and_no_chosen_unit(measured: Callable[..., Any]) -> None:
    plain = measured("--json").out
    assert measured("--json", "--units", "inch").out == plain
    shown = json.loads(plain)
    assert shown["judgement"]["limit_set"] == "common practice"
    assert shown["judgement"]["certain"] is False
    assert shown["leak_flow_kg_s"] == pytest.approx(0.0404147 * 0.50697e-6 * 597_747.5 / 293.15**0.5, rel=1e-4)
    assert shown["leak_area_mm2"] == pytest.approx(0.50697)


def test_a_void_test_is_not_judged(measured: Callable[..., Any]) -> None:
    said = measured(void="the crank moved")
    assert said.code == exits.UNUSABLE
    assert "judged" not in said.out
    assert json.loads(measured("--json", void="the crank moved").out)["judgement"] is None
    assert json.loads(measured("--json", void="no number", reading=None).out)["judgement"] is None


def test_odd_readings_are_asked_about_and_noise_under_nothing_is_no_error(measured: Callable[..., Any]) -> None:
    assumed = replace(HOT, assumed=("assumed: engine temperature",))
    odd = measured(reading=replace(READING, leakage_percent=97.0, p_cylinder_gauge_pa=16_500.0), air=assumed).out
    assert "  ask        Is it the right TDC, compression and not overlap?" in odd
    tight = measured(reading=replace(READING, leakage_percent=-0.02, p_cylinder_gauge_pa=551_700.0, leak_area_m2=0.0))
    assert "  leak flow  0.0 L/min ANR" in tight.out
    assert "leave it closed" in tight.out


@pytest.mark.parametrize(
    ("cut_off", "way"),
    [
        (
            7,
            r"the end of test 7 could not be recorded .*; .*borewright job cut-off --finish 7 --db .*shop.db makes of it",
        ),
        (None, "the test is not in the record: the disk is full"),
    ],
)
def test_a_test_whose_end_is_not_in_the_record_is_not_judged(
    measured: Callable[..., Any], cut_off: int | None, way: str, tmp_path: Path
) -> None:
    words = ("--limits", "AC 43.13-1B", "--db", tmp_path / "shop.db")
    said = measured(*words, lost=CaptureLost(1, "the disk is full", cut_off))
    assert said.code == exits.RECORD
    assert "  NOT KEPT: the record did not take this test to its end; these figures stand nowhere else" in said.out
    assert "judged  " not in said.out
    assert said.out.splitlines()[-1] == "  NOT KEPT; test again"
    assert re.search(way, said.err), said.err
    shown = json.loads(measured(*words, "--json", lost=CaptureLost(1, "the disk is full", cut_off)).out)
    assert (shown["test"], shown["judgement"]) == (None, None)
