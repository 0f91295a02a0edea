"""What the device says of its valves counts, and what the host said last about the air is what is repeated."""

from __future__ import annotations

from dataclasses import replace

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder, encode
from borewire.messages import SupplyOpen, VentClose, VentOpen
from borewright.core.conditions import Condition
from borewright.service import acts, effects
from borewright.service.bench import Bench
from borewright.service.engines import engine_from_document
from borewright.service.facts import conditions_of
from borewright.session.session import Phase, Session
from borewright.simrig.person import Person


def test_a_lost_vent_close_is_not_repeated_after_the_vent_was_opened() -> None:
    session = replace(Session(0.0), phase=Phase.STREAMING, heard_s=0.0)
    session = session.command(VentClose(0, 1000, 4000), 0.0).session
    session = session.command(VentOpen(0), 0.1).session
    sent = [message for step in range(2, 10) for message in session.tick_host(step * 0.05).send]
    assert any(isinstance(message, VentOpen) for message in sent)
    assert not any(isinstance(message, VentClose) for message in sent)


class DeafPort(SimEndpoint):
    """Loses every frame that would open the supply."""

    def write(self, data: bytes) -> int:
        kept = [message for message in Decoder("device").feed(data) if not isinstance(message, SupplyOpen)]
        super().write(b"".join(encode(message) for message in kept))  # type: ignore[arg-type]
        return len(data)


@pytest.fixture
def words() -> list[effects.Say | effects.AirRefused]:
    return []


def test_a_puff_that_the_rig_never_heard_of_gives_no_full_pressure(words: list[effects.Say | effects.AirRefused]) -> None:
    scenario = load_scenario("hillclimb-before")
    port = DeafPort(SimRig(scenario))
    engine = engine_from_document(scenario.engine_document, scenario.name)
    bench = Bench(port, None, wall_clock=lambda: 1.8e9, tell=words.append, engine=engine)
    person = Person(bench, port)
    person.wait(2.5)
    person.take_zero()
    person.carry_out(acts.Purpose("sealed"))
    (done,) = bench.done
    assert done.analysed.void_reason is not None
    assert "did not say that it opened" in done.analysed.void_reason
    assert not port.rig.device.interlock.supply_open


def air(bench: Bench) -> Condition:
    return next(condition for condition in conditions_of(bench.state) if condition.name == "air")


def test_a_vent_that_the_device_holds_closed_is_no_vent(words: list[effects.Say | effects.AirRefused]) -> None:
    scenario = load_scenario("hillclimb-before")
    port = SimEndpoint(SimRig(scenario))
    bench = Bench(port, None, wall_clock=lambda: 1.8e9, tell=words.append, engine=None)
    while bench.state.device_air is None:
        bench.turn()
    bench.turn()
    assert "vent" not in air(bench).reason
    port.write(encode(VentClose(900, 2000, 4000)))  # nobody on the host's side asked for it
    for _ in range(10):
        bench.turn()
    assert air(bench).reason == "the vent is closed"
