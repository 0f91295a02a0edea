"""The plant's steps: air and crank together on an absolute grid of time.

Steps start on multiples of 1/1024 s and their lengths are powers of two of it, chosen from the state alone. So the bits of a run
depend on the scenario and on when the controls were used, never on how time was asked for. A control takes effect at the first grid
point from its moment on; a longer step already taken over that point is taken back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import ceil, exp, radians
from typing import Any

from boresim.air import AirSide, State
from boresim.check_valve import CheckValve, checked_step
from boresim.crank import CrankMotion
from boresim.gas import CP_J_KG_K, GAMMA
from boresim.noise import seeded_unit
from boresim.outlets import NO_FITTINGS, Fittings, Hose, OilFilm, Ways
from boresim.scenario import Scenario
from boresim.trace import Row, cubic

__all__ = ["GRID_HZ", "GRID_S", "Stepper", "Valve"]

GRID_HZ = 1024
GRID_S = 1.0 / GRID_HZ
LONGEST_AT_REST = 32  # grid steps
LONGEST_QUIET = 1024
MOVING_LEVEL = 4
LONGEST_MOVING = 1 << MOVING_LEVEL  # while a hand turns the crank no faster than SLOW_RAD_S, with the supply shut
LONGEST_STARTING = 4  # until it turns at half its speed, and nearer than NEAR_GOAL_DEG to where it goes, with the vent open
SLOW_RAD_S = 4.0
NEAR_GOAL_DEG = 2.0
EASY_PART = 0.5  # of what a hand can: with more torque of the gas than this it may be too weak in the next moment
CALM_MOVING_PA = 2000.0  # flows that change the cylinder's pressure by less in a step, and
CALM_STRAIN = 0.03  # a crank that changes its volume by less of itself, allow a longer one
BLOWN_OFF_PA = 1000.0  # wide open and nearer to ambient than this, a cylinder only follows the crank
TOLERANCE_PA = 1.0  # error of one step
ROUGH_PA = 200.0  # beyond this a step of one grid length swings past equal pressures instead of reaching them
NEARLY_PA = 90.0  # nearer to ambient than this, flow is linear in the difference
CALM_PA = 2.0  # behind a check valve: pressures that change by less in a grid step
LONGEST_CALM_LEVEL = 4
QUIET_PA = 0.05  # nearer to ambient than this, an open side is at ambient
OPEN_M2 = 5e-6  # an opening of this size, in a cylinder side of any size, leaves it at ambient within a few steps

Physical = tuple[State, float, tuple[float | None, ...], State]


ValveState = tuple[float, float, float, int, float, float, float]


@dataclass(slots=True)
class Valve:
    """A valve on its way: it starts from `start` of full opening at a grid point and moves one full opening in travel_s.

    It goes to what it was told (`told`) as far as it can: from `least` to `most` of full opening.
    """

    travel_s: float
    start: float
    goal: float
    since: int = 0
    told: float = field(init=False)
    least: float = 0.0
    most: float = 1.0

    def __post_init__(self) -> None:
        self.told = self.goal

    def at(self, grid: float) -> float:
        """How far it is open at a moment, in grid steps: 0 to 1."""
        if (grid - self.since) * GRID_S >= self.travel_s:
            return self.goal
        way = (grid - self.since) * GRID_S / self.travel_s
        return min(self.start + way, self.goal) if self.goal > self.start else max(self.start - way, self.goal)

    def state(self) -> ValveState:
        """All that changes, for set_state."""
        return self.travel_s, self.start, self.goal, self.since, self.told, self.least, self.most

    def set_state(self, state: ValveState) -> None:
        """Puts back what state() gave."""
        self.travel_s, self.start, self.goal, self.since, self.told, self.least, self.most = state

    def move(self, told: float, grid: int) -> None:
        """Sends it to a goal from a grid point on."""
        self.told = told
        goal = min(max(told, self.least), self.most)
        if goal != self.goal:
            self.start, self.goal, self.since = self.at(grid), goal, grid

    def jam(self, least: float, most: float, grid: int) -> None:
        """From now on it goes no further either way than that; (0, 1): it is free."""
        self.least, self.most = least, most
        self.move(self.told, grid)


class Stepper:
    """State of air and crank of a scenario, and its steps. It starts vented, the hose off, nothing restrained or stopped."""

    def __init__(self, scenario: Scenario) -> None:
        parts = scenario.rig.air
        self.scenario = scenario
        self.air = AirSide(scenario)
        self.air.p_set_abs = scenario.ambient.pressure_abs_pa + min(parts.set_gauge_pa, parts.supply_gauge_pa)
        self.crank = CrankMotion(scenario, 6.283185307179586 * seeded_unit(scenario.seed, "hand"))
        self.supply = Valve(parts.supply_travel_s, 0.0, 0.0)
        self.vent = Valve(parts.vent_travel_s, 1.0, 1.0)
        self.hose: Hose = "off"
        self.fittings: Fittings = NO_FITTINGS
        self.decompression_on = scenario.openings.decompression_on
        self.check_valve_in = True
        self.oil: dict[int, OilFilm] = {}
        self.ways = Ways(scenario, self.hose)
        self.travel_m = 0.0
        self.slope_m3_rad = 0.0  # of the volume in the hose's cylinder
        self.behind_m3 = 0.0  # of the hose's cylinder, when a check valve parts it from the hose
        self.start = 0  # of the last step, in grid steps
        self.end = 0
        self.level = 0  # of the next step at rest: 2^level grid steps
        self.rows: list[Row] = []
        self.air.volume_m3 = self.pose()
        self.air.fill_with_room_air(scenario.ambient.air_k)
        self.before = self.physical()

    def act(self, now_s: float, act: Callable[[], None], pose: bool = False) -> None:
        """Does something at the first grid point from now_s on; with pose, what lies in the cylinder changes too."""
        grid = ceil(now_s * GRID_HZ)
        if self.end > grid:
            self.rows.pop()
            self.put_back(self.before)
            self.end, self.level = self.start, 0
            while self.end < grid:
                self.step(grid)
        act()
        if pose:
            self.change_volume(self.pose())
            if self.air.check is not None:
                p_cylinder, mass, old = self.air.behind
                if old > 0.0:
                    self.air.behind = (p_cylinder, mass * self.behind_m3 / old, self.behind_m3)
                else:  # the check valve comes in while the hose is in the cylinder
                    self.air.fill_behind(self.behind_m3, self.scenario.ambient.engine_k)
        self.level = 0

    def step_to(self, t_s: float) -> None:
        """Steps until the steps cover a time."""
        while self.end * GRID_S < t_s:
            self.step(None)

    def snapshot(self) -> tuple[Any, ...]:
        """All that changes."""
        return (
            self.physical(), self.before, self.start, self.end, self.level, tuple(self.rows), self.supply.state(),
            self.vent.state(), self.hose, self.fittings, self.decompression_on, self.check_valve_in, dict(self.oil),
            self.air.p_set_abs, self.air.supply_fraction, self.air.vent_fraction, self.scenario,
        )  # fmt: skip

    def restore(self, snapshot: tuple[Any, ...]) -> None:
        """Back to a snapshot."""
        (
            physical, self.before, self.start, self.end, self.level, rows, supply, vent,
            self.hose, self.fittings, self.decompression_on, self.check_valve_in, oil,
            p_set_abs, self.air.supply_fraction, self.air.vent_fraction, scenario,
        ) = snapshot  # fmt: skip
        if scenario is not self.scenario:
            self._take_parts(scenario)
        self.air.p_set_abs = p_set_abs
        self.rows, self.oil = list(rows), dict(oil)
        self.supply.set_state(supply)
        self.vent.set_state(vent)
        self.new_ways()
        self.put_back(physical)

    def become(self, scenario: Scenario) -> None:
        """From now on this is another engine, rig or room: the same hose and crank position, the same air in it.

        The regulator keeps what it is set to over the room's pressure. Of the engine, what turns must be the same.
        """
        set_gauge_pa = self.air.p_set_abs - self.air.p_ambient
        self._take_parts(scenario)
        self.air.p_set_abs = self.air.p_ambient + set_gauge_pa
        self.new_ways()

    def _take_parts(self, scenario: Scenario) -> None:
        parts = scenario.rig.air
        self.scenario = scenario
        self.air.take_parts(scenario)
        self.crank.parts = scenario.crank
        self.supply.travel_s, self.vent.travel_s = parts.supply_travel_s, parts.vent_travel_s

    def new_ways(self) -> None:
        """The ways out anew, after the hose, its check valve, what is on places or the decompression device has changed."""
        self.ways = Ways(self.scenario, self.hose, self.fittings, self.decompression_on)
        self.air.check = self.air.parts.check_valve if self.check_valve_in and isinstance(self.hose, int) else None

    def physical(self) -> Physical:
        """The state that steps change."""
        return self.air.state, self.air.volume_m3, self.crank.state(), self.air.behind

    def put_back(self, physical: Physical) -> None:
        """Puts back what physical() gave."""
        self.air.state, _, crank, self.air.behind = physical
        self.crank.set_state(crank)
        self.pose()
        self.air.volume_m3 = physical[1]

    def oil_m3(self) -> float:
        """Oil on the piston of the hose's cylinder."""
        film = self.oil.get(self.hose) if self.oil and isinstance(self.hose, int) else None
        return film.left_m3(self.crank.turned_deg) if film else 0.0

    def pose_of_ways(self) -> tuple[float, float, float]:
        """What decides which ways out are open: crank angle, how far the piston is down, oil on it."""
        return self.crank.theta_deg, self.travel_m, self.oil_m3()

    def pose(self) -> float:
        """Sets what follows from the present crank angle and gives the cylinder side's volume there, unstretched."""
        air, hose, parts, angle = self.air, self.hose, self.air.parts, self.crank.theta_deg
        if not isinstance(hose, int):
            self.travel_m = self.slope_m3_rad = 0.0
            air.open = self.ways.at(angle, 0.0, 0.0)
            air.engine_wall_w_k = air.engine_wall_w_k_pa = 0.0
            return parts.hose_volume_m3 + (0.0 if hose == "off" else parts.adapter_volume_m3)
        engine, ambient = self.scenario.engine, self.scenario.ambient
        travel, slope = engine.travel_and_slope(angle - engine.firing_angles_deg[hose])
        self.travel_m, self.slope_m3_rad = travel, engine.piston_area_m2 * slope
        oil = self.oil_m3() if self.oil else 0.0
        if air.check is not None:
            air.behind_open, air.open = self.ways.at(angle, travel, oil), (0.0, (), ())
            air.engine_wall_w_k = air.engine_wall_w_k_pa = 0.0
            self.behind_m3 = engine.clearance_m3 + engine.piston_area_m2 * travel - oil
            return parts.hose_volume_m3 + parts.adapter_volume_m3
        air.open = self.ways.at(angle, travel, oil)
        air.engine_wall_w_k, air.engine_wall_w_k_pa = ambient.engine_wall_w_k, ambient.engine_wall_w_k_pa
        return parts.hose_volume_m3 + parts.adapter_volume_m3 + engine.clearance_m3 + engine.piston_area_m2 * travel - oil

    def change_volume(self, volume_m3: float) -> None:
        """Another volume at once, at the same pressure and temperature (oil that took the place of air)."""
        p_regulated, p_cylinder, mass = self.air.state
        old = self.air.volume_at(p_cylinder)
        self.air.volume_m3 = volume_m3
        self.air.state = (p_regulated, p_cylinder, mass * self.air.volume_at(p_cylinder) / old)

    def _gas_nm(self) -> float:
        """Torque of the air on the crank, positive in running direction."""
        air = self.air
        return ((air.state[1] if air.check is None else air.behind[0]) - air.p_ambient) * self.slope_m3_rad

    def step(self, limit: int | None) -> None:
        """One step from the end of the last one; it ends at the grid point `limit` at the latest."""
        air = self.air
        self.start = self.end
        middle = self.end + 0.5
        supply, vent = self.supply, self.vent
        air.supply_fraction, air.vent_fraction = supply.at(middle), vent.at(middle)
        travelling = air.supply_fraction != supply.goal or air.vent_fraction != vent.goal
        gas_nm = self._gas_nm()
        if air.check is not None:
            self._checked_step(air.check, gas_nm, travelling, limit)
            return
        if not self.crank.stays(gas_nm):
            self._moving_step(gas_nm, limit)
            return
        self.before = self.physical()
        if not travelling and self._open_and_within(QUIET_PA):
            self._quiet_step(limit)
        elif not travelling and self._open_and_within(NEARLY_PA):
            self._relaxing_step()
        else:
            self._rest_step(0 if travelling else self.level, limit)

    def _moving_step(self, gas_nm: float, limit: int | None) -> None:
        air, crank = self.air, self.crank
        length = self._longest_moving(gas_nm)
        if length > 1:
            self.before = self.physical()
            length = self._length(length, limit)
        h = length * GRID_S
        start_s, angle, slope_m3_rad = self.end * GRID_S, crank.theta_deg, self.slope_m3_rad
        pr, pc, _ = air.state
        crank.step(h, start_s, gas_nm)
        old_volume = air.volume_m3
        new_volume = self.pose()
        air.volume_m3 = old_volume
        slopes = air.moving_step(h, new_volume)
        to_r, to_c, _ = air.state
        turned = crank.theta_deg - angle
        self.end += length
        if slopes is None:
            calm = -BLOWN_OFF_PA < to_c - air.p_ambient < BLOWN_OFF_PA
        else:
            flowed_pa = h * max(abs(slopes[2]), abs(slopes[3]))
            calm = flowed_pa < CALM_MOVING_PA and abs(new_volume - old_volume) < CALM_STRAIN * new_volume
        self.level = min(length.bit_length(), MOVING_LEVEL) if calm else max(length.bit_length() - 2, 0)
        if length == 1 or slopes is None:
            self.rows.append((start_s, GRID_HZ / length, pr, to_r - pr, 0.0, 0.0, pc, to_c - pc, 0.0, 0.0, angle, turned))
            return
        r0, r1, c0, c1 = slopes
        squeeze = -GAMMA * radians(turned) / h
        c0 += squeeze * slope_m3_rad * pc / air.effective_at(pc, old_volume)
        c1 += squeeze * self.slope_m3_rad * to_c / air.effective_at(to_c, new_volume)
        self.rows.append((start_s, GRID_HZ / length, *cubic(h, pr, r0, to_r, r1), *cubic(h, pc, c0, to_c, c1), angle, turned))

    def _longest_moving(self, gas_nm: float) -> int:
        """The longest step that may be taken now while the crank moves, in grid steps."""
        air, crank = self.air, self.crank
        if air.supply_fraction != 0.0 or not -SLOW_RAD_S < crank.omega_rad_s < SLOW_RAD_S or crank.hand_deg is None:
            return 1
        starts = abs(crank.omega_rad_s) < 0.5 * crank.hand_rad_s  # or slows down for its goal
        near = -NEAR_GOAL_DEG < crank.hand_deg - crank.theta_deg < NEAR_GOAL_DEG
        if air.vent_fraction == 1.0:
            return LONGEST_STARTING if near or starts else LONGEST_MOVING
        if near or starts or air.vent_fraction != 0.0 or not -EASY_PART < gas_nm / crank.parts.hand_torque_nm < EASY_PART:
            return 1
        return min(1 << self.level, LONGEST_MOVING)

    def _checked_step(self, valve: CheckValve, gas_nm: float, travelling: bool, limit: int | None) -> None:
        """With a check valve between hose and cylinder: grid step after grid step, longer where little happens."""
        air, crank, ambient = self.air, self.crank, self.scenario.ambient
        self.before = self.physical()
        stays = crank.stays(gas_nm)
        if stays and not travelling and abs(air.behind[0] - air.p_ambient) <= QUIET_PA and self._open_and_within(QUIET_PA):
            self._quiet_step(limit)
            return
        length = self._length(1 << self.level if stays and not travelling else 1, limit)
        h = length * GRID_S
        pr, pc, _ = air.state
        behind, angle = air.behind[0], crank.theta_deg
        if not stays:
            crank.step(h, self.end * GRID_S, gas_nm)
        air.volume_m3 = self.pose()
        checked_step(air, valve, h, self.behind_m3, (ambient.engine_wall_w_k, ambient.engine_wall_w_k_pa))
        to_r, to_c, _ = air.state
        turned = crank.theta_deg - angle
        self.rows.append((self.end * GRID_S, GRID_HZ / length, pr, to_r - pr, 0.0, 0.0, pc, to_c - pc, 0.0, 0.0, angle, turned))
        self.end += length
        calm = stays and max(abs(to_r - pr), abs(to_c - pc), abs(air.behind[0] - behind)) < CALM_PA * length
        self.level = LONGEST_CALM_LEVEL if calm else 0

    def _open_and_within(self, near_pa: float) -> bool:
        """Whether nothing is supplied, the cylinder side stands wide open, and both sides are as near to ambient as that."""
        air = self.air
        pr, pc, _ = air.state
        return (
            abs(pr - air.p_ambient) <= near_pa
            and abs(pc - air.p_ambient) <= near_pa
            and air.out_area_m2(pc) >= OPEN_M2
            and air.supply_flow_kg_s(air.p_ambient) == 0.0
        )

    def _quiet_step(self, limit: int | None) -> None:
        """Open to the room and at rest: both sides at ambient, the gas takes the walls' temperature along its exponential."""
        air = self.air
        length = self._length(LONGEST_QUIET, limit)
        t_gas = air.temperature_k()
        wall = air.engine_wall_w_k + air.hose_wall_w_k
        if wall > 0.0:
            t_wall = (air.engine_wall_w_k * air.t_engine + air.hose_wall_w_k * air.t_room) / wall
            t_gas = t_wall + (t_gas - t_wall) * exp(-length * GRID_S * wall / (air.state[2] * CP_J_KG_K))
        air.fill_with_room_air(t_gas)
        air.state = (air.p_ambient, air.p_ambient, air.state[2])
        at_ambient = (air.p_ambient, 0.0, 0.0, 0.0)
        self.rows.append((self.end * GRID_S, GRID_HZ / length, *at_ambient, *at_ambient, self.crank.theta_deg, 0.0))
        self.end += length
        self.level = 0

    def _rest_step(self, level: int, limit: int | None) -> None:
        air = self.air
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
        if error > ROUGH_PA:
            self._relaxing_step()
            return
        self.rows.append(
            (self.end * GRID_S, GRID_HZ / length, *cubic(h, pr, before[0], new[0], after[0]),
             *cubic(h, pc, before[1], new[1], after[1]), self.crank.theta_deg, 0.0)
        )  # fmt: skip
        air.state = new
        self.end += length
        self.level = length.bit_length() - 1
        if error < 0.1 * TOLERANCE_PA and 1 << self.level < LONGEST_AT_REST:
            self.level += 1

    def _relaxing_step(self) -> None:
        """One grid step of a body that all but empties within it, by the relaxation of the moving crank's step.

        It is exact where flow is linear in the difference of pressures and cannot swing past their equality, as the other one does
        where a body's time constant is a thousandth of the step.
        """
        air = self.air
        pr, pc, _ = air.state
        air.moving_step(GRID_S, air.volume_m3)
        to_r, to_c, _ = air.state
        self.rows.append((self.end * GRID_S, GRID_HZ, pr, to_r - pr, 0.0, 0.0, pc, to_c - pc, 0.0, 0.0, self.crank.theta_deg, 0.0))
        self.end += 1
        self.level = 0

    def _holds_at(self, state: State) -> bool:
        """Whether the crank still stands at the pressure of another state."""
        old, self.air.state = self.air.state, state
        holds = self.crank.stays(self._gas_nm())
        self.air.state = old
        return holds

    def _length(self, longest: int, limit: int | None) -> int:
        """The longest power of two of grid steps that may start here: it must divide the position on the grid."""
        length = longest
        while self.end % length or (limit is not None and self.end + length > limit):
            length //= 2
        return length
