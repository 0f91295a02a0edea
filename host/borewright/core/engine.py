"""The engine under test: its geometry and where in the cycle each cylinder has its compression TDC.

Angles are crank degrees in the direction of running. The *firing angle* of a cylinder is the crank angle of its compression TDC
within one cycle, counted from that of the first cylinder in the firing order.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

__all__ = ["Engine", "PortEvents", "ValveEvents"]


@dataclass(frozen=True, slots=True)
class ValveEvents:
    """When the valves of a four-stroke cylinder move, in crank degrees.

    The defaults are typical of a road engine (common practice, no source); they only bound the closed part of the stroke.
    """

    intake_opens_before_tdc_deg: float = 15.0
    intake_closes_after_bdc_deg: float = 55.0
    exhaust_opens_before_bdc_deg: float = 55.0
    exhaust_closes_after_tdc_deg: float = 15.0


@dataclass(frozen=True, slots=True)
class PortEvents:
    """When the piston of a two-stroke cylinder uncovers its ports, in crank degrees after TDC (common practice, no source)."""

    exhaust_opens_after_tdc_deg: float = 95.0
    transfer_opens_after_tdc_deg: float = 115.0


@dataclass(frozen=True, slots=True)
class Engine:
    """One engine, in SI units.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> four.firing_angle_deg(4), four.cycle_deg, four.sharing_tdc(1)
    (360.0, 720.0, (4,))
    >>> four.places
    ('intake', 'exhaust', 'breather', 'coolant', 'neighbours', 'outside')

    assembly: a short block is a four-stroke without its head, a bare head one without its block; nothing moves the valves there.
    only_places: the places that the engine file names, empty where it leaves that open. coolant_cap_pa: what the cap is rated for,
    over the surrounding air. numbering: how the cylinders are counted, in words.
    """

    name: str
    cycle: Literal["four-stroke", "two-stroke"]
    firing_order: tuple[int, ...]
    firing_intervals_deg: tuple[float, ...]
    bore_m: float
    stroke_m: float
    rod_m: float
    clearance_m3: float
    pin_offset_m: float = 0.0
    running_direction: Literal["clockwise", "anticlockwise"] = "clockwise"
    cooling: Literal["liquid", "air", "oil"] = "liquid"
    decompression: Literal["none", "manual", "automatic"] = "none"
    valve_gear: Literal["fitted", "not_fitted"] = "fitted"
    valve_events: ValveEvents = ValveEvents()
    port_events: PortEvents = PortEvents()
    assembly: Literal["complete", "short_block", "bare_head"] = "complete"
    only_places: tuple[str, ...] = ()
    coolant_cap_pa: float | None = None
    numbering: str = ""

    @property
    def places(self) -> tuple[str, ...]:
        """Where air that leaks out of a cylinder can be looked for.

        >>> Engine("hut", "two-stroke", (1,), (360.0,), 0.04, 0.03, 0.06, 5e-6, cooling="air").places
        ('exhaust_port', 'crankcase', 'outside')
        """
        if self.only_places:
            return self.only_places
        several = len(self.firing_order) > 1
        there = {
            "intake": self.assembly != "short_block",
            "exhaust": self.assembly != "short_block",
            "breather": self.assembly != "bare_head",
            "coolant": self.cooling == "liquid",
            "neighbours": several,
            "other_chambers": several,
        }
        two_stroke = ("exhaust_port", "crankcase", "other_chambers", "coolant", "outside")
        four_stroke = ("intake", "exhaust", "breather", "coolant", "neighbours", "outside")
        return tuple(place for place in (two_stroke if self.cycle == "two-stroke" else four_stroke) if there.get(place, True))

    @property
    def cycle_deg(self) -> float:
        """Crank degrees of one cycle: 720 for a four-stroke, 360 for a two-stroke."""
        return 720.0 if self.cycle == "four-stroke" else 360.0

    @property
    def cylinders(self) -> tuple[int, ...]:
        """The cylinder numbers in rising order."""
        return tuple(sorted(self.firing_order))

    def firing_angle_deg(self, cylinder: int) -> float:
        """Crank angle of the cylinder's compression TDC in the cycle, from that of the first one in the firing order.

        Raises ValueError when the engine has no such cylinder.
        """
        if cylinder not in self.firing_order:
            raise ValueError(f"cylinder {cylinder} is not in this engine; it has {', '.join(map(str, self.cylinders))}")
        starts = [0.0, *accumulate(self.firing_intervals_deg)]
        return starts[self.firing_order.index(cylinder)]

    def sharing_tdc(self, cylinder: int) -> tuple[int, ...]:
        """The other cylinders whose pistons are at TDC within 10 degrees of this one's, on whichever stroke."""
        own = self.firing_angle_deg(cylinder)
        return tuple(
            other
            for other in self.cylinders
            if other != cylinder and abs((self.firing_angle_deg(other) - own + 180.0) % 360.0 - 180.0) < 10.0
        )

    def closed_part_deg(self) -> tuple[float, float]:
        """Where around its compression TDC a cylinder is closed: (before, after) in crank degrees, both positive.

        >>> Engine("demo", "four-stroke", (1,), (720.0,), 0.086, 0.086, 0.143, 55e-6).closed_part_deg()
        (125.0, 125.0)
        """
        if self.cycle == "two-stroke":
            return self.port_events.exhaust_opens_after_tdc_deg, self.port_events.exhaust_opens_after_tdc_deg
        if self.valve_gear == "not_fitted":
            return 180.0, 180.0
        return 180.0 - self.valve_events.intake_closes_after_bdc_deg, 180.0 - self.valve_events.exhaust_opens_before_bdc_deg
