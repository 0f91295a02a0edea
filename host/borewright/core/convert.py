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
_HEAT_CAPACITY = GAMMA_AIR / (GAMMA_AIR - 1.0) * AIR_GAS_CONSTANT
_HALVINGS = 50
_Moved = Callable[["Leak", float, "Place"], float]


@dataclass(frozen=True, slots=True)
class Leak:
    """A leak as it was measured, every u_* a standard uncertainty (k = 1).

    area_m2, u_area_m2: effective leak area at reference_gauge_pa. u_restrictor: the relative part of it that comes from the
    restrictor it was measured with. exponent: area ~ p_gauge^exponent, None: not identified. wall_w_k: heat conductance between air
    and cylinder walls; None: not known, then the air leaves with a temperature somewhere between supply and walls. void: why the
    capture is unusable, "" when it is not. Raises ValueError for an area that is none.
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
    exponent, u_exponent = (leak.exponent, leak.u_exponent) if leak.exponent is not None else UNKNOWN_EXPONENT
    leaving = leak if leak.wall_w_k is not None else replace(leak, wall_w_k=_half_way_w_k(leak, measured))
    p_cylinder = _settled_gauge_pa(leaving, exponent, to)
    _refuse_far(leak, p_cylinder)
    same = to.restrictor == measured.restrictor
    own = leak.u_area_m2 / leak.area_m2 if leak.area_m2 > 0.0 else 0.0
    rest = sqrt(max(own**2 - leak.u_restrictor**2, 0.0)) if same else own
    value = _percent(p_cylinder, to)

    def moved(other: Leak, other_exponent: float, there: Place) -> float:
        return abs(_percent(_settled_gauge_pa(other, other_exponent, there), there) - value)

    items = [Item("leak area", _of_area(leaving, exponent, to, rest, moved))]
    items.append(Item("change of the leak with pressure", moved(leaving, exponent + u_exponent, to)))
    if not same:
        items += _of_restrictor(leaving, exponent, to, moved)
    items.append(Item("heat exchange with the walls", _of_heat(leak, leaving, exponent, to, moved)))
    budget = Budget("leakage", "%", value, tuple(item for item in items if item.contribution > 0.0))
    return Converted(value, budget.standard, p_cylinder, _words(measured, to, leak), budget)


def _of_area(leak: Leak, exponent: float, to: Place, u_relative: float, moved: _Moved) -> float:
    more = leak.area_m2 * u_relative if leak.area_m2 > 0.0 else leak.u_area_m2
    return moved(replace(leak, area_m2=leak.area_m2 + more), exponent, to)


def _of_restrictor(leak: Leak, exponent: float, to: Place, moved: _Moved) -> list[Item]:
    jet = to.restrictor
    wider = replace(to, restrictor=replace(jet, area_m2=jet.area_m2 * (1.0 + jet.u_relative)))
    items = [Item("restrictor converted to", moved(leak, exponent, wider))]
    if jet.critical_ratio is not None and jet.u_critical_ratio > 0.0:
        other = min(jet.critical_ratio + jet.u_critical_ratio, 0.999)
        items.append(Item("its critical ratio", moved(leak, exponent, replace(to, restrictor=replace(jet, critical_ratio=other)))))
    return items


def _of_heat(leak: Leak, leaving: Leak, exponent: float, to: Place, moved: _Moved) -> float:
    if leak.wall_w_k is not None:
        return moved(replace(leak, wall_w_k=leak.wall_w_k + leak.u_wall_w_k), exponent, to)
    # the area itself was found for some temperature of the air; at the other place it may be anywhere between supply and walls
    none, full = replace(leaving, wall_w_k=0.0), replace(leaving, wall_w_k=1e9)
    return max(moved(none, exponent, to), moved(full, exponent, to)) / sqrt(3.0)


def _half_way_w_k(leak: Leak, measured: Place) -> float:
    """The conductance with which the air leaves half-way between supply and walls where it was measured."""
    p_cylinder = leak.reference_gauge_pa + measured.p_ambient_abs_pa
    t_half = 0.5 * (measured.t_supply_k + measured.t_cylinder_k)
    return _HEAT_CAPACITY * float(mass_flow_kg_s(leak.area_m2, p_cylinder, measured.p_ambient_abs_pa, t_half))


def _settled_gauge_pa(leak: Leak, exponent: float, to: Place) -> float:
    """The cylinder's gauge pressure at which as much flows in as out, by halving the square root of the leakage."""
    if leak.area_m2 == 0.0:
        return to.p_regulated_gauge_pa
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        gauge = to.p_regulated_gauge_pa * (1.0 - middle**2)
        p = gauge + to.p_ambient_abs_pa
        inflow = float(to.restrictor.mass_flow_kg_s(to.p_regulated_gauge_pa + to.p_ambient_abs_pa, p, to.t_supply_k))
        taken_up = _HEAT_CAPACITY * inflow
        wall = leak.wall_w_k or 0.0
        t_gas = (taken_up * to.t_supply_k + wall * to.t_cylinder_k) / (taken_up + wall) if taken_up + wall > 0.0 else to.t_supply_k
        area = leak.area_m2 * (max(gauge, 1.0) / leak.reference_gauge_pa) ** exponent
        outflow = float(mass_flow_kg_s(area, p, to.p_ambient_abs_pa, t_gas))
        low, high = (middle, high) if inflow < outflow else (low, middle)
    return to.p_regulated_gauge_pa * (1.0 - (0.5 * (low + high)) ** 2)


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
