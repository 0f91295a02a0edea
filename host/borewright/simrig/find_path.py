"""The scripted person finds the path of a leak: listens while the air is on, then measures the flow where much was heard.

As for every act of this person, what decides is what stands on the screen and what can be heard at the engine, never the truth.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from boresim.endpoint import SimEndpoint

from borewright.core.heard import OTHER_CYLINDERS
from borewright.core.place_open import open_now
from borewright.core.readiness_table import State
from borewright.core.stopping import orifice_for, stop_rules
from borewright.service import acts
from borewright.service.bench import Bench
from borewright.simrig.place_person import hold_and_listen
from borewright.simrig.rig_view import ORIFICES_MM2

if TYPE_CHECKING:
    from borewright.core.heard import Strength
    from borewright.simrig.person import Person

__all__ = ["Listener", "flow_purposes", "with_smaller_orifice"]

U_ORIFICE = 0.01  # k = 1, by their certificates
U_GAUGE_PA = 10.0
LEAST_READ_PA = 100.0  # less than ten times what the gauge may be off by
SLACK = 1.3  # a leak is rarely the same twice
LOUD: tuple[Strength, ...] = ("strong", "steady")
TELLING_S = 1.5  # before that the cylinder still fills


class Listener:
    """Someone who keeps the air on and goes from place to place wherever the leakage is over a limit.

    heard: strengths by place, of each cylinder that was listened to.
    """

    def __init__(self, person: Person, bench: Bench, port: SimEndpoint, over_percent: float) -> None:
        self._person, self._bench, self._port = person, bench, port
        self._over_percent = over_percent
        self.heard: dict[int, dict[str, Strength]] = {}

    def with_air(self) -> bool:
        """Look at the screen; listen when it is time to. True once that is done, or is not worth it."""
        state = self._bench.state
        capture = state.capture
        if state.readiness.state is not State.FILLING or capture is None or state.now_s - state.state_since_s < TELLING_S:
            return False
        leakage_percent = capture.live.leakage_percent
        if leakage_percent is None:
            return False
        if leakage_percent > self._over_percent:
            found = self.heard.setdefault(capture.purpose.cylinder, {})
            hold_and_listen(self._person, self._bench, self._port, found.__setitem__)
        return True


def flow_purposes(bench: Bench, cylinder: int, heard: dict[str, Strength]) -> list[acts.Purpose]:
    """A flow test for each place where much was heard and a flow may be measured, loudest first; the orifice from the tool box."""
    engine = bench.state.engine
    done = next((one for one in reversed(bench.done) if one.purpose == acts.Purpose("test", cylinder)), None)
    result = None if done is None else done.analysed.result
    if engine is None or result is None:
        return []
    rules = stop_rules(engine)
    others = () if not open_now(engine, cylinder) else OTHER_CYLINDERS  # air goes round an orifice there
    loud = sorted(
        (place for place in heard if heard[place] in LOUD and place not in others), key=lambda place: LOUD.index(heard[place])
    )
    found = []
    for place in loud:
        if not rules[place].may_measure_flow:
            continue
        least_m2 = orifice_for(rules[place], SLACK * result.leak_area_m2, result.p_cylinder_gauge_pa).least_area_m2
        area_m2 = next((mm2 * 1e-6 for mm2 in ORIFICES_MM2 if mm2 * 1e-6 >= least_m2), None)
        if area_m2 is not None:
            found.append(_purpose(cylinder, place, area_m2))
    return found


def with_smaller_orifice(purpose: acts.Purpose, shown_pa: float) -> acts.Purpose | None:
    """The same flow test with about a third of the orifice, where the gauge showed too little; None where it showed enough."""
    smaller = [mm2 * 1e-6 for mm2 in ORIFICES_MM2 if mm2 * 1e-6 <= 0.4 * purpose.flow_orifice_m2]
    return None if shown_pa >= LEAST_READ_PA or not smaller else replace(purpose, flow_orifice_m2=smaller[-1])


def _purpose(cylinder: int, place: str, area_m2: float) -> acts.Purpose:
    return acts.Purpose(
        "test",
        cylinder,
        aim="place",
        flow_place=place,
        flow_orifice_m2=area_m2,
        flow_u_relative=U_ORIFICE,
        u_gauge_pa=U_GAUGE_PA,
    )
