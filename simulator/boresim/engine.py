"""The engine as the simulator knows it: slider-crank geometry, and when valves and ports stand open.

Angles are crank degrees in the direction of running; 0 is the compression TDC of the first cylinder in the firing order. TDC is
where the piston stands highest, so with an offset pin it is not where the crank pin is in line with the bore.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate
from math import asin, cos, pi, radians, sin, sqrt
from typing import Any, Literal

from borewire.engine_file import check_engine

__all__ = ["SimEngine", "load_engine"]


@dataclass(frozen=True, slots=True)
class SimEngine:
    """One engine in SI units. Make it with load_engine.

    intake and exhaust are (opens, closes) in degrees after the compression TDC of a four-stroke; port_opens_deg is (exhaust,
    transfer) in degrees to either side of the TDC of a two-stroke.
    """

    name: str
    cycle: Literal["four-stroke", "two-stroke"]
    firing_order: tuple[int, ...]
    firing_angles_deg: Mapping[int, float]
    piston_area_m2: float
    crank_radius_m: float
    rod_m: float
    pin_offset_m: float
    clearance_m3: float
    intake_deg: tuple[float, float]
    exhaust_deg: tuple[float, float]
    port_opens_deg: tuple[float, float]
    valves_move: bool
    decompression: Literal["none", "manual", "automatic"]
    coolant_cap_gauge_pa: float | None
    places: tuple[str, ...]  # where air can leave a cylinder of this engine
    tilt_rad: float  # of the crank pin out of the bore's direction at TDC
    top_m: float  # height of the piston pin over the crank's centre at TDC

    @property
    def cycle_deg(self) -> float:
        """Crank degrees of one cycle."""
        return 720.0 if self.cycle == "four-stroke" else 360.0

    def travel_and_slope(self, after_tdc_deg: float) -> tuple[float, float]:
        """How far the piston is below its highest point, m, and how that changes with the crank, m/rad."""
        angle = radians(after_tdc_deg) + self.tilt_rad
        across = self.crank_radius_m * sin(angle)
        along = self.crank_radius_m * cos(angle)
        lean = across - self.pin_offset_m
        rod_height = sqrt(self.rod_m * self.rod_m - lean * lean)
        return self.top_m - along - rod_height, across + lean * along / rod_height

    def volume_and_slope(self, after_tdc_deg: float) -> tuple[float, float]:
        """Volume over the piston, m³, and how it changes with the crank, m³/rad."""
        travel, slope = self.travel_and_slope(after_tdc_deg)
        return self.clearance_m3 + self.piston_area_m2 * travel, self.piston_area_m2 * slope

    def cycle_angle_deg(self, cylinder: int, crank_deg: float) -> float:
        """Where a cylinder is in its cycle: degrees after its compression TDC, from 0 to under one cycle."""
        return (crank_deg - self.firing_angles_deg[cylinder]) % self.cycle_deg

    def opening(self, what: Literal["intake", "exhaust"], cycle_angle_deg: float) -> float:
        """How far a valve or port stands open at an angle of its cylinder's cycle, 0 shut to 1 full.

        A four-stroke's valve rises and falls as a squared sine; a two-stroke's port ("intake" is the transfer port) opens in
        proportion to the angle past its edge.
        """
        if self.cycle == "two-stroke":
            opens = self.port_opens_deg[0 if what == "exhaust" else 1]
            from_tdc = min(cycle_angle_deg, 360.0 - cycle_angle_deg)
            return max(0.0, from_tdc - opens) / (180.0 - opens)
        if not self.valves_move:
            return 0.0
        opens, closes = self.exhaust_deg if what == "exhaust" else self.intake_deg
        if not opens < cycle_angle_deg < closes:
            return 0.0
        lift = sin(pi * (cycle_angle_deg - opens) / (closes - opens))
        return lift * lift


def load_engine(document: Mapping[str, Any], source: str) -> SimEngine:
    """The engine of an engine file's document. Raises borewire.engine_file.EngineFileError when the document is not right.

    >>> engine = load_engine({"schema_version": 1, "name": "bench single", "cycle": "four-stroke", "firing_order": [1],
    ...     "bore_mm": 80, "stroke_mm": 80, "rod_mm": 140, "compression_ratio": 9}, "example")
    >>> round(engine.clearance_m3 * 1e6, 2)
    50.27
    """
    checked = check_engine(document, source)
    order = tuple(checked["firing_order"])
    starts = [0.0, *accumulate(checked["firing_intervals_deg"])]
    radius, rod, offset = checked["stroke_mm"] / 2e3, checked["rod_mm"] / 1e3, checked["pin_offset_mm"] / 1e3
    valves = checked.get("valve_events", {})
    ports = checked.get("port_events", {})
    intake_opens = 360.0 - valves.get("intake_opens_before_tdc_deg", 15.0)
    intake_closes = 540.0 + valves.get("intake_closes_after_bdc_deg", 55.0)
    exhaust_opens = 180.0 - valves.get("exhaust_opens_before_bdc_deg", 55.0)
    exhaust_closes = 360.0 + valves.get("exhaust_closes_after_tdc_deg", 15.0)
    return SimEngine(
        name=checked["name"],
        cycle=checked["cycle"],
        firing_order=order,
        firing_angles_deg=dict(zip(order, starts, strict=False)),
        piston_area_m2=pi / 4.0 * (checked["bore_mm"] / 1e3) ** 2,
        crank_radius_m=radius,
        rod_m=rod,
        pin_offset_m=offset,
        clearance_m3=checked["clearance_cm3"] / 1e6,
        intake_deg=(intake_opens, intake_closes),
        exhaust_deg=(exhaust_opens, exhaust_closes),
        port_opens_deg=(ports.get("exhaust_opens_after_tdc_deg", 95.0), ports.get("transfer_opens_after_tdc_deg", 115.0)),
        valves_move=checked["valve_gear"] == "fitted",
        decompression=checked["decompression"],
        coolant_cap_gauge_pa=1e3 * checked["coolant_cap_kpa"] if "coolant_cap_kpa" in checked else None,
        places=tuple(checked["places"]),
        tilt_rad=asin(offset / (radius + rod)),
        top_m=sqrt((radius + rod) ** 2 - offset * offset),
    )
