"""The rig's checks on the simulated rig, in virtual time: what they find beside what is really fitted, and what cannot be done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder
from borewire.messages import SupplyOpen
from borewright.core.kept import kept_of
from borewright.core.readiness_table import State
from borewright.core.restrictor import Restrictor
from borewright.core.rig import RigCheck, RigSetup
from borewright.service import acts, effects
from borewright.service.bench import Bench
from borewright.service.conditions_of_air import AirConditions
from borewright.service.engines import engine_from_document
from borewright.service.guide import next_step
from borewright.service.regulator import wrong_pressure
from borewright.simrig.person import Person
from borewright.store.store import Store
from borewright.store.writer import StoreWriter

UNIX_S = 1.8e9
SETUP = RigSetup()
SET_PA = SETUP.set_pressure_gauge_pa
SWEEP = (150e3, 350e3, 550e3, 350e3, 150e3)
GAUGE = (("gauge_serial", "G-114"), ("certificate", "2026-0317"), ("gauge_u_pa", 60.0), ("gauge_u_relative", 0.0003))
ORIFICES_MM2 = (0.4, 0.8, 1.6)


class TappedPort(SimEndpoint):
    """The port to the simulated rig; keeps what the host sent."""

    def __init__(self, rig: SimRig) -> None:
        super().__init__(rig)
        self.told = bytearray()

    def write(self, data: bytes) -> int:
        self.told += data
        return super().write(data)

    def openings(self) -> list[SupplyOpen]:
        return [message for message in Decoder("device").feed(bytes(self.told)) if isinstance(message, SupplyOpen)]


class Shop:
    """A rig, a bench, a person, and a record where one is given."""

    def __init__(self, scenario: str = "hillclimb-after", store: Store | None = None) -> None:
        of = load_scenario(scenario)
        self.port = TappedPort(SimRig(of))
        self.words: list[str] = []
        self.bench = Bench(
            self.port,
            StoreWriter(store, threaded=False) if store is not None else None,
            wall_clock=lambda: UNIX_S + self.port.monotonic(),
            tell=self._hear,
            engine=engine_from_document(of.engine_document, of.name),
            who="tester",
            ambient=AirConditions(of.ambient.pressure_abs_pa, of.ambient.air_k, of.ambient.engine_k),
            read_s=0.032,
        )
        self.person = Person(self.bench, self.port)
        self.person.wait(2.5)
        self.person.take_zero()

    def _hear(self, word: effects.Say | effects.AirRefused) -> None:
        self.words.append(word.text if isinstance(word, effects.Say) else "; ".join(word.reasons))

    def round(self, *purposes: acts.Purpose, paper: tuple[tuple[str, float | str], ...] = ()) -> RigCheck:
        """Go through a check; the record of it."""
        self.bench.act(acts.BeginRound(purposes, paper))
        for purpose in purposes:
            self.person.carry_out(purpose)
            done = self.bench.done[-1].analysed
            assert done.check is not None, done.void_reason
        last = self.bench.done[-1].analysed.check
        assert last is not None
        check = last.check  # type: ignore[union-attr]
        assert isinstance(check, RigCheck)
        return check

    def open_sweep(self, *sweep_pa: float) -> None:
        """Air on beside the gauge, the first reading awaited."""
        self.bench.act(acts.SetPurpose(acts.Purpose("sealed", aim="span", sweep_gauge_pa=sweep_pa)))
        self.person.follow_until("read_gauge")

    @property
    def readings(self) -> int:
        capture = self.bench.state.capture
        return 0 if capture is None else len(capture.readings)

    def until_vented(self) -> None:
        """Until no pressure is left anywhere in the rig."""
        self.person.wait_until(lambda: not self.bench.state.readiness.locked, 30.0)
        assert self.port.rig.plant.p_cylinder_gauge_pa < 5_000.0
        assert self.port.rig.plant.p_regulated_gauge_pa < 5_000.0


def sealed_at(*asked_pa: float) -> tuple[acts.Purpose, ...]:
    return tuple(acts.Purpose("sealed", asked_gauge_pa=pressure) for pressure in asked_pa)


def orifices(*areas_mm2: float, aim: acts.Aim = "check") -> tuple[acts.Purpose, ...]:
    return tuple(
        acts.Purpose("restrictor", orifice_area_m2=mm2 * 1e-6, aim=aim, orifice_u_relative=0.003, orifice_serial=f"O-{mm2}")
        for mm2 in areas_mm2
    )


# ---------------------------------------------------------------------- the whole way, once


class Checked:
    """A rig that went through all of its checks, and the record that they are in."""

    def __init__(self, shop: Shop, store: Store, made: dict[str, RigCheck], openings: dict[str, list[SupplyOpen]]) -> None:
        self.shop, self.store, self.made, self.openings = shop, store, made, openings


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Checked]:
    with Store.open(tmp_path_factory.mktemp("rig") / "rig.db", clock=lambda: UNIX_S) as store:
        shop = Shop(store=store)
        made: dict[str, RigCheck] = {}
        openings: dict[str, list[SupplyOpen]] = {}

        def go(name: str, *purposes: acts.Purpose, paper: tuple[tuple[str, float | str], ...] = ()) -> None:
            shop.port.told.clear()
            made[name] = shop.round(*purposes, paper=paper)
            openings[name] = shop.port.openings()

        go("span", acts.Purpose("sealed", aim="span", sweep_gauge_pa=SWEEP), paper=GAUGE)
        shop.person.take_zero()
        go("sealed", *sealed_at(0.4 * SET_PA, 0.7 * SET_PA, SET_PA))
        go("restrictor", *orifices(*ORIFICES_MM2), paper=(("certificate", "2026-77"),))
        go("acceptance", *orifices(0.6, aim="acceptance"))
        go("volumes", acts.Purpose("sealed", aim="volumes"), *orifices(1.6, aim="volumes"))
        yield Checked(shop, store, made, openings)


def test_span_finds_the_errors_of_both_transducers(checked: Checked) -> None:
    kept = kept_of(checked.made["span"])
    electronics = checked.shop.port.rig.electronics
    assert checked.made["span"].passed
    assert len(kept.regulated.points) == len(SWEEP) + 1  # and the one at vent
    assert [point.direction for point in kept.regulated.points] == ["rising"] * 4 + ["falling"] * 2
    for number, channel in enumerate((kept.regulated, kept.cylinder)):
        # the simulator's own law: raw words per Pa, and what a word means by the ideal law
        per_pa = float(electronics._by_pa[number, 0]) + float(electronics._by_square[number, 0]) * 550e3
        ideal = 0.8 * 4096 / 1e6
        assert channel.span.gain == pytest.approx(ideal / per_pa, abs=3.0 * channel.span.u_gain + 0.0004)
        assert channel.span.largest_residual_pa < 1_000.0
    assert (kept.gauge.serial_number, kept.gauge.certificate) == ("G-114", "2026-0317")


def test_sealed_ties_the_transducers_to_each_other(checked: Checked) -> None:
    kept = kept_of(checked.made["sealed"])
    assert checked.made["sealed"].passed
    assert kept.sealed.pressures == 3
    assert [point.p_regulated_gauge_pa for point in kept.points] == pytest.approx([0.4 * SET_PA, 0.7 * SET_PA, SET_PA], rel=0.01)
    assert kept.span_made_at_unix_s == checked.made["span"].made_at_unix_s
    transducers = checked.shop.bench.state.transducers
    assert transducers is not None
    untied = transducers.untied(checked.shop.bench.state.checks)
    assert transducers.cylinder.gain / untied.cylinder.gain == pytest.approx(1.0 / (1.0 + kept.tie_share), rel=1e-9)
    # the rig has no leak of its own; what is found lies within its own uncertainty, or far under the limit
    assert abs(kept.sealed.net_leak_area_m2) < 0.1 * kept.sealed.limit_area_m2


def test_three_orifices_give_area_and_critical_ratio(checked: Checked) -> None:
    fit = kept_of(checked.made["restrictor"]).fit
    parts = checked.shop.port.rig.plant.scenario.rig.air
    truth = Restrictor.from_conductance(parts.restrictor_conductance_m3_s_pa, parts.restrictor_critical_ratio)
    assert checked.made["restrictor"].passed
    assert fit.basis == "orifices"
    assert fit.area_m2 == pytest.approx(truth.area_m2, rel=3.0 * fit.u_relative)
    assert fit.critical_ratio == pytest.approx(truth.critical_ratio, abs=3.0 * fit.u_critical_ratio)
    assert fit.u_relative < 0.006
    serials = [point.orifice.serial_number for point in kept_of(checked.made["restrictor"]).points]
    assert serials == [f"O-{mm2}" for mm2 in ORIFICES_MM2]
    assert checked.shop.bench.state.restrictor == fit.restrictor


def test_a_reference_orifice_is_read_as_it_is_certified(checked: Checked) -> None:
    kept = kept_of(checked.made["acceptance"])
    assert checked.made["acceptance"].passed
    assert kept.leak_area_m2 == pytest.approx(0.6e-6, rel=0.01)
    assert kept.acceptance.allowed < 0.02


def test_volumes_are_those_of_the_rig(checked: Checked) -> None:
    kept = kept_of(checked.made["volumes"])
    parts = checked.shop.port.rig.plant.scenario.rig.air
    hose_m3 = parts.hose_volume_m3 + parts.adapter_volume_m3
    for found_m3, u_share, true_m3 in (
        (kept.hose_volume_m3, kept.u_hose_volume, hose_m3),
        (kept.dead_volume_m3, kept.u_dead_volume, parts.dead_volume_m3),
    ):
        assert abs(found_m3 - true_m3) < 3.0 * u_share * found_m3


def test_the_record_has_each_check_with_its_points(checked: Checked) -> None:
    kept = checked.store.latest_rig_checks("BW-REF-0001")
    for name, check in checked.made.items():
        assert kept[name] == check
        assert kept_of(kept[name]) == kept_of(check)
    assert len(kept["sealed"].result["points"]) == 3
    assert len(kept["sealed"].result["points"][0]["decay"]) >= 4
    states = [(record.purpose, record.state) for record in checked.store.list_captures()]
    kinds = ["sealed"] * 4 + ["restrictor"] * 4 + ["sealed", "restrictor"]
    assert states == [(kind, "complete") for kind in kinds]


def test_no_opening_has_a_wider_limit_than_the_setup(checked: Checked) -> None:
    transducers = checked.shop.bench.state.transducers
    assert transducers is not None
    bare = transducers.uncalibrated()
    for name, openings in checked.openings.items():
        assert openings
        for opening in openings:
            for law, raw in ((bare.regulated, opening.limit_regulated_raw), (bare.cylinder, opening.limit_cylinder_raw)):
                assert float(law.gauge_pa(raw)) < 1.02 * SETUP.regulated_high_gauge_pa, name
    lowest = [float(bare.regulated.gauge_pa(opening.limit_regulated_raw)) for opening in checked.openings["sealed"]]
    assert min(lowest) == pytest.approx(0.4 * SETUP.regulated_high_gauge_pa, rel=0.02)


def test_a_new_program_takes_over_the_whole_calibration(checked: Checked) -> None:
    shop = Shop()
    shop.bench.use_setup(SETUP)
    shop.bench.know_checks(checked.store.latest_rig_checks("BW-REF-0001"))
    mine, theirs = shop.bench.state.transducers, checked.shop.bench.state.transducers
    assert mine is not None
    assert theirs is not None
    raw = np.array([500, 1500, 2400])
    assert mine.cylinder.with_zero(0.0).gauge_pa(raw) == pytest.approx(theirs.cylinder.with_zero(0.0).gauge_pa(raw))
    assert shop.bench.state.restrictor == checked.shop.bench.state.restrictor
    assert shop.bench.state.proven_gauge_pa == pytest.approx(SET_PA, rel=0.01)


def test_what_was_read_before_a_new_calibration_does_not_hold(checked: Checked) -> None:
    shop = Shop()
    shop.bench.use_setup(SETUP)
    checks = checked.store.latest_rig_checks("BW-REF-0001")
    newer = replace(checks["span"], made_at_unix_s=max(check.made_at_unix_s for check in checks.values()) + 60.0)
    shop.bench.know_checks({**checks, "span": newer})
    assert set(shop.bench.state.checks) == {"span", "volumes"}
    assert shop.bench.state.proven_gauge_pa is None


# ---------------------------------------------------------------------- what cannot be, and what goes wrong


@pytest.mark.parametrize(
    ("purpose", "fragment"),
    [
        (acts.Purpose("sealed", asked_gauge_pa=700e3), "700 kPa cannot be asked for"),
        (acts.Purpose("sealed", asked_gauge_pa=20e3), "20 kPa cannot be asked for"),
        (acts.Purpose("sealed", asked_gauge_pa=float("nan")), "cannot be asked for"),
        (acts.Purpose("sealed", aim="span", sweep_gauge_pa=(200e3, 900e3)), "900 kPa cannot be asked for"),
        (acts.Purpose("restrictor", asked_gauge_pa=300e3, orifice_area_m2=1e-6), "only with the outlet capped"),
        (acts.Purpose("test", 1, asked_gauge_pa=300e3), "only with the outlet capped"),
    ],
)
def test_a_pressure_that_cannot_be_asked_for_is_refused(purpose: acts.Purpose, fragment: str) -> None:
    said = wrong_pressure(purpose, SETUP)
    assert said is not None
    assert fragment in said


def test_a_refused_purpose_leaves_the_one_before() -> None:
    shop = Shop()
    shop.bench.act(acts.SetPurpose(acts.Purpose("sealed", asked_gauge_pa=900e3)))
    assert shop.bench.state.purpose == acts.Purpose("sealed")
    assert "900 kPa" in shop.words[-1]


def test_the_set_pressure_has_to_be_proven_again_once_the_regulator_was_moved() -> None:
    shop = Shop()
    shop.round(*sealed_at(SET_PA))
    assert shop.bench.state.proven_gauge_pa == pytest.approx(SET_PA, rel=0.01)
    shop.bench.act(acts.SetPurpose(acts.Purpose("sealed", asked_gauge_pa=200e3)))
    assert shop.bench.state.proven_gauge_pa is None
    shop.bench.act(acts.SetRegulator(200e3))
    shop.bench.act(acts.SetPurpose(*orifices(0.8)))
    step = next_step(shop.bench.state)  # before any work at the rig, and never to air
    assert step.key == "blocked"
    assert "has not been proven" in step.text
    assert "has not been proven" in next(c.reason for c in shop.bench.state.conditions if c.name == "air")


def test_a_regulator_left_high_is_over_pressure_where_less_was_asked_for() -> None:
    """The person only says that it was set: the air is shut off at the lower limit."""
    shop = Shop()
    shop.bench.act(acts.SetPurpose(acts.Purpose("sealed", asked_gauge_pa=200e3)))
    shop.person.follow_until("set_regulator")
    shop.bench.act(acts.SetRegulator(200e3))
    shop.person.wait(0.2)
    before = len(shop.bench.done)
    while len(shop.bench.done) == before:
        shop.person.follow(next_step(shop.bench.state))
    assert shop.bench.done[-1].analysed.void_reason is not None
    assert shop.bench.done[-1].analysed.check is None
    shop.until_vented()


def test_a_gauge_reading_that_cannot_be_is_not_taken() -> None:
    shop = Shop()
    shop.bench.act(acts.ReadGauge(300e3))  # before any air
    assert shop.bench.state.capture is None
    assert "not now" in shop.words[-1]
    shop.open_sweep(150e3, 300e3, 450e3)
    shop.person.at_the_rig("regulator 150")
    shop.person.wait(0.3)
    shop.bench.act(acts.ReadGauge(150e3))  # two seconds of samples reach back to where it still fell
    assert shop.readings == 0
    assert "still moves" in shop.words[-1]
    shop.person.wait(4.0)
    for wrong_pa in (150.0, 1034e3, -150e3, float("nan")):
        shop.bench.act(acts.ReadGauge(wrong_pa))
        assert shop.readings == 0
        assert "look at the unit" in shop.words[-1]
    shop.bench.act(acts.ReadGauge(150.1e3))
    assert shop.readings == 1
    shop.bench.act(acts.StopAll())
    shop.until_vented()
    done = shop.bench.done[-1].analysed
    assert done.check is None
    assert done.void_reason is not None


def test_too_few_readings_make_no_calibration() -> None:
    shop = Shop()
    shop.open_sweep(150e3, 300e3, 450e3)
    shop.person.follow(next_step(shop.bench.state))
    assert shop.readings == 1
    shop.bench.act(acts.EndSweep())
    shop.until_vented()
    shop.person.wait(0.5)
    done = shop.bench.done[-1].analysed
    assert done.check is None
    assert done.void_reason is not None
    assert "at least 3 pressures" in done.void_reason


def test_a_person_who_goes_away_from_the_gauge_finds_it_vented() -> None:
    shop = Shop()
    shop.open_sweep(150e3, 300e3, 450e3)
    shop.person.wait(50.0)
    assert shop.bench.state.readiness.state is State.HOLDING
    shop.bench.act(acts.SetHold(True))
    shop.person.wait(50.0)
    assert shop.bench.state.readiness.state is State.HOLDING
    shop.person.wait(30.0)
    shop.until_vented()
    assert shop.bench.done[-1].analysed.check is None


def test_air_that_is_let_go_at_the_gauge_is_vented() -> None:
    shop = Shop()
    shop.open_sweep(150e3, 300e3, 450e3)
    shop.person.at_the_rig("hold release")
    shop.until_vented()


def test_a_bore_stands_in_for_an_orifice_and_knows_less() -> None:
    shop = Shop()
    shop.bench.act(acts.StateBore(0.040 * 0.0254, 5e-6, "short cylinder"))
    check = shop.bench.state.checks["restrictor"]
    assert check.passed
    fit = kept_of(check).fit
    assert fit.basis == "bore"
    assert fit.u_relative > 0.01
    shop.bench.act(acts.StateBore(0.120 * 0.0254, 5e-6, "short cylinder"))
    assert not shop.bench.state.checks["restrictor"].passed


def test_a_zero_that_moved_is_marked() -> None:
    shop = Shop()
    transducers = shop.bench.state.transducers
    assert transducers is not None
    moved = transducers.with_zeros(transducers.regulated.zero_pa + 800.0, transducers.cylinder.zero_pa)
    limits = replace(shop.bench.state.limits, zero_moved_pa=400.0)  # readiness refuses twice the usual one
    shop.bench.state = replace(shop.bench.state, transducers=moved, limits=limits)
    shop.person.carry_out(acts.Purpose("sealed"))
    marks = shop.bench.done[-1].analysed.marks
    assert any(mark.startswith("the regulated transducer's zero has moved by -0.") for mark in marks), marks


def test_a_sweep_by_hand_valves() -> None:
    shop = Shop("hillclimb-after-hand")
    check = shop.round(acts.Purpose("sealed", aim="span", sweep_gauge_pa=(150e3, 550e3, 350e3)), paper=GAUGE)
    assert check.passed
    assert [point.direction for point in kept_of(check).cylinder.points] == ["rising"] * 3 + ["falling"]
    shop.until_vented()


def test_a_sweep_by_hand_valves_that_is_ended_early_asks_for_the_vent() -> None:
    shop = Shop("hillclimb-after-hand")
    shop.open_sweep(150e3, 350e3, 550e3)
    shop.bench.act(acts.EndSweep())
    step = next_step(shop.bench.state)
    assert (step.key, step.turn_deg) == ("open_vent", None)
    assert step.text.startswith("PRESSURISED")
    shop.person.follow(step)
    shop.until_vented()
    assert shop.bench.done[-1].analysed.check is None


# ---------------------------------------------------------------------- true TDC by other ways

DROP_M = 1e-3


def true_tdc_deg(shop: Shop, cylinder: int) -> float:
    return shop.port.rig.plant.scenario.engine.firing_angles_deg[cylinder]


def off_tdc_deg(shop: Shop, cylinder: int) -> float:
    """What the bench takes for TDC, less what it is, in degrees."""
    state = shop.bench.state
    assert state.tdc is not None
    assert state.crank is not None
    assert state.crank.index_count is not None
    electronics = shop.port.rig.electronics
    true_count = electronics.count_at(true_tdc_deg(shop, cylinder))
    off = (state.crank.index_count + state.tdc.counts_after_index - true_count) / state.crank.counts_per_rev * 360.0
    return (off + 180.0) % 360.0 - 180.0


def turn_to(shop: Shop, cylinder: int, off_deg: float) -> None:
    shop.person.at_the_rig(f"to tdc {cylinder} off {off_deg:.2f}")
    shop.person.wait(1.2)


def begin(shop: Shop, method: Any, figure: float) -> None:
    shop.person.at_the_rig("turn +800 rpm 60")  # over the index pulse
    shop.person.wait(1.2)
    shop.bench.act(acts.BeginTdcWay(method, 1, figure))


@pytest.mark.parametrize(("method", "figure"), [("timing_mark", 10.0), ("locking_pin", -5.0)])
def test_true_tdc_by_mark_or_pin(method: str, figure: float) -> None:
    shop = Shop()
    begin(shop, method, figure)
    turn_to(shop, 1, -figure)
    shop.bench.act(acts.TakeTdcReading())
    if method == "locking_pin":
        assert shop.bench.state.tdc is None
        way = shop.bench.state.tdc_way
        assert way is not None
        assert way.in_the_way
        shop.person.wait(0.1)
        reference = next(c for c in shop.bench.state.conditions if c.name == "reference")
        assert not reference.met  # no air for anything while the pin holds the crank
        shop.bench.act(acts.ConfirmPinRemoved())
    state = shop.bench.state
    assert state.tdc is not None
    assert abs(off_tdc_deg(shop, 1)) < 2.0 * state.tdc.u_deg
    assert state.tdc.u_deg > 0.5
    assert kept_of(state.checks["tdc"]).mark.startswith(f"true TDC by {method.replace('_', ' ')}")


def test_true_tdc_by_dial_gauge() -> None:
    shop = Shop()
    begin(shop, "dial_gauge", DROP_M)
    engine = shop.bench.state.engine
    assert engine is not None
    crank_m, rod_m = engine.stroke_m / 2.0, engine.rod_m
    angles = np.linspace(0.0, 30.0, 3001)
    radians = np.radians(angles)
    fall_m = crank_m * (1 - np.cos(radians)) + rod_m - np.sqrt(rod_m**2 - (crank_m * np.sin(radians)) ** 2)
    at_deg = float(np.interp(DROP_M, fall_m, angles))
    for off_deg in (-at_deg, at_deg, -at_deg, at_deg):
        if off_deg < 0.0:
            shop.person.at_the_rig("turn -90 rpm 60")
        turn_to(shop, 1, off_deg)
        shop.bench.act(acts.TakeTdcReading())
    assert shop.bench.state.tdc is None
    shop.bench.act(acts.ConfirmPinRemoved())
    state = shop.bench.state
    assert state.tdc is not None
    assert state.tdc.method == "dial_gauge"
    assert abs(off_tdc_deg(shop, 1)) < 0.5


def test_readings_that_cannot_be_begin_anew() -> None:
    shop = Shop()
    begin(shop, "dial_gauge", DROP_M)
    for _ in range(4):  # Enter four times without turning
        shop.bench.act(acts.TakeTdcReading())
    shop.bench.act(acts.ConfirmPinRemoved())
    way = shop.bench.state.tdc_way
    assert way is not None
    assert way.counts == ()
    assert shop.bench.state.tdc is None
    assert "degrees apart" in shop.words[-1]
