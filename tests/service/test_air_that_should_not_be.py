"""Air that should not be there, or should not go on: each case once went through unnoticed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder
from borewire.messages import SupplyOpen
from borewright.core.readiness_table import State
from borewright.core.rig import RigCheck
from borewright.service import acts, effects
from borewright.service.bench import Bench
from borewright.service.engines import engine_from_document
from borewright.service.facts import conditions_of
from borewright.service.guide import next_step
from borewright.service.on_news import take_news
from borewright.service.reducer import HostTick, step
from borewright.service.tdc import tdc_of_check
from borewright.service.work import Work
from borewright.session import news
from borewright.simrig.person import Person


class Place:
    """A simulated rig with its bench and person, the checks of yesterday known, vented and zeroed."""

    def __init__(self, scenario_name: str, *, checked: bool = True) -> None:
        scenario = load_scenario(scenario_name)
        self.port = SimEndpoint(SimRig(scenario))
        self.words: list[effects.Say | effects.AirRefused] = []
        engine = engine_from_document(scenario.engine_document, scenario.name)
        self.bench = Bench(
            self.port, None, wall_clock=lambda: 1.8e9 + self.port.monotonic(), tell=self.words.append, engine=engine, read_s=0.032
        )
        self.person = Person(self.bench, self.port)
        self.person.wait(2.5)
        if checked:
            made_with = {"setup": self.bench.state.setup.fingerprint}
            kept = {"sealed": {"p_regulated_gauge_pa": 551_000.0}, "restrictor": {"area_m2": 8.1e-7}}
            self.bench.know_checks(
                {kind: RigCheck(kind, 1.8e9 - 3600.0, "tester", "BW-REF-0001", True, made_with | kept[kind]) for kind in kept}  # type: ignore[arg-type, dict-item]
            )
        self.person.take_zero()

    def until(self, state: State, limit_s: float = 30.0) -> None:
        self.person.wait_until(lambda: self.bench.state.readiness.state is state, limit_s)

    def until_done(self, limit_s: float = 30.0) -> None:
        self.person.wait_until(lambda: bool(self.bench.done), limit_s)

    def said(self, level: str) -> str:
        return "; ".join(word.text for word in self.words if isinstance(word, effects.Say) and word.level == level)

    def openings(self) -> list[SupplyOpen]:
        return [message for message in self.sent if isinstance(message, SupplyOpen)]

    def listen_to_the_wire(self) -> None:
        self.sent: list[object] = []
        ear, write = Decoder("device"), self.port.write

        def heard(data: bytes) -> int:
            self.sent.extend(ear.feed(data))
            return write(data)

        self.port.write = heard  # type: ignore[method-assign]


def ready_for_a_test() -> Place:
    place = Place("hillclimb-after")
    place.person.find_true_tdc(1)
    place.person.tell(acts.SetPurpose(acts.Purpose("test", 1)))
    place.person.follow_until("give_air")
    place.listen_to_the_wire()
    return place


def capped(regulator_kpa: float | None = None, hose: str = "capped") -> Place:
    place = Place("hillclimb-after", checked=False)
    if regulator_kpa is not None:
        place.person.at_the_rig(f"regulator {regulator_kpa:g}")
    place.person.at_the_rig(f"hose {hose}")
    place.person.tell(acts.SetPurpose(acts.Purpose("sealed")))
    place.person.tell(acts.PlaceHose("capped"))
    place.person.follow_until("give_air")
    place.listen_to_the_wire()
    return place


def test_a_hose_read_back_elsewhere_after_the_puff_gets_no_full_pressure() -> None:
    place = ready_for_a_test()
    place.person.at_the_rig("hold press")
    place.until(State.WATCHING)
    puffs = len(place.openings())
    place.person.tell(acts.ReadBackHose(3))
    place.until_done()
    assert len(place.openings()) == puffs
    (done,) = place.bench.done
    assert done.analysed.void_reason is not None


def test_people_whose_word_runs_out_after_the_puff_get_no_full_pressure() -> None:
    place = ready_for_a_test()
    place.person.at_the_rig("hold press")
    place.until(State.WATCHING)
    puffs = len(place.openings())
    place.bench.state = replace(place.bench.state, confirmed=None)
    place.until_done()
    assert len(place.openings()) == puffs
    (done,) = place.bench.done
    assert done.analysed.void_reason is not None
    assert "not ready any more" in done.analysed.void_reason


def test_a_sealed_check_with_the_hose_in_an_engine_gets_the_puff_only() -> None:
    place = capped(hose="1")
    place.person.at_the_rig("restrain 100")
    place.person.follow_until("give_air")
    place.person.at_the_rig("hold press")
    place.until(State.WATCHING)
    place.until_done()
    assert len(place.openings()) == 1
    (done,) = place.bench.done
    assert done.analysed.void_reason is not None
    assert "too slowly to be capped" in done.analysed.void_reason


@pytest.mark.parametrize("held", [False, True])
def test_a_regulator_out_of_range_ends_the_opening_even_while_air_is_held(held: bool) -> None:
    place = capped(regulator_kpa=300.0)
    place.person.at_the_rig("hold press")
    place.until(State.FILLING)
    if held:
        place.person.tell(acts.SetHold(True))
    place.until_done(10.0)
    (done,) = place.bench.done
    assert done.analysed.void_reason is not None
    assert "out of range" in done.analysed.void_reason


def test_a_supply_opened_during_a_squeeze_by_hand_sounds_the_alarm() -> None:
    place = Place("hillclimb-after-hand")
    place.person.find_true_tdc(1)
    place.person.tell(acts.SetPurpose(acts.Purpose("test", 1)))
    place.person.follow_until("begin_squeeze")
    place.person.tell(acts.BeginSqueeze())
    place.person.at_the_rig("vent shut")
    place.person.at_the_rig("supply open")
    place.until(State.VENTING, 5.0)
    assert place.bench.state.pressurised
    assert "SHUT THE SUPPLY AND OPEN THE VENT BY HAND" in place.said("alarm")


def test_a_squeeze_without_air_sounds_none() -> None:
    place = Place("hillclimb-after")
    place.person.find_true_tdc(1)
    place.person.tell(acts.SetPurpose(acts.Purpose("test", 1)))
    place.person.follow_until("read_back_hose")
    assert place.said("alarm") == ""
    assert not place.bench.state.pressurised


def test_a_venting_that_does_not_work_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    place = capped()
    place.person.at_the_rig("hold press")
    place.until(State.FILLING)
    place.person.wait(1.0)
    stuck: Callable[[bool], None] = lambda _: None  # noqa: E731 -- both valves stay as they are
    monkeypatch.setattr(place.port.rig.plant, "set_vent", stuck)
    monkeypatch.setattr(place.port.rig.plant, "set_supply", stuck)
    place.person.tell(acts.StopAll())
    place.person.wait(4.0)
    assert "does not fall" not in place.said("alarm")
    place.person.wait(8.0)
    assert place.said("alarm").count("the pressure does not fall") == 1
    assert place.bench.state.pressurised


def test_leaving_a_vented_hand_rig_sounds_no_alarm() -> None:
    place = Place("hillclimb-after-hand")
    place.bench.take_leave()
    assert place.said("alarm") == ""


def test_a_rig_that_falls_silent_is_not_ready() -> None:
    place = ready_for_a_test()
    state, _ = step(place.bench.state, HostTick(), place.port.monotonic() + 0.6)
    assert next_step(state).key == "wait"
    assert not conditions_of(state)[0].met


def test_checks_dated_in_the_future_do_not_count() -> None:
    place = Place("hillclimb-after")
    later = {kind: replace(check, made_at_unix_s=2.0e9) for kind, check in place.bench.state.checks.items()}
    state = replace(place.bench.state, checks=later)
    rig = conditions_of(state)[1]
    assert not rig.met


def test_another_rig_on_the_same_port_is_not_taken_for_the_first() -> None:
    place = Place("hillclimb-after")
    identity = place.bench.state.session.identity
    assert identity is not None
    work = Work(place.bench.state, 0.0)
    take_news(work, news.DeviceKnown(replace(identity, serial_number="OTHER"), place.bench.state.session.channels))
    assert work.state.lost is not None
    assert "another rig" in work.state.lost


def test_a_true_tdc_of_another_mounting_is_not_used() -> None:
    place = ready_for_a_test()
    crank, check = place.bench.state.crank, place.bench.state.checks["tdc"]
    assert crank is not None
    name = str(check.result["engine"])
    assert tdc_of_check(check, crank, name) is not None
    assert tdc_of_check(check, replace(crank, running_sign=-1), name) is None
    assert tdc_of_check(check, crank, "another engine") is None
