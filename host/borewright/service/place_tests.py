"""Tests at the places of one cylinder, for the command and the window alike: which may be made, with what, what came of them.

How they are carried out says the guide; here is what is chosen before, and what is made of the outcome.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.core.engine import Engine
from borewright.core.flow import mass_flow_kg_s
from borewright.core.place_meaning import place_words
from borewright.core.rig import RigSetup
from borewright.core.shares_plan import NextTest, plan_next
from borewright.core.stop_passing import place_flow
from borewright.core.stopping import (
    Orifice,
    highest_supply_gauge_pa,
    measurable_places,
    orifice_for,
    stop_rules,
    stoppable_places,
    wet_dose,
)
from borewright.core.wet import WetVerdict, wet_verdict
from borewright.errors import UseError
from borewright.service.acts import Purpose
from borewright.service.latest_test import latest
from borewright.service.path_readings import area_of, readings_of
from borewright.service.places import limit_of, wrong_place
from borewright.service.regulator import LEAST_ASKED_PA, wrong_pressure
from borewright.service.set_clock import SLACK_S

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, FindingRecord

__all__ = [
    "FlowFound",
    "flow_found",
    "flow_test",
    "oil_left_words",
    "orifice_fits",
    "orifice_wanted",
    "plan_of",
    "reference_reading",
    "stop_pressure_pa",
    "stop_test",
    "wet_against_dry",
    "wet_test",
]

LARGEST_M2, SMALLEST_M2 = 2e-3, 1e-8
MOST_U_RELATIVE, MOST_U_GAUGE_PA = 0.25, 5_000.0  # k = 1
SLACK = 1.3  # a leak is rarely the same twice
USUAL_SET_PA = 551_580.0
USUAL_RESTRICTOR_M2 = 0.81e-6
OF_ALLOWED = 0.85  # where the regulator is set: nobody sets it finer than that by its own gauge
STEP_PA = 5_000.0
SAME_PRESSURE = 0.05
REFERENCE_GOOD_S = 2 * 3600.0


# ---------------------------------------------------------------------- the flow of a place


def flow_test(
    engine: Engine, cylinder: int, place: str, orifice_m2: float, u_relative: float, u_gauge_pa: float, spare_place: str = ""
) -> Purpose:
    """The flow of a place through an orifice of this effective area, with standard uncertainties (k = 1). Raises UseError.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> flow_test(four, 3, "breather", 20e-6, 0.02, 10.0).flow_place
    'breather'
    """
    if not SMALLEST_M2 <= orifice_m2 <= LARGEST_M2:
        raise UseError(f"an orifice of {orifice_m2 * 1e6:.3g} mm² cannot serve here; one of 0.01 to 2000 mm² can")
    if not 0.0 <= u_relative <= MOST_U_RELATIVE or not 0.0 <= u_gauge_pa <= MOST_U_GAUGE_PA:
        raise UseError("an uncertainty of the orifice under 50 % and one of the gauge under 10 kPa can serve; look at the unit")
    purpose = Purpose(
        "test",
        cylinder,
        aim="place",
        flow_place=place,
        flow_orifice_m2=orifice_m2,
        flow_u_relative=u_relative,
        u_gauge_pa=u_gauge_pa,
        spare_place=spare_place,
    )
    return _possible(purpose, engine)


def orifice_wanted(engine: Engine, captures: Sequence[CaptureRecord], place: str) -> Orifice:
    """The orifice for a place, by the cylinder's latest plain test; without one by the most that a usual restrictor lets through.

    Raises ValueError where the flow of the place may not be measured.
    """
    return orifice_for(stop_rules(engine)[place], *_leak(captures))


def orifice_fits(engine: Engine, captures: Sequence[CaptureRecord], purpose: Purpose) -> str:
    """What to know of the orifice. Raises UseError where the whole leak through it could bring the place over its limit."""
    rule = stop_rules(engine)[purpose.flow_place]
    leak_m2, p_pa = _leak(captures)
    best = orifice_for(rule, leak_m2, p_pa)
    flow = float(mass_flow_kg_s(leak_m2, p_pa + 101_325.0, 101_325.0, 293.15))
    least_m2 = flow / float(mass_flow_kg_s(1.0, 101_325.0 + limit_of(rule), 101_325.0, 293.15))
    size, at = f"{purpose.flow_orifice_m2 * 1e6:.3g} mm²", place_words(rule.place)
    if purpose.flow_orifice_m2 < least_m2:
        raise UseError(f"an orifice of {size} could bring the {at} over its {limit_of(rule) / 1000:.3g} kPa; {best.words}")
    if purpose.flow_orifice_m2 < best.least_area_m2:
        return f"This orifice is small for the leak: {best.words}."
    return f"Orifice of {size} on the {at}; {best.words}."


def _leak(captures: Sequence[CaptureRecord]) -> tuple[float, float]:
    """The whole leak in m² with some slack, and the cylinder's pressure in Pa gauge."""
    test = latest(captures, "test")
    if test is None:
        return USUAL_RESTRICTOR_M2, USUAL_SET_PA
    result = test.result or {}
    return SLACK * max(float(result["leak_area_mm2"]), 0.0) * 1e-6, float(result["p_cylinder_gauge_pa"])


@dataclass(frozen=True, slots=True)
class FlowFound:
    """What a flow test found at a place: the finding's number, pressure before the orifice, leak there with u (k = 1)."""

    finding: int
    p_place_gauge_pa: float
    leak_area_m2: float
    u_area_m2: float
    words: str


def flow_found(store: Store, job_id: int, test: int, place: str) -> FlowFound | None:
    """The leak at the place, as the finding that was kept with this test gives it; None where none was."""
    kept: list[FindingRecord] = [
        finding for finding in store.list_findings(job_id) if finding.kind == "flow" and finding.capture_id == test
    ]
    if not kept:
        return None
    detail, laws = kept[-1].detail, store.get_capture(test).laws
    t_k = float(laws["t_engine_k"])
    flow = place_flow(place, detail, p_ambient_abs_pa=float(laws["p_ambient_abs_pa"]), t_place_k=t_k, t_cylinder_k=t_k)
    p_place_pa = float(detail["p_place_gauge_pa"])
    words = (
        f"{place_words(place)}: {p_place_pa / 1000:.3g} kPa before the orifice, a leak of "
        f"{flow.leak_area_m2 * 1e6:.3f} ± {2.0 * flow.u_area_m2 * 1e6:.3f} mm² there (k = 2)"
    )
    return FlowFound(kept[-1].id, p_place_pa, flow.leak_area_m2, flow.u_area_m2, words)


# ---------------------------------------------------------------------- places stopped


def plan_of(engine: Engine, captures: Sequence[CaptureRecord], findings: Sequence[FindingRecord]) -> tuple[NextTest, ...]:
    """The further readings that would decide where this cylinder's air goes. captures, findings: of this cylinder."""
    known = readings_of(captures, findings)
    return plan_next(
        engine.places,
        known.readings,
        known.flows,
        may_stop=stoppable_places(engine),
        may_measure_flow=measurable_places(engine),
    )


def stop_pressure_pa(
    engine: Engine, cylinder: int, stopped: Sequence[str], given_pa: float | None = None, setup: RigSetup | None = None
) -> float:
    """What the regulator is set to with these places stopped, in Pa gauge: given, or well under their limit.

    Raises UseError for a pressure that cannot be, and where none of these places may be stopped.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6, coolant_cap_pa=110e3)
    >>> stop_pressure_pa(four, 3, ("coolant",))
    80000.0
    """
    _possible(Purpose("test", cylinder, aim="place", stopped=tuple(stopped)), engine)
    usual_pa = OF_ALLOWED * highest_supply_gauge_pa(engine, stopped) // STEP_PA * STEP_PA
    asked_pa = max(usual_pa, LEAST_ASKED_PA) if given_pa is None else given_pa
    purpose = Purpose("test", cylinder, aim="place", stopped=tuple(stopped), asked_gauge_pa=asked_pa)
    wrong = wrong_pressure(purpose, setup or RigSetup(), engine)
    if wrong is not None:
        raise UseError(wrong)
    return asked_pa


def stop_test(engine: Engine, cylinder: int, stopped: Sequence[str], asked_pa: float, spare_place: str = "") -> Purpose:
    """The reading with these places stopped, the regulator at asked_pa. Raises UseError."""
    purpose = Purpose("test", cylinder, aim="place", stopped=tuple(stopped), asked_gauge_pa=asked_pa, spare_place=spare_place)
    return _possible(purpose, engine)


def reference_reading(captures: Sequence[CaptureRecord], asked_pa: float, now_unix_s: float) -> CaptureRecord | None:
    """A reading with nothing stopped at this pressure that is not older than two hours; None where there is none."""
    for capture in reversed(captures):
        purpose, result = capture.laws.get("purpose") or {}, capture.result or {}
        fits = (
            capture.purpose == "stop_off"
            and capture.state == "complete"
            and not (purpose.get("stopped") or purpose.get("flow_place"))
        )
        pressure = float(result.get("p_regulated_gauge_pa") or 0.0)
        recent = -SLACK_S <= now_unix_s - capture.started_at_unix_s < REFERENCE_GOOD_S  # what is dated later is of another clock
        if fits and recent and abs(pressure - asked_pa) <= SAME_PRESSURE * asked_pa:
            return capture
    return None


# ---------------------------------------------------------------------- oil


def wet_test(engine: Engine, cylinder: int, oil_m3: float) -> Purpose:
    """The cylinder with so much oil on its rings. Raises UseError for a dose that is none or more than this engine may have."""
    if not oil_m3 > 0.0:
        most_cm3 = wet_dose(engine).most_m3 * 1e6
        raise UseError(f"a wet test needs some oil; give the dose, {most_cm3:.2g} cm³ at most in this engine")
    return _possible(Purpose("test", cylinder, wet_oil_m3=oil_m3), engine)


def wet_against_dry(dry: CaptureRecord, wet: CaptureRecord) -> WetVerdict | None:
    """What the oil changed; None where the dry test showed no leak."""
    areas = [float((capture.result or {})["leak_area_mm2"]) for capture in (dry, wet)]
    if not areas[0] > 0.0:
        return None
    return wet_verdict(areas[0], area_of(dry)[1] * 1e6, max(areas[1], 0.0), area_of(wet)[1] * 1e6)


def oil_left_words(oil_m3: float) -> str:
    """The note that the record keeps of oil that was put in without a wet test that was completed.

    >>> oil_left_words(3e-6)
    '3 cm³ of oil were put in; no wet test was completed'
    """
    return f"{oil_m3 * 1e6:.3g} cm³ of oil were put in; no wet test was completed"


def _possible(purpose: Purpose, engine: Engine) -> Purpose:
    wrong = wrong_place(purpose, engine)
    if wrong is not None:
        raise UseError(wrong)
    return purpose
