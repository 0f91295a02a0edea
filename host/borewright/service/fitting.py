"""The best numbers of a test, with their uncertainty: the fit of the whole capture, or the steady part where there is no fit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from borewright.core.autocorrelation import noise_of
from borewright.core.capture import NEARLY_ALL, CaptureResult, CaptureUnusable
from borewright.core.engine import Engine
from borewright.core.equalisation import Equalisation, restrictor_from_equalisation
from borewright.core.fit_result import FitResult, fit_capture
from borewright.core.flow import Floats
from borewright.core.instrument import Instrument
from borewright.core.samples import SampleColumns
from borewright.core.steady_budget import steady_budgets
from borewright.core.uncertainty import Budget
from borewright.core.witness import U_CLEARANCE, Figure, Geometry, Statement, contradictions, volume_from_fill
from borewright.service.laws import Laws

__all__ = ["Fitting", "fit_test"]

LARGEST_DISAGREEMENT_PERCENT = 0.5
"""Of leakage, between fit and steady part, beyond their uncertainty: what a part that still settles may be off by."""
LEAST_AREA_M2 = 5e-8  # where the settled pair shows no leak, it is under this
U_OIL = 0.3  # of the dose (project): turning over twice with the hole open throws out some, and some runs past the rings
_OF_CHANNELS_TOO = ("fit", "before_restrictor", "restrictor")  # contradictions that a channel in trouble makes as well
EQUALISES_S, BEFORE_SHUT_S = 0.6, 0.05


@dataclass(frozen=True, slots=True)
class Fitting:
    """result: with the best leakage and leak area put in. fit: None where there is none. budgets: of what is stated."""

    result: CaptureResult
    fit: FitResult | None
    budgets: tuple[Budget, ...]
    marks: tuple[str, ...]


def fit_test(
    columns: SampleColumns, laws: Laws, engine: Engine | None, read: CaptureResult, oil_m3: float = 0.0, explained: bool = False
) -> Fitting:
    """From what was read directly to what is stated. read: as `analyse_capture` and the restrictor's curve gave it.

    oil_m3: what was poured in for a wet test, which makes the trapped volume smaller. explained: a mark already names a trouble of
    the channels; that the pressures do not follow one volume then follows from it, and is not told as something else.
    """
    instrument = laws.instrument
    regulated = laws.regulated.with_zero(read.zero_regulated_pa).gauge_pa(columns.raw[laws.regulated_channel])
    cylinder = laws.cylinder.with_zero(read.zero_cylinder_pa).gauge_pa(columns.raw[laws.cylinder_channel])
    direct = steady_budgets(regulated, cylinder, read, instrument)
    if read.leak_grew or read.decay_disturbed:  # no one volume with one leak follows both, and a mark says why already
        marks = _contradictions(columns, read, None, instrument, engine, (regulated, cylinder), oil_m3, explained)
        return Fitting(read, None, direct, ("read from the steady part alone", *marks))
    try:
        fit = fit_capture(columns, laws.by_name, read, instrument, laws.regulated_channel, laws.cylinder_channel)
    except CaptureUnusable as unusable:
        marks = _contradictions(columns, read, None, instrument, engine, (regulated, cylinder), oil_m3, explained)
        return Fitting(read, None, direct, (f"read from the steady part alone: {unusable}", *marks))
    marks = _contradictions(columns, read, fit, instrument, engine, (regulated, cylinder), oil_m3, explained)
    apart = abs(fit.budget("leakage").value - direct[0].value)
    if apart > LARGEST_DISAGREEMENT_PERCENT + fit.budget("leakage").expanded() + direct[0].expanded():
        disagree = "fill and decay say another leakage than the steady part, which is stated; look at the raw curves"
        return Fitting(read, fit, direct, (*marks, disagree))
    best = replace(
        read,
        leakage_percent=fit.budget("leakage").value,
        leak_area_m2=max(fit.budget("leak area").value * 1e-6, 0.0),
    )
    return Fitting(best, fit, fit.budgets, marks)


def _contradictions(
    columns: SampleColumns,
    read: CaptureResult,
    fit: FitResult | None,
    instrument: Instrument,
    engine: Engine | None,
    pressures: tuple[Floats, Floats],
    oil_m3: float,
    explained: bool,
) -> tuple[str, ...]:
    """What the capture says against the engine's data and the rig's, as marks; the other cylinders are looked at when shown."""
    t_s = columns.t_s
    trapped: Figure | None = None
    spoilt = read.leak_grew or read.decay_disturbed  # by what a mark names; what else would follow from it is not asked
    if spoilt:
        area = Figure(read.leak_area_m2, LEAST_AREA_M2)
    elif fit is None:  # the fill alone still shows a volume, to a tenth or so
        air = slice(read.phases.fill[0], read.phases.steady[0])
        filled = volume_from_fill(
            t_s[air],
            pressures[0][air],
            pressures[1][air],
            instrument.restrictor,
            leak_area_m2=read.leak_area_m2,
            p_ambient_abs_pa=instrument.p_ambient_abs_pa,
            t_supply_k=instrument.t_supply_k,
        )
        trapped = None if filled is None else Figure(*filled)
        area = Figure(read.leak_area_m2, LEAST_AREA_M2)
    else:
        volume = fit.budget("trapped volume")
        trapped = Figure(volume.value * 1e-6, volume.standard * 1e-6)
        area = Figure(fit.leak_area_m2.value or 0.0, fit.leak_area_m2.standard)
    said = Statement(
        trapped_m3=trapped,
        leak_area_m2=area,
        leakage_percent=read.leakage_percent,
        hose_m3=Figure(instrument.hose_volume_m3, instrument.hose_volume_m3 * instrument.u_hose_volume),
        restrictor_m2=Figure(instrument.restrictor.area_m2, instrument.restrictor.area_m2 * instrument.restrictor.u_relative),
        p_gauge_pa=read.p_cylinder_gauge_pa,
        clearance_m3=None if engine is None else Figure(engine.clearance_m3, U_CLEARANCE * engine.clearance_m3),
        geometry=None if engine is None else Geometry(engine.bore_m, engine.stroke_m, engine.rod_m, engine.pin_offset_m),
        equalisation=None if spoilt else _equalisation(columns, read, instrument, pressures),
        wet_oil_m3=Figure(oil_m3, U_OIL * oil_m3),
        chi2_reduced=None if fit is None else fit.chi2_reduced,
        degrees_of_freedom=0 if fit is None else fit.degrees_of_freedom,
        lost_before_restrictor=None if fit is None else fit.lost_before_restrictor,
    )
    silent = _OF_CHANNELS_TOO if explained else ()
    return tuple(
        f"{'to be asked' if found.question else 'contradiction'}: {found.words}; {found.ask}"
        for found in contradictions(said)
        if found.kind not in silent and not (found.kind == "near_everything" and NEARLY_ALL in read.marks)
    )


def _equalisation(
    columns: SampleColumns, read: CaptureResult, instrument: Instrument, pressures: tuple[Floats, Floats]
) -> Equalisation | None:
    """What the dead volume says of the restrictor after the shut; nothing behind a hand valve, which closes too slowly for it."""
    if read.phases.isolated is None or not columns.supply_driven:
        return None
    t_s, (shut, opened) = columns.t_s, read.phases.isolated
    start, stop = (int(np.searchsorted(t_s, t_s[shut] + seconds)) for seconds in (-BEFORE_SHUT_S, EQUALISES_S))
    stop = min(stop, opened)
    noise = noise_of(pressures[1][slice(*read.phases.baseline)])
    return restrictor_from_equalisation(
        t_s[start:stop],
        pressures[0][start:stop],
        pressures[1][start:stop],
        instrument.dead_volume_m3,
        instrument.u_dead_volume,
        critical_ratio=instrument.restrictor.critical_ratio,
        noise_pa=max(math.hypot(noise.sigma, noise.white), 1.0),
        noise_ar1=max(noise.phi, 0.0),
        p_ambient_abs_pa=instrument.p_ambient_abs_pa,
        t_supply_k=instrument.t_supply_k,
    )
