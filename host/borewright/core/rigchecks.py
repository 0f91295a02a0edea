"""What the captures of the rig's own checks say: the sealed check (outlet capped) and the restrictor check (certified orifice)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from borewright.core.capture import CaptureResult, CaptureUnusable
from borewright.core.flow import leak_area_m2, mass_flow_kg_s
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns

__all__ = ["RestrictorReading", "SealedReading", "read_restrictor", "read_sealed"]

GAS_CONSTANT_AIR = 287.05287
LARGEST_OWN_LEAK_M2 = 2e-9  # 2 % of the smallest leak area that is reported, 0.1 mm²
LARGEST_TIE_SHARE = 0.005


@dataclass(frozen=True, slots=True)
class SealedReading:
    """The rig with its outlet capped: its own leak as an effective area, and how far the transducers differ at equal pressure.

    tie_share: (p_cylinder − p_regulated) / p_regulated. passed: both inside their limits.
    """

    own_leak_area_m2: float
    tie_share: float
    p_regulated_gauge_pa: float
    passed: bool


def read_sealed(
    columns: SampleColumns,
    cylinder_law: ChannelLaw,
    result: CaptureResult,
    shut_s: float | None,
    ended_s: float,
    volume_m3: float,
    p_ambient_abs_pa: float,
    t_gas_k: float,
    cylinder_channel: int = 1,
) -> SealedReading:
    """The sealed check from its capture: the slope after the shut gives the leak, the steady part ties the transducers.

    shut_s, ended_s: device times of the shut and of the end, after which it was vented; where nothing leaks the data cannot show
    them. volume_m3: dead volume and hose together. The first half second is left out, where the gas still cools. Raises
    CaptureUnusable when the supply was not shut long enough.
    """
    if shut_s is None:
        raise CaptureUnusable("The supply was not shut with the outlet capped; shut it, wait, and only then vent.")
    start, stop = (int(np.searchsorted(columns.t_s, at_s)) for at_s in (shut_s, ended_s))
    t_s = columns.t_s[start:stop]
    p_gauge = cylinder_law.gauge_pa(columns.raw[cylinder_channel, start:stop]) - (result.zero_cylinder_pa - cylinder_law.zero_pa)
    later = t_s >= t_s[0] + 0.5 if t_s.size else np.zeros(0, bool)
    if int(later.sum()) < 100:
        raise CaptureUnusable("The supply was shut for less than half a second; wait longer before venting.")
    at = t_s[later] - t_s[later].mean()
    slope_pa_s = float(at @ p_gauge[later] / (at @ at))
    p_mean_abs = float(p_gauge[later].mean()) + p_ambient_abs_pa
    leak_kg_s = -slope_pa_s * volume_m3 / (GAS_CONSTANT_AIR * t_gas_k)
    per_area = float(mass_flow_kg_s(1.0, p_mean_abs, p_ambient_abs_pa, t_gas_k))
    area = max(0.0, leak_kg_s / per_area)
    tie = result.p_cylinder_gauge_pa / result.p_regulated_gauge_pa - 1.0
    return SealedReading(area, tie, result.p_regulated_gauge_pa, area <= LARGEST_OWN_LEAK_M2 and abs(tie) <= LARGEST_TIE_SHARE)


@dataclass(frozen=True, slots=True)
class RestrictorReading:
    """The restrictor as an ideal nozzle: its effective area, at the pressures of the check. passed: within 25 % of the setup's."""

    area_m2: float
    passed: bool


def read_restrictor(
    result: CaptureResult, orifice_area_m2: float, nominal_area_m2: float, p_ambient_abs_pa: float, t_gas_k: float
) -> RestrictorReading:
    """The restrictor check from its capture: what flows out through the certified orifice came in through the restrictor.

    orifice_area_m2: effective area of the orifice. Raises CaptureUnusable when nothing flowed.
    """
    if not result.p_regulated_gauge_pa > result.p_cylinder_gauge_pa > 0.0:
        raise CaptureUnusable("Nothing flowed through the orifice; see that it is on the hose and open.")
    leak_of_unit = float(
        leak_area_m2(1.0, result.p_regulated_gauge_pa, result.p_cylinder_gauge_pa, p_ambient_abs_pa, t_gas_k, t_gas_k)
    )
    area = orifice_area_m2 / leak_of_unit
    return RestrictorReading(area, abs(area / nominal_area_m2 - 1.0) <= 0.25)
