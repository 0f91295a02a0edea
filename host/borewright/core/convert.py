"""What the same leak would read elsewhere: on another restrictor, regulated pressure, ambient pressure or temperature.

The leak goes over as its area at the pressure it was measured at, with its change with pressure; the balance of mass and heat is
then solved at the other place. What was converted is said in words, and what cannot be converted is refused.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import isfinite, sqrt

from borewright.core.flow import AIR_GAS_CONSTANT, GAMMA_AIR, checked, mass_flow_kg_s
from borewright.core.restrictor import Restrictor
from borewright.core.uncertainty import Budget, Item

__all__ = ["FARTHEST", "FARTHEST_UNKNOWN", "UNKNOWN_EXPONENT", "Converted", "Leak", "Place", "convert_leakage"]

UNKNOWN_EXPONENT = (0.05, 0.4)
"""Mean and standard uncertainty of a pressure exponent that no decay showed: a fixed hole has 0, a seal that is pressed home or
blown open something to either side of it (common practice, no source). The whole-capture fit begins from the same."""
FARTHEST = 4.0
"""A known exponent is trusted down to a pressure so many times lower, which a decay covers, and half as far upwards."""
FARTHEST_UNKNOWN = 2.0
HOSE_SHARE, U_HOSE_SHARE = 0.2, 0.1
"""Part of the heat exchange that is the hose's, at the temperature of the supply, and its standard uncertainty; as in the fit."""
U_WALL = 0.3
"""Relative: walls exchange more heat while air streams in fast, and by how much differs."""
_TELLING_K = 15.0  # between supply and walls, from which the leak's own balance shows how warm the air left
_UNKNOWN_WARMING = (0.4, 0.23)  # of that difference: anything from none to all but the hose's share
_HEAT_CAPACITY = GAMMA_AIR / (GAMMA_AIR - 1.0) * AIR_GAS_CONSTANT
_HALVINGS = 40


@dataclass(frozen=True, slots=True)
class Leak:
    """A leak as it was measured, every u_* a standard uncertainty (k = 1).

    area_m2, u_area_m2: effective leak area at reference_gauge_pa. u_restrictor: the relative part of it that comes from the
    restrictor it was measured with. exponent: area ~ p_gauge^exponent, None: not identified. wall_w_k: heat conductance between air
    and walls (the hose's too), None: not known; it counts only where supply and walls were about as warm, else the balance shows
    it. void: why the capture is unusable, "" when it is not. Raises ValueError for an area that is none.
    """

    area_m2: float
    u_area_m2: float
    reference_gauge_pa: float
    u_restrictor: float = 0.0
    exponent: float | None = None
    u_exponent: float = 0.0
    wall_w_k: float | None = None
    u_wall_w_k: float = 0.0
    void: str = ""

    def __post_init__(self) -> None:
        if not isfinite(self.area_m2):
            raise ValueError("area_m2: there is no leak area to convert; fit the capture first")
        checked("area_m2", self.area_m2, least=0.0)
        checked("reference_gauge_pa", self.reference_gauge_pa, above=0.0)
        for name in ("u_area_m2", "u_restrictor", "u_exponent", "u_wall_w_k"):
            checked(name, getattr(self, name), least=0.0)
        if self.wall_w_k is not None:
            checked("wall_w_k", self.wall_w_k, least=0.0)


@dataclass(frozen=True, slots=True)
class Place:
    """Rig and air at one place. t_supply_k: of the air that comes in; t_cylinder_k: of the cylinder's walls."""

    restrictor: Restrictor
    p_regulated_gauge_pa: float
    p_ambient_abs_pa: float = 101_325.0
    t_supply_k: float = 293.15
    t_cylinder_k: float = 293.15

    def __post_init__(self) -> None:
        for name in ("p_regulated_gauge_pa", "p_ambient_abs_pa", "t_supply_k", "t_cylinder_k"):
            checked(name, getattr(self, name), above=0.0)


@dataclass(frozen=True, slots=True)
class Converted:
    """The leakage that the leak would read at the other place, in percent, with its budget, and what was converted, in words."""

    leakage_percent: float
    standard_percent: float
    p_cylinder_gauge_pa: float
    words: str
    budget: Budget


def convert_leakage(leak: Leak, measured: Place, to: Place) -> Converted:
    """The leakage that `leak`, measured at one place, reads at another.

    With the same restrictor at both its uncertainty drops out of the result, else both count. The other place's pressures and
    temperatures count as stated without error. Raises ValueError with one sentence for a void capture, and where the pressure in
    the cylinder would be so far from the measured one that the leak's change with pressure is not known there. Source: balance of
    mass and heat of two flows in series.

    >>> jet = Restrictor(8.1073e-7)  # 0.040 in
    >>> leak = Leak(0.50697e-6, 0.005e-6, 496_422.5, exponent=0.0, u_exponent=0.02)
    >>> on = convert_leakage(leak, Place(jet, 551_580.58), Place(Restrictor(1.82415e-6), 551_580.58))
    >>> round(on.leakage_percent, 2), round(on.standard_percent, 2), on.words
    (2.11, 0.05, 'converted to a restrictor of 1.82 mm² (measured with 0.81 mm²)')
    """
    if leak.void:
        raise ValueError(f"The capture is void ({leak.void}), so there is nothing to convert; take another one.")
    heat = _warming(leak, measured)
    exponent, u_exponent = (leak.exponent, leak.u_exponent) if leak.exponent is not None else UNKNOWN_EXPONENT
    nominal = _Carried(leak.area_m2, leak.reference_gauge_pa, exponent, heat.w_k, heat.hose_share)
    p_cylinder = nominal.settled_gauge_pa(to)
    _refuse_far(leak, p_cylinder)
    value = _percent(p_cylinder, to)

    def moved(other: _Carried, there: Place = to) -> float:
        return abs(_percent(other.settled_gauge_pa(there), there) - value)

    same = to.restrictor == measured.restrictor
    u_area = sqrt(max(leak.u_area_m2**2 - (leak.u_restrictor * leak.area_m2) ** 2, 0.0)) if same else leak.u_area_m2
    items = [
        Item("leak area", moved(replace(nominal, area_m2=leak.area_m2 + u_area))),
        Item("change of the leak with pressure", moved(replace(nominal, exponent=exponent + u_exponent))),
        Item("heat exchange with the walls", moved(replace(nominal, wall_w_k=heat.w_k_if_more))),
        Item("share of the hose in it", moved(replace(nominal, wall_w_k=heat.w_k_if_hose, hose_share=HOSE_SHARE + U_HOSE_SHARE))),
    ]
    if not same:
        items += _of_restrictor(nominal, to, moved)
    budget = Budget("leakage", "%", value, tuple(item for item in items if item.contribution > 0.0))
    return Converted(value, budget.standard, p_cylinder, _words(measured, to, leak), budget)


@dataclass(frozen=True, slots=True)
class _Carried:
    """What goes over to another place: the leak, its change with pressure, and the heat exchange (W/K, the hose's part of it)."""

    area_m2: float
    reference_gauge_pa: float
    exponent: float
    wall_w_k: float
    hose_share: float

    def settled_gauge_pa(self, to: Place) -> float:
        """The cylinder's gauge pressure at which as much flows in as out, by halving the square root of the leakage."""
        if self.area_m2 == 0.0:
            return to.p_regulated_gauge_pa
        t_wall = to.t_cylinder_k - self.hose_share * (to.t_cylinder_k - to.t_supply_k)
        low, high = 0.0, 1.0
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            gauge = to.p_regulated_gauge_pa * (1.0 - middle**2)
            p = gauge + to.p_ambient_abs_pa
            inflow = float(to.restrictor.mass_flow_kg_s(to.p_regulated_gauge_pa + to.p_ambient_abs_pa, p, to.t_supply_k))
            carried = _HEAT_CAPACITY * inflow
            whole = max(carried + self.wall_w_k, 1e-12)
            t_gas = (carried * to.t_supply_k + self.wall_w_k * t_wall) / whole if inflow > 0.0 else t_wall
            area = self.area_m2 * (max(gauge, 1.0) / self.reference_gauge_pa) ** self.exponent
            outflow = float(mass_flow_kg_s(area, p, to.p_ambient_abs_pa, t_gas))
            low, high = (middle, high) if inflow < outflow else (low, middle)
        return to.p_regulated_gauge_pa * (1.0 - (0.5 * (low + high)) ** 2)


@dataclass(frozen=True, slots=True)
class _Heat:
    """The heat exchange where the leak was measured, W/K; the same if it were more by its uncertainty, or the hose's share were."""

    w_k: float
    w_k_if_more: float
    w_k_if_hose: float
    hose_share: float = HOSE_SHARE


def _warming(leak: Leak, measured: Place) -> _Heat:
    """How much heat the air takes up, from how warm it must have left for the leak to pass what the restrictor let in.

    That share of the way from supply to walls is kept while the hose's part is varied, so that the measured balance stands. Where
    supply and walls are about as warm nothing shows it, and nothing much depends on it unless the other place is hotter.
    """
    p_cylinder = leak.reference_gauge_pa + measured.p_ambient_abs_pa
    p_regulated = measured.p_regulated_gauge_pa + measured.p_ambient_abs_pa
    inflow = float(measured.restrictor.mass_flow_kg_s(p_regulated, p_cylinder, measured.t_supply_k))
    carried = _HEAT_CAPACITY * max(inflow, 0.0)
    if leak.area_m2 <= 0.0 or carried <= 0.0:
        known = leak.wall_w_k or 0.0
        return _Heat(known, known, known)
    hotter = measured.t_cylinder_k - measured.t_supply_k
    if abs(hotter) > _TELLING_K:
        out = float(mass_flow_kg_s(leak.area_m2, p_cylinder, measured.p_ambient_abs_pa, measured.t_supply_k))
        share = measured.t_supply_k * ((out / inflow) ** 2 - 1.0) / hotter
        u_share = (
            2.0 * measured.t_supply_k * sqrt(max((leak.u_area_m2 / leak.area_m2) ** 2 - leak.u_restrictor**2, 0.0)) / abs(hotter)
        )
    elif leak.wall_w_k is not None:
        share = (1.0 - HOSE_SHARE) * leak.wall_w_k / (leak.wall_w_k + carried)
        u_share = share * max(leak.u_wall_w_k / max(leak.wall_w_k, 1e-9), U_WALL)
    else:
        share, u_share = _UNKNOWN_WARMING

    def w_k(of_way: float, hose_share: float) -> float:
        most = 1.0 - hose_share
        part = min(max(of_way / most, 0.0), 0.98)
        return carried * part / (1.0 - part)

    return _Heat(w_k(share, HOSE_SHARE), w_k(share + u_share, HOSE_SHARE), w_k(share, HOSE_SHARE + U_HOSE_SHARE))


def _of_restrictor(nominal: _Carried, to: Place, moved: Callable[[_Carried, Place], float]) -> list[Item]:
    jet = to.restrictor
    wider = replace(to, restrictor=replace(jet, area_m2=jet.area_m2 * (1.0 + jet.u_relative)))
    items = [Item("restrictor converted to", moved(nominal, wider))]
    if jet.critical_ratio is not None and jet.u_critical_ratio > 0.0:
        other = min(jet.critical_ratio + jet.u_critical_ratio, 0.999)
        items.append(Item("its critical ratio", moved(nominal, replace(to, restrictor=replace(jet, critical_ratio=other)))))
    return items


def _percent(p_cylinder_gauge_pa: float, to: Place) -> float:
    return 100.0 * (1.0 - p_cylinder_gauge_pa / to.p_regulated_gauge_pa)


def _refuse_far(leak: Leak, p_cylinder_gauge_pa: float) -> None:
    known = leak.exponent is not None
    down = FARTHEST if known else FARTHEST_UNKNOWN
    ratio = p_cylinder_gauge_pa / leak.reference_gauge_pa
    if 1.0 / down <= ratio <= FARTHEST_UNKNOWN:
        return
    why = "" if known else ", and the capture does not show how it changes"
    raise ValueError(
        f"The cylinder would stand at {p_cylinder_gauge_pa / 1e3:.0f} kPa where the leak was measured at"
        f" {leak.reference_gauge_pa / 1e3:.0f} kPa{why}; measure it nearer to the pressure wanted."
    )


def _words(measured: Place, to: Place, leak: Leak) -> str:
    """What is different, each with where it was measured."""
    changes = []
    if to.restrictor != measured.restrictor:
        here, there = _jet(measured.restrictor), _jet(to.restrictor)
        changes.append(f"a restrictor of {there} (measured with {here})")
    for name, what in (("p_regulated_gauge_pa", "regulated"), ("p_ambient_abs_pa", "ambient")):
        was, is_now = getattr(measured, name), getattr(to, name)
        if was != is_now:
            changes.append(f"{is_now / 1e3:.1f} kPa {what} (measured at {was / 1e3:.1f} kPa)")
    for name, what in (("t_supply_k", "air"), ("t_cylinder_k", "cylinder")):
        was, is_now = getattr(measured, name), getattr(to, name)
        if was != is_now:
            changes.append(f"{is_now - 273.15:.0f} °C of the {what} (measured at {was - 273.15:.0f} °C)")
    words = f"converted to {_joined(changes)}" if changes else "as measured, nothing converted"
    if changes and leak.exponent is None:
        mean, standard = UNKNOWN_EXPONENT
        words += f"; how the leak changes with pressure is taken as p^({mean:g} ± {standard:g})"
    return words


def _jet(restrictor: Restrictor) -> str:
    curve = "" if restrictor.critical_ratio is None else f" with critical ratio {restrictor.critical_ratio:.2f}"
    return f"{restrictor.area_m2 * 1e6:.2f} mm²{curve}"


def _joined(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]
