"""What a fit of a whole capture says: leakage, leak area, its pressure dependence, trapped volume, heat exchange, mismatch."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from borewright.core.capture import CaptureResult, CaptureUnusable
from borewright.core.fit import Fitted, fit_record
from borewright.core.fit_plant import LEAST_RELATIVE, PHYSICAL, Q, derivatives
from borewright.core.fit_priors import priors
from borewright.core.fit_record import AROUND_SHUT_BY_HAND_S, AROUND_SHUT_S, Record, record_of
from borewright.core.flow import Floats
from borewright.core.instrument import Instrument
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns
from borewright.core.uncertainty import Budget, Item

__all__ = ["Estimate", "FitResult", "fit_capture"]

LARGEST_U_EXPONENT = 0.02
LARGEST_U_VOLUME = 0.05  # shares of the value
LARGEST_U_HEAT = 0.5
LEAST_LISTED = 1e-6  # of the whole: an item under it is not listed
LEAST_LEARNT = 0.7  # a standard uncertainty over this share of what was known before has learnt nothing
MISFIT_SIGMAS = 2.5  # by so many standard deviations chi-square has to lie above what noise makes before the result is widened
_LEAST_LEARNED = 0.2  # variance, of 2 where a capture shows dead volume and difference alone, without what is stated of them

_SOURCES: tuple[tuple[str, tuple[Q, ...]], ...] = (
    ("tie of the two transducers", (Q.TIE,)),
    ("span of the transducers", (Q.GAIN,)),
    ("non-linearity of the transducers", (Q.BOW,)),
    ("restrictor", (Q.LN_RESTRICTOR, Q.CRITICAL_RATIO, Q.NEAR_ONE)),
    ("ambient pressure", (Q.P_AMBIENT,)),
    ("temperature of the supplied air", (Q.T_SUPPLY,)),
    ("temperature of the cylinder", (Q.T_WALL,)),
    ("dead volume", (Q.LN_DEAD,)),
    ("stretch of the hose", (Q.STRETCH,)),
    ("heat exchange with the walls", (Q.LN_WALL, Q.STIR, Q.WALL_EXPONENT)),
    ("change of the leak with pressure", (Q.EXPONENT, Q.CURVE)),
    ("state at the opening and at the shut", (Q.P_START, Q.T_START, Q.P_SHUT)),
)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A fitted quantity with its standard uncertainty; value None, with the reason, where the data do not hold it well enough to be
    stated.

    leaning: what the fit holds it for all the same, with the same standard; for what is carried on from here, not for showing.

    >>> Estimate(None, 0.3, "the decay is too short").identifiable
    False
    """

    value: float | None
    standard: float
    reason: str = ""
    leaning: float | None = None

    @property
    def identifiable(self) -> bool:
        """Whether the data hold it."""
        return self.value is not None


@dataclass(frozen=True, slots=True)
class FitResult:
    """The numbers of one capture with their uncertainties.

    leakage_percent: of the settled state at the regulated pressure p_regulated_gauge_pa. leak_area_m2: at reference_gauge_pa, which
    is the settled cylinder pressure. pressure_exponent: n of area ~ p_gauge^n. trapped_volume_m3: clearance, adapter and hose under
    that pressure. wall_w_k: heat conductance to the walls. mismatch: cylinder transducer over regulated one, less what the sealed
    check knew, share of the reading. budgets: of leakage in %, leak area in mm², trapped volume in cm³. chi2_reduced: 1 where the
    equations follow the data within the noise; widened: the factor by which a misfit has widened the uncertainties.
    lost_before_restrictor: see `_lost_before`; 0 where nothing shows it.
    """

    leakage_percent: Estimate
    leak_area_m2: Estimate
    reference_gauge_pa: float
    p_regulated_gauge_pa: float
    pressure_exponent: Estimate
    trapped_volume_m3: Estimate
    wall_w_k: Estimate
    mismatch: Estimate
    chi2_reduced: float
    degrees_of_freedom: int
    widened: float
    budgets: tuple[Budget, ...]
    lost_before_restrictor: float = 0.0

    def budget(self, quantity: str) -> Budget:
        """The budget of "leakage", "leak area" or "trapped volume"."""
        return next(budget for budget in self.budgets if budget.quantity == quantity)

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers and words for the record; budgets are kept beside it."""

        def plain(estimate: Estimate, scale: float = 1.0) -> dict[str, Any]:
            value = None if estimate.value is None else estimate.value * scale
            found = {"value": value, "standard": estimate.standard * scale, "reason": estimate.reason}
            return found if estimate.leaning is None else found | {"leaning": estimate.leaning * scale}

        return {
            "leakage_percent": plain(self.leakage_percent),
            "leak_area_mm2": plain(self.leak_area_m2, 1e6),
            "reference_gauge_pa": self.reference_gauge_pa,
            "p_regulated_gauge_pa": self.p_regulated_gauge_pa,
            "pressure_exponent": plain(self.pressure_exponent),
            "trapped_volume_cm3": plain(self.trapped_volume_m3, 1e6),
            "wall_w_k": plain(self.wall_w_k),
            "mismatch": plain(self.mismatch),
            "chi2_reduced": self.chi2_reduced,
            "degrees_of_freedom": self.degrees_of_freedom,
            "widened": self.widened,
        }


def fit_capture(
    columns: SampleColumns,
    laws: Mapping[str, ChannelLaw],
    result: CaptureResult,
    instrument: Instrument,
    regulated_channel: int = 0,
    cylinder_channel: int = 1,
) -> FitResult:
    """Fit a capture that `analyse_capture` has read. Raises CaptureUnusable with one sentence where nothing can be fitted.

    Range: sampling from 200 Hz, leakage from none to 95 %, at least half a second of steady air; with a decay after it the exponent
    and the volume are known much better. Source: conservation of mass and energy (core.fit_plant); uncertainty after JCGM 100, the
    systematic terms as random effects.
    """
    regulated = laws["regulated"].with_zero(result.zero_regulated_pa).gauge_pa(columns.raw[regulated_channel])
    cylinder = laws["cylinder"].with_zero(result.zero_cylinder_pa).gauge_pa(columns.raw[cylinder_channel])
    around_shut_s = AROUND_SHUT_S if columns.supply_driven else AROUND_SHUT_BY_HAND_S
    record = record_of(columns.t_s, regulated, cylinder, result, around_shut_s)
    fitted = fit_record(record, instrument)
    return _read(record, fitted, instrument)


def _read(record: Record, fitted: Fitted, instrument: Instrument) -> FitResult:
    u = fitted.unknowns
    chi2_reduced = fitted.chi2 / fitted.dof
    widened = float(np.sqrt(chi2_reduced)) if chi2_reduced > 1.0 + MISFIT_SIGMAS * np.sqrt(2.0 / fitted.dof) else 1.0
    p_regulated, by_p_regulated = _regulated_gauge(record, u, instrument)
    p_cylinder, by_p_cylinder = _settled_cylinder(fitted, p_regulated, by_p_regulated)
    leakage = 100.0 * (1.0 - p_cylinder / p_regulated)
    by_leakage = 100.0 * (p_cylinder / p_regulated**2 * by_p_regulated - by_p_cylinder / p_regulated)

    x = float(np.log(max(p_cylinder / fitted.plant.p_scale_gauge_pa, LEAST_RELATIVE)))
    factor, exponent = float(np.exp((u[Q.EXPONENT] + 0.5 * u[Q.CURVE] * x) * x)), float(u[Q.EXPONENT] + u[Q.CURVE] * x)
    by_area = np.zeros(len(Q))
    by_area[Q.LEAK] = factor
    by_area[Q.EXPONENT], by_area[Q.CURVE] = u[Q.LEAK] * factor * x, u[Q.LEAK] * factor * 0.5 * x**2
    by_area += u[Q.LEAK] * factor * exponent / max(p_cylinder, 1.0) * by_p_cylinder
    volume = float(np.exp(u[Q.LN_VOLUME]))
    by_volume = np.zeros(len(Q))
    by_volume[Q.LN_VOLUME] = volume
    budgets = (
        _budget("leakage", "%", leakage, by_leakage, fitted, widened),
        _budget("leak area", "mm²", float(u[Q.LEAK] * factor) * 1e6, by_area * 1e6, fitted, widened),
        _budget("trapped volume", "cm³", volume * 1e6, by_volume * 1e6, fitted, widened),
    )
    standards = widened * np.sqrt(np.diag(fitted.covariance))
    return FitResult(
        Estimate(leakage, budgets[0].standard),
        Estimate(float(u[Q.LEAK] * factor), budgets[1].standard * 1e-6),
        p_cylinder,
        p_regulated,
        _exponent(exponent, float(standards[Q.EXPONENT])),
        _volume(volume, float(standards[Q.LN_VOLUME])),
        _heat(float(u[Q.LN_WALL]), float(standards[Q.LN_WALL])),
        _mismatch(float(u[Q.TIE]), float(standards[Q.TIE]), float(fitted.prior_sd[Q.TIE])),
        chi2_reduced,
        fitted.dof,
        widened,
        budgets,
        _lost_before(record, fitted, instrument),
    )


def _lost_before(record: Record, fitted: Fitted, instrument: Instrument) -> float:
    """How plainly the decay shows that air leaves before the restrictor too, in standard deviations; under 0: the other way.

    Then less comes through the restrictor than the dead volume loses. The fit knows no such way out, and has to take the dead
    volume smaller and the difference of the transducers larger than what is stated of them: by how much, over what draws of both
    would make, is the measure. 0 where the capture says next to nothing of them.
    """
    both = [Q.LN_DEAD, Q.TIE]
    mean, standard = priors(record, instrument)
    moved = (fitted.unknowns[both] - mean[both]) / standard[both]
    learned = np.eye(2) - fitted.covariance[np.ix_(both, both)] / np.outer(standard[both], standard[both])
    way = np.array([-1.0, 1.0])
    variance = float(way @ learned @ way)
    return float(way @ moved) / math.sqrt(variance) if variance > _LEAST_LEARNED else 0.0


def _regulated_gauge(record: Record, u: Floats, instrument: Instrument) -> tuple[float, Floats]:
    """The true regulated pressure of the steady part, and how it answers to the unknowns."""
    weights = record.blocks.width_s[record.settled]
    measured = float(np.average(record.blocks.p_regulated_pa[record.settled], weights=weights))
    x = measured / instrument.range_pa
    true = (measured - 4.0 * x * (1.0 - x) * u[Q.BOW]) / (1.0 + u[Q.GAIN])
    by = np.zeros(len(Q))
    by[Q.BOW], by[Q.GAIN] = -4.0 * x * (1.0 - x), -true
    return float(true), by


def _settled_cylinder(fitted: Fitted, p_regulated_gauge_pa: float, by_p_regulated: Floats) -> tuple[float, Floats]:
    """The gauge pressure that the cylinder settles at under that regulated pressure, and how it answers to the unknowns."""
    u, ambient = fitted.unknowns, float(fitted.unknowns[Q.P_AMBIENT])
    state = np.array([[fitted.plant.p_scale_gauge_pa + ambient], [u[Q.T_SUPPLY]], [p_regulated_gauge_pa + ambient]])
    for _ in range(40):
        rates, by_state, by_unknown = derivatives(fitted.plant, state, u)
        system = by_state[:2, :2, 0]
        step = np.linalg.solve(system, -rates[:2, 0])
        longest = max(abs(step[0]) / (0.3 * (state[0, 0] - 0.9 * ambient)), abs(step[1]) / 30.0, 1.0)
        state[:2, 0] += step / longest
        if abs(step[0]) < 0.01 and abs(step[1]) < 1e-4:
            break
    else:
        raise CaptureUnusable("The fit found no settled state for this leak; look at the raw curves.")
    rates_by = np.zeros((2, len(Q)))
    rates_by[:, : len(PHYSICAL)] = by_unknown[:2, :, 0]
    absolute = by_p_regulated.copy()
    absolute[Q.P_AMBIENT] += 1.0
    rates_by += by_state[:2, 2, :] * absolute
    by = -np.linalg.solve(system, rates_by)[0]
    by[Q.P_AMBIENT] -= 1.0
    return float(state[0, 0] - ambient), np.asarray(by)


def _budget(quantity: str, unit: str, value: float, by: Floats, fitted: Fitted, widened: float) -> Budget:
    """What each source adds: the errors of the estimate are noise through the gain of the fit, and every prior's own error."""
    carried = by @ fitted.covariance

    def of(covariance: Floats) -> float:
        return math.sqrt(max(float(by @ covariance @ by), 0.0))

    items = [
        Item("noise of the readings", of(fitted.from_noise), float(fitted.dof), "A"),
        Item("steps and non-linearity of the converter", of(fitted.from_converter)),
        Item("drift of the zeros since venting", of(fitted.from_zeros)),
    ]
    for name, unknowns in _SOURCES:
        listed = list(unknowns)
        items.append(Item(name, float(np.sqrt(np.sum((carried[listed] / fitted.prior_sd[listed]) ** 2)))))
    whole = Budget(quantity, unit, value, tuple(items))
    if widened > 1.0:
        items.append(Item("misfit of the equations", whole.standard * float(np.sqrt(widened**2 - 1.0)), float(fitted.dof), "A"))
    least = LEAST_LISTED * whole.standard
    return Budget(quantity, unit, value, tuple(item for item in items if item.contribution > least))


def _exponent(value: float, standard: float) -> Estimate:
    if standard > LARGEST_U_EXPONENT:
        return Estimate(None, standard, "the decay does not show how the leak changes with pressure", value)
    return Estimate(value, standard)


def _volume(volume_m3: float, relative: float) -> Estimate:
    if relative > LARGEST_U_VOLUME:
        return Estimate(None, volume_m3 * relative, "fill and decay do not show the volume")
    return Estimate(volume_m3, volume_m3 * relative)


def _heat(ln_w_k: float, standard: float) -> Estimate:
    w_k = float(np.exp(ln_w_k))
    if standard > LARGEST_U_HEAT:
        return Estimate(None, w_k * standard, "the pressures hardly depend on the heat exchange")
    return Estimate(w_k, w_k * standard)


def _mismatch(value: float, standard: float, known: float) -> Estimate:
    if standard > LEAST_LEARNT * known:
        return Estimate(None, standard, "the decay says no more of it than the sealed check")
    return Estimate(value, standard)
