"""The best numbers of a test, with their uncertainty: the fit of the whole capture, or the steady part where there is no fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

from borewright.core.capture import CaptureResult, CaptureUnusable
from borewright.core.engine import Engine
from borewright.core.equalisation import restrictor_from_equalisation
from borewright.core.fit_result import FitResult, fit_capture
from borewright.core.flow import Floats
from borewright.core.instrument import Instrument
from borewright.core.samples import SampleColumns
from borewright.core.steady_budget import steady_budgets
from borewright.core.uncertainty import Budget
from borewright.core.witness import U_CLEARANCE, Figure, Geometry, Statement, contradictions
from borewright.service.laws import Laws

__all__ = ["Fitting", "fit_test"]

LARGEST_DISAGREEMENT_PERCENT = 0.5
"""Of leakage, between fit and steady part, beyond their uncertainty: what a part that still settles may be off by."""
EQUALISES_S = 0.6


@dataclass(frozen=True, slots=True)
class Fitting:
    """result: with the best leakage and leak area put in. fit: None where there is none. budgets: of what is stated."""

    result: CaptureResult
    fit: FitResult | None
    budgets: tuple[Budget, ...]
    marks: tuple[str, ...]


def fit_test(columns: SampleColumns, laws: Laws, engine: Engine | None, read: CaptureResult) -> Fitting:
    """From what was read directly to what is stated. read: as `analyse_capture` and the restrictor's curve gave it."""
    instrument = laws.instrument
    regulated = laws.regulated.with_zero(read.zero_regulated_pa).gauge_pa(columns.raw[laws.regulated_channel])
    cylinder = laws.cylinder.with_zero(read.zero_cylinder_pa).gauge_pa(columns.raw[laws.cylinder_channel])
    direct = steady_budgets(regulated, cylinder, read, instrument)
    try:
        fit = fit_capture(columns, laws.by_name, read, instrument, laws.regulated_channel, laws.cylinder_channel)
    except CaptureUnusable as unusable:
        return Fitting(read, None, direct, (f"read from the steady part alone: {unusable}",))
    marks = _contradictions(columns.t_s, read, fit, instrument, engine, (regulated, cylinder))
    apart = abs(fit.budget("leakage").value - direct[0].value)
    if apart > LARGEST_DISAGREEMENT_PERCENT + fit.budget("leakage").expanded() + direct[0].expanded():
        disagree = "the fit of the whole capture and its steady part disagree; the steady part is stated"
        return Fitting(read, fit, direct, (*marks, disagree))
    best = replace(
        read,
        leakage_percent=fit.budget("leakage").value,
        leak_area_m2=max(fit.budget("leak area").value * 1e-6, 0.0),
    )
    return Fitting(best, fit, fit.budgets, marks)


def _contradictions(
    t_s: Floats,
    read: CaptureResult,
    fit: FitResult,
    instrument: Instrument,
    engine: Engine | None,
    pressures: tuple[Floats, Floats],
) -> tuple[str, ...]:
    """What the capture says against the engine's data and the rig's, as marks; the other cylinders are looked at when shown."""
    equalisation = None
    if read.phases.isolated is not None:
        start = read.phases.isolated[0]
        stop = min(read.phases.isolated[1], start + int((t_s[start:] < t_s[start] + EQUALISES_S).sum()))
        equalisation = restrictor_from_equalisation(
            t_s[start:stop],
            pressures[0][start:stop],
            pressures[1][start:stop],
            instrument.dead_volume_m3,
            instrument.u_dead_volume,
            critical_ratio=instrument.restrictor.critical_ratio,
            p_ambient_abs_pa=instrument.p_ambient_abs_pa,
            t_supply_k=instrument.t_supply_k,
        )
    area, volume = fit.leak_area_m2, fit.trapped_volume_m3
    said = Statement(
        trapped_m3=None if volume.value is None else Figure(volume.value, volume.standard),
        leak_area_m2=Figure(area.value or 0.0, area.standard),
        leakage_percent=fit.budget("leakage").value,
        hose_m3=Figure(instrument.hose_volume_m3, instrument.hose_volume_m3 * instrument.u_hose_volume),
        restrictor_m2=Figure(instrument.restrictor.area_m2, instrument.restrictor.area_m2 * instrument.restrictor.u_relative),
        p_gauge_pa=fit.reference_gauge_pa,
        clearance_m3=None if engine is None else Figure(engine.clearance_m3, U_CLEARANCE * engine.clearance_m3),
        geometry=None if engine is None else Geometry(engine.bore_m, engine.stroke_m, engine.rod_m, engine.pin_offset_m),
        equalisation=equalisation,
        chi2_reduced=fit.chi2_reduced,
        degrees_of_freedom=fit.degrees_of_freedom,
    )
    return tuple(
        f"{'to be asked' if found.question else 'contradiction'}: {found.words}; {found.ask}" for found in contradictions(said)
    )
