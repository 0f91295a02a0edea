"""What can go wrong with engine, air and crank.

What is wrong with a part makes another scenario of the plant (`FaultBoard.alter`); what moves by itself is done again and again
(`FaultBoard.again`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from boresim.check_valve import CheckValve
from boresim.faults.fault import Fault, Level, Moment, Outcome
from boresim.reference_rig import AirParts
from boresim.scenario import Leak, Scenario

if TYPE_CHECKING:
    from boresim.rig import SimRig

__all__ = ["PHYSICAL"]

LEAK_STEP_M2 = 0.4e-6
ADAPTER_LEAK_M2 = 0.4e-6
CHECK_VALVE = CheckValve("out_of_cylinder", 3e-6, 4e3)
SLOW_SUPPLY_S = 0.6
HALF_OPEN = 0.09
SEAT_LEAK_M2 = 0.12e-6
VENT_HANGS_AT = 0.015
CREEP_PA_S = 1500.0
DROOP_TIMES = 15.0
JOLT_RAD_S = 1.2
KNOCK_RAD_S = 0.6
WEATHER_PA_S = -60.0
WARMER_K_S = 0.4
CHANGES_FOR_S = 20.0
STEP_S = 0.1


def _leak(scenario: Scenario, cylinder: int, place: str, area_m2: float) -> Scenario:
    """One more way out of a cylinder."""
    new = Leak(place, area_m2, 0.0, 0.0, 1.0, None)
    return replace(scenario, leaks={**scenario.leaks, cylinder: (*scenario.leaks[cylinder], new)})


def _hose_cylinder(rig: SimRig) -> int:
    hose = rig.plant.hose_at
    return hose if isinstance(hose, int) else rig.scenario.engine.firing_order[0]


def _one_leaks(name: str, place: str, area_m2: float) -> Callable[[SimRig], None]:
    """A leak of the cylinder that the hose is in."""

    def begin(rig: SimRig) -> None:
        cylinder = _hose_cylinder(rig)
        rig.faults.alter(name, lambda scenario: _leak(scenario, cylinder, place, area_m2))

    return begin


def _all_leak(scenario: Scenario, place: str, area_m2: float) -> Scenario:
    """The same in every cylinder: it belongs to what is screwed in there."""
    for cylinder in scenario.engine.firing_order:
        scenario = _leak(scenario, cylinder, place, area_m2)
    return scenario


def _other_air(name: str, change: Callable[[AirParts], AirParts]) -> Callable[[SimRig], None]:
    """Another air side of the rig."""

    def changed(scenario: Scenario) -> Scenario:
        return replace(scenario, rig=replace(scenario.rig, air=change(scenario.rig.air)))

    return lambda rig: rig.faults.alter(name, changed)


def _left_in(rig: SimRig) -> None:
    """It is well again once somebody has taken it out."""
    name = "check-valve-left-in"
    _other_air(name, lambda air: replace(air, check_valve=CHECK_VALVE))(rig)

    def look() -> None:
        if not rig.plant.check_valve_in:
            rig.faults.end(name)

    rig.faults.again(name, STEP_S, look)


def _room_changes(name: str, pressure_pa_s: float, air_k_s: float) -> Callable[[SimRig], None]:
    """Pressure and temperature of the room run away from what they were for CHANGES_FOR_S."""

    def begin(rig: SimRig) -> None:
        began_s = rig.scan_s

        def step() -> None:
            passed_s = min(rig.scan_s - began_s, CHANGES_FOR_S)

            def changed(scenario: Scenario) -> Scenario:
                room = scenario.ambient
                pressure_pa, air_k = room.pressure_abs_pa + pressure_pa_s * passed_s, room.air_k + air_k_s * passed_s
                return replace(scenario, ambient=replace(room, pressure_abs_pa=pressure_pa, air_k=air_k))

            rig.faults.alter(name, changed)

        step()
        rig.faults.again(name, STEP_S, step)

    return begin


def _creeps(rig: SimRig) -> None:
    def step() -> None:
        rig.plant.set_regulator(rig.plant.regulator_gauge_pa + CREEP_PA_S * STEP_S)

    rig.faults.again("regulator-creep", STEP_S, step)


def _set_again(rig: SimRig) -> None:
    rig.plant.set_regulator(rig.scenario.rig.air.set_gauge_pa)


def _held_open(rig: SimRig) -> None:
    def changed(scenario: Scenario) -> Scenario:
        return replace(scenario, openings=replace(scenario.openings, decompression_on=True))

    rig.faults.alter("decompression-held-open", changed)


def _slips(rig: SimRig) -> None:
    rig.faults.again("crank-creep", STEP_S, lambda: rig.plant.knock(JOLT_RAD_S))


def _nothing_to_undo(_rig: SimRig) -> None:
    """What was done again and again is not done any more."""


def _lets_go(rig: SimRig) -> None:
    free = replace(rig.scenario.crank, friction_nm=0.5)
    rig.plant.set_restraint(0.0)
    rig.faults.alter("crank-runaway", lambda scenario: replace(scenario, crank=free))
    rig.plant.knock(KNOCK_RAD_S)


def _right(name: str) -> Callable[[SimRig], None]:
    return lambda rig: rig.faults.put_right(name)


def _free_supply(rig: SimRig) -> None:
    rig.plant.jam_supply(0.0, 1.0)


def _free_vent(rig: SimRig) -> None:
    rig.plant.jam_vent(0.0, 1.0)


def _row(
    name: str,
    what: str,
    moment: Moment,
    after_s: float,
    begin: Callable[[SimRig], None],
    end: Callable[[SimRig], None],
    outcome: Outcome,
    sees: str,
    record: str,
    scenario: str = "hillclimb-before",
) -> Fault:
    """A row of this level; they are played in cylinder 1."""
    return Fault(name, Level.PHYSICAL, what, moment, after_s, begin, end, scenario, 1907, 1, sees, outcome, record)


PHYSICAL: tuple[Fault, ...] = (
    _row(
        "leak-step",
        "A leak opens at the exhaust valve with full pressure on.",
        Moment.FULL,
        3.0,
        _one_leaks("leak-step", "exhaust", LEAK_STEP_M2),
        _right("leak-step"),
        Outcome.MARKED,
        "the leak grew with air on",
        "the leak grew with air on",
    ),
    _row(
        "leak-step-in-decay",
        "A leak opens at the exhaust valve while the trapped air bleeds away.",
        Moment.DECAY,
        0.6,
        _one_leaks("leak-step-in-decay", "exhaust", LEAK_STEP_M2),
        _right("leak-step-in-decay"),
        Outcome.MARKED,
        "the leak grew in the decay",
        "the leak grew in the decay",
    ),
    _row(
        "hose-comes-off",
        "The hose comes off its adapter with full pressure on.",
        Moment.FULL,
        2.5,
        lambda rig: rig.plant.attach_hose("off"),
        lambda rig: rig.plant.attach_hose(1),
        Outcome.VOID,
        "lost at once with air on",
        "lost at once with air on",
    ),
    _row(
        "hose-in-wrong-hole",
        "The hose goes into the cylinder beside the one that was said.",
        Moment.START,
        0.0,
        lambda rig: rig.operator.will_mistake_hole(1, 3),
        lambda rig: rig.operator.will_mistake_hole(1, 1),
        Outcome.NUMBER,
        "the hose is in the wrong hole",
        "",
    ),
    _row(
        "check-valve-left-in",
        "A check valve that lets air only out of the cylinder is left in the adapter.",
        Moment.START,
        0.0,
        _left_in,
        _right("check-valve-left-in"),
        Outcome.NUMBER,
        "a check valve is in the adapter",
        "",
    ),
    _row(
        "supply-sticks",
        "The supply valve sticks: it takes half a second for its way.",
        Moment.START,
        0.0,
        _other_air("supply-sticks", lambda air: replace(air, supply_travel_s=SLOW_SUPPLY_S)),
        _right("supply-sticks"),
        Outcome.MARKED,
        "the supply valve shut slowly",
        "the supply valve shut slowly",
    ),
    _row(
        "supply-hangs",
        "The supply valve hangs open and does not shut any more.",
        Moment.FULL,
        0.5,
        lambda rig: rig.plant.jam_supply(1.0, 1.0),
        _free_supply,
        Outcome.VOID,
        "the supply valve did not shut when it was told to: SHUT THE SUPPLY",
        "the supply valve did not shut",
    ),
    _row(
        "supply-half-open",
        "The supply valve opens a small part of its way only.",
        Moment.FULL,
        0.0,
        lambda rig: rig.plant.jam_supply(0.0, HALF_OPEN),
        _free_supply,
        Outcome.VOID,
        "the regulated pressure was .* out of range",
        "the regulated pressure was .* out of range",
    ),
    _row(
        "supply-leaks",
        "The supply valve leaks over its seat.",
        Moment.START,
        0.0,
        _other_air("supply-leaks", lambda air: replace(air, supply_seat_leak_m2=SEAT_LEAK_M2)),
        _right("supply-leaks"),
        Outcome.NONE,
        "its valve leaks",
        "the regulated pressure reads above the cylinder's with the supply shut",
    ),
    _row(
        "supply-leaks-in-decay",
        "The supply valve does not close tightly any more when it shuts, and feeds the decay.",
        Moment.DECAY,
        0.0,
        _other_air("supply-leaks-in-decay", lambda air: replace(air, supply_seat_leak_m2=SEAT_LEAK_M2)),
        _right("supply-leaks-in-decay"),
        Outcome.MARKED,
        "the decay was fed: the supply valve leaks",
        "the decay was fed: the supply valve leaks",
    ),
    _row(
        "vent-stuck-closed",
        "The vent does not open any more.",
        Moment.FULL,
        0.5,
        lambda rig: rig.plant.jam_vent(0.0, 0.0),
        _free_vent,
        Outcome.MARKED,
        "the vent let the pressure off slowly",
        "the vent let the pressure off slowly",
    ),
    _row(
        "vent-half-closed",
        "The vent does not close fully: it leaks on both sides of the restrictor.",
        Moment.FULL,
        0.0,
        lambda rig: rig.plant.jam_vent(VENT_HANGS_AT, 1.0),
        _free_vent,
        Outcome.MARKED,
        "does the vent close tightly",
        "gets out on that side too",
    ),
    _row(
        "regulator-creep",
        "The regulator creeps up while air is on.",
        Moment.FULL,
        1.0,
        _creeps,
        _set_again,
        Outcome.NUMBER,
        "",
        "",
    ),
    _row(
        "regulator-droop",
        "The regulator gives way far more under flow than it did.",
        Moment.START,
        0.0,
        _other_air("regulator-droop", lambda air: replace(air, droop_pa_s_kg=DROOP_TIMES * air.droop_pa_s_kg)),
        _right("regulator-droop"),
        Outcome.VOID,
        "the regulated pressure was .* out of range",
        "the regulated pressure was .* out of range",
    ),
    _row(
        "crank-creep",
        "The restraint slips jolt by jolt, and the crank creeps.",
        Moment.FULL,
        1.0,
        _slips,
        _nothing_to_undo,
        Outcome.VOID,
        "crank left window",
        "crank left window",
    ),
    _row(
        "crank-runaway",
        "The restraint lets go with a knock, and the crank runs away under the air.",
        Moment.FULL,
        2.0,
        _lets_go,
        _right("crank-runaway"),
        Outcome.VOID,
        "crank left window",
        "crank left window",
    ),
    _row(
        "decompression-held-open",
        "The decompression device holds the exhaust valve off its seat.",
        Moment.START,
        0.0,
        _held_open,
        _right("decompression-held-open"),
        Outcome.MARKED,
        "Is the decompression device released",
        "nearly all air gets out",
        scenario="decompression-released",
    ),
    _row(
        "room-pressure-change",
        "The pressure of the room falls while the test goes on.",
        Moment.PUFF,
        0.0,
        _room_changes("room-pressure-change", WEATHER_PA_S, 0.0),
        _right("room-pressure-change"),
        Outcome.NUMBER,
        "",
        "",
    ),
    _row(
        "room-temperature-change",
        "The room, and with it the air of the supply, gets warmer while the test goes on.",
        Moment.PUFF,
        0.0,
        _room_changes("room-temperature-change", 0.0, WARMER_K_S),
        _right("room-temperature-change"),
        Outcome.NUMBER,
        "",
        "",
    ),
    _row(
        "adapter-leak",
        "The adapter is not tight in the plug hole.",
        Moment.START,
        0.0,
        lambda rig: rig.faults.alter("adapter-leak", lambda scenario: _all_leak(scenario, "outside", ADAPTER_LEAK_M2)),
        _right("adapter-leak"),
        Outcome.NUMBER,
        "Is the adapter tight in its hole",
        "",
    ),
)
