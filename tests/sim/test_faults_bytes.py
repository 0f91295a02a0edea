"""With faults too: the octets do not depend on how time is cut, and a fault is gone when it is over."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from boresim.faults import Moment
from boresim.faults.electrical import ELECTRICAL
from boresim.faults.fault import Fault
from boresim.faults.physical import PHYSICAL
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder, encode
from borewire.messages import AirEvent, Cause, HostAlive, StreamStart, SupplyOpen, SupplyShut, VentClose, VentOpen

END_S = 26.0
FIRST_MESSAGE_S, LAST_MESSAGE_S = 12.0, END_S
STORY = (
    (0.0, "hose {cylinder}"),
    (0.0, "to tdc {cylinder} off 0.3"),
    (0.0, "restrain 60"),
    (0.0, "hold press"),
    (11.9, StreamStart(1, 1000, 8)),
    (16.5, VentClose(2, 400, 2000)),
    (17.2, "puff"),
    (18.6, "full"),
    (22.6, SupplyShut(5, 2000)),
    (24.0, VentOpen(6)),
)


def _play(fault: Fault, cuts_s: list[float]) -> bytes:
    """A squeeze, a puff, a test and its decay, the fault armed; everything that came out."""
    scenario = load_scenario(fault.scenario, fault.seed)
    before_tdc_deg = scenario.engine.firing_angles_deg[fault.cylinder] - 20.0
    rig = SimRig(replace(scenario, crank=replace(scenario.crank, start_deg=before_tdc_deg)))
    rig.faults.arm(fault.name)
    told = sorted([*STORY, *((0.2 * step, HostAlive()) for step in range(60, 130))], key=lambda item: item[0])
    out = bytearray()
    for at_s, what in sorted([*told, *((cut, None) for cut in [*cuts_s, END_S])], key=lambda item: item[0]):
        rig.advance(max(0.0, at_s - rig.now_s))
        out += rig.transmit()
        if what in {"puff", "full"}:
            count = rig.electronics.count_at(rig.plant.crank_deg)
            opening = (1, 200) if what == "puff" else (2, 5000)
            rig.receive(encode(SupplyOpen(3, *opening, count - 60, count + 60, 4000, 4000)))
        elif isinstance(what, str):
            assert rig.operator.do(what.format(cylinder=fault.cylinder)).startswith("ok ")
        elif what is not None:
            rig.receive(encode(what))
    assert rig.faults.active == (fault.name,)
    return bytes(out)


@pytest.mark.parametrize("fault", [*PHYSICAL, *ELECTRICAL], ids=lambda fault: fault.name)
def test_the_octets_with_a_fault_do_not_depend_on_how_time_is_cut(fault: Fault) -> None:
    luck = random.Random(f"cuts {fault.name}")
    cut = _play(fault, [luck.uniform(FIRST_MESSAGE_S, LAST_MESSAGE_S) for _ in range(300)])
    assert cut == _play(fault, [])


def test_the_story_opens_twice_and_isolates() -> None:
    fault = replace(PHYSICAL[0], moment=Moment.VENT, after_s=0.0)
    causes = [event.cause for event in Decoder("host").feed(_play(fault, [])) if isinstance(event, AirEvent)]
    assert causes == [
        Cause.POWER_UP, Cause.COMMAND_CLOSE, Cause.TIME_LIMIT, Cause.COMMAND_OPEN, Cause.TIME_LIMIT, Cause.COMMAND_OPEN,
        Cause.COMMAND_SHUT, Cause.COMMAND_VENT,
    ]  # fmt: skip
