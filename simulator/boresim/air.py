"""The two bodies of air: the dead volume before the restrictor, and the cylinder side (hose, adapter, cylinder) behind it.

State: p_regulated and p_cylinder (absolute, Pa) and the mass of the cylinder side (kg). The dead volume sits in a metal block and
keeps the temperature of the supply; the cylinder side exchanges heat with the engine and the hose. Mass and energy are carried, so
temperature follows from them.

At rest the three are stepped by the Rosenbrock pair of Shampine and Reichelt (order 2, error by order 3): the small dead volume
and a vent that is nearly empty are far too stiff for explicit steps. While the crank moves, a step is an exact adiabatic change of
volume, during which both bodies relax together towards their neighbours, each flow linear in its difference of pressures about the
middle of the step: of second order, stable for any opening, and the mass that one body loses is the mass that the other gets.
"""

from __future__ import annotations

from math import inf, sqrt

from boresim.blocked import LEAST_RELATIVE, blocked_flow
from boresim.check_valve import CheckValve
from boresim.gas import CP_J_KG_K, GAMMA, LINEAR_ABOVE_RATIO, R_J_KG_K, hole_flow_kg_s, nozzle_flow_kg_s, restrictor_flow_kg_s
from boresim.outlets import Open
from boresim.scenario import Scenario

__all__ = ["AirSide", "Slopes", "State"]

State = tuple[float, float, float]
"""p_regulated_abs_pa, p_cylinder_abs_pa, mass_cylinder_kg."""

Slopes = tuple[float, float, float, float]
"""Pa/s: of the regulated pressure at a step's start and end, of the cylinder's at both, the cylinder's without the squeeze."""

_Ended = tuple[State, tuple[float, float, float, float, Open], State, float, float]
"""The end of a step at rest: state, what was open and set, rates, what the dead volume gained and the cylinder side lost, kg/s."""

GAMMA_1 = GAMMA - 1.0
_D = 1.0 / (2.0 + sqrt(2.0))
_E32 = 6.0 + sqrt(2.0)


class AirSide:
    """Parameters of the air side at one position of crank, hose and valves, and the steps of its state."""

    __slots__ = (
        "behind",
        "behind_open",
        "capacity_kg_pa",
        "check",
        "ended",
        "engine_wall_w_k",
        "engine_wall_w_k_pa",
        "hose_wall_w_k",
        "open",
        "p_ambient",
        "p_reference",
        "p_set_abs",
        "parts",
        "relief_abs",
        "state",
        "stir_pa_s_kg",
        "stretch_m3_pa",
        "supply_fraction",
        "t_engine",
        "t_room",
        "vent_fraction",
        "volume_m3",
    )

    def __init__(self, scenario: Scenario) -> None:
        self.take_parts(scenario)
        self.engine_wall_w_k = 0.0
        self.engine_wall_w_k_pa = 0.0
        self.p_set_abs = self.p_ambient
        self.supply_fraction = 0.0
        self.vent_fraction = 1.0
        self.volume_m3 = self.parts.hose_volume_m3  # of the cylinder side at ambient pressure
        self.open: Open = (0.0, (), ())
        self.check: CheckValve | None = None  # between hose and cylinder, as far as one is there and the hose in a cylinder
        self.behind: State = (self.p_ambient, 0.0, 0.0)  # it: pressure, mass and volume of the cylinder; else of no meaning
        self.behind_open: Open = (0.0, (), ())
        self.state: State = (self.p_ambient, self.p_ambient, 0.0)

    def take_parts(self, scenario: Scenario) -> None:
        """What follows from the scenario alone."""
        self.ended: _Ended | None = None
        self.parts = scenario.rig.air
        ambient = scenario.ambient
        self.p_ambient = ambient.pressure_abs_pa
        self.t_room = ambient.air_k
        self.t_engine = ambient.engine_k
        self.hose_wall_w_k = self.parts.hose_wall_w_k
        choked = restrictor_flow_kg_s(self.parts.restrictor_conductance_m3_s_pa, 0.5, 1.0, 0.0, self.t_room)  # for each Pa
        self.stir_pa_s_kg = ambient.engine_wall_stir / choked
        self.p_reference = self.parts.set_gauge_pa
        self.relief_abs = self.p_ambient + self.parts.relief_gauge_pa
        self.capacity_kg_pa = self.parts.dead_volume_m3 / (R_J_KG_K * self.t_room)
        self.stretch_m3_pa = self.parts.hose_volume_m3 * self.parts.hose_stretch_per_pa

    def volume_at(self, p_cylinder_abs_pa: float) -> float:
        """The cylinder side's volume with the hose stretched by its pressure, m³."""
        return self.volume_m3 + self.stretch_m3_pa * (p_cylinder_abs_pa - self.p_ambient)

    def effective_at(self, p_cylinder_abs_pa: float, volume_m3: float) -> float:
        """What a volume of the cylinder side is at a pressure, with what the hose's stretch adds to its springiness, m³."""
        return volume_m3 + self.stretch_m3_pa * ((1.0 + GAMMA) * p_cylinder_abs_pa - self.p_ambient)

    def temperature_k(self) -> float:
        """Temperature of the cylinder side's gas."""
        _, p_cylinder, mass = self.state
        return p_cylinder * self.volume_at(p_cylinder) / (mass * R_J_KG_K)

    def fill_with_room_air(self, t_k: float) -> None:
        """The cylinder side at ambient pressure and that temperature, as after a hose was undone."""
        mass = self.p_ambient * self.volume_m3 / (R_J_KG_K * t_k)
        self.state = (self.state[0], self.p_ambient, mass)

    def fill_behind(self, volume_m3: float, t_k: float) -> None:
        """The cylinder behind a check valve at ambient pressure and that temperature."""
        self.behind = (self.p_ambient, self.p_ambient * volume_m3 / (R_J_KG_K * t_k), volume_m3)

    def piston_side(self) -> tuple[float, float]:
        """Pressure over the piston, absolute, and temperature there."""
        if self.check is None:
            return self.state[1], self.temperature_k()
        p_cylinder, mass, volume = self.behind
        return p_cylinder, p_cylinder * volume / (mass * R_J_KG_K)

    def supply_flow_kg_s(self, p_regulated: float) -> float:
        """What comes through regulator and supply valve, kg/s; negative while a relieving regulator lets air out."""
        parts, fraction = self.parts, self.supply_fraction
        area = fraction * parts.supply_area_m2 + parts.supply_seat_leak_m2
        if area <= 0.0:
            return 0.0
        if p_regulated >= self.p_set_abs:
            if not parts.relieving or p_regulated <= self.p_ambient:
                return 0.0
            back = nozzle_flow_kg_s(area, p_regulated, max(self.p_set_abs, self.p_ambient), self.t_room)
            return -min(back, (p_regulated - self.p_set_abs) / parts.droop_pa_s_kg)
        through = nozzle_flow_kg_s(area, self.p_set_abs, p_regulated, self.t_room)
        return min(through, (self.p_set_abs - p_regulated) / parts.droop_pa_s_kg)

    def restrictor_flow(self, p_regulated: float, p_cylinder: float, t_cylinder: float) -> float:
        """Through the restrictor towards the cylinder, kg/s."""
        parts = self.parts
        conductance, ratio = parts.restrictor_conductance_m3_s_pa, parts.restrictor_critical_ratio
        if p_regulated >= p_cylinder:
            return restrictor_flow_kg_s(conductance, ratio, p_regulated, p_cylinder, self.t_room)
        return -restrictor_flow_kg_s(conductance, ratio, p_cylinder, p_regulated, t_cylinder)

    def out_area_m2(self, p_cylinder: float) -> float:
        """All free openings of the cylinder side at its pressure: outlets, vent and relief valve."""
        area, bending, _ = self.open
        area += self.vent_fraction * self.parts.vent_cylinder_area_m2
        if bending:
            relative = max((p_cylinder - self.p_ambient) / self.p_reference, LEAST_RELATIVE)
            for part, exponent in bending:
                area += part * relative**exponent
        if p_cylinder > self.relief_abs:
            area += self.parts.relief_area_m2 * min(1.0, (p_cylinder - self.relief_abs) / (0.05 * self.relief_abs))
        return area

    def leaving_kg_s(self, p_cylinder: float, t_cylinder: float) -> float:
        """All that leaves the cylinder side to the room, kg/s."""
        flow = hole_flow_kg_s(self.out_area_m2(p_cylinder), p_cylinder, t_cylinder, self.p_ambient, self.t_room)
        for place in self.open[2]:
            relative = (p_cylinder - self.p_ambient) / self.p_reference
            flow += blocked_flow(place, relative, p_cylinder, t_cylinder, self.p_ambient)[0]
        return flow

    def heat_w(self, p_regulated: float, p_cylinder: float, t_cylinder: float, arriving: float) -> float:
        """Heat that the walls give to the cylinder side's gas, W; more while air streams in and stirs it."""
        engine = self.engine_wall_w_k + self.engine_wall_w_k_pa * max(0.0, p_cylinder - self.p_ambient)
        if self.stir_pa_s_kg and arriving > 0.0:
            engine *= 1.0 + self.stir_pa_s_kg * arriving / p_regulated
        return engine * (self.t_engine - t_cylinder) + self.hose_wall_w_k * (self.t_room - t_cylinder)

    def rates(self, p_regulated: float, p_cylinder: float, mass: float) -> State:
        """Rates of change of the state, the crank standing still."""
        volume = self.volume_m3 + self.stretch_m3_pa * (p_cylinder - self.p_ambient)
        t_cylinder = p_cylinder * volume / (mass * R_J_KG_K)
        return self._rates(
            p_regulated, p_cylinder, volume, t_cylinder, self.gained_kg_s(p_regulated), self.leaving_kg_s(p_cylinder, t_cylinder)
        )

    def gained_kg_s(self, p_regulated: float) -> float:
        """What the dead volume gets through the supply, less what it loses through its vent, kg/s."""
        supplied = self.supply_flow_kg_s(p_regulated)
        if self.vent_fraction > 0.0:
            area = self.vent_fraction * self.parts.vent_regulated_area_m2
            return supplied - hole_flow_kg_s(area, p_regulated, self.t_room, self.p_ambient, self.t_room)
        return supplied

    def _rates(
        self, p_regulated: float, p_cylinder: float, volume: float, t_cylinder: float, gained: float, leaving: float
    ) -> State:
        """The same where what either body exchanges with the outside is known already."""
        arriving = self.restrictor_flow(p_regulated, p_cylinder, t_cylinder)
        heat = CP_J_KG_K * (
            arriving * (self.t_room if arriving >= 0.0 else t_cylinder) - leaving * (t_cylinder if leaving >= 0.0 else self.t_room)
        ) + self.heat_w(p_regulated, p_cylinder, t_cylinder, arriving)
        return (
            (gained - arriving) / self.capacity_kg_pa,
            GAMMA_1 * heat / (volume + GAMMA * p_cylinder * self.stretch_m3_pa),
            arriving - leaving,
        )

    def rest_step(self, h: float) -> tuple[State, State, State, float]:
        """One step with the crank at rest: the new state, the rates before and after, and the estimated error in Pa.

        The error is infinite, and the state the old one, where the step would take more out than there is.
        """
        pr, pc, m = self.state
        volume = self.volume_m3 + self.stretch_m3_pa * (pc - self.p_ambient)
        t_cylinder = pc * volume / (m * R_J_KG_K)
        holds = self.supply_fraction, self.vent_fraction, self.p_set_abs, self.volume_m3, self.open
        if self.ended is not None and self.ended[0] is self.state and self.ended[1] == holds:
            _, _, f0, gained, leaving = self.ended  # where the last step ended this one begins
        else:
            gained, leaving = self.gained_kg_s(pr), self.leaving_kg_s(pc, t_cylinder)
            f0 = self._rates(pr, pc, volume, t_cylinder, gained, leaving)
        dr, dc = 1e-6 * pr, 1e-6 * pc
        by_r = self._rates(pr + dr, pc, volume, t_cylinder, self.gained_kg_s(pr + dr), leaving)
        volume += self.stretch_m3_pa * dc
        t_cylinder = (pc + dc) * volume / (m * R_J_KG_K)
        by_c = self._rates(pr, pc + dc, volume, t_cylinder, gained, self.leaving_kg_s(pc + dc, t_cylinder))
        hd = h * _D
        hr, hc = hd / dr, hd / dc
        a11, a12 = 1.0 - hr * (by_r[0] - f0[0]), -hc * (by_c[0] - f0[0])
        a21, a22 = -hr * (by_r[1] - f0[1]), 1.0 - hc * (by_c[1] - f0[1])
        a31, a32 = hr * (by_r[2] - f0[2]), hc * (by_c[2] - f0[2])
        det = a11 * a22 - a12 * a21

        def solve(b1: float, b2: float, b3: float) -> State:
            x1 = (b1 * a22 - b2 * a12) / det
            x2 = (a11 * b2 - a21 * b1) / det
            return x1, x2, b3 + a31 * x1 + a32 * x2

        k1 = solve(*f0)
        half = 0.5 * h
        middle = (pr + half * k1[0], pc + half * k1[1], m + half * k1[2])
        if min(middle) <= 0.0:
            return self.state, f0, f0, inf
        f1 = self.rates(*middle)
        s2 = solve(f1[0] - k1[0], f1[1] - k1[1], f1[2] - k1[2])
        k2 = (s2[0] + k1[0], s2[1] + k1[1], s2[2] + k1[2])
        new = (pr + h * k2[0], pc + h * k2[1], m + h * k2[2])
        if min(new) <= 0.0:
            return self.state, f0, f0, inf
        new_r, new_c, new_m = new
        volume = self.volume_m3 + self.stretch_m3_pa * (new_c - self.p_ambient)
        t_cylinder = new_c * volume / (new_m * R_J_KG_K)
        gained, leaving = self.gained_kg_s(new_r), self.leaving_kg_s(new_c, t_cylinder)
        f2 = self._rates(new_r, new_c, volume, t_cylinder, gained, leaving)
        self.ended = new, holds, f2, gained, leaving
        k3 = solve(
            f2[0] - _E32 * (k2[0] - f1[0]) - 2.0 * (k1[0] - f0[0]),
            f2[1] - _E32 * (k2[1] - f1[1]) - 2.0 * (k1[1] - f0[1]),
            f2[2] - _E32 * (k2[2] - f1[2]) - 2.0 * (k1[2] - f0[2]),
        )
        error = h / 6.0 * max(abs(k1[0] - 2.0 * k2[0] + k3[0]), abs(k1[1] - 2.0 * k2[1] + k3[1]))
        return new, f0, f2, error

    def moving_step(self, h: float, volume_m3: float) -> Slopes | None:
        """One step in which the crank carries the cylinder side's volume to volume_m3.

        Gives the slopes of both pressures at its start and end, None where a body follows its neighbours within the step.
        """
        pr, pc, m = self.state
        p_ambient, t_room, stretch = self.p_ambient, self.t_room, self.stretch_m3_pa
        before = self.volume_m3 + stretch * (pc - p_ambient)
        self.volume_m3 = volume_m3
        squeezed = pc * (before / (volume_m3 + stretch * (pc - p_ambient))) ** GAMMA
        if stretch:  # once more with the hose stretched by the new pressure
            squeezed = pc * (before / (volume_m3 + stretch * (squeezed - p_ambient))) ** GAMMA
        half = 0.5 * (pc + squeezed)
        volume = 0.5 * (before + volume_m3 + stretch * (squeezed - p_ambient))
        effective = volume + GAMMA * half * stretch
        t_cylinder = half * volume / (m * R_J_KG_K)

        # the flows at half the squeeze, and how each changes with its own difference of pressures
        arriving = self.restrictor_flow(pr, half, t_cylinder)
        leaving = self.leaving_kg_s(half, t_cylinder)
        supplied = self.supply_flow_kg_s(pr)
        t_in = t_room if arriving >= 0.0 else t_cylinder
        t_out = t_cylinder if leaving >= 0.0 else t_room
        scale = GAMMA * R_J_KG_K / effective
        per_pa = 1.0 / self.capacity_kg_pa
        if pr >= half:
            by_r, by_c = _slopes(arriving, pr, half, h * per_pa)
        else:
            by_c, by_r = _slopes(-arriving, half, pr, h * per_pa)
        if half >= p_ambient:
            by_out, _ = _slopes(leaving, half, p_ambient, h * scale * t_out)
        else:
            _, by_out = _slopes(-leaving, p_ambient, half, h * scale * t_out)
        by_others = abs(supplied / (self.p_set_abs - pr)) if supplied else 0.0
        vented = 0.0
        if self.vent_fraction > 0.0 and pr != p_ambient:
            vented = hole_flow_kg_s(self.vent_fraction * self.parts.vent_regulated_area_m2, pr, t_room, p_ambient, t_room)
            by_others += vented / (pr - p_ambient)
        heat_w = self.heat_w(pr, half, t_cylinder, arriving)

        # dy/dt = rate + a/h · (y − start) for both pressures, the squeeze an even part of the rate
        a_rr, a_rc = -h * per_pa * (by_r + by_others), h * per_pa * by_c
        a_cr, a_cc = h * scale * t_in * by_r, -h * scale * (t_in * by_c + t_out * by_out)
        squeeze = (squeezed - pc) / h
        rate_r = per_pa * (supplied - arriving - vented) - 0.5 * a_rc * squeeze
        rate_c = scale * (arriving * t_in - leaving * t_out) + GAMMA_1 * heat_w / effective + (1.0 - 0.5 * a_cc) * squeeze
        up_r, up_c, mean_r, mean_c = _relaxed(h, a_rr, a_rc, a_cr, a_cc, rate_r, rate_c)

        mean_c -= 0.5 * (squeezed - pc)  # from half the squeeze, where the flows were taken
        arriving += by_r * mean_r - by_c * mean_c
        leaving += by_out * mean_c
        self.state = (pr + up_r, pc + up_c, m + h * (arriving - leaving))
        if a_rr < -1.0 or a_cc < -1.0:
            return None
        rate_c -= squeeze
        return rate_r, rate_r + (a_rr * up_r + a_rc * up_c) / h, rate_c, rate_c + (a_cr * up_r + a_cc * up_c) / h


def _slopes(flow_kg_s: float, p_up: float, p_down: float, pa_per_kg_s: float) -> tuple[float, float]:
    """How much more flows for each Pa more upstream, and for each Pa less downstream, kg/(s·Pa).

    A choked flow goes with the pressure upstream alone, another one about with the root of the difference. Where a step carries
    the pressure far (pa_per_kg_s: what a flow does in it), the slope is that of the chord down to no difference, past which a
    tangent would swing.
    """
    if not flow_kg_s:
        return 0.0, 0.0
    chord, ratio = flow_kg_s / (p_up - p_down), p_down / p_up
    if ratio >= LINEAR_ABOVE_RATIO:
        return chord, chord
    up, down = (flow_kg_s / p_up, 0.0) if ratio < 0.5 else (0.5 * chord, 0.5 * chord)
    far = min(1.0, 2.0 * pa_per_kg_s * chord)
    return up + far * (chord - up), down + far * (chord - down)


def _relaxed(
    h: float, a_rr: float, a_rc: float, a_cr: float, a_cc: float, rate_r: float, rate_c: float
) -> tuple[float, float, float, float]:
    """How far dy/dt = rate + a/h · y comes from 0 within h: at its end, and on average over it.

    The exponential of a is that of Lobatto IIIC, 1/(1 − a + a²/2): of second order, and it swings past nothing, however great a is.
    """
    determinant = a_rr * a_cc - a_rc * a_cr
    own, part = 1.0 - 0.5 * determinant, 0.5 * (a_rr + a_cc) - 1.0
    d_rr, d_rc, d_cr, d_cc = own + part * a_rr, part * a_rc, part * a_cr, own + part * a_cc
    per = h / (d_rr * d_cc - d_rc * d_cr)
    bent_r, bent_c = 0.5 * (a_rr * rate_r + a_rc * rate_c), 0.5 * (a_cr * rate_r + a_cc * rate_c)
    end_r, end_c = rate_r - bent_r, rate_c - bent_c
    mean_r, mean_c = 0.5 * rate_r - bent_r, 0.5 * rate_c - bent_c
    return (
        per * (d_cc * end_r - d_rc * end_c), per * (d_rr * end_c - d_cr * end_r),
        per * (d_cc * mean_r - d_rc * mean_c), per * (d_rr * mean_c - d_cr * mean_r),
    )  # fmt: skip
