"""The analog side of the microcontroller: a scenario's transducers on its converter of ten bits, code by code."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np
import numpy.typing as npt
from boresim.electronics import Electronics
from boresim.plant import PlantTrace
from boresim.scenario import Scenario

from avr_rig.child import Codes

__all__ = ["CONVERSIONS", "HOUSEKEEPING_CODE", "SPARE_CODE", "BoardElectronics"]

CODE_BITS = 10
SUPPLY_V = 5.0
COUNTS_PER_REV = 4096
CONVERSIONS = 4
"""Conversions of a channel that the firmware adds up to a sample."""

SPARE_CODE = 102
"""A transducer at the pressure of the room: 10 % of its supply."""

HOUSEKEEPING_CODE = 225
"""The chip's own 1.1 V against its supply of 5 V."""


class BoardElectronics(Electronics):
    """The electronics of a scenario's rig, with the microcontroller's converter and encoder input in place of its device's.

    Transducers, errors and seed are the scenario's. Its noise is that of a sample, and a sample is CONVERSIONS conversions: each
    conversion has so much more noise that their sum has the scenario's. The converter rounds to the nearest code. On the spare
    channel is a transducer that is open to the room. Raises ValueError for a rig that this board cannot be put to.
    """

    def __init__(self, scenario: Scenario) -> None:
        _must_fit(scenario)
        parts = scenario.rig.transducers
        of_conversions = replace(
            parts,
            adc_bits=CODE_BITS,
            adc_reference_v=SUPPLY_V,
            noise_pa=parts.noise_pa * _noise_of_conversion(parts.noise_ar1),
            noise_ar1=_ar1_of_conversions(parts.noise_ar1),
        )
        super().__init__(replace(scenario, rig=replace(scenario.rig, transducers=of_conversions)))

    @property
    def index_count(self) -> int:
        """The count of the index pulse, on the scale of places."""
        return self._index_count

    def place(self, crank_deg: float) -> float:
        """Where the encoder is, in counts with their fraction; floor gives the count on the same scale."""
        return crank_deg * self._counts_per_deg + self._edge

    def places(self, trace: PlantTrace) -> npt.NDArray[np.float64]:
        """The same at all samples of a trace."""
        return trace.crank_deg * self._counts_per_deg + self._edge

    def codes(self, trace: PlantTrace) -> list[Codes]:
        """A row of codes for each sample of a trace: regulated, cylinder, spare, housekeeping."""
        regulated, cylinder = self.raw(trace).tolist()
        return [(one, two, SPARE_CODE, HOUSEKEEPING_CODE) for one, two in zip(regulated, cylinder, strict=True)]


def _ar1_of_conversions(ar1_of_samples: float) -> float:
    """The correlation of neighbouring conversions that gives CONVERSIONS of them, one after the other, that of two samples."""
    return float(ar1_of_samples ** (1.0 / CONVERSIONS))


def _noise_of_conversion(ar1_of_samples: float) -> float:
    """How much more noise one conversion has than the mean of CONVERSIONS.

    >>> _noise_of_conversion(0.0)
    2.0
    """
    ar1 = _ar1_of_conversions(ar1_of_samples)
    pairs = sum((CONVERSIONS - apart) * ar1**apart for apart in range(1, CONVERSIONS))
    return CONVERSIONS / sqrt(CONVERSIONS + 2.0 * pairs)


def _must_fit(scenario: Scenario) -> None:
    """Raises ValueError for a rig whose parts are not those that the firmware is built for."""
    rig = scenario.rig
    for name, has, needed in (
        ("valves", rig.valves, "solenoid"),
        ("hold_switch", rig.hold_switch, True),
        ("encoder.counts_per_rev", rig.encoder.counts_per_rev, COUNTS_PER_REV),
        ("transducers.sensor_supply_v", rig.transducers.sensor_supply_v, SUPPLY_V),
    ):
        if has != needed:
            raise ValueError(f"the firmware is built for a rig with {name} = {needed}, not {has}; take another scenario")
