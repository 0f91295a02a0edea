"""The figures of one test as they are told to a person, by a command and by the window alike."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf, isfinite
from typing import TYPE_CHECKING, Any

from borewright.core.flow import mass_flow_kg_s
from borewright.core.stated import plus_minus

if TYPE_CHECKING:
    from collections.abc import Mapping

    from borewright.core.uncertainty import Budget
    from borewright.service.shown_units import ShownUnits
    from borewright.units import Dimension

__all__ = ["FiguresOfTest", "Stated", "leak_flow_kg_s", "stated_of"]


@dataclass(frozen=True, slots=True)
class Stated:
    """A value with its expanded uncertainty, both in unit; by how much a standard one was expanded, and for which level."""

    value: float
    expanded: float
    unit: str
    coverage_factor: float = 2.0

    @property
    def words(self) -> str:
        """Value ± expanded uncertainty with the unit."""
        return f"{plus_minus(self.value, self.expanded)} {self.unit}"


def stated_of(budgets: Iterable[Budget]) -> dict[str, Stated]:
    """What each budget states, by its quantity."""
    return {
        budget.quantity: Stated(budget.value, budget.expanded(), budget.unit, budget.coverage_factor())
        for budget in budgets
        if isfinite(budget.expanded())
    }


def leak_flow_kg_s(
    restrictor_area_m2: float, p_regulated_gauge_pa: float, p_cylinder_gauge_pa: float, p_ambient_abs_pa: float, t_supply_k: float
) -> float:
    """What flowed through the restrictor, and so out of the cylinder, in the steady part."""
    p_up = p_regulated_gauge_pa + p_ambient_abs_pa
    p_down = min(p_up, p_cylinder_gauge_pa + p_ambient_abs_pa)  # noise may put it just over what feeds it
    return float(mass_flow_kg_s(restrictor_area_m2, p_up, p_down, t_supply_k))


@dataclass(frozen=True, slots=True)
class FiguresOfTest:
    """One test. t*_s: decay times to that share, None where not reached. stated: by quantity, empty where no budget was kept."""

    leakage_percent: float
    p_regulated_gauge_pa: float
    p_cylinder_gauge_pa: float
    leak_area_m2: float
    leak_flow_kg_s: float
    t75_s: float | None
    t50_s: float | None
    t25_s: float | None
    p_ambient_abs_pa: float
    t_supply_k: float
    t_engine_k: float
    stated: Mapping[str, Stated] = field(default_factory=dict)

    @staticmethod
    def of_record(result: Mapping[str, Any], laws: Mapping[str, Any], stated: Mapping[str, Stated]) -> FiguresOfTest:
        """From what the record keeps of a test."""
        restrictor_m2 = float(laws["restrictor_area_m2"])
        p_ambient, t_supply = float(laws["p_ambient_abs_pa"]), float(laws["t_supply_k"])
        p_regulated, p_cylinder = float(result["p_regulated_gauge_pa"]), float(result["p_cylinder_gauge_pa"])
        return FiguresOfTest(
            float(result["leakage_percent"]),
            p_regulated,
            p_cylinder,
            float(result["leak_area_mm2"]) * 1e-6,
            leak_flow_kg_s(restrictor_m2, p_regulated, p_cylinder, p_ambient, t_supply),
            result.get("t75_s"),
            result.get("t50_s"),
            result.get("t25_s"),
            p_ambient,
            t_supply,
            float(laws["t_engine_k"]),
            stated,
        )

    @property
    def leakage_number(self) -> str:
        """The leakage in percent with its expanded uncertainty, where there is one."""
        stated = self.stated.get("leakage")
        return f"{self.leakage_percent:.1f}" if stated is None else plus_minus(stated.value, stated.expanded)

    def pair_words(self, units: ShownUnits) -> str:
        """Both pressures as the trade says them, "80/72 psi"."""
        both = (self.p_regulated_gauge_pa, self.p_cylinder_gauge_pa)
        pair = "/".join(units.number(pa, "pressure_gauge", "psi") for pa in both)
        return f"{pair} {units.unit('pressure_gauge', 'psi')}"

    def area_words(self, units: ShownUnits) -> str:
        """The effective leak area."""
        return _with_uncertainty(self.leak_area_m2, self.stated.get("leak area"), "area", "mm²", units)

    def volume_words(self, units: ShownUnits) -> str | None:
        """The trapped volume; None where the test does not say it."""
        stated = self.stated.get("trapped volume")
        return None if stated is None else f"{_with_uncertainty(stated.value * 1e-6, stated, 'volume', 'cm³', units)} trapped"

    def flow_words(self, units: ShownUnits) -> str:
        """The flow that leaks."""
        return units.text(self.leak_flow_kg_s, "air_flow", "L/min ANR")

    def decay_words(self) -> str:
        """The decay times."""
        times = ((75, self.t75_s), (50, self.t50_s), (25, self.t25_s))
        return ", ".join(f"to {share} % in {time_s:.2f} s" for share, time_s in times if time_s is not None) or "not given"

    def at_words(self, units: ShownUnits) -> str:
        """The air around and the temperatures that it was reckoned with."""
        around = units.text(self.p_ambient_abs_pa, "pressure_absolute", "kPa abs")
        supplied, engine = (units.text(t_k, "temperature", "°C") for t_k in (self.t_supply_k, self.t_engine_k))
        return f"{around} around, air {supplied}, engine {engine}"


def _with_uncertainty(si: float, stated: Stated | None, kind: Dimension, usual: str, units: ShownUnits) -> str:
    """The value in the units that are shown, with its expanded uncertainty where there is one (stated in mm² or cm³)."""
    if stated is None:
        return units.text(si, kind, usual)
    if units.unit(kind, usual) == stated.unit:
        return stated.words
    share = 100.0 * stated.expanded / abs(stated.value) if stated.value else inf
    return f"{units.text(si, kind, usual)} ± {share:.1f} %" if isfinite(share) else units.text(si, kind, usual)
