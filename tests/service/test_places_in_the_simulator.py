"""Stops, orifices, oil and ears at the simulated engine, in virtual time: what is kept, and that no air comes when it must not."""

from __future__ import annotations

import copy
from dataclasses import replace
from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import Scenario, load_scenario
from borewire.codec import Decoder
from borewire.messages import ChannelDescription, Quantity, SupplyOpen, VentOpen
from borewright.core.readiness_table import State
from borewright.core.rig import RigCheck
from borewright.core.stopping import highest_supply_gauge_pa, stop_rules
from borewright.service import acts, effects
from borewright.service.bench import Bench
from borewright.service.conditions_of_air import AirConditions
from borewright.service.engines import engine_from_document
from borewright.service.guide import next_step
from borewright.service.places import wrong_place
from borewright.service.regulator import proof_of, wrong_pressure
from borewright.service.spare import take_slow, take_streamed
from borewright.service.state import BenchState
from borewright.service.work import Work
from borewright.simrig.person import Person
from borewright.simrig.place_person import hold_and_listen
from borewright.store.records import CaptureRecord, FindingRecord
from borewright.store.store import Store
from borewright.store.writer import StoreWriter

UNIX_S = 1.8e9
SCENARIOS = Path(__file__).resolve().parents[2] / "simulator" / "scenarios"
ASKED_PA = 80_000.0
COOLANT = acts.Purpose("test", 1, aim="place", stopped=("coolant",), asked_gauge_pa=ASKED_PA)
REFERENCE = acts.Purpose("test", 1, aim="place", asked_gauge_pa=ASKED_PA)
FLOW = acts.Purpose("test", 1, aim="place", flow_place="breather", flow_orifice_m2=20e-6, flow_u_relative=0.01, u_gauge_pa=10.0)
WET = acts.Purpose("test", 1, wet_oil_m3=3e-6)
TRUE_BREATHER_MM2 = 0.36


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


@cache
def _scenario(folder: Path) -> Scenario:
    """The hill-climb four with a cap whose rating is known, and a crack into the coolant at cylinder 1."""
    engine = (SCENARIOS / "larch_four_engine.toml").read_text(encoding="utf-8")
    (folder / "capped_engine.toml").write_text(engine.replace("cooling =", "coolant_cap_kpa = 120\ncooling ="), encoding="utf-8")
    story = (SCENARIOS / "hillclimb-before.toml").read_text(encoding="utf-8").replace("larch_four_engine", "capped_engine")
    crack = '  { place = "coolant", area_mm2 = 0.30 },\n  { place = "exhaust", area_mm2 = 0.05 },\n'
    story = story.replace('  { place = "exhaust", area_mm2 = 0.05 },\n', crack, 1)
    story = story.replace("reaction_s = 0.9", "reaction_s = 0.1")
    story = story[: story.index("[truth]")]
    (folder / "capped.toml").write_text(story, encoding="utf-8")
    (folder / "reference_rig.toml").write_text((SCENARIOS / "reference_rig.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return load_scenario(str(folder / "capped.toml"))


class Shop:
    """A bench, a person and a record where cylinder 1 has been shown, short of air."""

    def __init__(self, rig: SimRig, store: Store | None) -> None:
        scenario = rig.plant.scenario
        self.rig = rig
        self.port = TappedPort(rig)
        self.words: list[str] = []
        self.bench = Bench(
            self.port,
            None if store is None else StoreWriter(store, threaded=False),
            wall_clock=lambda: UNIX_S + self.port.monotonic(),
            tell=lambda word: self.words.append(word.text if isinstance(word, effects.Say) else "; ".join(word.reasons)),
            engine=engine_from_document(scenario.engine_document, "scenario"),
            who="tester",
            ambient=AirConditions(scenario.ambient.pressure_abs_pa, 290.15, 290.15),
            read_s=0.032,
        )
        self.person = Person(self.bench, self.port)
        self.store = store

    def follow_until(self, *keys: str) -> None:
        for _ in range(200):
            step = next_step(self.bench.state)
            if step.key in keys:
                return
            self.person.follow(step)
        raise AssertionError(next_step(self.bench.state))

    def test(self, purpose: acts.Purpose) -> CaptureRecord:
        """One test from its purpose to the vent, as the record has it."""
        self.person.carry_out(purpose)
        return self.captures()[-1]

    def captures(self) -> tuple[CaptureRecord, ...]:
        assert self.store is not None
        return self.store.list_captures()

    def findings(self) -> tuple[FindingRecord, ...]:
        assert self.store is not None
        assert self.bench.job_id is not None
        return self.store.list_findings(self.bench.job_id)


@cache
def _shown(folder: Path) -> tuple[SimRig, BenchState]:
    """TDC found and cylinder 1 squeezed once; what is later asked for begins with copies of both."""
    shop = Shop(SimRig(_scenario(folder)), None)
    shop.person.wait(2.5)
    yesterday = UNIX_S - 86_400.0
    made_with = {"setup": shop.bench.state.setup.fingerprint}
    kept = {"sealed": made_with | {"p_regulated_gauge_pa": 551_000.0}, "restrictor": made_with | {"area_m2": 8.1e-7}}
    checks = {kind: RigCheck(kind, yesterday, "tester", "BW-REF-0001", True, result) for kind, result in kept.items()}  # type: ignore[arg-type]
    shop.bench.know_checks(checks)
    shop.person.take_zero()
    shop.person.find_true_tdc(1)
    shop.bench.act(acts.SetPurpose(acts.Purpose("test", 1)))
    shop.follow_until("turn_to_tdc", "restrain")
    shop.bench.act(acts.CarryStroke(True))
    return shop.rig, shop.bench.state


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("scenario")


@pytest.fixture
def shop(folder: Path, tmp_path: Path) -> Shop:
    rig, state = _shown(folder)
    store = Store.open(tmp_path / "shop.db", clock=lambda: UNIX_S)
    made = Shop(copy.deepcopy(rig), store)
    made.bench.state = state
    engine = made.bench.state.engine
    assert engine is not None
    document = dict(rig.plant.scenario.engine_document)
    made.bench.job_id = store.create_job("places", "before", store.save_engine(engine.name, document))
    return made


# ---------------------------------------------------------------------- stop-off


def test_a_stop_off_from_the_proof_to_the_gauge_and_no_frame_above_what_the_place_may_have(shop: Shop) -> None:
    engine = shop.bench.state.engine
    assert engine is not None
    proof = shop.test(proof_of(ASKED_PA))
    assert (proof.purpose, proof.state, proof.job_id) == ("sealed", "complete", None)
    assert shop.bench.state.checks["sealed"].made_at_unix_s == UNIX_S - 86_400.0  # a proof is no sealed check of the rig
    reference = shop.test(REFERENCE)
    before = len(shop.port.openings())
    stopped = shop.test(COOLANT)
    assert (reference.purpose, stopped.purpose) == ("stop_off", "stop_off")
    assert (reference.state, stopped.state) == ("complete", "complete"), (reference.void_reason, stopped.void_reason)
    assert list(stopped.laws["purpose"]["stopped"]) == ["coolant"]
    assert stopped.result is not None
    assert reference.result is not None
    assert reference.result["leak_area_mm2"] - stopped.result["leak_area_mm2"] == pytest.approx(0.30, abs=0.06)
    (gauge,) = shop.findings()
    assert (gauge.kind, gauge.place, gauge.capture_id, gauge.said_by) == ("stop_gauge", "coolant", stopped.id, "tester")
    assert 10_000.0 < gauge.detail["p_place_gauge_pa"] < ASKED_PA
    transducers = shop.bench.state.transducers
    assert transducers is not None
    openings = shop.port.openings()[before:]
    assert openings
    highest = highest_supply_gauge_pa(engine, ["coolant"])
    for opening in openings:
        for law, raw in ((transducers.regulated, opening.limit_regulated_raw), (transducers.cylinder, opening.limit_cylinder_raw)):
            assert float(law.gauge_pa(raw)) <= highest + law.pa_per_raw


def _proven(shop: Shop, gauge_pa: float) -> None:
    """As after a capped opening."""
    shop.bench.act(acts.SetRegulator(gauge_pa))
    shop.person.at_the_rig(f"regulator {gauge_pa / 1e3:g}")
    shop.bench.state = replace(shop.bench.state, proven_gauge_pa=gauge_pa)


def _everything_but_the_places(shop: Shop) -> None:
    """The hose in, the crank at TDC and restrained, every point promised: only the places are left."""
    shop.bench.act(acts.SetPurpose(acts.Purpose("test", 1, aim="place", asked_gauge_pa=ASKED_PA)))
    shop.follow_until("give_air")


def test_no_open_frame_before_the_pressure_was_proven_the_cautions_confirmed_and_the_stops_fitted(shop: Shop) -> None:
    shop.bench.act(acts.SetPurpose(COOLANT))
    assert next_step(shop.bench.state).key == "blocked"
    assert "proven" in next_step(shop.bench.state).text
    _proven(shop, ASKED_PA)
    _everything_but_the_places(shop)
    shop.bench.act(acts.SetPurpose(COOLANT))
    shop.person.promise_all()
    shop.person.at_the_rig("hold press")
    assert any("a caution has not been confirmed" in words for words in shop.words)
    shop.person.at_the_rig("hold release")
    cautions = 0
    while (step := next_step(shop.bench.state)).key == "confirm_caution":
        assert isinstance(step.act, acts.ConfirmCaution)
        shop.bench.act(acts.ConfirmCaution("coolant", "another one"))
        assert next_step(shop.bench.state) == step
        shop.bench.act(step.act)
        cautions += 1
    assert cautions >= 5
    shop.person.promise_all()
    shop.person.at_the_rig("hold press")
    assert any("what is fitted to the places" in words for words in shop.words)
    shop.person.at_the_rig("hold release")
    shop.bench.act(acts.FitPlaces(("coolant", "exhaust")))
    shop.person.promise_all()
    shop.person.at_the_rig("hold press")
    shop.person.wait(2.0)
    assert shop.port.openings() == []
    assert len(shop.bench.done) == 0


def test_another_pressure_than_the_proven_one_is_proven_first(shop: Shop) -> None:
    _proven(shop, ASKED_PA)
    for purpose in (acts.Purpose("test", 1, aim="place", asked_gauge_pa=ASKED_PA + 60_000.0), acts.Purpose("test", 1)):
        shop.bench.act(acts.SetPurpose(purpose))
        assert next_step(shop.bench.state).key == "blocked", purpose


def test_a_gauge_above_its_limit_shuts_vents_and_makes_the_test_void(shop: Shop) -> None:
    shop.bench.act(acts.SetPurpose(FLOW))
    shop.follow_until("read_place_gauge")
    assert shop.bench.state.readiness.state is State.HOLDING
    shop.bench.act(acts.SetHold(False))
    assert shop.bench.state.readiness.state is State.HOLDING  # the gauge comes first
    _the_spare_channel_would_have_seen_it(shop.bench.state)
    shop.bench.act(acts.ReadPlaceGauge("breather", 5_100.0))
    assert shop.bench.state.readiness.state.value == "venting"
    shop.person.wait_until(lambda: not shop.bench.state.readiness.locked, 30.0)
    test = shop.captures()[-1]
    assert test.state == "void"
    assert test.void_reason == "the gauge at the breather showed 5.1 kPa, more than the 5 kPa allowed there"
    (finding,) = shop.findings()
    assert (finding.capture_id, finding.detail["p_place_gauge_pa"]) == (test.id, 5_100.0)


def _the_spare_channel_would_have_seen_it(state: BenchState) -> None:
    """The same moment on a rig whose spare channel has the gauge: 0 to 10 kPa over 4096 steps, 10 to 90 % of its supply."""
    spare = ChannelDescription(0, 2, Quantity.PRESSURE_SPARE, 0, 4095, 0.0, 5.0 / 4096, 5.0)
    session = replace(state.session, channels=(*state.session.channels, spare))
    setup, purpose = replace(state.setup, spare_high_gauge_pa=10_000.0), replace(state.purpose, spare_place="breather")
    fitted = replace(state, session=session, setup=setup, purpose=purpose)
    latest = state.recent[-1]

    def slowly(work: Work, raw: int) -> None:
        take_slow(work, 2, raw)

    def in_the_samples(work: Work, raw: int) -> None:
        spare_raw = np.full((1, len(latest)), raw, np.uint16)
        take_streamed(work, replace(latest, raw=np.concatenate((latest.raw, spare_raw))))

    cases = ((409 + 1600, State.HOLDING), (409 + 1680, State.VENTING))  # 4.88 and 5.13 kPa
    for (raw, after), take in product(cases, (slowly, in_the_samples)):
        work = Work(fitted, 0.0)
        take(work, raw)
        assert work.state.readiness.state is after
        sent = [effect.message for effect in work.effects if isinstance(effect, effects.Send)]
        assert any(isinstance(message, VentOpen) for message in sent) is (after is State.VENTING)
    assert work.state.capture is not None
    assert "more than the 5 kPa allowed there" in str(work.state.capture.void_reason)


def test_a_gauge_that_nobody_reads_is_vented_after_a_minute(shop: Shop) -> None:
    shop.bench.act(acts.SetPurpose(FLOW))
    shop.follow_until("read_place_gauge")
    shop.bench.act(acts.SetHold(True))
    shop.person.wait_until(lambda: not shop.bench.state.readiness.locked, 90.0)
    assert shop.captures()[-1].void_reason == "the gauge at the breather was not read within a minute"


def test_what_may_not_be_is_refused_before_anything_is_done(shop: Shop) -> None:
    engine, setup = shop.bench.state.engine, shop.bench.state.setup
    assert engine is not None
    purpose = shop.bench.state.purpose
    for wrong in (
        acts.Purpose("test", 1, aim="place", stopped=("exhaust",), asked_gauge_pa=ASKED_PA),
        acts.Purpose("test", 1, aim="place", stopped=("coolant",)),
        acts.Purpose(
            "test", 1, aim="place", stopped=("coolant",), asked_gauge_pa=0.98 * highest_supply_gauge_pa(engine, ["coolant"])
        ),
        acts.Purpose("test", 1, aim="place", stopped=("attic",), asked_gauge_pa=ASKED_PA),
        acts.Purpose("test", 1, asked_gauge_pa=ASKED_PA),
        acts.Purpose("test", 1, aim="place", flow_place="outside", flow_orifice_m2=2e-5),
        acts.Purpose("test", 1, wet_oil_m3=6e-6),
    ):
        assert wrong_place(wrong, engine) or wrong_pressure(wrong, setup, engine)
        shop.bench.act(acts.SetPurpose(wrong))
        assert shop.bench.state.purpose == purpose


# ---------------------------------------------------------------------- flow, oil, ears


def test_the_flow_at_a_place_through_an_orifice_gives_the_leak_there(shop: Shop) -> None:
    from borewright.core.stop_passing import place_flow  # noqa: PLC0415 -- of this test alone

    test = shop.test(FLOW)
    assert (test.purpose, test.state) == ("stop_off", "complete"), test.void_reason
    assert "flow of the breather led through an orifice" in test.marks
    (finding,) = shop.findings()
    assert (finding.kind, finding.place, finding.capture_id) == ("flow", "breather", test.id)
    flow = place_flow("breather", finding.detail, p_ambient_abs_pa=98_900.0, t_place_k=290.15, t_cylinder_k=290.15)
    engine = shop.bench.state.engine
    assert engine is not None
    assert 0.0 < finding.detail["p_place_gauge_pa"] < stop_rules(engine)["breather"].limit_gauge_pa
    assert flow.leak_area_m2 * 1e6 == pytest.approx(TRUE_BREATHER_MM2, rel=0.12)


def test_no_air_before_the_engine_was_turned_twice_with_the_oil_in_and_the_hole_open(shop: Shop) -> None:
    shop.bench.act(acts.SetPurpose(WET))
    shop.follow_until("pour_oil")
    shop.person.at_the_rig("wet 1 3")
    shop.bench.act(acts.PourOil(1, 3e-6))
    shop.bench.act(acts.PlaceHose("cylinder", 1))  # too early
    shop.person.at_the_rig("turn +800 rpm 60")
    shop.person.wait(0.2)
    assert next_step(shop.bench.state).key == "pour_oil"
    assert "again" in next_step(shop.bench.state).text
    shop.person.promise_all()
    shop.person.at_the_rig("hold press")
    assert shop.port.openings() == []
    assert any("hydraulic lock" in words for words in shop.words)
    shop.person.at_the_rig("hold release")
    test = shop.test(WET)
    assert (test.purpose, test.state) == ("wet", "complete"), test.void_reason
    assert "wet: 3 cm³ of oil" in test.marks
    assert not any("contradiction" in mark for mark in test.marks)
    plain = shop.test(acts.Purpose("test", 1))
    assert plain.purpose == "test"
    assert "oil was put into this cylinder before this test" in plain.marks


def test_what_is_heard_in_a_hold_is_kept_with_the_test(shop: Shop) -> None:
    shop.bench.act(acts.NoteHeard("exhaust", "strong"))  # without air there is nothing to hear
    shop.bench.act(acts.SetPurpose(acts.Purpose("test", 1)))
    shop.follow_until("give_air")
    shop.person.follow(next_step(shop.bench.state))
    shop.person.wait_until(lambda: shop.bench.state.readiness.state is State.FILLING, 10.0)
    shop.person.wait(1.0)
    heard: dict[str, str] = {}
    hold_and_listen(shop.person, shop.bench, shop.port, heard.__setitem__)
    shop.bench.act(acts.NoteHeard("attic", "strong"))
    shop.bench.act(acts.NoteHeard("neighbours", "strong", 1))  # it is cylinder 1 that has the air
    shop.bench.act(acts.NoteHeard("neighbours", "faint", 2))
    shop.person.wait_until(lambda: shop.bench.state.capture is None, 60.0)
    (test,) = shop.captures()
    assert (test.purpose, test.state) == ("test", "complete")
    kept = shop.findings()
    assert dict(kept[-1].detail) == {"strength": "faint", "neighbour": 2}
    assert {finding.place: finding.detail["strength"] for finding in kept[:-1]} == heard
    assert {finding.capture_id for finding in kept} == {test.id}
    assert heard["breather"] in ("steady", "strong")
    assert heard["neighbours"] == "none"
