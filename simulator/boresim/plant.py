"""The plant: air and crank of one scenario in virtual time, with the controls of a person and a device.

Bits depend on the scenario and on when the controls were used, never on how advance() was cut: see boresim.stepper.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Any

from boresim.blocked import LEAST_RELATIVE, Fitting, blocked_flow, sounds_at
from boresim.engine import SimEngine
from boresim.gas import hole_flow_kg_s
from boresim.outlets import Fittings, Hose, OilFilm
from boresim.scenario import Scenario
from boresim.stepper import Stepper, Valve
from boresim.trace import TURNS, Clock, PlantTrace, sampled

__all__ = ["Hose", "Plant", "PlantTrace"]

FARTHEST_AHEAD_DEG = 360.0  # a hand that is led on faster than it can turn does not go on for longer than this
HOLDS_OIL = 0.8  # share of the clearance that oil can fill before it runs out of the plug hole


class Plant:
    """Air and crank of a scenario. It starts vented, the regulator at its set pressure, the hose off, no restraint, no stop.

    Controls take effect at the first point of the grid of 1/1024 s from now_s on. Impossible values raise ValueError.

    >>> from boresim.scenario import load_scenario
    >>> plant = Plant(load_scenario("hillclimb-after"))
    >>> plant.attach_hose("capped"); plant.set_vent(False); plant.set_supply(True)
    >>> trace = plant.advance(20_000, 0.001)
    >>> abs(float(trace.p_cylinder_abs_pa[-1] - trace.p_regulated_abs_pa[-1])) < 1.0
    True
    """

    def __init__(self, scenario: Scenario) -> None:
        self._steps = Stepper(scenario)
        self._stop_in: int | None = None
        self._position = 0
        self._clock = Clock(0.0, 0, 0.0)
        self._crank_now_deg = scenario.crank.start_deg
        self._p_now_abs_pa = (scenario.ambient.pressure_abs_pa, scenario.ambient.pressure_abs_pa)

    # ---- what a person or a device can read

    @property
    def scenario(self) -> Scenario:
        """What it is made from, as it is now: a fault changes it."""
        return self._steps.scenario

    @property
    def now_s(self) -> float:
        """Virtual time of the last sample."""
        return (self._position - self._clock.anchor) * self._clock.period_s + self._clock.anchor_s

    @property
    def crank_deg(self) -> float:
        """True crank angle at the last sample."""
        return self._crank_now_deg

    @property
    def engine(self) -> SimEngine:
        """The scenario's engine."""
        return self.scenario.engine

    @property
    def hand_valves(self) -> bool:
        """True when a person moves supply and vent."""
        return self.scenario.rig.valves == "hand"

    @property
    def hose_at(self) -> Hose:
        """Where the hose is."""
        return self._steps.hose

    @property
    def turning(self) -> bool:
        """True while the hand turns the crank."""
        return self._steps.crank.hand_deg is not None

    def turned_at(self, t_s: float) -> bool:
        """Whether the hand turned the crank at a moment up to now_s, if nobody has touched it since."""
        return self._steps.crank.turned_at(t_s)

    @property
    def supply_open(self) -> bool:
        """Whether the supply valve is driven open; a jammed one need not follow."""
        return self._steps.supply.told > 0.0

    @property
    def vent_open(self) -> bool:
        """Whether the vent is driven open; a jammed one need not follow."""
        return self._steps.vent.told > 0.0

    @property
    def restraint_nm(self) -> float:
        """What the restraint that is on holds; 0 without one."""
        return self._steps.crank.restraint_nm

    @property
    def regulator_gauge_pa(self) -> float:
        """What the regulator is set to."""
        return self._steps.air.p_set_abs - self.scenario.ambient.pressure_abs_pa

    @property
    def fittings(self) -> Fittings:
        """What is put on places."""
        return self._steps.fittings

    @property
    def decompression_on(self) -> bool:
        """Whether the decompression device that is worked by hand is held on."""
        return self._steps.decompression_on

    @property
    def check_valve_in(self) -> bool:
        """Whether there is a check valve in the adapter."""
        return self.scenario.rig.air.check_valve is not None and self._steps.check_valve_in

    @property
    def piston_stop_in(self) -> int | None:
        """The cylinder that holds the piston stop."""
        return self._stop_in

    @property
    def p_cylinder_gauge_pa(self) -> float:
        """True gauge pressure of the cylinder side at the last sample."""
        return self._p_now_abs_pa[1] - self.scenario.ambient.pressure_abs_pa

    @property
    def p_regulated_gauge_pa(self) -> float:
        """True gauge pressure before the restrictor at the last sample."""
        return self._p_now_abs_pa[0] - self.scenario.ambient.pressure_abs_pa

    @property
    def p_piston_gauge_pa(self) -> float:
        """True gauge pressure over the piston now: behind a check valve it is not what the transducer is at."""
        return self._steps.air.piston_side()[0] - self.scenario.ambient.pressure_abs_pa

    @property
    def t_cylinder_k(self) -> float:
        """Gas temperature of the cylinder side."""
        return self._steps.air.temperature_k()

    @property
    def mass_kg(self) -> float:
        """Air on both sides of the restrictor, and behind a check valve."""
        air = self._steps.air
        mass = air.state[2] + air.state[0] * air.capacity_kg_pa
        return mass if air.check is None else mass + air.behind[1]

    def flows_kg_s(self) -> dict[str, float]:
        """Flows now, kg/s: supply (in), restrictor (towards the cylinder), vent and outlets (out)."""
        air = self._steps.air
        p_regulated, p_cylinder, _ = air.state
        t_cylinder = air.temperature_k()
        rates = air.rates(*air.state)
        through = air.restrictor_flow(p_regulated, p_cylinder, t_cylinder)
        supply = air.supply_flow_kg_s(p_regulated)
        outlets = sum(self.place_flows_kg_s().values())
        from_hose = outlets if air.check is None else 0.0
        return {
            "supply": supply,
            "restrictor": through,
            "vent": supply - through - rates[0] * air.capacity_kg_pa + through - rates[2] - from_hose,
            "outlets": outlets,
        }

    def place_flows_kg_s(self) -> dict[str, float]:
        """What escapes at each place now, kg/s: where it comes out, by way of another cylinder too; past stops and reliefs too."""
        found: dict[str, float] = {}
        for place, flow, _ in self._escaping():
            found[place] = found.get(place, 0.0) + flow
        return found

    def plug_holes_kg_s(self) -> dict[int, float]:
        """What comes out of the open plug holes of the other cylinders, kg/s, by cylinder."""
        found: dict[int, float] = {}
        for _, flow, beside in self._escaping():
            if beside:
                found[beside] = found.get(beside, 0.0) + flow
        return found

    def place_gauge_pa(self, place: str) -> float:
        """Pressure at a place that something is put on, as a gauge there reads; 0 where nothing is."""
        p_cylinder, t_cylinder, relative = self._inside()
        ambient = self._steps.air.p_ambient
        for blocked in self._steps.ways.blocked(*self._steps.pose_of_ways()):
            if place in blocked.places:
                return blocked_flow(blocked, relative, p_cylinder, t_cylinder, ambient)[1] - ambient
        return 0.0

    def put_on(self, cylinder: int, place: str) -> bool:
        """Whether a stop or an orifice is on a place of a cylinder."""
        return (cylinder, place) in self._steps.fittings

    def _inside(self) -> tuple[float, float, float]:
        """Pressure over the piston, absolute; temperature there; its gauge pressure in units of the leaks' reference pressure."""
        air = self._steps.air
        p_cylinder, t_cylinder = air.piston_side()
        return p_cylinder, t_cylinder, (p_cylinder - air.p_ambient) / air.p_reference

    def _escaping(self) -> list[tuple[str, float, int]]:
        """Every way out: where it sounds, kg/s, whose plug hole it is."""
        p_cylinder, t_cylinder, relative = self._inside()
        ambient, pose = self._steps.air.p_ambient, self._steps.pose_of_ways()
        found = []
        for outlet in self._steps.ways.every(*pose):
            if not outlet.blocked:
                area = outlet.area_m2 * max(relative, LEAST_RELATIVE) ** outlet.exponent
                flow = hole_flow_kg_s(area, p_cylinder, t_cylinder, ambient, t_cylinder)
                found.append((outlet.place, flow, outlet.beside))
        for blocked in self._steps.ways.blocked(*pose):
            flow, between = blocked_flow(blocked, relative, p_cylinder, t_cylinder, ambient)
            found += sounds_at(blocked, flow, between, t_cylinder, ambient)
        return found

    # ---- controls

    def set_supply(self, is_open: bool) -> None:
        """Drives the supply valve; it takes its travel time."""
        self._act(lambda: self._steps.supply.move(1.0 if is_open else 0.0, self._steps.end))

    def set_vent(self, is_open: bool) -> None:
        """Drives the vent valve; it takes its travel time."""
        self._act(lambda: self._steps.vent.move(1.0 if is_open else 0.0, self._steps.end))

    def jam_supply(self, least: float, most: float) -> None:
        """The supply valve goes no further either way than from least to most of full opening; (0, 1) frees it."""
        self._jam(self._steps.supply, least, most)

    def jam_vent(self, least: float, most: float) -> None:
        """The vent goes no further either way than from least to most of full opening; (0, 1) frees it."""
        self._jam(self._steps.vent, least, most)

    def _jam(self, valve: Valve, least: float, most: float) -> None:
        if not 0.0 <= least <= most <= 1.0:
            raise ValueError(f"a valve cannot be held between {least} and {most} of full opening; give two parts from 0 to 1")
        self._act(lambda: valve.jam(least, most, self._steps.end))

    def become(self, scenario: Scenario) -> None:
        """From now on these are the leaks, the rig's air side, the openings, the crank and the room; the air in it stays.

        Engine and rig must be of the same kind. Check valve and decompression device are as the new scenario says.
        """

        def act() -> None:
            if scenario.openings.decompression_on != self._steps.scenario.openings.decompression_on:
                self._steps.decompression_on = scenario.openings.decompression_on
            if scenario.rig.air.check_valve is not self._steps.scenario.rig.air.check_valve:
                self._steps.check_valve_in = True
            self._steps.become(scenario)

        self._act(act, pose=True)

    def knock(self, rad_s: float) -> None:
        """The crank gets a knock that changes its speed by so much, positive in running direction."""

        def act() -> None:
            self._steps.crank.omega_rad_s += rad_s

        self._act(act)

    def set_regulator(self, gauge_pa: float) -> None:
        """Sets the regulator; it cannot give more than its supply has. Raises ValueError for a negative pressure."""
        if not 0.0 <= gauge_pa < 1e7:
            raise ValueError(f"the regulator cannot be set to {gauge_pa} Pa; give a gauge pressure from 0")
        pressure = self._steps.air.p_ambient + min(gauge_pa, self._steps.air.parts.supply_gauge_pa)
        self._act(lambda: setattr(self._steps.air, "p_set_abs", pressure))

    def turn_by(self, angle_deg: float, rpm: float) -> None:
        """The hand turns by an angle from where the crank is (negative: backwards), with limited torque; see turning."""
        if not (abs(angle_deg) < 1e6 and 0.0 < rpm < 1000.0):
            raise ValueError(f"cannot turn by {angle_deg} degrees at {rpm} rev/min; give a speed above 0")
        self._act(lambda: self._steps.crank.turn_to(self._steps.crank.theta_deg + angle_deg, rpm))

    def follow_by(self, angle_deg: float, rpm: float) -> None:
        """The hand is to go so much further than it was on its way to already; never farther ahead of the crank than it can follow.

        As turn_by, for a hand that is led along: what it has not turned yet is not lost. Raises ValueError as turn_by.
        """
        if not (abs(angle_deg) < 1e6 and 0.0 < rpm < 1000.0):
            raise ValueError(f"cannot follow by {angle_deg} degrees at {rpm} rev/min; give a speed above 0")

        def act() -> None:
            crank = self._steps.crank
            goal = (crank.theta_deg if crank.hand_deg is None else crank.hand_deg) + angle_deg
            crank.turn_to(min(max(goal, crank.theta_deg - FARTHEST_AHEAD_DEG), crank.theta_deg + FARTHEST_AHEAD_DEG), rpm)

        self._act(act)

    def stop_turning(self) -> None:
        """The hand lets go."""
        self._act(self._steps.crank.let_go)

    def set_restraint(self, torque_nm: float) -> None:
        """Fits a crank restraint that holds so much; 0 takes it off."""
        if not 0.0 <= torque_nm < 1e6:
            raise ValueError(f"a restraint of {torque_nm} N·m is none; give 0 to take it off")
        self._act(lambda: self._steps.crank.restrain(torque_nm))

    def attach_hose(self, hose: Hose) -> None:
        """Moves the hose; whatever pressure it held is lost with a bang. Raises ValueError for a cylinder the engine has not."""
        if isinstance(hose, int):
            self._known(hose)
        elif isinstance(hose, float) and not 0.0 <= hose < 1.0:
            raise ValueError(f"an orifice of {hose} m² is not possible")
        elif isinstance(hose, str) and hose not in {"off", "capped"}:
            raise ValueError(f"the hose cannot be at {hose!r}; give a cylinder, 'off', 'capped' or an area in m²")

        def act() -> None:
            self._steps.hose = hose
            self._steps.new_ways()
            self._steps.air.volume_m3 = self._steps.pose()
            self._fill()

        self._act(act)

    def take_check_valve_out(self) -> None:
        """Takes the check valve out of the adapter, if one was left in it; the pressure behind it is lost."""

        def act() -> None:
            self._steps.check_valve_in = False
            self._steps.new_ways()
            self._steps.air.volume_m3 = self._steps.pose()
            self._fill()

        self._act(act)

    def _fill(self) -> None:
        """Room air on the cylinder side, as warm as what it is in."""
        ambient, air = self.scenario.ambient, self._steps.air
        air.fill_with_room_air(ambient.engine_k if isinstance(self._steps.hose, int) and air.check is None else ambient.air_k)
        if air.check is not None:
            air.fill_behind(self._steps.behind_m3, ambient.engine_k)

    def stop_place(self, cylinder: int, place: str, on: bool, relief_gauge_pa: float = inf) -> None:
        """Stops a place off for one cylinder, with a relief that opens at a gauge pressure (inf: none), or frees it.

        A stop leaks as much as the scenario says. Raises ValueError for an unknown cylinder or place or an impossible relief.
        """
        if not relief_gauge_pa > 0.0:
            raise ValueError(f"a relief that opens at {relief_gauge_pa} Pa is not possible; give a gauge pressure above 0")
        self._put_on(cylinder, place, Fitting(self.scenario.openings.stop_leak_m2, relief_gauge_pa) if on else None)

    def meter_place(self, cylinder: int, place: str, orifice_m2: float | None) -> None:
        """Puts an orifice on a place of one cylinder, through which all leaves that comes there, or takes it away (None).

        Raises ValueError for an unknown cylinder or place or an impossible orifice.
        """
        if orifice_m2 is not None and not 0.0 < orifice_m2 < 1.0:
            raise ValueError(f"an orifice of {orifice_m2} m² is not possible")
        self._put_on(cylinder, place, None if orifice_m2 is None else Fitting(orifice_m2))

    def _put_on(self, cylinder: int, place: str, fitting: Fitting | None) -> None:
        self._known(cylinder)
        if place not in self.engine.places:
            raise ValueError(f"this engine has no place {place!r}; it has {', '.join(self.engine.places)}")
        fittings = {key: old for key, old in self._steps.fittings.items() if key != (cylinder, place)}
        if fitting is not None:
            fittings[cylinder, place] = fitting

        def act() -> None:
            self._steps.fittings = fittings
            self._steps.new_ways()

        self._act(act, pose=True)

    def set_decompression(self, on: bool) -> None:
        """Holds the manual decompression device on, or releases it. Raises ValueError for an engine that has none."""
        if self.engine.decompression != "manual":
            raise ValueError("this engine has no decompression device that is worked by hand")

        def act() -> None:
            self._steps.decompression_on = on
            self._steps.new_ways()

        self._act(act, pose=True)

    def wet(self, cylinder: int, volume_cm3: float) -> None:
        """Pours oil on a piston; what was left of an earlier dose stays, and what the chamber cannot hold runs out again.

        Raises ValueError for an unknown cylinder.
        """
        self._known(cylinder)
        if not 0.0 <= volume_cm3 <= 100.0:
            raise ValueError(f"{volume_cm3} cm³ of oil is not possible; give 0 to 100")

        def act() -> None:
            old = self._steps.oil.get(cylinder, OilFilm(0.0, 0.0)).left_m3(self._steps.crank.turned_deg)
            oil_m3 = min(old + 1e-6 * volume_cm3, HOLDS_OIL * self.engine.clearance_m3)
            self._steps.oil[cylinder] = OilFilm(oil_m3, self._steps.crank.turned_deg)

        self._act(act, pose=True)

    def insert_piston_stop(self, cylinder: int | None, depth_deg: float = 40.0) -> None:
        """Screws the piston stop into a cylinder, or takes it out. Raises ValueError while the piston stands too high for it."""
        if cylinder is None:
            self._act(self._steps.crank.remove_stop)
        else:
            self._known(cylinder)
            if not 5.0 <= depth_deg <= 150.0:
                raise ValueError(f"a stop that is met {depth_deg} degrees after TDC is not possible; give 5 to 150")
            self._act(lambda: self._steps.crank.place_stop(self.scenario.engine, cylinder, depth_deg))
        self._stop_in = cylinder

    def _known(self, cylinder: int) -> None:
        if cylinder not in self.scenario.engine.firing_order:
            raise ValueError(f"the engine has no cylinder {cylinder}")

    def _act(self, act: Callable[[], None], pose: bool = False) -> None:
        self._steps.act(self.now_s, act, pose)

    # ---- time

    def advance(self, n_samples: int, period_s: float) -> PlantTrace:
        """The next n_samples samples, period_s apart; the first comes one period after now_s. The same bits however it is cut."""
        if n_samples < 0 or not 0.0 < period_s < 10.0:
            raise ValueError(f"cannot advance by {n_samples} samples of {period_s} s")
        if period_s != self._clock.period_s:
            self._clock = Clock(self.now_s, self._position, period_s)
        t_before, crank_before, position = self.now_s, self._crank_now_deg, self._position
        t = self._clock.times_s(position, n_samples)
        self._position += n_samples
        if not n_samples:
            return PlantTrace(position, t_before, crank_before, t, t.copy(), t.copy(), t.copy())
        rows = self._steps.rows
        self._steps.step_to(float(t[-1]))
        pressures, crank = sampled(rows, t)
        stands = all(row[TURNS] == 0.0 for row in rows)
        del rows[:-1]
        self._crank_now_deg = float(crank[-1])
        self._p_now_abs_pa = (float(pressures[0, -1]), float(pressures[1, -1]))
        return PlantTrace(position, t_before, crank_before, t, pressures[0], pressures[1], crank, stands, self._clock)

    def snapshot(self) -> tuple[Any, ...]:
        """All that changes; cheap. Give it to restore to come back to this moment."""
        return (
            self._steps.snapshot(), self._stop_in, self._position, self._clock, self._crank_now_deg, self._p_now_abs_pa,
        )  # fmt: skip

    def restore(self, snapshot: tuple[Any, ...]) -> None:
        """Back to the moment of a snapshot of this plant."""
        (
            steps, self._stop_in, self._position, self._clock, self._crank_now_deg, self._p_now_abs_pa,
        ) = snapshot  # fmt: skip
        self._steps.restore(steps)
