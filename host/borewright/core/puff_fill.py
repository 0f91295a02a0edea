"""The puff as a witness of what the hose ends in: a cylinder of this engine at TDC, a cap, or nothing that holds air.

The measured regulated pressure is let into what should be there by the restrictor's own curve, and the highest pressure that this
makes is held against the one that was seen. It cannot tell one cylinder at TDC from another: the person reads that off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from borewright.core.flow import AIR_GAS_CONSTANT, GAMMA_AIR
from borewright.core.restrictor import Restrictor

__all__ = ["PuffFill", "puff_fill"]

BIN_S = 0.005
CLEARANCE_DOUBT = 0.10  # project: by how much an engine file's clearance may be too large
CAPPED_SHARE = 0.9  # project: of an isothermal fill of the hose alone; a real one warms up and gives more, its stretch less
LEAST_SHARE = 0.4  # project: of an isothermal fill of hose and clearance; a leakage of 60 % still gives more
STANDARD_AIR_PA, STANDARD_AIR_K = 101_325.0, 293.15  # near enough: weather changes a puff by less than the doubt above


@dataclass(frozen=True, slots=True)
class PuffFill:
    """What a puff did.

    verdict: fits (a cylinder at TDC), capped (as fast as the hose alone) or too_little (a hose that is off, another hole, an open
    valve, a very large leak). p_highest_gauge_pa: seen; p_least_gauge_pa, p_capped_gauge_pa: between which a cylinder's lies.
    """

    verdict: Literal["fits", "capped", "too_little"]
    p_highest_gauge_pa: float
    p_least_gauge_pa: float
    p_capped_gauge_pa: float


def puff_fill(
    t_s: npt.NDArray[np.float64],
    p_regulated_gauge_pa: npt.NDArray[np.float64],
    p_cylinder_gauge_pa: npt.NDArray[np.float64],
    restrictor: Restrictor,
    hose_volume_m3: float,
    clearance_m3: float,
) -> PuffFill:
    """What the puff in these samples did; they begin when the supply was opened and go on until its pressure is gone.

    t_s: rising, in s. Zero-corrected gauge pressures, one for each sample. hose_volume_m3: hose and adapter. clearance_m3: of the
    cylinder at TDC. Where the clearance is so small that a cylinder fills like the hose, it is not called capped. Raises ValueError
    for volumes that are not positive and for fewer than two samples.

    >>> t = np.arange(0.0, 0.4, 0.001)
    >>> fed = np.where(t < 0.2, 550e3, 0.0)
    >>> rise = np.where(t < 0.2, t / 0.2, 0.0)
    >>> [puff_fill(t, fed, rise * peak_pa, Restrictor(8.1e-7), 34e-6, 45e-6).verdict for peak_pa in (2e3, 3e5, 5.4e5)]
    ['too_little', 'fits', 'capped']
    """
    if not (hose_volume_m3 > 0.0 and clearance_m3 > 0.0):
        raise ValueError("hose_volume_m3, clearance_m3: must be above 0")
    if len(t_s) < 2:
        raise ValueError("t_s: needs at least two samples")
    ends_s, fed_pa, seen_pa = _binned(t_s, p_regulated_gauge_pa, p_cylinder_gauge_pa)
    least = hose_volume_m3 + (1.0 - CLEARANCE_DOUBT) * clearance_m3
    volumes = np.array([hose_volume_m3 + clearance_m3, least, hose_volume_m3])
    tight_pa, quickest_pa, hose_pa = _fills(ends_s, fed_pa, volumes, np.array([1.0, GAMMA_AIR, 1.0]), restrictor)
    highest_pa, least_pa = float(seen_pa.max()), LEAST_SHARE * float(tight_pa)
    capped_pa = max(float(quickest_pa), CAPPED_SHARE * float(hose_pa))
    verdict: Literal["fits", "capped", "too_little"] = (
        "capped" if highest_pa >= capped_pa else "fits" if highest_pa >= least_pa > 0.0 else "too_little"
    )
    return PuffFill(verdict, highest_pa, least_pa, capped_pa)


def _binned(
    t_s: npt.NDArray[np.float64], *pressures_pa: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Means over 5 ms, so that the noise of single samples does not count; with the time at which each bin ends."""
    number = ((t_s - t_s[0]) / BIN_S).astype(np.int64)
    filled = np.unique(number)
    count = np.bincount(number)[filled]
    first, second = (np.bincount(number, weights=p_pa)[filled] / count for p_pa in pressures_pa)
    return (filled + 1) * BIN_S, first, second


def _fills(
    ends_s: npt.NDArray[np.float64],
    fed_gauge_pa: npt.NDArray[np.float64],
    volumes_m3: npt.NDArray[np.float64],
    exponents: npt.NDArray[np.float64],
    restrictor: Restrictor,
) -> npt.NDArray[np.float64]:
    """The highest gauge pressure in each tight volume; exponent 1: the air keeps its temperature, 1.4: no heat leaves it."""
    gain = exponents * AIR_GAS_CONSTANT * STANDARD_AIR_K / volumes_m3
    p_pa = np.full(volumes_m3.shape, STANDARD_AIR_PA)
    highest = p_pa.copy()
    for step_s, fed_pa in zip(np.diff(ends_s, prepend=0.0), fed_gauge_pa, strict=True):
        p_fed = max(1.0, STANDARD_AIR_PA + float(fed_pa))
        risen_pa = p_pa + step_s * gain * restrictor.mass_flow_kg_s(p_fed, p_pa, STANDARD_AIR_K)
        # however long the step, a volume comes no further than to the pressure that it is fed with
        p_pa = np.clip(risen_pa, np.minimum(p_pa, p_fed), np.maximum(p_pa, p_fed))
        highest = np.maximum(highest, p_pa)
    return highest - STANDARD_AIR_PA
