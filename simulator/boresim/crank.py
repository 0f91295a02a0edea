"""The crank: gas torque against friction, restraint and a person's hand, with a piston stop in the way.

Dry friction and restraint oppose motion up to what they can hold; beyond that the crank turns, and nothing holds it but what is
left over. That is why an unrestrained crank off TDC runs away.
"""

from __future__ import annotations

from math import degrees, inf, pi, radians, sin, sqrt

from boresim.engine import SimEngine
from boresim.scenario import Scenario

__all__ = ["CrankMotion"]

HAND_LAG_S = 0.04
HAND_SLOWS_RAD_S2 = 4.0
HAND_WAVER = 0.15  # share by which a person's speed wanders
HAND_GIVES_UP_S = 0.4
ARRIVED_DEG = 0.02
STOP_GIVE_DEG_NM = 0.0015  # a soft stop gives a little under the hand's torque


class CrankMotion:
    """Angle (unwrapped, running direction positive) and speed, and everything that acts on them but the gas."""

    __slots__ = (
        "anchor_deg",
        "freed_s",
        "hand_deg",
        "hand_rad_s",
        "high_deg",
        "low_deg",
        "omega_rad_s",
        "parts",
        "phase",
        "restraint_nm",
        "stalled_s",
        "theta_deg",
        "turned_deg",
    )

    def __init__(self, scenario: Scenario, phase: float) -> None:
        self.parts = scenario.crank
        self.phase = phase  # of the hand's wavering, radians
        self.theta_deg = scenario.crank.start_deg
        self.omega_rad_s = 0.0
        self.turned_deg = 0.0  # the whole way, both directions added
        self.restraint_nm = 0.0
        self.anchor_deg = self.theta_deg
        self.hand_deg: float | None = None
        self.hand_rad_s = 0.0
        self.freed_s = -inf  # when the step began in which the hand came off by itself, having arrived or given up
        self.stalled_s = 0.0
        self.low_deg = -inf
        self.high_deg = inf

    def holding_nm(self, direction: float) -> float:
        """What opposes motion in a direction: friction, and the restraint once its slack is used up."""
        offset = (self.theta_deg - self.anchor_deg) * (1.0 if direction > 0.0 else -1.0)
        if self.restraint_nm and offset >= self.parts.restraint_slack_deg:
            return self.parts.friction_nm + self.restraint_nm
        return self.parts.friction_nm

    def stays(self, gas_nm: float) -> bool:
        """True while the crank is at rest and a gas torque does not move it."""
        if self.omega_rad_s != 0.0 or self.hand_deg is not None:
            return False
        return abs(gas_nm) <= self.parts.friction_nm or abs(gas_nm) <= self.holding_nm(gas_nm) or self._against(gas_nm)

    def _against(self, torque_nm: float) -> bool:
        return (torque_nm > 0.0 and self.theta_deg >= self.high_deg) or (torque_nm < 0.0 and self.theta_deg <= self.low_deg)

    def turn_to(self, theta_deg: float, rpm: float) -> None:
        """The hand takes hold and turns towards an angle."""
        self.hand_deg = theta_deg
        self.hand_rad_s = rpm * pi / 30.0
        self.stalled_s = 0.0

    def let_go(self) -> None:
        """The hand lets go."""
        self.hand_deg, self.freed_s = None, -inf

    def turned_at(self, t_s: float) -> bool:
        """Whether the hand was on the crank at a moment up to the end of the last step."""
        return self.hand_deg is not None or t_s <= self.freed_s

    def restrain(self, torque_nm: float) -> None:
        """Fits a restraint that holds so much, or takes it off with 0."""
        self.restraint_nm = torque_nm
        self.anchor_deg = self.theta_deg

    def place_stop(self, engine: SimEngine, cylinder: int, depth_deg: float) -> None:
        """A piston stop that the piston meets depth_deg after its TDC, and as far down before it. Raises ValueError."""
        depth, _ = engine.travel_and_slope(depth_deg)
        low, high = 0.0, 180.0
        for _ in range(60):  # with an offset pin the same depth lies at another angle before TDC
            middle = 0.5 * (low + high)
            low, high = (middle, high) if engine.travel_and_slope(-middle)[0] < depth else (low, middle)
        own = engine.firing_angles_deg[cylinder]
        past = (self.theta_deg - own) % 360.0
        if not depth_deg <= past <= 360.0 - high:
            raise ValueError(f"the piston of cylinder {cylinder} stands too high for the stop; turn it down first")
        tdc = self.theta_deg - past
        self.low_deg, self.high_deg = tdc + depth_deg, tdc + 360.0 - high

    def remove_stop(self) -> None:
        """Takes the piston stop out."""
        self.low_deg, self.high_deg = -inf, inf

    def step(self, h: float, t_s: float, gas_nm: float) -> None:
        """One step of h seconds at a gas torque. The order (torque, then speed, then angle) is kept for its stability."""
        parts, omega = self.parts, self.omega_rad_s
        hand = self._hand_nm(h, t_s, gas_nm)
        drive = gas_nm + hand
        free = omega + h * drive / parts.inertia_kg_m2
        braking = h * self.holding_nm(free) / parts.inertia_kg_m2
        if abs(free) <= braking:
            omega = 0.0
        else:  # a speed that lasts does not depend on h
            omega = (free - (braking if free > 0.0 else -braking)) / (1.0 + h * parts.viscous_nm_s / parts.inertia_kg_m2)
        moved = degrees(h * omega)
        theta = self.theta_deg + moved
        give = STOP_GIVE_DEG_NM * abs(drive)
        if theta > self.high_deg + give and moved > 0.0:
            theta, omega = max(self.theta_deg, self.high_deg + give), 0.0
        elif theta < self.low_deg - give and moved < 0.0:
            theta, omega = min(self.theta_deg, self.low_deg - give), 0.0
        moved = theta - self.theta_deg
        self.turned_deg += abs(moved)
        self.theta_deg, self.omega_rad_s = theta, omega
        if self.restraint_nm:  # past its slack a restraint slips and takes hold anew
            slack = parts.restraint_slack_deg
            self.anchor_deg = min(max(self.anchor_deg, theta - slack), theta + slack)
        if self.hand_deg is not None:
            self.stalled_s = self.stalled_s + h if omega == 0.0 else 0.0
            if abs(self.hand_deg - theta) <= ARRIVED_DEG or self.stalled_s >= HAND_GIVES_UP_S:
                self.hand_deg, self.freed_s = None, t_s

    def _hand_nm(self, h: float, t_s: float, gas_nm: float) -> float:
        """Torque of the hand, which steers towards its speed and slows down before its goal, with no more than a person has."""
        if self.hand_deg is None:
            return 0.0
        ahead = radians(self.hand_deg - self.theta_deg)
        waver = 1.0 + HAND_WAVER * (0.6 * sin(4.1 * t_s + self.phase) + 0.4 * sin(9.7 * t_s + 2.0 * self.phase))
        speed = min(self.hand_rad_s * waver, sqrt(2.0 * HAND_SLOWS_RAD_S2 * abs(ahead)))
        wanted = speed if ahead > 0.0 else -speed
        lag = max(HAND_LAG_S, h)
        torque = self.parts.inertia_kg_m2 * (wanted - self.omega_rad_s) / lag - gas_nm
        torque += self.holding_nm(wanted) if wanted > 0.0 else -self.holding_nm(wanted)
        limit = self.parts.hand_torque_nm
        return min(max(torque, -limit), limit)

    def state(self) -> tuple[float | None, ...]:
        """All that changes, for set_state."""
        return (
            self.theta_deg, self.omega_rad_s, self.turned_deg, self.restraint_nm, self.anchor_deg,
            self.hand_deg, self.hand_rad_s, self.freed_s, self.stalled_s, self.low_deg, self.high_deg,
        )  # fmt: skip

    def set_state(self, state: tuple[float | None, ...]) -> None:
        """Puts back what state() gave."""
        (self.theta_deg, self.omega_rad_s, self.turned_deg, self.restraint_nm, self.anchor_deg,
         self.hand_deg, self.hand_rad_s, self.freed_s, self.stalled_s, self.low_deg, self.high_deg) = state  # type: ignore[assignment]  # fmt: skip
