"""A check valve in the adapter, between hose and cylinder: then the cylinder is a body of air of its own, which no transducer sees.

The valve core of an adapter for compression gauges lets air out of the cylinder and none in; that of a fitting that holds valves up
with air lets it in and not back: what it has let in stays when the hose is vented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from boresim.blocked import LEAST_RELATIVE, blocked_flow
from boresim.gas import CP_J_KG_K, GAMMA, R_J_KG_K, hole_flow_kg_s, nozzle_flow_kg_s

if TYPE_CHECKING:
    from boresim.air import AirSide

__all__ = ["CheckValve", "checked_step", "outlets_kg_s"]

PARTS = 2  # of a step; each is implicit, so that no opening is too wide for it


@dataclass(frozen=True, slots=True)
class CheckValve:
    """Which way it lets air, how wide it is when fully open, and at which difference of pressures it begins to open, Pa.

    At twice that difference it is fully open.
    """

    way: Literal["into_cylinder", "out_of_cylinder"]
    area_m2: float
    opens_pa: float

    def flow_kg_s(self, p_hose: float, t_hose: float, p_cylinder: float, t_cylinder: float) -> float:
        """From the hose into the cylinder, kg/s; negative the other way. Pressures are absolute.

        >>> valve = CheckValve("into_cylinder", 3e-6, 5e3)
        >>> valve.flow_kg_s(600e3, 293.0, 500e3, 293.0) > 0.0, valve.flow_kg_s(500e3, 293.0, 600e3, 293.0)
        (True, 0.0)
        """
        ahead = p_hose - p_cylinder if self.way == "into_cylinder" else p_cylinder - p_hose
        if ahead <= self.opens_pa:
            return 0.0
        area = self.area_m2 * min(1.0, (ahead - self.opens_pa) / self.opens_pa)
        if self.way == "into_cylinder":
            return nozzle_flow_kg_s(area, p_hose, p_cylinder, t_hose)
        return -nozzle_flow_kg_s(area, p_cylinder, p_hose, t_cylinder)

    def stiffness(self, flow_kg_s: float, p_hose: float, p_cylinder: float) -> float:
        """How the flow changes with the difference of pressures, kg/s for each Pa, about."""
        return abs(flow_kg_s) / (abs(p_hose - p_cylinder) - self.opens_pa) if flow_kg_s else 0.0


def outlets_kg_s(air: AirSide, p_cylinder: float, t_cylinder: float) -> float:
    """What leaves the cylinder behind the valve to the room, kg/s."""
    plain, bending, blocked = air.behind_open
    relative = (p_cylinder - air.p_ambient) / air.p_reference
    area = plain + sum(part * max(relative, LEAST_RELATIVE) ** exponent for part, exponent in bending)
    flow = hole_flow_kg_s(area, p_cylinder, t_cylinder, air.p_ambient, air.t_room)
    return flow + sum(blocked_flow(place, relative, p_cylinder, t_cylinder, air.p_ambient)[0] for place in blocked)


def checked_step(air: AirSide, valve: CheckValve, h: float, volume_m3: float, walls: tuple[float, float]) -> None:
    """One step of h seconds of dead volume, hose and cylinder, while the crank carries the cylinder's volume to volume_m3.

    walls: heat exchange of the cylinder's walls, W/K, and more of it for each Pa over ambient.
    """
    p, m, old = air.behind
    air.behind = (p * (old / volume_m3) ** GAMMA, m, volume_m3)
    for _ in range(PARTS):
        _part(air, valve, h / PARTS, walls)


def _part(air: AirSide, valve: CheckValve, h: float, walls: tuple[float, float]) -> None:
    """Linearly implicit, the slope of each flow from its own difference of pressures; what one body loses the next one gets."""
    pr, ph, mh = air.state
    pc, mc, volume = air.behind
    p_ambient, t_room, parts = air.p_ambient, air.t_room, air.parts
    hose_m3 = air.volume_at(ph)
    effective = hose_m3 + GAMMA * ph * air.stretch_m3_pa
    th, tc = ph * hose_m3 / (mh * R_J_KG_K), pc * volume / (mc * R_J_KG_K)

    supplied = air.supply_flow_kg_s(pr)
    arriving = air.restrictor_flow(pr, ph, th)
    through = valve.flow_kg_s(ph, th, pc, tc)
    vented_r = hole_flow_kg_s(air.vent_fraction * parts.vent_regulated_area_m2, pr, t_room, p_ambient, t_room)
    vented_h = hole_flow_kg_s(air.out_area_m2(ph), ph, th, p_ambient, t_room)
    leaving = outlets_kg_s(air, pc, tc)

    by_supply, by_arriving = _slope(supplied, air.p_set_abs - pr), _slope(arriving, pr - ph)
    by_through = valve.stiffness(through, ph, pc)
    by_vent_r, by_vent_h, by_leaving = (
        _slope(vented_r, pr - p_ambient), _slope(vented_h, ph - p_ambient), _slope(leaving, pc - p_ambient),
    )  # fmt: skip

    t_in, t_through = (t_room if arriving >= 0.0 else th), (th if through >= 0.0 else tc)
    t_vent, t_out = (th if vented_h >= 0.0 else t_room), (tc if leaving >= 0.0 else t_room)
    stirred = 1.0 + (air.stir_pa_s_kg * arriving / pr if arriving > 0.0 else 0.0)
    wall = (walls[0] + walls[1] * max(0.0, pc - p_ambient)) * stirred
    in_hose, in_cylinder = h * GAMMA * R_J_KG_K / effective, h * GAMMA * R_J_KG_K / volume
    in_dead = h / air.capacity_kg_pa
    warm_hose, warm_cylinder = air.hose_wall_w_k * (t_room - th) / CP_J_KG_K, wall * (air.t_engine - tc) / CP_J_KG_K

    b_r = in_dead * (supplied - vented_r - arriving)
    b_h = in_hose * (arriving * t_in - through * t_through - vented_h * t_vent + warm_hose)
    b_c = in_cylinder * (through * t_through - leaving * t_out + warm_cylinder)
    a_rr, a_rh = 1.0 + in_dead * (by_supply + by_vent_r + by_arriving), -in_dead * by_arriving
    a_hr, a_hc = -in_hose * by_arriving * t_in, -in_hose * by_through * t_through
    a_hh = 1.0 + in_hose * (by_arriving * t_in + by_through * t_through + by_vent_h * t_vent)
    a_ch, a_cc = -in_cylinder * by_through * t_through, 1.0 + in_cylinder * (by_through * t_through + by_leaving * t_out)
    # the hose stands between the two others: its neighbours' rises are put in, and it is solved for
    rise_h = (b_h - a_hr * b_r / a_rr - a_hc * b_c / a_cc) / (a_hh - a_hr * a_rh / a_rr - a_hc * a_ch / a_cc)
    rise_r, rise_c = (b_r - a_rh * rise_h) / a_rr, (b_c - a_ch * rise_h) / a_cc

    arriving += by_arriving * (rise_r - rise_h)
    through += by_through * (rise_h - rise_c)
    air.state = (pr + rise_r, ph + rise_h, mh + h * (arriving - through - vented_h - by_vent_h * rise_h))
    air.behind = (pc + rise_c, mc + h * (through - leaving - by_leaving * rise_c), volume)


def _slope(flow_kg_s: float, difference_pa: float) -> float:
    return abs(flow_kg_s / difference_pa) if difference_pa else 0.0
