"""What somebody who stands at the simulated rig sees and hears of it, at one moment. Never what only the scenario knows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import isinf
from typing import Any, Literal

from boresim.any_rig import AnyRig
from boresim.scenario import Scenario

from borewright.core.heard import Heard, heard

__all__ = ["ORIFICES_MM2", "ORIFICE_M2", "BuiltInFacts", "BuiltInView", "facts_of", "look_at"]

ORIFICE_M2 = 0.8e-6  # the certified orifice in the tool box, for the restrictor check
ORIFICES_MM2 = (2.0, 4.0, 8.0, 16.0, 25.0, 40.0)  # in the tool box too, effective area at low pressure, for the flow at a place

LEAST_HEARD_PA = 500.0  # with less than this over the piston nobody goes to listen
GAUGE_STEP_PA = 10_000.0  # to which the gauges on the panel can be read from where the person stands


@dataclass(frozen=True, slots=True)
class BuiltInFacts:
    """What does not change while somebody works at this rig: what is written on the engine's job card, the rig and its tools.

    restraint_nm: what stands on the restraint. ambient_abs_pa, air_k, engine_k: what barometer and thermometers show.
    """

    scenario: str
    story: str
    stage: Literal["before", "after", "routine"]
    engine_name: str
    engine_document: dict[str, Any]
    firing_order: tuple[int, ...]
    cycle_deg: float
    places: tuple[str, ...]
    hand_valves: bool
    hold_fitted: bool
    decompression_lever: bool
    restraint_nm: float
    supply_gauge_pa: float
    ambient_abs_pa: float
    air_k: float
    engine_k: float


@dataclass(frozen=True, slots=True)
class BuiltInView:
    """The rig and the engine as they are to be seen now.

    crank_deg: past the TDC mark of the first cylinder in the firing order, within one cycle. pistons: cylinder and how far down its
    piston is, a share of the stroke. metered: cylinder, place, orifice in mm². oil_cm3: poured in so far, by cylinder. gauges are
    read as they are on the panel. heard: how it sounds at each place; empty where there is nothing to listen to. gauge: what the
    reference gauge shows; None where it is not on. place_gauges: cylinder, place and what the gauge there shows. said: the last
    answer of the person at the rig. troubles: what could not be done, oldest first.
    """

    at_s: float
    crank_deg: float
    pistons: tuple[tuple[int, float], ...]
    hose_at: int | str
    supply_open: bool
    vent_open: bool
    restraint_nm: float | None
    regulator_gauge_pa: float
    regulated_gauge_pa: float
    cylinder_gauge_pa: float
    busy: bool
    turning: bool
    stopped: tuple[tuple[int, str], ...]
    metered: tuple[tuple[int, str, float], ...]
    oil_cm3: tuple[tuple[int, float], ...]
    decompression_on: bool
    check_valve_seen: bool
    piston_stop_in: int | None
    plugged: bool
    powered: bool
    hold_pressed: bool
    hand_valves: bool
    hold_fitted: bool
    heard: tuple[Heard, ...] = ()
    gauge: str | None = None
    place_gauges: tuple[tuple[int, str, str], ...] = ()
    said: str = ""
    speed: float | None = None
    troubles: tuple[str, ...] = ()


def facts_of(scenario: Scenario) -> BuiltInFacts:
    """What is written on the rig and the job card of a scenario."""
    engine, ambient = scenario.engine, scenario.ambient
    stages: dict[str, Literal["before", "after"]] = {"before": "before", "after": "after"}
    return BuiltInFacts(
        scenario=scenario.name,
        story=scenario.story,
        stage=stages.get(scenario.stage, "routine"),
        engine_name=engine.name,
        engine_document=dict(scenario.engine_document),
        firing_order=engine.firing_order,
        cycle_deg=engine.cycle_deg,
        places=engine.places,
        hand_valves=scenario.rig.valves == "hand",
        hold_fitted=scenario.rig.hold_switch,
        decompression_lever=engine.decompression == "manual",
        restraint_nm=scenario.crank.restraint_nm,
        supply_gauge_pa=scenario.rig.air.supply_gauge_pa,
        ambient_abs_pa=ambient.pressure_abs_pa,
        air_k=ambient.air_k,
        engine_k=ambient.engine_k,
    )


def look_at(rig: AnyRig, *, oil_cm3: Iterable[tuple[int, float]] = (), said: str = "", speed: float | None = None) -> BuiltInView:
    """What is to be seen at a rig now. oil_cm3, said, speed: as BuiltInView has them.

    >>> from boresim.rig import SimRig
    >>> from boresim.scenario import load_scenario
    >>> seen = look_at(SimRig(load_scenario("hillclimb-before")))
    >>> seen.crank_deg, seen.hose_at, seen.vent_open, seen.regulator_gauge_pa
    (211.0, 'off', True, 551580.0)
    >>> [(cylinder, round(down, 2)) for cylinder, down in seen.pistons]
    [(1, 0.95), (2, 0.09), (3, 0.09), (4, 0.95)]
    """
    plant, engine = rig.plant, rig.plant.engine
    return BuiltInView(
        at_s=rig.now_s,
        crank_deg=plant.crank_deg % engine.cycle_deg,
        pistons=tuple((number, _down(rig, number)) for number in sorted(engine.firing_order)),
        hose_at=_hose_words(plant.hose_at),
        supply_open=plant.supply_open,
        vent_open=plant.vent_open,
        restraint_nm=plant.restraint_nm or None,
        regulator_gauge_pa=round(plant.regulator_gauge_pa, 3),
        regulated_gauge_pa=_as_read(plant.p_regulated_gauge_pa),
        cylinder_gauge_pa=_as_read(plant.p_cylinder_gauge_pa),
        busy=rig.operator.busy,
        turning=plant.turning,
        stopped=tuple(sorted(key for key, fitting in plant.fittings.items() if not isinf(fitting.relief_gauge_pa))),
        metered=tuple(
            sorted((*key, fitting.open_m2 * 1e6) for key, fitting in plant.fittings.items() if isinf(fitting.relief_gauge_pa))
        ),
        oil_cm3=tuple(oil_cm3),
        decompression_on=plant.decompression_on,
        check_valve_seen=plant.check_valve_in and not isinstance(plant.hose_at, int),  # in a hole nobody sees into the adapter
        piston_stop_in=plant.piston_stop_in,
        plugged=rig.plugged,
        powered=rig.powered,
        hold_pressed=rig.hold_pressed,
        hand_valves=plant.hand_valves,
        hold_fitted=rig.hold_fitted,
        heard=_heard(rig),
        gauge=_answer(rig, "gauge") if plant.hose_at == "capped" else None,
        place_gauges=tuple(
            (number, place, _answer(rig, f"place-gauge {number} {place}")) for number, place in sorted(plant.fittings)
        ),
        said=said,
        speed=speed,
        troubles=tuple(rig.operator.troubles),
    )


def _down(rig: AnyRig, cylinder: int) -> float:
    engine = rig.plant.engine
    travel_m, _ = engine.travel_and_slope(rig.plant.crank_deg - engine.firing_angles_deg[cylinder])
    return travel_m / (2.0 * engine.crank_radius_m)


def _hose_words(hose: int | str | float) -> int | str:
    return f"orifice {hose * 1e6:g}" if isinstance(hose, float) else hose


def _as_read(gauge_pa: float) -> float:
    return round(gauge_pa / GAUGE_STEP_PA) * GAUGE_STEP_PA + 0.0


def _heard(rig: AnyRig) -> tuple[Heard, ...]:
    plant = rig.plant
    if not isinstance(plant.hose_at, int) or plant.p_piston_gauge_pa < LEAST_HEARD_PA:
        return ()
    return heard(_answer(rig, "listen"), plant.engine.places)


def _answer(rig: AnyRig, words: str) -> str:
    return rig.operator.do(words).removeprefix("ok ")
