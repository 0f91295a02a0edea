"""The truth of a scenario: what its rig would read at compression TDC without any sensor error.

Found from the balance of mass and heat in the steady state by halving, apart from the stepping of the plant, so that the two check
each other.
"""

from __future__ import annotations

from boresim.gas import CP_J_KG_K, nozzle_flow_kg_s, restrictor_flow_kg_s
from boresim.outlets import Ways, outlet_flow
from boresim.scenario import Scenario, Truth

__all__ = ["plant_truth"]


def plant_truth(scenario: Scenario) -> dict[int, Truth]:
    """Leakage and effective leak area of every cylinder at its compression TDC, the regulator at the rig's set pressure.

    >>> from boresim.scenario import load_scenario
    >>> sorted(plant_truth(load_scenario("two-stroke-single")))
    [1]
    """
    return {cylinder: _of_cylinder(scenario, cylinder) for cylinder in sorted(scenario.engine.firing_order)}


def _of_cylinder(scenario: Scenario, cylinder: int) -> Truth:
    air, ambient = scenario.rig.air, scenario.ambient
    outlets = Ways(scenario, cylinder, frozenset()).every(scenario.engine.firing_angles_deg[cylinder], 0.0, 0.0)
    p_set = ambient.pressure_abs_pa + min(air.set_gauge_pa, air.supply_gauge_pa)

    def arriving(p_cylinder: float) -> tuple[float, float]:
        """The flow through the restrictor and the regulated pressure, which droops with it."""
        low, high = p_cylinder, p_set
        for _ in range(80):
            p_regulated = 0.5 * (low + high)
            flow = restrictor_flow_kg_s(
                air.restrictor_conductance_m3_s_pa, air.restrictor_critical_ratio, p_regulated, p_cylinder, ambient.air_k
            )
            low, high = (p_regulated, high) if p_set - air.droop_pa_s_kg * flow > p_regulated else (low, p_regulated)
        return flow, p_regulated

    def leaving(p_cylinder: float, flow: float) -> float:
        wall = ambient.engine_wall_w_k + ambient.engine_wall_w_k_pa * (p_cylinder - ambient.pressure_abs_pa)
        through = flow * CP_J_KG_K + air.hose_wall_w_k  # both bring the temperature of the room
        t_gas = (through * ambient.air_k + wall * ambient.engine_k) / (through + wall)
        relative = (p_cylinder - ambient.pressure_abs_pa) / air.set_gauge_pa
        return sum(outlet_flow(outlet, relative, p_cylinder, t_gas, ambient.pressure_abs_pa)[0] for outlet in outlets)

    low, high = ambient.pressure_abs_pa, p_set
    for _ in range(80):
        p_cylinder = 0.5 * (low + high)
        flow, p_regulated = arriving(p_cylinder)
        low, high = (p_cylinder, high) if flow > leaving(p_cylinder, flow) else (low, p_cylinder)
    gauge = p_regulated - ambient.pressure_abs_pa
    unit_m2 = nozzle_flow_kg_s(1.0, p_cylinder, ambient.pressure_abs_pa, ambient.air_k)
    return Truth(100.0 * (p_regulated - p_cylinder) / gauge, leaving(p_cylinder, flow) / unit_m2)
