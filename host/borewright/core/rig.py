"""The rig: what is fitted, how raw words become pressures, and which checks were made when.

Counts become SI here and nowhere else, live and offline.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from hashlib import sha256
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

__all__ = ["ChannelLaw", "CheckKind", "CheckRefused", "RigCheck", "RigSetup", "TrueTdc"]

CheckKind = Literal["zero", "span", "sealed", "restrictor", "tdc", "volumes", "acceptance"]
TdcMethod = Literal["piston_stop", "dial_gauge", "timing_mark", "locking_pin"]


class CheckRefused(ValueError):  # noqa: N818 -- it is read as a word of the trade
    """A check or calibration that its data cannot carry; one sentence says why and what to do."""


@dataclass(frozen=True, slots=True)
class ChannelLaw:
    """How one channel's raw words become a gauge pressure.

    The device says volts = volts_at_zero + raw · volts_per_raw. The transducer is ratiometric: it gives 10 % of its supply at the
    bottom of its range and 90 % at the top. zero_pa is what it read at vent and is taken off; gain corrects the span, and bow_pa,
    from a calibration that showed one, the curve between the ends of the range: 4·x·(1 − x)·bow_pa at the share x of it.

    >>> law = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
    >>> round(float(law.gauge_pa(2048)))
    500000
    """

    volts_at_zero: float
    volts_per_raw: float
    sensor_supply_volts: float
    range_low_gauge_pa: float
    range_high_gauge_pa: float
    zero_pa: float = 0.0
    gain: float = 1.0
    bow_pa: float = 0.0

    @property
    def pa_per_raw(self) -> float:
        """Pressure of one raw step in Pa; the bow changes it by four bows a range at most."""
        span = self.range_high_gauge_pa - self.range_low_gauge_pa
        return self.gain * self.volts_per_raw / self.sensor_supply_volts / 0.8 * span

    def gauge_pa(self, raw: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Zero-corrected gauge pressure in Pa of raw words of any shape."""
        volts = self.volts_at_zero + np.asarray(raw, dtype=np.float64) * self.volts_per_raw
        fraction = (volts / self.sensor_supply_volts - 0.1) / 0.8
        span = self.range_high_gauge_pa - self.range_low_gauge_pa
        straight = self.gain * (self.range_low_gauge_pa + fraction * span) - self.zero_pa
        return straight + 4.0 * fraction * (1.0 - fraction) * self.bow_pa if self.bow_pa else straight

    def raw_at(self, gauge_pa: float) -> int:
        """The raw word nearest to a gauge pressure, for limits that the device watches."""
        raw = (gauge_pa - float(self.gauge_pa(0))) / self.pa_per_raw
        if self.bow_pa:  # small and smooth: two more steps of the straight law leave nothing of it
            for _ in range(2):
                raw += (gauge_pa - float(self.gauge_pa(raw))) / self.pa_per_raw
        return round(raw)

    def with_zero(self, zero_pa: float) -> ChannelLaw:
        """The same law with another zero."""
        return replace(self, zero_pa=zero_pa)


@dataclass(frozen=True, slots=True)
class TrueTdc:
    """Where true TDC of the reference cylinder lies: so many counts after the index pulse, modulo one turn."""

    counts_after_index: float
    reference_cylinder: int
    u_deg: float
    method: TdcMethod
    spread_deg: float = 0.0
    backlash_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class RigCheck:
    """One check of the rig: what, when (seconds since 1970), by whom, on which device, and what it gave.

    result: plain JSON; numbers at the top, raw points and certificates below.
    """

    kind: CheckKind
    made_at_unix_s: float
    made_by: str
    device_serial: str
    passed: bool
    result: dict[str, Any] = field(default_factory=dict)


# came after checks had been stored; where they are 0 those checks still hold
_LATER = frozenset({"converter_nonlinearity_lsb", "spare_high_gauge_pa"})


@dataclass(frozen=True, slots=True)
class RigSetup:
    """What the host must know of a rig that the device does not say. The defaults describe the reference rig."""

    name: str = "reference rig"
    transducer_low_gauge_pa: float = 0.0
    transducer_high_gauge_pa: float = 1_000_000.0
    restrictor_area_m2: float = 8.107319665559963e-07  # 0.040 in ideal nozzle
    set_pressure_gauge_pa: float = 551_580.583
    regulated_low_gauge_pa: float = 496_422.5
    regulated_high_gauge_pa: float = 620_528.2
    rated_cylinder_side_gauge_pa: float = 1_000_000.0
    dead_volume_m3: float = 20e-6
    hose_volume_m3: float = 34e-6  # with its adapter
    running_sign: Literal[1, -1] = 1
    restraint_slack_deg: float = 0.0
    converter_nonlinearity_lsb: float = 0.0
    spare_high_gauge_pa: float = 0.0  # upper end of the spare channel's gauge, which begins at 0; 0: there is none

    @property
    def fingerprint(self) -> str:
        """Twelve hexadecimal digits that change with any value but the name; a check holds for the setup it was made with.

        >>> RigSetup(name="other").fingerprint == RigSetup().fingerprint, RigSetup(hose_volume_m3=4e-5) == RigSetup()
        (True, False)
        """
        values = sorted((key, value) for key, value in asdict(self).items() if key != "name" and (value or key not in _LATER))
        return sha256(repr(values).encode()).hexdigest()[:12]
