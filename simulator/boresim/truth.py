"""The truth of a scenario: what its rig would read at compression TDC without any sensor error, and where the air leaves.

Found from the balance of mass and heat in the steady state by halving, apart from the stepping of the plant, so that the two check
each other.
"""

from __future__ import annotations

from dataclasses import dataclass

from boresim.blocked import LEAST_RELATIVE
from boresim.gas import CP_J_KG_K, hole_flow_kg_s, nozzle_flow_kg_s, restrictor_flow_kg_s
from boresim.outlets import Outlet, Ways
from boresim.scenario import Scenario, Truth
from boresim.senses import loudness

__all__ = ["Settled", "arriving_flow", "place_shares", "places_heard", "plant_truth", "settled_gas_k", "settled_state"]


@dataclass(frozen=True, slots=True)
class Settled:
    """The steady state with air on: both absolute pressures that the rig reads, temperature of the gas in the cylinder, flow out of
    it. p_piston_abs_pa is that in the cylinder: another one only behind a check valve.
    """

    p_regulated_abs_pa: float
    p_cylinder_abs_pa: float
    t_gas_k: float
    leaving_kg_s: float
    p_piston_abs_pa: float


def plant_truth(scenario: Scenario) -> dict[int, Truth]:
    """Leakage and effective leak area of every cylinder at its compression TDC, the regulator at the rig's set pressure.

    >>> from boresim.scenario import load_scenario
    >>> sorted(plant_truth(load_scenario("two-stroke-single")))
    [1]
    """
    return {cylinder: _of_cylinder(scenario, cylinder) for cylinder in sorted(scenario.engine.firing_order)}


def place_shares(scenario: Scenario, cylinder: int) -> dict[str, float]:
    """Which part of the air that leaves a cylinder at its compression TDC comes out at each place of the engine, with air on.

    0 everywhere where nothing leaves. What comes out by way of another cylinder counts where it comes out.

    >>> from boresim.scenario import load_scenario
    >>> shares = place_shares(load_scenario("two-stroke-single"), 1)
    >>> max(shares, key=shares.get), round(sum(shares.values()), 9)
    ('crankcase', 1.0)
    """
    flows = _place_flows(scenario, cylinder)
    whole = sum(flows.values())
    return {place: flow / whole if whole else 0.0 for place, flow in flows.items()}


def places_heard(scenario: Scenario, cylinder: int) -> dict[str, str]:
    """How each place sounds with the cylinder at its compression TDC and full pressure on: what a careful person would note.

    >>> from boresim.scenario import load_scenario
    >>> places_heard(load_scenario("two-stroke-single"), 1)["crankcase"]
    'steady'
    """
    return {place: loudness(flow) for place, flow in _place_flows(scenario, cylinder).items()}


def _place_flows(scenario: Scenario, cylinder: int) -> dict[str, float]:
    settled, ambient_pa = settled_state(scenario, cylinder), scenario.ambient.pressure_abs_pa
    relative = (settled.p_piston_abs_pa - ambient_pa) / scenario.rig.air.set_gauge_pa
    flows = dict.fromkeys(scenario.engine.places, 0.0)
    for outlet in Ways(scenario, cylinder).every(scenario.engine.firing_angles_deg[cylinder], 0.0, 0.0):
        flows[outlet.place] = flows.get(outlet.place, 0.0) + _flow(
            outlet, relative, settled.p_piston_abs_pa, settled.t_gas_k, ambient_pa
        )
    return flows


def _flow(outlet: Outlet, relative: float, p_abs_pa: float, t_k: float, p_ambient_abs_pa: float) -> float:
    area = outlet.area_m2 * max(relative, LEAST_RELATIVE) ** outlet.exponent
    return hole_flow_kg_s(area, p_abs_pa, t_k, p_ambient_abs_pa, t_k)


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
    check = air.check_valve

    def leaving(p_cylinder: float, t_gas: float) -> float:
        relative = (p_cylinder - ambient.pressure_abs_pa) / air.set_gauge_pa
        return sum(_flow(outlet, relative, p_cylinder, t_gas, ambient.pressure_abs_pa) for outlet in outlets)

    def passing(p_hose: float, t_gas: float) -> tuple[float, float]:
        """What goes through the check valve to the room, and the pressure behind it."""
        if check is None:
            return leaving(p_hose, t_gas), p_hose
        low, high = ambient.pressure_abs_pa, p_hose
        for _ in range(80):
            behind = 0.5 * (low + high)
            more = check.flow_kg_s(p_hose, ambient.air_k, behind, t_gas) > leaving(behind, t_gas)
            low, high = (behind, high) if more else (low, behind)
        return leaving(behind, t_gas), behind

    low, high = ambient.pressure_abs_pa, p_set
    for _ in range(80):
        p_cylinder = 0.5 * (low + high)
        flow, p_regulated = arriving_flow(scenario, p_cylinder, p_set)
        t_gas = settled_gas_k(scenario, flow, p_regulated, p_cylinder)
        low, high = (p_cylinder, high) if flow > passing(p_cylinder, t_gas)[0] else (low, p_cylinder)
    out, p_piston = passing(p_cylinder, t_gas)
    return Settled(p_regulated, p_cylinder, t_gas, out, p_piston)


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
    hose_wall = air.hose_wall_w_k if air.check_valve is None else 0.0  # behind a check valve the hose is no part of it
    through = flow * CP_J_KG_K + hose_wall  # both bring the temperature of the room
    return (through * ambient.air_k + wall * ambient.engine_k) / (through + wall)
