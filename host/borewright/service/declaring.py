"""A reading that was taken elsewhere with a pair of gauges, declared by a person: kept as a test, with its wide uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from borewright.core.flow import leakage_percent
from borewright.core.pair_area import pair_area_budget
from borewright.core.pair_budget import pair_budget
from borewright.core.plain import to_plain
from borewright.core.restrictor import Restrictor
from borewright.core.restrictor_fit import BoreForm, restrictor_of_bore
from borewright.errors import UseError
from borewright.service.conditions_of_air import U_P_AMBIENT_ASSUMED_PA, U_T_ASSUMED_K, AirConditions
from borewright.service.names import checked_line
from borewright.service.same_engine import cylinders_of

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["DeclaredReading", "checked_reading", "declare"]

ONE_GAUGE = 0.9
"""Correlation of the errors of one gauge at two pressures near each other (project)."""
ENGINE_K = (328.15, 20.0)
"""Mean and standard uncertainty of an engine that nobody says the temperature of: anything from 20 to 90 °C."""
HIGHEST_PA = 2e6  # past it a unit has been mistaken
EARLIEST = date(1950, 1, 1)  # before it a figure of the year has been mistaken


@dataclass(frozen=True, slots=True)
class DeclaredReading:
    """What a person declares.

    gauge_error_pa: half-width that each gauge may be off by, its class times its full scale. read_to_pa: the smallest step that was
    read off. one_gauge: the same gauge read both sides. restrictor_bore_m None: not known, so there is no leak area. t_engine_k,
    p_ambient_abs_pa None: not known. when: the day. how, who: in words.
    """

    p_regulated_gauge_pa: float
    p_cylinder_gauge_pa: float
    gauge_error_pa: float
    read_to_pa: float
    when: date
    how: str
    who: str
    one_gauge: bool = False
    restrictor_bore_m: float | None = None
    bore_form: BoreForm = "unknown"
    t_engine_k: float | None = None
    p_ambient_abs_pa: float | None = None


def declare(store: Store, job: JobRecord, cylinder: int, reading: DeclaredReading, today: date | None = None) -> int:
    """Keep a declared reading as a test of a cylinder; its number. today: None for the day that it is here.

    Raises UseError for a cylinder that the engine has not, and for readings, words or a day that cannot be; nothing is kept then.
    """
    checked_reading(reading, today or datetime.now(UTC).astimezone().date())
    cylinders = cylinders_of(store, job)
    if cylinder not in cylinders and (cylinders or cylinder < 1):
        raise UseError(f"{job.engine_name} has no cylinder {cylinder}; it has {', '.join(map(str, cylinders))}")
    how, who = checked_line(reading.how, "--how"), checked_line(reading.who, "--who")
    if not how or not who:
        raise UseError("a declared reading has to say how it was read and who says so; give --how and --who")
    restrictor = _restrictor(reading)
    result = _result(reading, restrictor)
    marks = [f"declared: a pair of gauges read elsewhere on {reading.when.isoformat()} by {who}: {how}"]
    if restrictor is None:
        marks.append("declared: the restrictor is not known, so there is no leak area")
    else:
        marks.append("assumed: the restrictor by its bore alone")
    if restrictor is not None and "leak_area_mm2" not in result:
        marks.append("declared: the two readings are too near to each other for such gauges to give a leak area")
    if restrictor is not None and reading.t_engine_k is None:
        marks.append("assumed: engine temperature, anything from cold to hot")
    declared = {
        "when": reading.when.isoformat(),
        "how": how,
        "who": who,
        "gauge_error_pa": reading.gauge_error_pa,
        "read_to_pa": reading.read_to_pa,
        "one_gauge": reading.one_gauge,
        "restrictor_bore_m": reading.restrictor_bore_m,
        "bore_form": reading.bore_form,
    }
    laws: dict[str, Any] = {"p_ambient_abs_pa": reading.p_ambient_abs_pa, "t_supply_k": None, "t_engine_k": reading.t_engine_k}
    if restrictor is not None:
        laws |= {"restrictor_area_m2": restrictor.area_m2, "restrictor": to_plain(restrictor)}
    return store.add_declared(job.id, cylinder, result=result, declared=declared, laws=laws, marks=marks)


def checked_reading(reading: DeclaredReading, today: date) -> None:
    """Raises UseError with one sentence for numbers or a day that cannot be."""
    regulated, cylinder = reading.p_regulated_gauge_pa, reading.p_cylinder_gauge_pa
    numbers = (regulated, cylinder, reading.gauge_error_pa, reading.read_to_pa)
    if not all(math.isfinite(number) for number in numbers) or not 0.0 < regulated <= HIGHEST_PA:
        raise UseError(f"a regulated pressure of {regulated / 1e3:.0f} kPa cannot be; give what its gauge showed")
    if not 0.0 < cylinder <= regulated:
        raise UseError(
            f"a cylinder pressure of {cylinder / 1e3:.1f} kPa cannot be with {regulated / 1e3:.1f} kPa regulated;"
            " it lies above 0 and at or under the regulated one"
        )
    if not 0.0 < reading.gauge_error_pa <= regulated:
        raise UseError("the gauge's error has to be above 0 and under its reading; give its class, like '1.6 % of 160 psi'")
    if not 0.0 < reading.read_to_pa <= regulated:
        raise UseError("what the gauge was read to has to be above 0 and under its reading, like '1 psi'")
    if reading.when < EARLIEST:
        raise UseError(f"{reading.when.isoformat()} is too long ago to be meant; give the day of the reading, like 2026-03-31")
    if reading.when > today:
        raise UseError(f"{reading.when.isoformat()} has not come yet; give the day of the reading")


def _restrictor(reading: DeclaredReading) -> Restrictor | None:
    if reading.restrictor_bore_m is None:
        return None
    if not 1e-4 <= reading.restrictor_bore_m <= 1e-2:
        raise UseError(
            f"a restrictor's bore of {reading.restrictor_bore_m * 1e3:.3g} mm cannot be; it is about 1 mm, like '0.040 in'"
        )
    found = restrictor_of_bore(reading.restrictor_bore_m, reading.bore_form)
    return Restrictor(found.area_m2, u_relative=found.u_relative)


def _result(reading: DeclaredReading, restrictor: Restrictor | None) -> dict[str, Any]:
    """The result as the record keeps those of tests: what was not measured is not there."""
    pair = (reading.p_regulated_gauge_pa, reading.p_cylinder_gauge_pa)
    u_gauge, u_reading = reading.gauge_error_pa / math.sqrt(3.0), 0.5 * reading.read_to_pa / math.sqrt(3.0)
    correlation = ONE_GAUGE if reading.one_gauge else 0.0
    budgets = [pair_budget(*pair, u_gauge, u_gauge, u_reading, correlation)]
    result: dict[str, Any] = {
        "leakage_percent": float(leakage_percent(*pair)),
        "p_regulated_gauge_pa": pair[0],
        "p_cylinder_gauge_pa": pair[1],
    }
    if restrictor is not None:
        usual = AirConditions()
        ambient = (usual.p_ambient_abs_pa, U_P_AMBIENT_ASSUMED_PA)
        if reading.p_ambient_abs_pa is not None:
            ambient = (reading.p_ambient_abs_pa, usual.u_p_ambient_pa)
        engine = ENGINE_K if reading.t_engine_k is None else (reading.t_engine_k, U_T_ASSUMED_K)
        supply = (usual.t_supply_k, U_T_ASSUMED_K)
        area = pair_area_budget(*pair, u_gauge, u_gauge, u_reading, correlation, restrictor, ambient, supply, engine)
        if area is not None:
            result["leak_area_mm2"] = area.value
            budgets.append(area)
    return result | {"budgets": [budget.as_dict() for budget in budgets]}
