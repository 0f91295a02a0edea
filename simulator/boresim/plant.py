"""The plant: air and crank of one scenario in virtual time.

Steps lie on an absolute grid of 1/1024 s and their lengths are powers of two of it, chosen from the state alone. So the bits of a
run depend on the scenario and on when the controls were used, never on how advance() was cut. A control takes effect at the first
grid point at or after now_s: a longer step already taken over that point is taken back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, exp
from typing import Any

import numpy as np
import numpy.typing as npt

from boresim.air import AirSide, State
from boresim.crank import CrankMotion
from boresim.gas import CP_J_KG_K
from boresim.noise import seeded_unit
from boresim.outlets import Hose, OilFilm, outlet_flow, outlets_at
from boresim.scenario import Scenario

__all__ = ["Hose", "Plant", "PlantTrace"]

GRID_HZ = 1024
GRID_S = 1.0 / GRID_HZ
LONGEST_AT_REST = 32  # grid steps
LONGEST_QUIET = 1024
TOLERANCE_PA = 1.0  # error of one step
QUIET_PA = 0.05  # nearer to ambient than this, a vented side is at ambient

Row = tuple[float, ...]
"""One step for output: its start, 1/length, then coefficients of powers of the part s of the step: four of the regulated pressure,
four of the cylinder's, two of the angle."""


@dataclass(frozen=True, slots=True, eq=False)
class PlantTrace:
    """True values at the times of n samples, before any sensor.

    position: how many samples the plant had given before the first of these. t_s: virtual time. crank_deg: unwrapped, running
    direction positive, 0 at the compression TDC of the first cylinder in the firing order. crank_before_deg and t_before_s: crank and
    time at the sample before the first.
    """

    position: int
    t_before_s: float
    crank_before_deg: float
    t_s: npt.NDArray[np.float64]
    p_regulated_abs_pa: npt.NDArray[np.float64]
    p_cylinder_abs_pa: npt.NDArray[np.float64]
    crank_deg: npt.NDArray[np.float64]

    def __len__(self) -> int:
        return int(self.t_s.shape[0])


@dataclass(slots=True)
class _Valve:
    """A valve on its way: it starts from `start` of full opening at a grid point and moves one full opening in travel_s."""

    travel_s: float
    start: float
    goal: float
    since: int = 0

    def at(self, grid: float) -> float:
        if self.travel_s <= 0.0:
            return self.goal
        way = (grid - self.since) * GRID_S / self.travel_s
        return min(self.start + way, self.goal) if self.goal > self.start else max(self.start - way, self.goal)

    def move(self, goal: float, grid: int) -> None:
        if goal != self.goal:
            self.start, self.goal, self.since = self.at(grid), goal, grid


class Plant:
    """Air and crank of a scenario. It starts vented, the regulator at its set pressure, the hose off, no restraint, no stop.

    >>> from boresim.scenario import load_scenario
    >>> plant = Plant(load_scenario("hillclimb-after"))
    >>> plant.attach_hose("capped"); plant.set_vent(False); plant.set_supply(True)
    >>> trace = plant.advance(3000, 0.001)
    >>> round(float(trace.p_cylinder_abs_pa[-1] - trace.p_regulated_abs_pa[-1]))
    0
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self._air = AirSide(scenario)
        self._crank = CrankMotion(scenario, 6.283185307179586 * seeded_unit(scenario.seed, "hand"))
        self._supply = _Valve(scenario.rig.air.supply_travel_s, 0.0, 0.0)
        self._vent = _Valve(scenario.rig.air.vent_travel_s, 1.0, 1.0)
        self._hose: Hose = "off"
        self._stops: frozenset[tuple[int, str]] = frozenset()
        self._oil: dict[int, OilFilm] = {}
        self._stop_in: int | None = None
        self._air.p_set_abs = scenario.ambient.pressure_abs_pa + min(scenario.rig.air.set_gauge_pa, scenario.rig.air.supply_gauge_pa)
        self._start = 0  # of the last step, in grid steps
        self._end = 0
        self._level = 0  # of the next step at rest: 2^level grid steps
        self._rows: list[Row] = []
        self._position = 0
        self._anchor_s = 0.0  # sample k after the anchor is at anchor + k · period, however advance() is cut
        self._after_anchor = 0
        self._period_s = 0.0
        self._crank_at_now = self._crank.theta_deg
        self._air.volume_m3 = self._pose()
        self._air.fill_with_room_air(scenario.ambient.air_k)
        self._before = self._physical()

    # ---- what a person or a device can read

    @property
    def now_s(self) -> float:
        """Virtual time of the last sample."""
        return self._anchor_s + self._after_anchor * self._period_s

    @property
    def crank_deg(self) -> float:
        """True crank angle at the last sample."""
        return self._crank_at_now

    @property
    def hose_at(self) -> Hose:
        """Where the hose is."""
        return self._hose

    @property
    def turning(self) -> bool:
        """True while the hand turns the crank."""
        return self._crank.hand_deg is not None

    @property
    def piston_stop_in(self) -> int | None:
        """The cylinder that holds the piston stop."""
        return self._stop_in

    @property
    def p_cylinder_gauge_pa(self) -> float:
        """True gauge pressure of the cylinder side, at the end of the step that holds now_s."""
        return self._air.state[1] - self._air.p_ambient

    @property
    def p_regulated_gauge_pa(self) -> float:
        """True gauge pressure before the restrictor, at the end of the step that holds now_s."""
        return self._air.state[0] - self._air.p_ambient

    @property
    def t_cylinder_k(self) -> float:
        """Gas temperature of the cylinder side."""
        return self._air.temperature_k()

    @property
    def mass_kg(self) -> float:
        """Air on both sides of the restrictor."""
        return self._air.state[2] + self._air.state[0] * self._air.capacity_kg_pa

    def flows_kg_s(self) -> dict[str, float]:
        """Flows now, kg/s: supply (in), restrictor (towards the cylinder), vent and outlets (out)."""
        air = self._air
        p_regulated, p_cylinder, _ = air.state
        t_cylinder = air.temperature_k()
        rates = air.rates(*air.state)
        through = air.restrictor_flow(p_regulated, p_cylinder, t_cylinder)
        supply = air.supply_flow_kg_s(p_regulated)
        outlets = sum(self.place_flows_kg_s().values())
        return {
            "supply": supply,
            "restrictor": through,
            "vent": supply - through - rates[0] * air.capacity_kg_pa + through - rates[2] - outlets,
            "outlets": outlets,
        }

    def place_flows_kg_s(self) -> dict[str, float]:
        """What escapes at each place now, kg/s; at a stopped place what gets past the stop."""
        return {place: flow for place, (flow, _) in self._at_places().items()}

    def place_gauge_pa(self, place: str) -> float:
        """Pressure behind the stop of a place, as a gauge on it reads; 0 where nothing is stopped."""
        return max((self._at_places().get(place, (0.0, self._air.p_ambient))[1] - self._air.p_ambient), 0.0)

    def _at_places(self) -> dict[str, tuple[float, float]]:
        air, found = self._air, {}
        p_cylinder, t_cylinder = air.state[1], air.temperature_k()
        relative = (p_cylinder - air.p_ambient) / air.p_reference
        for outlet in air.outlets.every:
            flow, pressure = outlet_flow(outlet, relative, p_cylinder, t_cylinder, air.p_ambient)
            old = found.get(outlet.place, (0.0, air.p_ambient))
            found[outlet.place] = (old[0] + flow, max(old[1], pressure))
        return found

    # ---- controls

    def set_supply(self, is_open: bool) -> None:
        """Drives the supply valve; it takes its travel time."""
        self._act(lambda: self._supply.move(1.0 if is_open else 0.0, self._end))

    def set_vent(self, is_open: bool) -> None:
        """Drives the vent valve; it takes its travel time."""
        self._act(lambda: self._vent.move(1.0 if is_open else 0.0, self._end))

    def set_regulator(self, gauge_pa: float) -> None:
        """Sets the regulator; it cannot give more than its supply has. Raises ValueError for a negative pressure."""
        if not 0.0 <= gauge_pa < 1e7:
            raise ValueError(f"the regulator cannot be set to {gauge_pa} Pa; give a gauge pressure from 0")
        pressure = self._air.p_ambient + min(gauge_pa, self._air.parts.supply_gauge_pa)
        self._act(lambda: setattr(self._air, "p_set_abs", pressure))

    def turn_by(self, angle_deg: float, rpm: float) -> None:
        """The hand turns by an angle from where the crank is (negative: backwards), with limited torque; see turning."""
        if not (abs(angle_deg) < 1e6 and 0.0 < rpm < 1000.0):
            raise ValueError(f"cannot turn by {angle_deg} degrees at {rpm} rev/min; give a speed above 0")
        self._act(lambda: self._crank.turn_to(self._crank.theta_deg + angle_deg, rpm))

    def stop_turning(self) -> None:
        """The hand lets go."""
        self._act(self._crank.let_go)

    def set_restraint(self, torque_nm: float) -> None:
        """Fits a crank restraint that holds so much; 0 takes it off."""
        if not 0.0 <= torque_nm < 1e6:
            raise ValueError(f"a restraint of {torque_nm} N·m is none; give 0 to take it off")
        self._act(lambda: self._crank.restrain(torque_nm))

    def attach_hose(self, hose: Hose) -> None:
        """Moves the hose; whatever pressure it held is lost with a bang. Raises ValueError for a cylinder the engine has not."""
        if isinstance(hose, int):
            self._known(hose)
        elif isinstance(hose, float) and not 0.0 <= hose < 1.0:
            raise ValueError(f"an orifice of {hose} m² is not possible")
        elif isinstance(hose, str) and hose not in {"off", "capped"}:
            raise ValueError(f"the hose cannot be at {hose!r}; give a cylinder, 'off', 'capped' or an area in m²")

        def act() -> None:
            self._hose = hose
            self._air.volume_m3 = self._pose()
            ambient = self.scenario.ambient
            self._air.fill_with_room_air(ambient.engine_k if isinstance(hose, int) else ambient.air_k)

        self._act(act)

    def stop_place(self, cylinder: int, place: str, on: bool) -> None:
        """Stops a place off for one cylinder, or frees it. Raises ValueError for an unknown cylinder or place."""
        self._known(cylinder)
        if place not in self.scenario.engine.places:
            raise ValueError(f"this engine has no place {place!r}; it has {', '.join(self.scenario.engine.places)}")
        stops = self._stops | {(cylinder, place)} if on else self._stops - {(cylinder, place)}
        self._act(lambda: setattr(self, "_stops", stops), pose=True)

    def wet(self, cylinder: int, volume_cm3: float) -> None:
        """Pours oil on a piston; what was left of an earlier dose stays. Raises ValueError for an unknown cylinder."""
        self._known(cylinder)
        if not 0.0 <= volume_cm3 <= 100.0:
            raise ValueError(f"{volume_cm3} cm³ of oil is not possible; give 0 to 100")

        def act() -> None:
            left = self._oil_m3(cylinder)
            self._oil[cylinder] = OilFilm(left + 1e-6 * volume_cm3, self._crank.turned_deg)

        self._act(act, pose=True)

    def insert_piston_stop(self, cylinder: int | None, depth_deg: float = 40.0) -> None:
        """Screws the piston stop into a cylinder, or takes it out. Raises ValueError while the piston stands too high for it."""
        if cylinder is None:
            self._act(self._crank.remove_stop)
        else:
            self._known(cylinder)
            if not 5.0 <= depth_deg <= 150.0:
                raise ValueError(f"a stop that is met {depth_deg} degrees after TDC is not possible; give 5 to 150")
            self._act(lambda: self._crank.place_stop(self.scenario.engine, cylinder, depth_deg))
        self._stop_in = cylinder

    def _known(self, cylinder: int) -> None:
        if cylinder not in self.scenario.engine.firing_order:
            raise ValueError(f"the engine has no cylinder {cylinder}")

    def _act(self, act: Callable[[], None], pose: bool = False) -> None:
        """Does something at the first grid point from now on."""
        grid = ceil(self.now_s * GRID_HZ)
        if self._end > grid:
            self._rows.pop()
            self._put_back(self._before)
            self._end, self._level = self._start, 0
            while self._end < grid:
                self._step(grid)
        act()
        if pose:
            self._change_volume(self._pose())
        self._level = 0

    # ---- time

    def advance(self, n_samples: int, period_s: float) -> PlantTrace:
        """The next n_samples samples, period_s apart; the first comes one period after now_s. The same bits however it is cut."""
        if n_samples < 0 or not 0.0 < period_s < 10.0:
            raise ValueError(f"cannot advance by {n_samples} samples of {period_s} s")
        if period_s != self._period_s:
            self._anchor_s, self._after_anchor, self._period_s = self.now_s, 0, period_s
        t_before, crank_before, position = self.now_s, self._crank_at_now, self._position
        t = self._anchor_s + np.arange(self._after_anchor + 1, self._after_anchor + n_samples + 1, dtype=np.float64) * period_s
        self._after_anchor += n_samples
        self._position += n_samples
        if not n_samples:
            return PlantTrace(position, t_before, crank_before, t, t.copy(), t.copy(), t.copy())
        now = self.now_s
        while self._end * GRID_S < now:
            self._step(None)
        values = np.array(self._rows).T
        if len(self._rows) > 1:
            values = values[:, np.searchsorted(values[0], t, side="left") - 1]
        start, per_s, r0, r1, r2, r3, c0, c1, c2, c3, a0, a1 = values
        s = (t - start) * per_s
        trace = PlantTrace(
            position, t_before, crank_before, t,
            ((r3 * s + r2) * s + r1) * s + r0, ((c3 * s + c2) * s + c1) * s + c0, a1 * s + a0,
        )  # fmt: skip
        del self._rows[:-1]
        self._crank_at_now = float(trace.crank_deg[-1])
        return trace

    def snapshot(self) -> tuple[Any, ...]:
        """All that changes; cheap. Give it to restore to go back to this moment."""
        return (
            self._physical(), self._before, self._start, self._end, self._level, tuple(self._rows), self._position, self._anchor_s,
            self._after_anchor, self._period_s, self._crank_at_now, self._stop_in, (self._supply.start, self._supply.goal,
            self._supply.since), (self._vent.start, self._vent.goal, self._vent.since), self._hose, self._stops, dict(self._oil),
            self._air.p_set_abs,
        )  # fmt: skip

    def restore(self, snapshot: tuple[Any, ...]) -> None:
        """Back to the moment of a snapshot of this plant."""
        (
            physical, self._before, self._start, self._end, self._level, rows, self._position, self._anchor_s,
            self._after_anchor, self._period_s, self._crank_at_now, self._stop_in, supply,
            vent, self._hose, self._stops, oil,
            self._air.p_set_abs,
        ) = snapshot  # fmt: skip
        self._rows, self._oil = list(rows), dict(oil)
        self._supply.start, self._supply.goal, self._supply.since = supply
        self._vent.start, self._vent.goal, self._vent.since = vent
        self._put_back(physical)

    # ---- inside

    def _physical(self) -> tuple[State, float, tuple[float | None, ...]]:
        return self._air.state, self._air.volume_m3, self._crank.state()

    def _put_back(self, physical: tuple[State, float, tuple[float | None, ...]]) -> None:
        self._air.state, _, crank = physical
        self._crank.set_state(crank)
        self._pose()
        self._air.volume_m3 = physical[1]

    def _oil_m3(self, cylinder: int) -> float:
        film = self._oil.get(cylinder)
        return film.left_m3(self._crank.turned_deg) if film else 0.0

    def _pose(self) -> float:
        """Sets outlets and walls for the present crank angle and gives the cylinder side's volume there, unstretched."""
        air, hose, scenario = self._air, self._hose, self.scenario
        oil = self._oil_m3(hose) if self._oil and isinstance(hose, int) else 0.0
        air.outlets = outlets_at(scenario, hose, self._crank.theta_deg, self._stops, oil)
        if not isinstance(hose, int):
            air.engine_wall_w_k = air.engine_wall_w_k_pa = 0.0
            return air.parts.hose_volume_m3 + (0.0 if hose == "off" else air.parts.adapter_volume_m3)
        air.engine_wall_w_k = scenario.ambient.engine_wall_w_k
        air.engine_wall_w_k_pa = scenario.ambient.engine_wall_w_k_pa
        volume, _ = scenario.engine.volume_and_slope(self._crank.theta_deg - scenario.engine.firing_angles_deg[hose])
        return air.parts.hose_volume_m3 + air.parts.adapter_volume_m3 + volume - oil

    def _change_volume(self, volume_m3: float) -> None:
        """Another volume at once, at the same pressure and temperature (oil that took the place of air)."""
        p_regulated, p_cylinder, mass = self._air.state
        old = self._air.volume_at(p_cylinder)
        self._air.volume_m3 = volume_m3
        self._air.state = (p_regulated, p_cylinder, mass * self._air.volume_at(p_cylinder) / old)

    def _gas_nm(self) -> float:
        """Torque of the air on the crank, positive in running direction."""
        if not isinstance(self._hose, int):
            return 0.0
        engine = self.scenario.engine
        _, slope = engine.volume_and_slope(self._crank.theta_deg - engine.firing_angles_deg[self._hose])
        return (self._air.state[1] - self._air.p_ambient) * slope

    def _step(self, limit: int | None) -> None:
        """One step from the end of the last one; it ends at the grid point `limit` at the latest."""
        self._before = self._physical()
        self._start = self._end
        air = self._air
        middle = self._end + 0.5
        air.supply_fraction, air.vent_fraction = self._supply.at(middle), self._vent.at(middle)
        travelling = air.supply_fraction != self._supply.goal or air.vent_fraction != self._vent.goal
        gas_nm = self._gas_nm()
        if not self._crank.stays(gas_nm):
            self._moving_step(gas_nm)
        elif not travelling and self._is_quiet():
            self._quiet_step(limit)
        else:
            self._rest_step(0 if travelling else self._level, limit)

    def _moving_step(self, gas_nm: float) -> None:
        air, crank = self._air, self._crank
        pr, pc, _ = air.state
        angle = crank.theta_deg
        crank.step(GRID_S, self._end * GRID_S, gas_nm)
        old_volume = air.volume_m3
        new_volume = self._pose()
        air.volume_m3 = old_volume
        air.moving_step(GRID_S, new_volume)
        now_r, now_c, _ = air.state
        self._rows.append((self._end * GRID_S, GRID_HZ, pr, now_r - pr, 0.0, 0.0, pc, now_c - pc, 0.0, 0.0, angle, crank.theta_deg - angle))
        self._end += 1
        self._level = 0

    def _is_quiet(self) -> bool:
        air = self._air
        pr, pc, _ = air.state
        return (
            air.vent_fraction == 1.0
            and air.supply_flow_kg_s(air.p_ambient) == 0.0
            and abs(pr - air.p_ambient) <= QUIET_PA
            and abs(pc - air.p_ambient) <= QUIET_PA
        )

    def _quiet_step(self, limit: int | None) -> None:
        """Vented and at rest: both sides at ambient, the gas takes the walls' temperature along its exponential."""
        air = self._air
        length = self._length(LONGEST_QUIET, limit)
        t_gas = air.temperature_k()
        wall = air.engine_wall_w_k + air.hose_wall_w_k
        if wall > 0.0:
            t_wall = (air.engine_wall_w_k * air.t_engine + air.hose_wall_w_k * air.t_room) / wall
            t_gas = t_wall + (t_gas - t_wall) * exp(-length * GRID_S * wall / (air.state[2] * CP_J_KG_K))
        air.fill_with_room_air(t_gas)
        air.state = (air.p_ambient, air.p_ambient, air.state[2])
        at_ambient = (air.p_ambient, 0.0, 0.0, 0.0)
        self._rows.append((self._end * GRID_S, GRID_HZ / length, *at_ambient, *at_ambient, self._crank.theta_deg, 0.0))
        self._end += length
        self._level = 0

    def _rest_step(self, level: int, limit: int | None) -> None:
        air = self._air
        length = self._length(1 << level, limit)
        while True:
            h = length * GRID_S
            new, before, after, error = air.rest_step(h)
            if length == 1:
                break
            if error <= TOLERANCE_PA and self._holds_at(new):
                break
            length //= 2
        pr, pc, _ = air.state
        if error == float("inf"):  # only an absurd rig empties a body within one grid step
            raise ValueError("the air side is too quick for the grid; check the rig's volumes and areas")
        self._rows.append(
            (self._end * GRID_S, GRID_HZ / length, *_cubic(h, pr, before[0], new[0], after[0]),
             *_cubic(h, pc, before[1], new[1], after[1]), self._crank.theta_deg, 0.0)
        )  # fmt: skip
        air.state = new
        self._end += length
        self._level = length.bit_length() - 1
        if error < 0.1 * TOLERANCE_PA and 1 << self._level < LONGEST_AT_REST:
            self._level += 1

    def _holds_at(self, state: State) -> bool:
        """Whether the crank still stands at the pressure of another state."""
        old, self._air.state = self._air.state, state
        holds = self._crank.stays(self._gas_nm())
        self._air.state = old
        return holds

    def _length(self, longest: int, limit: int | None) -> int:
        """The longest power of two of grid steps that may start here: it must divide the position on the grid."""
        length = longest
        while self._end % length or (limit is not None and self._end + length > limit):
            length //= 2
        return length


def _cubic(h: float, start: float, slope: float, end: float, end_slope: float) -> tuple[float, float, float, float]:
    """Hermite's cubic over one step of h, in powers of the part of the step."""
    rise, a, b = end - start, h * slope, h * end_slope
    return start, a, 3.0 * rise - 2.0 * a - b, a + b - 2.0 * rise
