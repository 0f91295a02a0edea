"""The restrictor from its bore, from one certified orifice, or from three and more; and the reading of a reference orifice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, pi, sqrt
from typing import Literal

import numpy as np

from borewright.core.flow import Floats, checked
from borewright.core.restrictor import Restrictor
from borewright.core.rig import CheckRefused

__all__ = [
    "DISCHARGE",
    "Acceptance",
    "BoreForm",
    "Orifice",
    "OrificePoint",
    "RestrictorFit",
    "accept_reference",
    "restrictor_of_bore",
    "restrictor_of_one_orifice",
    "restrictor_of_orifices",
]

BoreForm = Literal["sharp", "short cylinder", "rounded", "unknown"]

DISCHARGE: dict[str, tuple[float, float]] = {
    "sharp": (0.563, 0.788),  # Weisbach, discharge of air; so are the next two
    "short cylinder": (0.81, 0.84),
    "rounded": (0.92, 0.93),
    "unknown": (0.563, 0.93),
}
"""Lowest and highest discharge coefficient of a bore, by its form."""

ONE_ORIFICE_CURVE = 0.01  # project: how far the curves of real restrictors part between the one ratio seen and another
KNOWN_CRITICAL_RATIO = 0.1  # standard uncertainty from which a critical ratio says no more than any restrictor's does
UNLIKELY = 0.01
GRID = 9
HIGHEST_RATIO = 0.9  # as Restrictor allows


@dataclass(frozen=True, slots=True)
class Orifice:
    """A certified orifice. area_m2: effective, of the ideal nozzle that passes the same; u_relative: its standard uncertainty.

    critical_ratio None: passes air as an ideal nozzle does, else by ISO 6358. leakage_percent, u_leakage_percent: what its
    certificate says that it reads on this rig, where it says so.
    """

    area_m2: float
    u_relative: float
    serial_number: str
    certificate: str
    certified_at_unix_s: float | None = None
    critical_ratio: float | None = None
    leakage_percent: float | None = None
    u_leakage_percent: float = 0.1

    def __post_init__(self) -> None:
        Restrictor(self.area_m2, self.critical_ratio, self.u_relative)  # holds them to the same bounds
        checked("u_leakage_percent", self.u_leakage_percent, least=0.0)


@dataclass(frozen=True, slots=True)
class OrificePoint:
    """One capture with a certified orifice on the hose: its steady pair.

    u_p_pa: standard uncertainty of each pressure from noise and zero, independent of the other and of other points.
    """

    orifice: Orifice
    p_regulated_gauge_pa: float
    p_cylinder_gauge_pa: float
    u_p_pa: float
    p_ambient_abs_pa: float
    t_gas_k: float


@dataclass(frozen=True, slots=True)
class RestrictorFit:
    """A restrictor and what it is known from. u_*: standard uncertainties; critical_ratio None: taken as an ideal nozzle's curve.

    residuals: ln of the flow out over the flow in, in the order of the points. chi2_reduced: None without degrees of freedom.
    remark: what the data do not hold, "" when nothing is amiss. fits: False where the points disagree with each other.
    """

    area_m2: float
    u_relative: float
    critical_ratio: float | None
    u_critical_ratio: float
    basis: Literal["bore", "one orifice", "orifices"]
    residuals: tuple[float, ...]
    chi2_reduced: float | None
    fits: bool
    remark: str

    def __post_init__(self) -> None:
        Restrictor(self.area_m2, self.critical_ratio, self.u_relative, self.u_critical_ratio)  # refuses what cannot be one

    @property
    def restrictor(self) -> Restrictor:
        """For the flow through it."""
        return Restrictor(self.area_m2, self.critical_ratio, self.u_relative, self.u_critical_ratio)


def restrictor_of_bore(bore_m: float, form: BoreForm = "unknown", u_bore_m: float = 5e-6) -> RestrictorFit:
    """What a bore alone says: its area times the middle of the discharge coefficients of its form, rectangular between their ends.

    bore_m above 0; u_bore_m: standard uncertainty of the bore. Coefficients: Weisbach, for air.

    >>> fit = restrictor_of_bore(0.040 * 0.0254, "short cylinder")
    >>> round(fit.area_m2 * 1e6, 4), round(fit.u_relative, 4)
    (0.6689, 0.0144)
    """
    bore = float(checked("bore_m", bore_m, above=0.0))
    u_bore = float(checked("u_bore_m", u_bore_m, least=0.0))
    if form not in DISCHARGE:
        raise ValueError(f"form: must be one of {', '.join(DISCHARGE)}")
    low, high = DISCHARGE[form]
    middle = (low + high) / 2.0
    u = sqrt(((high - low) / 2.0 / sqrt(3.0) / middle) ** 2 + (2.0 * u_bore / bore) ** 2)
    remark = "the restrictor is known by its bore only"
    return RestrictorFit(pi / 4.0 * bore**2 * middle, u, None, 0.0, "bore", (), None, True, remark)


def restrictor_of_one_orifice(point: OrificePoint, u_tie: float = 0.0002) -> RestrictorFit:
    """The area by which the restrictor lets in what one certified orifice lets out; the curve is taken as an ideal nozzle's.

    u_tie: what is left between the two transducers, a share of the reading. Raises CheckRefused when nothing flowed.

    >>> hole = Orifice(0.50697e-6, 0.004, "O-3", "2024-77")
    >>> fit = restrictor_of_one_orifice(OrificePoint(hole, 551_580.58, 496_422.53, 80.0, 101_325.0, 293.15))
    >>> round(fit.area_m2 * 1e6, 4)
    0.8107
    """
    _refuse([point])
    logs, covariance = _logs([point], None, u_tie)
    u = sqrt(float(covariance[0, 0]) + ONE_ORIFICE_CURVE**2)
    remark = "the restrictor is known at one pressure ratio only"
    return RestrictorFit(float(np.exp(logs[0])), u, None, 0.0, "one orifice", (0.0,), None, True, remark)


def restrictor_of_orifices(points: Sequence[OrificePoint], u_tie: float = 0.0002, u_common: float = 0.0) -> RestrictorFit:
    """Area and critical ratio (ISO 6358) by generalised least squares over three or more certified orifices.

    u_tie: as above, common to all points, as is u_common, the part of the certificates that all orifices share (relative). Where
    the points do not hold the critical ratio to 0.1, all being choked or all alike, the ideal nozzle's curve is taken and the
    remark says so. Where the residuals are larger than 1 in 100 would be, `fits` is False and the uncertainties are widened by
    the root of chi²/degrees. Raises CheckRefused when the points cannot carry the fit.
    """
    _refuse(points)
    if len({(point.orifice.serial_number, point.orifice.area_m2) for point in points}) < 3:
        raise CheckRefused("A fit of the restrictor needs three different orifices; take more, or use one alone.")
    log_area, variance, ratio, u_ratio = _fit_two(points, u_tie)
    known = 1e-3 < ratio < HIGHEST_RATIO - 1e-3 and u_ratio <= KNOWN_CRITICAL_RATIO
    if known:
        degrees = len(points) - 2
        residuals, covariance = _logs(points, ratio, u_tie)
        remark = ""
    else:
        residuals, covariance = _logs(points, None, u_tie)
        weights = np.linalg.inv(covariance)
        ones = np.ones(len(points))
        variance = 1.0 / float(ones @ weights @ ones)
        log_area, degrees = variance * float(ones @ weights @ residuals), len(points) - 1
        remark = (
            "the critical ratio is not identifiable from these orifices; take a larger spread of them, some that read above 10 %"
        )
    left = residuals - log_area
    chi2 = float(left @ np.linalg.solve(covariance, left))
    fits = degrees == 0 or _chance(chi2, degrees) >= UNLIKELY
    widened = 1.0 if fits else max(1.0, chi2 / degrees)
    if not fits:
        remark = "; ".join(
            filter(None, [remark, "the orifices disagree beyond their uncertainties: clean them, look at the areas"])
        )
    u = sqrt(variance * widened + u_common**2 + (0.0 if known else ONE_ORIFICE_CURVE**2))
    return RestrictorFit(
        area_m2=float(np.exp(log_area)),
        u_relative=u,
        critical_ratio=ratio if known else None,
        u_critical_ratio=u_ratio * sqrt(widened) if known else 0.0,
        basis="orifices",
        residuals=tuple(float(value) for value in left),
        chi2_reduced=chi2 / degrees if degrees > 0 else None,
        fits=fits,
        remark=remark,
    )


def _refuse(points: Sequence[OrificePoint]) -> None:
    for point in points:
        figures = (point.p_regulated_gauge_pa, point.p_cylinder_gauge_pa, point.u_p_pa, point.p_ambient_abs_pa, point.t_gas_k)
        if not np.all(np.isfinite(figures)) or point.p_ambient_abs_pa <= 0.0 or point.t_gas_k <= 0.0 or point.u_p_pa < 0.0:
            raise CheckRefused("A reading with an orifice holds a figure that cannot be; make it again.")
        if not point.p_regulated_gauge_pa > point.p_cylinder_gauge_pa > 0.0:
            raise CheckRefused("Nothing flowed through the orifice; see that it is on the hose and open.")


def _logs(points: Sequence[OrificePoint], critical_ratio: float | None, u_tie: float) -> tuple[Floats, Floats]:
    """ln of the restrictor's area by each point, and the covariance of these: orifices, pressures, and the tie that all share.

    What comes in goes out; the temperature falls out, because the same air goes through both.
    """
    ambient = np.array([point.p_ambient_abs_pa for point in points])
    p1, p2, u_p = np.array([(point.p_regulated_gauge_pa, point.p_cylinder_gauge_pa, point.u_p_pa) for point in points]).T
    step = np.minimum(50.0, 0.05 * (p1 - p2))
    zero = np.zeros_like(step)
    regulated = ambient + p1 + np.stack([zero, step, -step, zero, zero])
    cylinder = ambient + p2 + np.stack([zero, zero, zero, step, -step])
    holes = [Restrictor(point.orifice.area_m2, point.orifice.critical_ratio) for point in points]
    out = np.stack([hole.area_m2 * hole.flow_function(ambient[i] / cylinder[:, i]) for i, hole in enumerate(holes)], axis=1)
    passes = regulated * Restrictor(1.0, critical_ratio).flow_function(cylinder / regulated)
    logs = np.log(cylinder * out / passes)
    by_regulated, by_cylinder = (logs[1] - logs[2]) / (2.0 * step), (logs[3] - logs[4]) / (2.0 * step)
    u_orifice = np.array([point.orifice.u_relative for point in points])
    own = u_orifice**2 + (by_regulated**2 + by_cylinder**2) * u_p**2
    tie = by_cylinder * p2 * u_tie
    return logs[0], np.diag(np.maximum(own, 1e-12)) + np.outer(tie, tie)


def _fit_two(points: Sequence[OrificePoint], u_tie: float) -> tuple[float, float, float, float]:
    """(ln area, its variance, critical ratio, its standard uncertainty) by least squares.

    For each critical ratio ln area follows at once, so what is left to search is the critical ratio: on a grid, then between
    the best one's neighbours.
    """
    from scipy.optimize import minimize_scalar  # noqa: PLC0415 -- heavy

    def profile(ratio: float) -> tuple[float, float, Floats, Floats]:
        logs, covariance = _logs(points, ratio, u_tie)
        weights = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
        log_area = float(np.sum(weights @ logs) / np.sum(weights))
        left = logs - log_area
        return float(left @ weights @ left), log_area, logs, weights

    ratios = np.linspace(0.0, HIGHEST_RATIO, GRID)
    costs = [profile(float(ratio))[0] for ratio in ratios]
    best = int(np.argmin(costs))
    low, high = float(ratios[max(best - 1, 0)]), float(ratios[min(best + 1, GRID - 1)])
    found = minimize_scalar(lambda at: profile(at)[0], bounds=(low, high), method="bounded", options={"xatol": 1e-5})
    ratio = float(found.x)
    _, log_area, _, weights = profile(ratio)
    step = 1e-4
    up, down = min(ratio + step, HIGHEST_RATIO), max(ratio - step, 0.0)
    change = (profile(up)[2] - profile(down)[2]) / (up - down)
    of_area, of_both, of_ratio = (float(np.sum(part)) for part in (weights, weights @ change, change @ weights @ change))
    left = of_ratio - of_both**2 / of_area  # what the points say of the ratio once the area has taken its part
    if left * KNOWN_CRITICAL_RATIO**2 < 1e-6:
        return log_area, 1.0 / of_area, ratio, inf
    return log_area, of_ratio / of_area / left, ratio, 1.0 / sqrt(left)


def _chance(chi2: float, degrees: int) -> float:
    from scipy.special import chdtrc  # noqa: PLC0415 -- heavy

    return float(chdtrc(degrees, chi2))


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A reference orifice read the same day. difference and allowed: in percent of leakage where the certificate states that, else
    as a share of the area; allowed is the combined expanded uncertainty (k = 2)."""

    quantity: Literal["leakage", "area"]
    stated: float
    read: float
    difference: float
    allowed: float
    passed: bool
    words: str


def accept_reference(
    orifice: Orifice, leak_area_m2: float, u_leak_area_m2: float, leakage_percent: float, u_leakage_percent: float
) -> Acceptance:
    """Whether the rig reads its reference orifice within the combined expanded uncertainty of both.

    leak_area_m2, leakage_percent with their standard uncertainties: as the rig reads them. The leakage is compared where the
    certificate states one, else the area.

    >>> accept_reference(Orifice(0.507e-6, 0.005, "O-3", "77"), 0.53e-6, 0.003e-6, 10.9, 0.04).words
    'the rig does not read its reference orifice: 0.5300 mm² for 0.5070 mm², +4.5 % where 1.5 % are allowed'
    """
    if orifice.leakage_percent is not None:
        difference = leakage_percent - orifice.leakage_percent
        allowed = 2.0 * sqrt(u_leakage_percent**2 + orifice.u_leakage_percent**2)
        pair = f"{leakage_percent:.2f} % for {orifice.leakage_percent:.2f} %, {difference:+.2f} where {allowed:.2f} are allowed"
        return _accept("leakage", orifice.leakage_percent, leakage_percent, difference, allowed, pair)
    difference = leak_area_m2 / orifice.area_m2 - 1.0
    allowed = 2.0 * sqrt((u_leak_area_m2 / orifice.area_m2) ** 2 + orifice.u_relative**2)
    pair = (
        f"{leak_area_m2 * 1e6:.4f} mm² for {orifice.area_m2 * 1e6:.4f} mm², "
        f"{difference * 100:+.1f} % where {allowed * 100:.1f} % are allowed"
    )
    return _accept("area", orifice.area_m2, leak_area_m2, difference, allowed, pair)


def _accept(
    quantity: Literal["leakage", "area"], stated: float, read: float, difference: float, allowed: float, pair: str
) -> Acceptance:
    passed = abs(difference) <= allowed
    words = f"the rig {'reads' if passed else 'does not read'} its reference orifice: {pair}"
    return Acceptance(quantity, stated, read, difference, allowed, passed, words)
