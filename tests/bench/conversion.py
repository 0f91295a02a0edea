"""Leakage converted to another restrictor, pressure, ambient or temperature, against the simulator settled there.

Two columns: the leak as it truly is (what conversion itself errs by), and the leak as the whole-capture fit found it on the
reference rig with its own errors, the restrictors of both places known to 0.5 % (what a person gets; then the k = 2 interval ought
to hold the truth). The simulator's walls, hose, restrictor curve and leaks with several pressure exponents are its own.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent / "parts"))

from borewright.core.capture import CaptureUnusable, analyse_capture
from borewright.core.convert import Leak, Place, convert_leakage
from borewright.core.fit_result import FitResult, fit_capture
from borewright.core.instrument import Instrument
from borewright.core.restrictor import Restrictor
from random_captures import Case, Made, Truth, draw_case, instrument_of, make_capture, scenario_of, settled_truth

CASES, FIRST_SEED = 100, 70_000
ALLOWED_POINTS = 0.3


def other_restrictor(case: Case, random: np.random.Generator) -> Case:
    """Half to two and a quarter times the conductance, as from 0.040 in to 0.060 in and back, and another curve."""
    factor = float(np.exp(random.uniform(np.log(0.5), np.log(2.25))))
    ratio = float(random.uniform(0.35, 0.6))
    return replace(
        case, restrictor_conductance_m3_s_pa=factor * case.restrictor_conductance_m3_s_pa, restrictor_critical_ratio=ratio
    )


def other_pressure(case: Case, random: np.random.Generator) -> Case:
    """From 400 to 700 kPa."""
    return replace(case, set_gauge_pa=float(random.uniform(400e3, 700e3)))


def other_ambient(case: Case, random: np.random.Generator) -> Case:
    """From the sea up to about 2000 m."""
    return replace(case, p_ambient_abs_pa=float(random.uniform(79e3, 104e3)))


def other_temperature(case: Case, random: np.random.Generator) -> Case:
    """Cold or hot engine, cool or warm air."""
    return replace(case, air_k=273.15 + float(random.uniform(5.0, 35.0)), engine_k=273.15 + float(random.uniform(15.0, 90.0)))


CHANGES: dict[str, Callable[[Case, np.random.Generator], Case]] = {
    "restrictor": other_restrictor,
    "regulated pressure": other_pressure,
    "ambient pressure": other_ambient,
    "temperatures": other_temperature,
}


@dataclass(frozen=True)
class Tally:
    """Errors in percentage points and, of fitted ones, whether the interval held the truth."""

    exact: list[float]
    fitted: list[float]
    held: list[bool]
    refused: list[int]


def place_of(case: Case, truth: Truth, restrictor: Restrictor) -> Place:
    """Where a case was or would be measured, as the host is told."""
    return Place(restrictor, truth.p_regulated_gauge_pa, case.p_ambient_abs_pa, case.air_k, case.engine_k)


def measured_at(known: Instrument, fit: FitResult) -> Place:
    """Where the capture was taken, as the host knows it."""
    return Place(known.restrictor, fit.p_regulated_gauge_pa, known.p_ambient_abs_pa, known.t_supply_k, known.t_cylinder_k)


def true_restrictor(case: Case) -> Restrictor:
    """The one that the simulator has."""
    return Restrictor.from_conductance(case.restrictor_conductance_m3_s_pa, case.restrictor_critical_ratio)


def fit_of(made: Made) -> FitResult:
    """What the host makes of the samples."""
    known = made.instrument
    area, ambient = known.restrictor.area_m2, known.p_ambient_abs_pa
    result = analyse_capture(made.columns, made.laws, area, ambient, known.t_supply_k, known.t_cylinder_k)
    return fit_capture(made.columns, made.laws, result, known)


def leak_of(fit: FitResult) -> Leak:
    """The leak as the fit states it."""
    if fit.leak_area_m2.value is None:
        raise CaptureUnusable("The fit shows no leak area.")
    exponent, wall = fit.pressure_exponent, fit.wall_w_k
    from_restrictor = sum(item.contribution for item in fit.budget("leak area").items if item.name == "restrictor")
    u_restrictor = from_restrictor * 1e-6 / fit.leak_area_m2.value
    return Leak(
        *(fit.leak_area_m2.value, fit.leak_area_m2.standard, fit.reference_gauge_pa, u_restrictor),
        *(exponent.value, exponent.standard if exponent.identifiable else 0.0),
        *(wall.value, wall.standard if wall.identifiable else 0.0),
    )


def judge(seed: int, tallies: dict[str, Tally]) -> None:
    """One case carried to every other place."""
    case = draw_case(seed, leakage=(0.5, 80.0))
    truth, random = settled_truth(case), np.random.default_rng((seed, 9))
    made = make_capture(case)
    try:
        fit = fit_of(made)
    except CaptureUnusable:
        fit = None
    here = place_of(case, truth, true_restrictor(case))
    leak = Leak(
        *(truth.leak_area_m2, 0.0, truth.settled_cylinder_gauge_pa),
        exponent=truth.pressure_exponent,
        wall_w_k=case.wall_w_k + scenario_of(case).rig.air.hose_wall_w_k,
    )
    for name, change in CHANGES.items():
        other = replace(change(case, random), seed=case.seed + 1) if name == "restrictor" else change(case, random)
        there_truth = settled_truth(other)
        there = place_of(other, there_truth, true_restrictor(other))
        tally = tallies[name]
        try:
            tally.exact.append(convert_leakage(leak, here, there).leakage_percent - there_truth.leakage_percent)
            if fit is None:
                continue
            known = instrument_of(other).restrictor if name == "restrictor" else made.instrument.restrictor
            told_here = measured_at(made.instrument, fit)
            told_there = replace(there, restrictor=known)
            converted = convert_leakage(leak_of(fit), told_here, told_there)
        except ValueError:
            tally.refused.append(seed)
            continue
        error = converted.leakage_percent - there_truth.leakage_percent
        tally.fitted.append(error)
        tally.held.append(abs(error) <= converted.budget.expanded())


def main() -> None:
    """Print the table."""
    began_s = time.perf_counter()
    tallies = {name: Tally([], [], [], []) for name in CHANGES}
    for seed in range(FIRST_SEED, FIRST_SEED + CASES):
        judge(seed, tallies)
    print(f"{CASES} random leaks of 0.5 to 80 % carried elsewhere; errors in percentage points of leakage")
    print(
        f"{'converted to another':22}{'true leak: within ' + str(ALLOWED_POINTS):>24}{'worst':>8}{'fitted: within':>16}{'95 %':>7}",
        end="",
    )
    print(f"{'worst':>8}{'k=2 holds':>11}{'refused':>9}")
    for name, tally in tallies.items():
        exact, fitted = np.abs(tally.exact), np.abs(tally.fitted)
        print(f"{name:22}{100.0 * np.mean(exact <= ALLOWED_POINTS):22.1f} %{exact.max():8.3f}", end="")
        print(f"{100.0 * np.mean(fitted <= ALLOWED_POINTS):14.1f} %{np.quantile(fitted, 0.95):7.2f}{fitted.max():8.2f}", end="")
        print(f"{100.0 * np.mean(tally.held):9.1f} %{len(tally.refused):9}")
    print(f"took {time.perf_counter() - began_s:.0f} s")


if __name__ == "__main__":
    main()
