"""What is known of rig and air when a capture is read, and how well: where a fit and a budget start from."""

from __future__ import annotations

from dataclasses import dataclass

from borewright.core.flow import checked
from borewright.core.restrictor import Restrictor

__all__ = ["Instrument"]


@dataclass(frozen=True, slots=True)
class Instrument:
    """Rig and air with their uncertainties. Every u_* is a standard uncertainty (k = 1); the defaults are the reference rig's.

    t_supply_k: of the supplied air and the room. t_cylinder_k: of the walls of the cylinder. dead_volume_m3: between supply valve
    and restrictor. hose_volume_m3: hose and adapter. u_dead_volume, u_hose_volume: shares of them. range_pa: of the transducers.
    u_gain: span of both transducers together, a share of the reading. u_tie: what is left between the two after the sealed check, a
    share of the reading. u_zero_pa: by how much each zero, which wanders smoothly, has changed zero_drift_s after it was read; much
    later it is little more. bow_pa: half-width of the non-linearity common to both, 4·x·(1 − x)·bow_pa at the share x of the range,
    rectangular. converter_pa: half-width of the converter's own non-linearity, of each channel for itself. resolution_pa: one raw
    step.

    >>> Instrument(Restrictor(8.107e-7)).u_tie
    0.0002
    """

    restrictor: Restrictor
    p_ambient_abs_pa: float = 101_325.0
    u_p_ambient_pa: float = 100.0
    t_supply_k: float = 293.15
    u_t_supply_k: float = 1.5
    t_cylinder_k: float = 293.15
    u_t_cylinder_k: float = 2.0
    dead_volume_m3: float = 20e-6
    u_dead_volume: float = 0.05
    hose_volume_m3: float = 34e-6
    u_hose_volume: float = 0.02
    range_pa: float = 1_000_000.0
    u_gain: float = 0.0015
    u_tie: float = 0.0002
    u_zero_pa: float = 100.0
    zero_drift_s: float = 10.0
    bow_pa: float = 500.0
    converter_pa: float = 0.0
    resolution_pa: float = 305.0

    def __post_init__(self) -> None:
        above = ("p_ambient_abs_pa", "t_supply_k", "t_cylinder_k", "dead_volume_m3", "hose_volume_m3", "range_pa", "zero_drift_s")
        for name in above:
            checked(name, getattr(self, name), above=0.0)
        for name in self.__slots__:
            if name.startswith("u_") or name in ("bow_pa", "converter_pa", "resolution_pa"):
                checked(name, getattr(self, name), least=0.0)
