"""The scripted person at the engine's places: listens, stops them, puts orifices on, pours oil, reads the gauges there."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from boresim.endpoint import SimEndpoint

from borewright.core.heard import Strength, heard
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.bench import Bench
from borewright.service.guide import Step, StepKey
from borewright.service.places import awaited_gauge
from borewright.units import parse

if TYPE_CHECKING:
    from borewright.simrig.person import Person

__all__ = ["AT_PLACES", "follow_at_place", "hold_and_listen"]

AT_PLACES: frozenset[StepKey] = frozenset({"confirm_caution", "fit_places", "pour_oil", "turn_open", "read_place_gauge"})
GAUGE_STANDS_S = 1.0
LISTENS_S = 4.0  # at each place


def follow_at_place(person: Person, bench: Bench, port: SimEndpoint, step: Step) -> None:
    """Do what a step of AT_PLACES says."""
    person.do_at_the_rig(step)
    if step.act is not None:
        person.tell(step.act)
        person.wait(0.1)
    elif step.key == "read_place_gauge":
        _read_gauge(person, bench, port)


def _read_gauge(person: Person, bench: Bench, port: SimEndpoint) -> None:
    place = awaited_gauge(bench.state)
    if place is None:
        return
    person.wait(GAUGE_STANDS_S)
    answer = port.rig.operator.do(f"place-gauge {bench.state.purpose.cylinder} {place}")
    person.tell(acts.ReadPlaceGauge(place, parse(answer.removeprefix("ok "), "pressure_gauge")))
    person.wait(0.1)


def hold_and_listen(person: Person, bench: Bench, port: SimEndpoint, hear: Callable[[str, Strength], None] | None = None) -> None:
    """With air on: keep it on, go to each place and note how strong it is there, then let the test go on.

    hear: told each place and strength. Does nothing where the air has gone off meanwhile.
    """
    bench.act(acts.SetHold(True))
    person.wait(LISTENS_S)
    places = bench.state.engine.places if bench.state.engine is not None else ()
    for one in heard(port.rig.operator.do("listen").removeprefix("ok "), places):
        if bench.state.readiness.state is not State.HOLDING:
            return
        bench.act(acts.NoteHeard(one.place, one.strength, one.neighbour))
        if hear is not None:
            hear(one.place, one.strength)
        person.wait(LISTENS_S)
    bench.act(acts.SetHold(False))
