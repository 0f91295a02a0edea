"""The whole-capture fit against the simulator's truth: errors, coverage of k = 2 intervals, scatter, time and memory.

Seeded random rigs, engines and leaks on the reference rig file (parts/random_captures.py), read as a host would. Each row of the
first table is one kind of rig; the bounds: leakage within 0.1 points in 95 %, k = 2 covering 93 to 97 %,
leak area within 1 % (restrictor known to 0.3 %) or 2 % (1 %) at 3 to 80 % leakage, volume within 2 % in 98 %, exponent within 0.05.
"""

from __future__ import annotations

import os
import resource
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as cli.main does


import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent / "parts"))

from borewright.core.capture import CaptureUnusable, analyse_capture
from borewright.core.fit import fit_record
from borewright.core.fit_blocks import Grid
from borewright.core.fit_plant import Q
from borewright.core.fit_record import record_of
from borewright.core.fit_result import FitResult, fit_capture
from random_captures import Believed, Case, Made, draw_case, make_capture
from rows import at_least, at_most, tell

FIRST_SEED = 10_000
KINDS: tuple[tuple[str, int, dict[str, Any]], ...] = (
    ("reference rig", 1000, {}),
    ("noise AR(1)", 300, {"noise": "ar1"}),
    ("restrictor 0.3 %", 300, {"restrictor_u": 0.003}),
    ("restrictor 1 %", 300, {"restrictor_u": 0.01}),
    ("heat 1-3x in the fill", 300, {"heat": "fill"}),
    ("heat rises with p", 300, {"heat": "pressure"}),
    ("still settling", 300, {"fill_s": (1.0, 3.0)}),
    ("10 bits, 0.5 LSB", 300, {"adc_bits": 10, "converter_lsb": 0.5}),
    ("noise a tenth", 200, {"noise_pa": 100.0, "adc_bits": 16}),
)
SCATTER_SEEDS = 200  # the ratio is good to 5 %
SCATTER_CASES = ((1, 2.0), (2, 10.0), (3, 40.0), (4, 80.0))
FINE = Grid(first_s=0.004, widest_s=0.02, widens_by=1.05)


@dataclass(frozen=True)
class Row:
    """One capture: errors and standard uncertainties, relative for area and volume."""

    truth_percent: float
    direct: float
    leakage: tuple[float, float]
    area: tuple[float, float]
    volume: tuple[float, float]
    exponent: tuple[float | None, float]
    chi2_reduced: float
    cpu_s: float


def read(made: Made) -> tuple[Row, FitResult]:
    """Analyse and fit one capture and hold it against its truth. Raises CaptureUnusable."""
    known, truth = made.instrument, made.truth
    result = analyse_capture(
        made.columns, made.laws, known.restrictor.area_m2, known.p_ambient_abs_pa, known.t_supply_k, known.t_cylinder_k
    )
    began_s = time.process_time()
    fit = fit_capture(made.columns, made.laws, result, known)
    cpu_s = time.process_time() - began_s
    leakage, area, volume = (fit.budget(quantity) for quantity in ("leakage", "leak area", "trapped volume"))
    area_mm2, volume_cm3 = truth.leak_area_m2 * 1e6, truth.trapped_volume_m3 * 1e6
    exponent = fit.pressure_exponent
    row = Row(
        truth.leakage_percent,
        result.leakage_percent - truth.leakage_percent,
        (leakage.value - truth.leakage_percent, leakage.standard),
        (area.value / area_mm2 - 1.0, area.standard / area_mm2),
        (volume.value / volume_cm3 - 1.0, volume.standard / volume_cm3),
        (None if exponent.value is None else exponent.value - truth.pressure_exponent, exponent.standard),
        fit.chi2_reduced,
        cpu_s,
    )
    return row, fit


def share(good: Any) -> float:
    """Of an array of truths, in percent."""
    return 100.0 * float(np.mean(good)) if np.size(good) else float("nan")


def table_of(rows: list[Row]) -> list[str]:
    """The cells of one line."""
    truth = np.array([row.truth_percent for row in rows])
    middle = (truth >= 3.0) & (truth <= 80.0)

    def both(name: str) -> tuple[Any, Any]:
        values = np.array([getattr(row, name) for row in rows], dtype=float)
        return values[:, 0], values[:, 1]

    (leak, u_leak), (area, u_area), (volume, u_volume), (bend, u_bend) = (
        both(name) for name in ("leakage", "area", "volume", "exponent")
    )
    shown = ~np.isnan(bend)
    direct = np.array([row.direct for row in rows])
    return [
        f"{np.quantile(abs(leak), 0.95):.3f}/{np.quantile(abs(direct), 0.95):.3f}",
        f"{share(abs(leak) <= 0.1):.1f}",
        f"{share(abs(leak) <= 2 * u_leak):.1f}",
        f"{share(abs(area[middle]) <= 0.01):.1f}/{share(abs(area[middle]) <= 0.015):.1f}/{share(abs(area[middle]) <= 0.02):.1f}",
        f"{share(abs(area) <= 2 * u_area):.1f}",
        f"{share(abs(volume) <= 0.02):.1f}/{share(abs(volume[middle]) <= 0.02):.1f}",
        f"{share(abs(volume) <= 2 * u_volume):.1f}",
        f"{share(shown):.0f}: {share(abs(bend[shown]) <= 0.05):.1f}",
        f"{share(abs(bend[shown]) <= 2 * u_bend[shown]):.1f}",
        f"{np.median([row.chi2_reduced for row in rows]):.2f}",
        f"{1e3 * np.median([row.cpu_s for row in rows]):.0f}/{1e3 * np.quantile([row.cpu_s for row in rows], 0.95):.0f}",
    ]


HEADINGS = (
    "kind",
    "captures",
    "no fit",
    "leakage fit/direct, 95 %",
    "in 0.1",
    "k=2",
    "area in 1/1.5/2 %",
    "k=2",
    "volume in 2 %, all/3-80",
    "k=2",
    "exponent given: in 0.05",
    "k=2",
    "chi2",
    "CPU ms 50/95 %",
)


def accuracy() -> None:
    """Print the first table."""
    print(" | ".join(HEADINGS))
    for name, count, options in KINDS:
        rows, without = [], 0
        for seed in range(FIRST_SEED, FIRST_SEED + count):
            try:
                rows.append(read(make_capture(draw_case(seed, **options)))[0])
            except CaptureUnusable:
                without += 1
        print(" | ".join([name, str(count), str(without), *table_of(rows)]), flush=True)
        if name == KINDS[0][0]:
            leak, u_leak = np.array([row.leakage for row in rows]).T
            tell(
                [
                    at_least(
                        "fit, leakage within 0.1 points of the truth, reference rig", "% of captures", share(abs(leak) <= 0.1), 95.0
                    ),
                    at_least(
                        "fit, k = 2 interval of the leakage holds the truth", "% of captures", share(abs(leak) <= 2 * u_leak), 93.0
                    ),
                    at_most(
                        "fit of a capture, median", "ms of processor", 1e3 * float(np.median([row.cpu_s for row in rows])), None
                    ),
                ]
            )


def known_exactly(case: Case) -> Case:
    """The case with rig and air as the host has them in its notes, and sensors that have noise and nothing else."""
    return replace(case, exact_sensors=True, restrictor_u=0.0, believed=Believed(0.0, 0.0, 0.0, 0.0, 0.0))


def area_of(case: Case, grid: Grid | None = None) -> tuple[float, float]:
    """Leak area in m², and what of its standard uncertainty comes from noise, where rig and air are known exactly."""
    made = make_capture(case)
    known = replace(
        made.instrument,
        **dict.fromkeys(("u_p_ambient_pa", "u_t_supply_k", "u_t_cylinder_k", "u_dead_volume", "u_gain", "u_tie", "u_zero_pa"), 0.0),
        bow_pa=0.0,
    )
    result = analyse_capture(
        made.columns, made.laws, known.restrictor.area_m2, known.p_ambient_abs_pa, known.t_supply_k, known.t_cylinder_k
    )
    regulated, cylinder = (
        made.laws[name].with_zero(zero_pa).gauge_pa(made.columns.raw[channel])
        for channel, (name, zero_pa) in enumerate((("regulated", result.zero_regulated_pa), ("cylinder", result.zero_cylinder_pa)))
    )
    record = record_of(made.columns.t_s, regulated, cylinder, result, grid=Grid() if grid is None else grid)
    fitted = fit_record(record, known)
    return float(fitted.unknowns[Q.LEAK]), float(np.sqrt(fitted.from_noise[Q.LEAK, Q.LEAK]))


def scatter() -> None:
    """Print the second table: how the area scatters from noise to noise, over the bound that the samples themselves set.

    The bound is that of Cramér and Rao, with the noise of p_regulated: what noise makes of the area where all information is used,
    on a grid so fine that nothing is lost in it. What is known before of heat exchange and hose is taken as the fit takes it.
    """
    print("leakage % | scatter of area | bound | ratio (at most 1.15)")
    for seed, around in SCATTER_CASES:
        case = known_exactly(draw_case(seed, leakage=(around, around + 1.0), fill_s=(6.0, 7.0)))
        bound = area_of(case, FINE)[1]
        areas = [area_of(replace(case, seed=other))[0] for other in range(SCATTER_SEEDS)]
        spread = float(np.std(areas, ddof=1))
        print(f"{around:.0f} | {spread * 1e6:.2e} mm² | {bound * 1e6:.2e} mm² | {spread / bound:.2f}", flush=True)
        tell([at_most(f"fit, scatter of the leak area at {around:.0f} %", "× Cramér–Rao bound", spread / bound, 1.15)])


def main() -> None:
    """Print everything."""
    began_s = time.perf_counter()
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    read(make_capture(draw_case(FIRST_SEED)))
    after_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    grown_mb = (after_kb - before_kb) / 1024
    print(f"memory of making, reading and fitting one capture: {grown_mb:.0f} MB, scipy included")
    tell([at_most("memory of making, reading and fitting one capture, scipy included", "MB", grown_mb, None)])
    accuracy()
    scatter()
    print(f"took {time.perf_counter() - began_s:.0f} s")


if __name__ == "__main__":
    main()
