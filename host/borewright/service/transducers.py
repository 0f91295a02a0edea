"""Which channel is which, and the law of each: what the device says, what the rig's setup says, and the last zero."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from borewire.messages import ChannelDescription, Quantity

from borewright.core.calibration import calibrated_laws
from borewright.core.kept import kept_of
from borewright.core.rig import ChannelLaw, RigCheck, RigSetup
from borewright.core.samples import SampleColumns
from borewright.errors import LinkError

__all__ = ["Transducers", "readable", "transducers_of"]


@dataclass(frozen=True, slots=True)
class Transducers:
    """The two pressure channels: their places in a sample and their laws."""

    regulated_channel: int
    cylinder_channel: int
    regulated: ChannelLaw
    cylinder: ChannelLaw
    raw_max: int

    @property
    def laws(self) -> dict[str, ChannelLaw]:
        """The laws by name, as the record keeps them."""
        return {"regulated": self.regulated, "cylinder": self.cylinder}

    def gauge_pa(self, columns: SampleColumns) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Regulated and cylinder gauge pressure of samples, float64[n] each."""
        return self.raw_gauge_pa(columns.raw)

    def raw_gauge_pa(self, raw: npt.NDArray[np.uint16]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """The same of raw words, uint16[channels, n], channels in the order of the wire."""
        return self.regulated.gauge_pa(raw[self.regulated_channel]), self.cylinder.gauge_pa(raw[self.cylinder_channel])

    def with_zeros(self, regulated_pa: float, cylinder_pa: float) -> Transducers:
        """The same transducers with other zeros."""
        return replace(self, regulated=self.regulated.with_zero(regulated_pa), cylinder=self.cylinder.with_zero(cylinder_pa))

    def uncalibrated(self) -> Transducers:
        """As the device and the setup alone have them: gain 1, no bow, no zero."""
        bare = {"gain": 1.0, "bow_pa": 0.0, "zero_pa": 0.0}
        return replace(self, regulated=replace(self.regulated, **bare), cylinder=replace(self.cylinder, **bare))

    def calibrated(self, checks: Mapping[str, RigCheck]) -> Transducers:
        """With the span calibration and the tie that these checks hold; the zeros stay as they were taken."""
        return self._by_checks(checks, tie=True)

    def untied(self, checks: Mapping[str, RigCheck]) -> Transducers:
        """With the span calibration alone, as the sealed check has to see them."""
        return self._by_checks(checks, tie=False)

    def _by_checks(self, checks: Mapping[str, RigCheck], *, tie: bool) -> Transducers:
        bare = self.uncalibrated()
        regulated, cylinder = calibrated_laws(bare.regulated, bare.cylinder, readable(checks), tie)
        made = replace(self, regulated=regulated, cylinder=cylinder)
        return made.with_zeros(self.regulated.zero_pa, self.cylinder.zero_pa)

    def limit_raw(self, law: ChannelLaw, gauge_pa: float) -> int:
        """The raw word of a limit, kept under the converter's end, where nothing could pass it."""
        return max(1, min(law.raw_at(gauge_pa), self.raw_max - 1))


def transducers_of(channels: Iterable[ChannelDescription], setup: RigSetup) -> Transducers:
    """The two pressure channels of a device. Raises LinkError when it lacks one."""
    by_quantity = {channel.quantity: channel for channel in channels}
    try:
        regulated, cylinder = by_quantity[Quantity.PRESSURE_REGULATED], by_quantity[Quantity.PRESSURE_CYLINDER]
    except KeyError as missing:
        raise LinkError(
            f"the device has no channel for {missing.args[0].name.lower().replace('_', ' ')}; check that this is a leak-down rig"
        ) from None

    def law(channel: ChannelDescription) -> ChannelLaw:
        return ChannelLaw(
            channel.volts_at_zero,
            channel.volts_per_raw,
            channel.sensor_supply_volts,
            setup.transducer_low_gauge_pa,
            setup.transducer_high_gauge_pa,
        )

    return Transducers(regulated.channel, cylinder.channel, law(regulated), law(cylinder), min(regulated.raw_max, cylinder.raw_max))


def readable(checks: Mapping[str, RigCheck]) -> dict[str, RigCheck]:
    """The checks that hold what a calibration needs; some of the oldest do not, and correct nothing."""
    return {kind: check for kind, check in checks.items() if _can_be_read(check)}


def _can_be_read(check: RigCheck) -> bool:
    try:
        kept_of(check)
    except ValueError:
        return False
    return True
