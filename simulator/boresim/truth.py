"""The truth of a scenario: what its rig would read at compression TDC without any sensor error.

Found from the balance of mass and heat in the steady state by halving, apart from the stepping of the plant, so that the two check
each other.
"""

from __future__ import annotations

from dataclasses import dataclass

from boresim.blocked import LEAST_RELATIVE
from boresim.gas import CP_J_KG_K, hole_flow_kg_s, nozzle_flow_kg_s, restrictor_flow_kg_s
from boresim.outlets import Ways
from boresim.scenario import Scenario, Truth

__all__ = ["Settled", "arriving_flow", "plant_truth", "settled_gas_k", "settled_state"]


@dataclass(frozen=True, slots=True)
class Settled:
    """The steady state with air on: both absolute pressures, temperature of the cylinder side's gas, flow out of it."""

    p_regulated_abs_pa: float
    p_cylinder_abs_pa: float
    t_gas_k: float
    leaving_kg_s: float


def plant_truth(scenario: Scenario) -> dict[int, Truth]:
    """Leakage and effective leak area of every cylinder at its compression TDC, the regulator at the rig's set pressure.

    >>> from boresim.scenario import load_scenario
    >>> sorted(plant_truth(load_scenario("two-stroke-single")))
    [1]
    """
    return {cylinder: _of_cylinder(scenario, cylinder) for cylinder in sorted(scenario.engine.firing_order)}


def _of_cylinder(scenario: Scenario, cylinder: int) -> Truth:
    settled = settled_state(scenario, cylinder)
    ambient = scenario.ambient
    gauge = settled.p_regulated_abs_pa - ambient.pressure_abs_pa
    unit_m2 = nozzle_flow_kg_s(1.0, settled.p_cylinder_abs_pa, ambient.pressure_abs_pa, ambient.air_k)
    fallen = settled.p_regulated_abs_pa - settled.p_cylinder_abs_pa
    return Truth(100.0 * fallen / gauge, settled.leaving_kg_s / unit_m2)


def settled_state(scenario: Scenario, cylinder: int, set_gauge_pa: float | None = None) -> Settled:
    """Where a cylinder at its compression TDC settles; set_gauge_pa is the regulator's, None: the rig's own."""
    air, ambient = scenario.rig.air, scenario.ambient
    outlets = Ways(scenario, cylinder).every(scenario.engine.firing_angles_deg[cylinder], 0.0, 0.0)
    wanted = air.set_gauge_pa if set_gauge_pa is None else set_gauge_pa
    p_set = ambient.pressure_abs_pa + min(wanted, air.supply_gauge_pa)

    def leaving(p_cylinder: float, t_gas: float) -> float:
        relative = (p_cylinder - ambient.pressure_abs_pa) / air.set_gauge_pa
        areas = (outlet.area_m2 * max(relative, LEAST_RELATIVE) ** outlet.exponent for outlet in outlets)
        return sum(hole_flow_kg_s(area, p_cylinder, t_gas, ambient.pressure_abs_pa, t_gas) for area in areas)

    low, high = ambient.pressure_abs_pa, p_set
    for _ in range(80):
        p_cylinder = 0.5 * (low + high)
        flow, p_regulated = arriving_flow(scenario, p_cylinder, p_set)
        t_gas = settled_gas_k(scenario, flow, p_regulated, p_cylinder)
        low, high = (p_cylinder, high) if flow > leaving(p_cylinder, t_gas) else (low, p_cylinder)
    return Settled(p_regulated, p_cylinder, t_gas, leaving(p_cylinder, t_gas))


def arriving_flow(scenario: Scenario, p_cylinder: float, p_set: float) -> tuple[float, float]:
    """The flow through the restrictor and the regulated pressure, which droops with it; all pressures absolute."""
    air = scenario.rig.air
    low, high = p_cylinder, p_set
    for _ in range(80):
        p_regulated = 0.5 * (low + high)
        flow = restrictor_flow_kg_s(
            air.restrictor_conductance_m3_s_pa, air.restrictor_critical_ratio, p_regulated, p_cylinder, scenario.ambient.air_k
        )
        low, high = (p_regulated, high) if p_set - air.droop_pa_s_kg * flow > p_regulated else (low, p_regulated)
    return flow, p_regulated


def settled_gas_k(scenario: Scenario, flow: float, p_regulated: float, p_cylinder: float) -> float:
    """Temperature of the cylinder side's gas that is renewed by a flow while the walls warm it."""
    air, ambient = scenario.rig.air, scenario.ambient
    wall = ambient.engine_wall_w_k + ambient.engine_wall_w_k_pa * (p_cylinder - ambient.pressure_abs_pa)
    if ambient.engine_wall_stir:
        choked = restrictor_flow_kg_s(
            air.restrictor_conductance_m3_s_pa, air.restrictor_critical_ratio, p_regulated, 0.0, ambient.air_k
        )
        wall *= 1.0 + ambient.engine_wall_stir * flow / choked
    through = flow * CP_J_KG_K + air.hose_wall_w_k  # both bring the temperature of the room
    return (through * ambient.air_k + wall * ambient.engine_k) / (through + wall)
